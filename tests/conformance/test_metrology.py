"""Every kind of test signal at frame rates from 250 to 48 000: height, area, time and frequency, measured from the samples.

A test generator is to be accurate to 1 % (IEC 60601-2-25 201.5.3, as laboratories quote it); 50 ppm for times and frequencies is
our own limit. The measured figures are the table of docs/metrology.md, which this test renews with BLESS=1.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
from program import ROOT, run, succeed
from reading import read_beats, read_wav

PAGE = ROOT / "docs" / "metrology.md"
RATES_HZ = (250, 300, 360, 500, 512, 1000, 2000, 4000, 8000, 48_000)
WIDTHS_MS = (40, 60, 70, 80, 100, 120)
HEIGHT_PERCENT = 1.0
FREQUENCY_PPM = 50.0


def rendered(folder: Path, hz: int, test: dict, rhythm: str = "asystole", bpm: float = 77.0, duration_s: float = 20.0):
    """Samples of lead II of one step, and the output's path; the exit code and message when the render is refused."""
    script = folder / "script.json"
    step = {"duration_s": duration_s, "rhythm": rhythm, "test": test, "variability": {"breathing_ms": 0}, "breathing": {"ecg_percent": 0}}
    if rhythm != "asystole":
        step["rate_bpm"] = bpm
    script.write_text(json.dumps({"version": 1, "seed": 1, "steps": [step]}))
    target = folder / f"{hz}.wav"
    outcome = run("render", script, "-o", target, "--frame-rate", hz, "--channels", "II", "--bits", "float", "--force")
    if outcome.code:
        return None, outcome.stderr
    return read_wav(target).values("II"), target


def triangles(folder: Path, hz: int, width_ms: float) -> tuple[float, float, float, float] | None:
    """Worst errors over the triangles of a step: height and area, percent, time, us; frequency, ppm. `None` when refused."""
    signal, target = rendered(folder, hz, {"signal": "triangular-qrs", "height_mv": 1, "width_ms": width_ms}, "sinus")
    if signal is None:
        assert "frames a second" in target, target
        return None
    truth = [beat.time_s for beat in read_beats(target)][1:-1]
    half = 0.075
    heights, areas, times = [], [], []
    for time in truth:
        first = int(np.ceil((time - half) * hz))
        piece = signal[first : first + int(2 * half * hz)]
        heights.append(piece.max() - 1)
        areas.append(piece.sum() / hz / (width_ms / 2000) - 1)
        # The triangle is symmetric: its middle is its centre of gravity.
        times.append((first + (np.arange(len(piece)) * piece).sum() / piece.sum()) / hz)
    off = np.array(times) - truth
    slope, _ = np.polyfit(np.arange(len(times)), times, 1)
    return (
        100 * np.abs(heights).max(),
        100 * np.abs(areas).max(),
        1e6 * np.abs(off).max(),
        1e6 * abs(slope / (60 / 77) - 1),
    )


def sine_ppm(folder: Path, hz: int, wave_hz: float) -> float:
    """How far the frequency of a sine is off: from the phase that it gains on the nominal one between two halves of a minute."""
    signal, _ = rendered(folder, hz, {"signal": "sine", "height_mv": 2, "hz": wave_hz}, duration_s=60)
    t = np.arange(len(signal)) / hz
    both = np.array_split(np.stack([t, signal]), 2, axis=1)
    phases = []
    for times, values in both:
        turn = 2 * np.pi * wave_hz * times
        basis = np.stack([np.sin(turn), np.cos(turn)], axis=1)
        fit, *_ = np.linalg.lstsq(basis, values, rcond=None)
        assert np.hypot(*fit) == pytest.approx(1.0, abs=1e-3)
        phases.append(np.arctan2(fit[1], fit[0]))
    gained = (phases[1] - phases[0] + np.pi) % (2 * np.pi) - np.pi
    return 1e6 * abs(gained) / (2 * np.pi) / (wave_hz * 30)


def impulses(folder: Path, hz: int) -> tuple[float, float]:
    """Height and area of impulses of 3 mV for 100 ms, percent off, the worst of any."""
    signal, _ = rendered(folder, hz, {"signal": "impulses", "height_mv": 3, "width_ms": 100, "hz": 0.77}, duration_s=30)
    high = signal > 1e-3
    starts = np.flatnonzero(np.diff(np.concatenate([[False], high]).astype(int)) == 1)
    ends = np.flatnonzero(np.diff(high.astype(int)) == -1) + 1
    pieces = [signal[a:b] for a, b in zip(starts, ends, strict=False)]
    assert len(pieces) > 20
    heights = [abs(piece.max() / 3 - 1) for piece in pieces]
    areas = [abs(piece.sum() / hz / 0.3 - 1) for piece in pieces]
    return 100 * max(heights), 100 * max(areas)


