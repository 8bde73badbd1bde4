"""Outside detectors hear every true beat of a rendered script, and nothing else, at the script's rate."""

from __future__ import annotations

import json

from pathlib import Path

import numpy as np
import pytest
from detectors import DETECTORS, Detector
from matching import match, mean_rate_bpm, within
from program import ROOT, rendered
from reading import Beat, Recording, read_beats, read_steps, read_wav

EXAMPLE = ROOT / "examples" / "ward-round.json"
FRAME_RATES_HZ = (250, 360, 500, 1000)
NO_COUNTABLE_BEATS = {"ventricular-fibrillation", "asystole"}
SLOW_S = 0.001 * json.loads(EXAMPLE.read_text(encoding="utf-8"))["steps"][0]["variability"]["slow_ms"]
AT_LEAST = 0.995
"""Sensitivity and positive predictivity asked of at least three detectors in every step."""
LEARNING_S = 2.0
"""Detectors learn their thresholds for so long: Pan and Tompkins, IEEE Trans Biomed Eng 32 (1985) 230-236 (from memory)."""
EDGE_S = 0.3
"""Detectors need some signal on both sides of a beat, so beats nearer than this to the record's ends are left out."""


@pytest.fixture(scope="module", params=FRAME_RATES_HZ, ids=lambda hz: f"{hz}Hz")
def example(request, tmp_path_factory) -> tuple[Recording, list[Beat], list[dict[str, str]]]:
    """The example script at a frame rate: its signal, true beats and steps."""
    target = tmp_path_factory.mktemp("beats") / "ward.wav"
    rendered(EXAMPLE, target, frame_rate_hz=request.param, channels="II")
    return read_wav(target), read_beats(target), read_steps(target)


@pytest.fixture(scope="module")
def heard(example) -> list[dict[Detector, np.ndarray]]:
    """Beats heard in lead II of each step by itself, as by a person who turns to one rhythm after the other.

    Over the whole record a detector carries thresholds from the large waves of a tachycardia or fibrillation into the
    next rhythm: its own weakness, and xqrs learns nothing at all there.
    """
    recording, _, steps = example
    rate, lead = recording.frame_rate_hz, recording.values("II")
    pieces = [(a, lead[round(a * rate) : round(b * rate)]) for a, b in map(span, steps)]
    return [{d: a + d.beats_s(piece, rate) for d in DETECTORS} for a, piece in pieces]


def span(row: dict[str, str]) -> tuple[float, float]:
    """Start and end of a step in seconds."""
    return float(row["start_s"]), float(row["end_s"])


def countable(steps: list[dict[str, str]]) -> list[dict[str, str]]:
    """The steps whose beats can be counted."""
    return [row for row in steps if row["rhythm"] not in NO_COUNTABLE_BEATS]


def test_example_is_long_enough_to_mean_something(example):
    recording, beats, steps = example
    assert len(steps) >= 6
    assert len(countable(steps)) >= 5
    assert len(beats) >= 200
    assert recording.n_frames == round(span(steps[-1])[1] * recording.frame_rate_hz)


def test_every_beat_is_heard(example, heard):
    """In each step at least three detectors reach the mark; all numbers are shown when one step fails."""
    _, beats, steps = example
    true = [b.time_s for b in beats]
    table, weak = [], []
    for row, by_detector in zip(steps, heard, strict=True):
        if row not in countable(steps):
            continue
        a, b = span(row)
        inner = (a + LEARNING_S, b - EDGE_S)
        n_true = len(within(true, *inner))
        assert n_true > 0, row
        reached = 0
        for detector, times in by_detector.items():
            agreement = match(true, times)
            missed, extra = len(within(agreement.missed_s, *inner)), len(within(agreement.extra_s, *inner))
            found = n_true - missed
            reached += found / n_true >= AT_LEAST and found / max(1, found + extra) >= AT_LEAST
            table.append(f"{row['rhythm']:<26} {a:7.1f} s {detector.name:<26} {n_true} true, {missed} missed, {extra} extra")
        if reached < 3:
            weak.append((row["rhythm"], a, reached))
    assert not weak, "\n".join([f"fewer than three detectors at {weak}", *table])


def asked_rates(steps: list[dict]) -> list[tuple[float, float]]:
    """Rate at the start and at the end of every step as played, from the script's own text."""
    rates: list[tuple[float, float]] = []
    for item in steps:
        if "repeat" in item:
            for _ in range(item["repeat"]):
                rates += _asked(item["steps"], rates)
        else:
            rates += _asked([item], rates)
    return rates


def _asked(steps: list[dict], before: list[tuple[float, float]]) -> list[tuple[float, float]]:
    rates: list[tuple[float, float]] = []
    for step in steps:
        last = (before + rates)[-1][1] if before or rates else float("nan")
        rate = step.get("rate_bpm", last)
        rates.append((rate.get("from", last), rate["to"]) if isinstance(rate, dict) else (rate, rate))
    return rates


def strays(rhythm: str, rate_bpm: float, n_beats: int) -> float:
    """How far the mean of a step may be off by chance, as a share: RR is drawn at random since it is as irregular as a heart's.

    In atrial fibrillation every interval is a draw of its own: three standard errors. In sinus rhythm the slow noise moves in about
    10 s, as long as a step has settled, so its mean may be off by the whole standard deviation that the script asks for.
    """
    if rhythm == "atrial-fibrillation":
        return 3 * 0.24 / np.sqrt(n_beats)
    return SLOW_S * rate_bpm / 60.0 if rhythm == "sinus" else 0.0


def test_mean_rate_is_the_scripts(example, heard):
    """Over the whole intervals of a step; three detectors find the same."""
    _, beats, steps = example
    asked = asked_rates(json.loads(EXAMPLE.read_text(encoding="utf-8"))["steps"])
    assert len(asked) == len(steps)
    wrong = []
    for row, (first, last), by_detector in zip(steps, asked, heard, strict=True):
        if row not in countable(steps):
            continue
        a, b = span(row)
        inside = [beat for beat in beats if a <= beat.time_s < b]
        # From one beat of a kind to another, or half a pair of early beat and pause would count as a rate of its own.
        codes = [beat.code for beat in inside]
        usual = max(codes, key=codes.count)
        alike = [i for i, code in enumerate(codes) if code == usual]
        true = np.array([beat.time_s for beat in inside[alike[0] : alike[-1] + 1]])
        slope_bpm_s = (last - first) / (b - a)
        expected = first + slope_bpm_s * ((true[0] + true[-1]) / 2 - a)
        played = mean_rate_bpm(true)
        # While the rate moves, it is known no better than how far it moves from one beat to the next.
        tolerance = 0.5 + abs(slope_bpm_s) * 60.0 / expected + expected * strays(row["rhythm"], expected, len(alike))
        # The table holds the mean of what is played once readings have settled; a QRS on the edge may count by its onset or its peak.
        settled = float(row["settled_s"])
        by_peak = np.array([beat.time_s for beat in beats if settled <= beat.time_s < b])
        by_onset = np.array([beat.qrs_onset_s for beat in beats if settled <= beat.qrs_onset_s < b])
        rate = float(row["rate_bpm"])
        assert rate in (pytest.approx(mean_rate_bpm(by_peak), abs=0.02), pytest.approx(mean_rate_bpm(by_onset), abs=0.02)), row
        pairs = [np.array(match(true, times).pairs) for times in by_detector.values()]
        same = sum(len(p) > 1 and abs(mean_rate_bpm(p[:, 0]) - mean_rate_bpm(p[:, 1])) <= 0.5 for p in pairs)
        if abs(played - expected) > tolerance or same < 3:
            wrong.append((row["name"], round(expected, 2), round(float(played), 2), int(same)))
    assert not wrong, wrong


def test_true_peaks_lie_on_the_samples_peaks(example):
    """The truth's frame is where the QRS is: the largest deflection near it is the beat's own."""
    recording, beats, steps = example
    rate, lead = recording.frame_rate_hz, recording.values("II")
    for row in countable(steps):
        a, b = span(row)
        for beat in beats:
            if a + EDGE_S < beat.time_s < b - EDGE_S:
                assert abs(beat.frame - beat.time_s * rate) <= 0.5 + 1e-6
                reach = round(0.06 * rate)
                near = lead[beat.frame - reach : beat.frame + reach + 1]
                assert np.ptp(near) > 0.3, (row["rhythm"], beat)


def test_rr_is_the_difference_of_times(example):
    _, beats, _ = example
    assert beats[0].rr_s is None
    for before, beat in zip(beats, beats[1:], strict=False):
        assert beat.rr_s == pytest.approx(beat.time_s - before.time_s, abs=2e-6)


def test_fibrillation_and_asystole_hold_no_true_beat(example):
    _, beats, steps = example
    for row in steps:
        if row["rhythm"] in NO_COUNTABLE_BEATS:
            a, b = span(row)
            # A QRS that began before the step may still be going on.
            assert len(within([x.qrs_onset_s for x in beats], a, b)) == 0