def sweep_uv(folder: Path, hz: int) -> float:
    """Worst distance from the sweep's own formula in double precision, uV."""
    signal, _ = rendered(folder, hz, {"signal": "sweep", "height_mv": 1, "hz": 0.05, "last_hz": 100}, duration_s=120)
    t = np.arange(len(signal)) / hz
    growth = np.log(100 / 0.05)
    phase = 0.05 * 120 / growth * np.expm1(growth * t / 120)
    return 1000 * np.abs(signal - 0.5 * np.sin(2 * np.pi * phase)).max()


def cell(value: float | None, digits: int) -> str:
    """A measured figure, rounded up so that the page never claims more than was measured."""
    if value is None:
        return "refused"
    step = 10.0**-digits
    return f"{abs(np.ceil(value / step - 1e-6) * step):.{digits}f}"


def test_every_test_signal_is_accurate_or_refused(tmp_path):
    heading = ["frames/s", *(f"QRS {width} ms: height, area %" for width in WIDTHS_MS), "QRS time us", "rate ppm", "impulse: height, area %", "sine ppm", "sweep uV"]
    rows = ["| " + " | ".join(heading) + " |", "|" + "---:|" * len(heading)]
    for hz in RATES_HZ:
        found = [triangles(tmp_path, hz, width) for width in WIDTHS_MS]
        measured = [figures for figures in found if figures is not None]
        assert measured and all(figures is not None for figures, width in zip(found, WIDTHS_MS, strict=True) if width >= 60)
        for height, area, time_us, ppm in measured:
            assert height < HEIGHT_PERCENT and area < HEIGHT_PERCENT and ppm < FREQUENCY_PPM
            # A frame is 1e6 / hz us long; the middle of a triangle is found within a hundredth of it.
            assert time_us < 2 + 1e4 / hz * 3
        pulses = impulses(tmp_path, hz)
        assert max(pulses) < HEIGHT_PERCENT
        ppm = max(sine_ppm(tmp_path, hz, wave_hz) for wave_hz in (0.05, 0.1, 0.67, 9.7))
        assert ppm < FREQUENCY_PPM
        swept = sweep_uv(tmp_path, hz)
        assert swept < 1.0
        cells = [str(hz)]
        cells += ["refused" if figures is None else f"{cell(figures[0], 2)}, {cell(figures[1], 2)}" for figures in found]
        cells += [cell(max(figures[2] for figures in measured), 0), cell(max(figures[3] for figures in measured), 0)]
        cells += [", ".join(cell(figure, 2) for figure in pulses), cell(ppm, 1), cell(swept, 1)]
        rows.append("| " + " | ".join(cells) + " |")
    page = PAGE.read_text(encoding="utf-8")
    before, _, rest = page.partition("<!-- measured -->\n")
    _, _, after = rest.partition("<!-- end -->")
    renewed = before + "<!-- measured -->\n" + "\n".join(rows) + "\n<!-- end -->" + after
    if os.environ.get("BLESS"):
        PAGE.write_text(renewed, encoding="utf-8")
    assert renewed == PAGE.read_text(encoding="utf-8"), "docs/metrology.md is stale; renew it with BLESS=1"


REFUSED = [
    (500, {"signal": "triangular-qrs", "height_mv": 1, "width_ms": 10}, "1110 frames a second"),
    (250, {"signal": "triangular-qrs", "height_mv": 1, "width_ms": 40}, "278 frames a second"),
    (500, {"signal": "triangle", "height_mv": 10, "hz": 16}, "multiple of 64 Hz"),
    (500, {"signal": "sine", "height_mv": 1, "hz": 250}, "more than 500 frames"),
    (250, {"signal": "sweep", "height_mv": 1, "hz": 1, "last_hz": 150}, "more than 300 frames"),
    (500, {"signal": "impulses", "height_mv": 1, "width_ms": 3, "hz": 1}, "667 frames a second"),
    (500, {"signal": "square", "height_mv": 1, "hz": 200}, "800 frames a second"),
]


@pytest.mark.parametrize(("hz", "test", "why"), REFUSED)
def test_a_frame_rate_that_is_too_low_is_refused_with_one_that_does(hz, test, why, tmp_path):
    rhythm = "sinus" if test["signal"] == "triangular-qrs" else "asystole"
    signal, message = rendered(tmp_path, hz, test, rhythm, duration_s=5)
    assert signal is None and why in message and "1 %" in message, message


def test_a_whole_reproduction_test_stays_at_its_slope(tmp_path):
    """125 mV/s is the steepest that the clause asks for (IEC 60601-2-27 201.12.1.101.1, quoted in disclosures)."""
    target = tmp_path / "reproduction.wav"
    succeed("render", ROOT / "examples" / "test-signals" / "reproduction.json", "-o", target, "--channels", "II", "--bits", "float")
    signal = read_wav(target).values("II")
    assert np.abs(np.diff(signal)).max() * 500 < 126
