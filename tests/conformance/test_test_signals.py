"""Every test signal of examples/test-signals, measured from its samples against the figures of its clause.

Figures and where they come from stand in each file's notes; the numbers here are written again from the clauses, not read
from the scripts.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from program import ROOT, run, succeed
from reading import Recording, read_beats, read_steps, read_wav

FOLDER = ROOT / "examples" / "test-signals"
FRAME_RATE_HZ = 1000
STEP_MV = 0.0005
"""More than one step of 24 bits at any range used here."""


class Rendered:
    """A test signal as samples, cut at its steps."""

    def __init__(self, name: str, folder: Path, *flags: object, hz: int = FRAME_RATE_HZ, channels: str = "leads"):
        self.target = folder / f"{name}.wav"
        script = FOLDER / f"{name}.json"
        succeed("render", script, "-o", self.target, "--frame-rate", hz, "--bits", "24", "--channels", channels, *flags)
        self.recording: Recording = read_wav(self.target)
        self.steps = read_steps(self.target)
        self.beats = read_beats(self.target)
        self.hz = hz

    def step(self, name: str, lead: str = "II", skip_s: float = 0.0) -> np.ndarray:
        """A step's samples of a lead, mV."""
        return self.span(self.row(name), lead, skip_s)

    def span(self, row: dict[str, str], lead: str = "II", skip_s: float = 0.0) -> np.ndarray:
        start, end = (round(float(row[key]) * self.hz) for key in ("start_s", "end_s"))
        return self.recording.values(lead)[start + round(skip_s * self.hz) : end]

    def row(self, name: str) -> dict[str, str]:
        (row,) = [row for row in self.steps if row["name"] == name]
        return row


def triangles(signal: np.ndarray, hz: int) -> list[tuple[float, float, float]]:
    """Peak, mV, base width, ms, and time, s, of every isolated deflection of a signal on a level line of zero."""
    on = np.abs(signal) > 2e-4
    edges = np.flatnonzero(np.diff(on.astype(int)))
    found = []
    for start, end in zip(edges[:-1], edges[1:], strict=True):
        if not on[start + 1]:
            continue
        piece = signal[start + 1 : end + 1]
        peak = piece[np.argmax(np.abs(piece))]
        found.append((float(peak), (end - start + 1) * 1000.0 / hz, (start + 1 + int(np.argmax(np.abs(piece)))) / hz))
    return found


def rate_bpm(times: list[float]) -> float:
    return 60.0 * (len(times) - 1) / (times[-1] - times[0])


def test_there_is_a_file_for_each_and_each_says_what_it_is_modelled_on():
    files = sorted(FOLDER.glob("*.json"))
    assert len(files) >= 25
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert "Modelled on" in text and "never to a person" in text, file
        assert any(word in text for word in ("EC13", "IEC 60601", "no source")), file


def test_qrs_amplitudes(tmp_path):
    rendered = Rendered("qrs-amplitude", tmp_path, channels="II")
    assert [row["name"] for row in rendered.steps] == [f"{mv} mV" for mv in (0.5, 1, 2, 5, -0.5, -1, -2, -5)]
    for row in rendered.steps:
        mv = float(row["name"].split()[0])
        found = triangles(rendered.span(row), FRAME_RATE_HZ)[1:-1]
        # The top is a frame long, so a frame always meets it.
        assert all(abs(peak - mv) <= STEP_MV for peak, _, _ in found), row["name"]
        assert all(abs(width - 100) <= 2.5 for _, width, _ in found)
        assert rate_bpm([time for _, _, time in found]) == pytest.approx(80, abs=0.1)


def test_qrs_durations_and_straight_flanks(tmp_path):
    rendered = Rendered("qrs-duration", tmp_path, hz=4000, channels="II")
    for row in rendered.steps:
        width_ms = float(row["name"].split()[0])
        signal = rendered.span(row)
        found = triangles(signal, 4000)[1:-1]
        assert all(abs(width - width_ms) <= 0.8 for _, width, _ in found), (row["name"], found[0])
        # Straight flanks: the slope is h / (width / 2 - frame) up and down, and nothing else but at the four corners.
        slope = np.diff(signal) * 4000
        moving = np.abs(slope) > 0.01
        expected = 1.0 / (width_ms / 2000.0 - 1 / 4000)
        near = np.abs(np.abs(slope[moving]) - expected) < 0.01 * expected
        assert near.mean() > 1.0 - 8.0 / (width_ms * 4.0)


def test_what_is_to_be_ignored(tmp_path):
    rendered = Rendered("qrs-ignored", tmp_path, hz=4000, channels="II")
    small = triangles(rendered.step("0.15 mV"), 4000)[1:-1]
    assert all(abs(peak - 0.15) < 0.002 and abs(width - 100) < 1.5 for peak, width, _ in small)
    spikes = triangles(rendered.step("spikes of 10 ms"), 4000)[1:-1]
    assert all(abs(peak - 1.0) < 0.055 and abs(width - 10) < 0.8 for peak, width, _ in spikes)


def test_tall_t(tmp_path):
    rendered = Rendered("tall-t", tmp_path, channels="II")
    for row in rendered.steps:
        t_mv = float(row["name"].split()[2])
        signal = rendered.span(row)
        onsets = [b.qrs_onset_s for b in rendered.beats if float(row["start_s"]) + 1 < b.qrs_onset_s < float(row["end_s"]) - 1]
        for onset in onsets[:5]:
            first = round((onset - float(row["start_s"])) * FRAME_RATE_HZ)
            beat = signal[first : first + 700]
            assert abs(beat[:110].max() - 1.0) < 0.015
            assert abs(beat[120:].max() - t_mv) < 0.005 + STEP_MV
            if t_mv:
                on = 120 + np.flatnonzero(beat[120:] > 0.02 * t_mv)
                # QT 350 ms, T of 180 ms; the part of a half sine above 2 % of its height is 1.3 % shorter at each end.
                assert abs(on[-1] - 350) <= 5 and abs(on[-1] - on[0] - 180) <= 7
        assert rate_bpm(onsets) == pytest.approx(80, abs=0.1)


@pytest.mark.parametrize(("name", "bpm"), [("irregular-a1", 80), ("irregular-a2", 60), ("irregular-a3", 120), ("irregular-a4", 90)])
def test_irregular_rhythms(name, bpm, tmp_path):
    rendered = Rendered(name, tmp_path, channels="II,V1")
    # Whole pairs after 20 s of settling.
    times = [b.time_s for b in rendered.beats if b.time_s >= 20]
    times = times[: (len(times) - 1) // 4 * 4 + 1]
    assert rate_bpm(times) == pytest.approx(bpm, abs=0.6)
    rr = np.diff(times)
    lead = rendered.recording.values("II")
    v1 = rendered.recording.values("V1")
    swing = np.array([[x[b.frame - 60 : b.frame + 60].max() + x[b.frame - 60 : b.frame + 60].min() for x in (lead, v1)] for b in rendered.beats[4:40]])
    if name == "irregular-a4":
        assert np.ptp(rr) < 0.005, "regular"
        assert (np.sign(swing[1:, 0]) == -np.sign(swing[:-1, 0])).all(), "up and down in turn"
    else:
        short, long = rr[0::2].mean(), rr[1::2].mean()
        assert max(short, long) > 1.2 * min(short, long), "short and long in turn"
        codes = [b.code for b in rendered.beats[4:40]]
        assert all((a in "Vr") != (b in "Vr") for a, b in zip(codes, codes[1:], strict=False))
        ectopic = swing[[i for i, code in enumerate(codes) if code in "Vr"]]
        alternate = bool((np.abs(np.diff(ectopic[:, 1])) > 0.3).all())
        assert alternate == (name != "irregular-a1"), "one shape, or two in turn"


@pytest.mark.parametrize(("name", "bpm", "mv"), [("tachycardia-b1", 206, 1.0), ("tachycardia-b2", 195, 2.0)])
def test_tachycardias_half_and_double(name, bpm, mv, tmp_path):
    rendered = Rendered(name, tmp_path, channels="II")
    rows = rendered.steps
    assert len(rows) == 6
    for before, row, factor in zip(rows[0::2], rows[1::2], (1.0, 0.5, 2.0), strict=True):
        lead_in = triangles(rendered.span(before), FRAME_RATE_HZ)[2:-1]
        assert float(before["end_s"]) - float(before["start_s"]) == 30
        assert rate_bpm([time for _, _, time in lead_in]) == pytest.approx(80, abs=0.1)
        signal = rendered.span(row, skip_s=3)
        period = round(60000 / bpm)
        sizes = [np.ptp(signal[i : i + period + 1]) for i in range(0, len(signal) - period - 1, period)]
        assert np.median(sizes) == pytest.approx(mv * factor, rel=0.01)
        times = [b.time_s for b in rendered.beats if float(row["start_s"]) + 1 < b.time_s < float(row["end_s"])]
        assert rate_bpm(times) == pytest.approx(bpm, abs=0.1)
        spectrum = np.abs(np.fft.rfft(signal * np.hanning(len(signal)), 8 * len(signal)))
        hz = np.fft.rfftfreq(8 * len(signal), 1 / FRAME_RATE_HZ)
        band = (hz > 2) & (hz < 5)
        assert 60 * hz[band][np.argmax(spectrum[band])] == pytest.approx(bpm, abs=1)


def test_rate_steps_change_at_once(tmp_path):
    rendered = Rendered("rate-steps", tmp_path, channels="II")
    # In the whole record: after the step's first beat each RR is the new one.
    for row, bpm in zip(rendered.steps, (80, 120, 80, 40, 80), strict=False):
        inside = [b.time_s for b in rendered.beats if float(row["start_s"]) <= b.time_s < float(row["end_s"])]
        assert np.abs(np.diff(inside) - 60 / bpm).max() < 0.002, row["name"]
    last = rendered.step("standstill", skip_s=0.2)
    assert np.abs(last).max() == 0


def test_rates_of_the_meter(tmp_path):
    rendered = Rendered("rate-range", tmp_path, channels="II")
    for row, bpm in zip(rendered.steps, (30, 40, 60, 80, 120, 180, 200, 250, 300), strict=True):
        found = triangles(rendered.span(row), FRAME_RATE_HZ)[1:-1]
        assert rate_bpm([time for _, _, time in found]) == pytest.approx(bpm, rel=0.001)


@pytest.mark.parametrize("hz", [50, 60])
def test_mains(hz, tmp_path):
    rendered = Rendered(f"mains-tolerance-{hz}", tmp_path, channels="II")
    signal = rendered.step("with mains", skip_s=1)
    # The second half of each RR of 750 ms, clear of the QRS.
    start_s = float(rendered.row("with mains")["start_s"]) + 1
    phase = (np.arange(len(signal)) / FRAME_RATE_HZ + start_s - rendered.beats[0].qrs_onset_s) % 0.75
    quiet = signal[phase > 0.35]
    assert np.ptp(quiet) == pytest.approx(0.1, abs=0.002)
    spectrum = np.abs(np.fft.rfft(signal - signal.mean()))
    freq = np.fft.rfftfreq(len(signal), 1 / FRAME_RATE_HZ)
    band = (freq > 40) & (freq < 70)
    assert freq[band][np.argmax(spectrum[band])] == pytest.approx(hz, abs=0.05)


def test_drift(tmp_path):
    rendered = Rendered("drift-tolerance", tmp_path, channels="II")
    signal = rendered.step("with drift")
    # Between the QRS, in the second half of each RR of 750 ms: a triangle of 4 mV from lowest to highest at 0.1 Hz, sample by
    # sample, which is 0.8 mV/s.
    t = np.arange(len(signal)) / FRAME_RATE_HZ
    phase = (t + float(rendered.row("with drift")["start_s"]) - rendered.beats[0].qrs_onset_s) % 0.75
    expected = 2.0 * (2.0 / np.pi) * np.arcsin(np.sin(2.0 * np.pi * 0.1 * t))
    quiet = phase > 0.35
    assert np.abs(signal - expected)[quiet].max() < 2 * STEP_MV
    assert np.abs((signal - expected)[~quiet]).max() == pytest.approx(0.5, abs=0.015), "the QRS on it"


PULSES = [(mv, ms) for mv in (2, -2, 20, -20, 100, -100, 700, -700) for ms in (0.1, 0.5, 2.0)]


@pytest.mark.parametrize(("name", "answers"), [("pacing-alone", False), ("pacing-effective", True)])
def test_pacing_pulses(name, answers, tmp_path):
    hz = 40_000
    rendered = Rendered(name, tmp_path, hz=hz, channels="II")
    assert len(rendered.steps) == len(PULSES)
    assert bool(rendered.beats) == answers
    for row, (mv, ms) in zip(rendered.steps, PULSES, strict=True):
        signal = rendered.span(row, skip_s=1)
        # At least half as high, above the QRS of 1 mV for all but the smallest pulses.
        on = np.flatnonzero(np.abs(signal) > max(0.5 * abs(mv), 1.3 if answers else 0.0))
        pulses = np.split(on, np.flatnonzero(np.diff(on) > hz // 10) + 1)
        starts = np.array([pulse[0] for pulse in pulses]) / hz
        assert 60 / np.diff(starts).mean() == pytest.approx(80, abs=0.1)
        high = [signal[pulse[0] : pulse[-1] + 1] for pulse in pulses[1:-1]]
        # The shortest are four frames long, of which rise and fall take a part.
        assert all(abs(np.abs(pulse).max() / abs(mv) - 1) < 0.02 for pulse in high), row["name"]
        assert all(abs(np.median(pulse) / mv - 1) < 0.02 for pulse in high if ms > 0.1), row["name"]
        assert all(np.sign(pulse[len(pulse) // 2]) == np.sign(mv) for pulse in high)
        # Width at half height: the pulse less the rise; EC13: 10 to 100 us, at most a tenth of the width.
        assert all(abs(len(pulse) * 1000 / hz - ms) <= 0.1 * ms + 2000 / hz for pulse in high), row["name"]
        if answers:
            # Without the pulses and the 0.2 ms in which they rise and fall.
            near = (on[:, None] + np.arange(-8, 9)[None, :]).ravel()
            quiet = np.delete(signal, near[(near >= 0) & (near < len(signal))])
            # Under the threshold a QRS and the foot of a pulse of 2 mV can't be separated.
            assert abs(mv) == 2 or quiet.max() == pytest.approx(1.0, abs=0.05), row["name"]


def test_tails_of_pulses(tmp_path):
    hz = 10_000
    rendered = Rendered("pacing-overshoot", tmp_path, hz=hz, channels="II")
    cases = [(percent, tau) for tau in (4, 8, 15, 25, 50, 75, 100) for percent in (2.5, 10, 25)]
    for row, (percent, tau_ms) in zip(rendered.steps, cases, strict=True):
        signal = rendered.span(row, skip_s=1)
        start = int(np.argmax(signal[: hz] > 5))
        tail = signal[start + round(0.0015 * hz) : start + round(0.0015 * hz) + round(2 * tau_ms / 1000 * hz)]
        # The tail is of the other sign; a line through its logarithm gives size and time constant.
        assert (tail < 0).all(), row["name"]
        t = np.arange(len(tail)) / hz + 0.0005
        weight = np.abs(tail) > 0.02
        slope, level = np.polyfit(t[weight], np.log(-tail[weight]), 1)
        assert -1000 / slope == pytest.approx(tau_ms, rel=0.05), row["name"]
        assert np.exp(level) == pytest.approx(min(10 * percent / 100, 2.0), rel=0.05), row["name"]


def test_steps_squares_and_triangles(tmp_path):
    step = Rendered("step", tmp_path, channels="II")
    assert set(np.round(step.step("1 mV"), 4)) == {1.0}
    assert set(np.round(step.step("-1 mV"), 4)) == {-1.0}
    assert set(np.round(step.step("0 mV again"), 4)) == {0.0}
    square = Rendered("square", tmp_path, channels="II")
    for name, hz in (("1 Hz", 1.0), ("0.125 Hz", 0.125)):
        signal = square.step(name)
        assert set(np.round(signal, 4)) == {0.5, -0.5}
        turns = np.flatnonzero(np.diff(signal))
        assert np.abs(np.diff(turns) - FRAME_RATE_HZ / hz / 2).max() <= 1
    signal = Rendered("triangle", tmp_path, channels="II").step("2 Hz")
    assert (signal.min(), signal.max()) == pytest.approx((-1.0, 1.0), abs=0.005)
    slope = np.abs(np.diff(signal)) * FRAME_RATE_HZ
    # 2 mV in a quarter of a second.
    assert np.median(slope) == pytest.approx(8.0, abs=0.01)


def test_response_triangles(tmp_path):
    rendered = Rendered("triangle-response", tmp_path, hz=4000, channels="II")
    for width_ms in (200, 20):
        found = triangles(rendered.step(f"{width_ms} ms"), 4000)[1:-1]
        assert all(abs(peak - 1.5) < 0.04 and abs(width - width_ms) < 1 for peak, width, _ in found)


def test_sines(tmp_path):
    rendered = Rendered("sine", tmp_path, channels="II")
    for row, hz in zip(rendered.steps, (10, 0.67, 1, 2, 5, 20, 30, 40), strict=True):
        signal = rendered.span(row)
        t = np.arange(len(signal)) / FRAME_RATE_HZ
        basis = np.stack([np.sin(2 * np.pi * hz * t), np.cos(2 * np.pi * hz * t)], axis=1)
        fit, *_ = np.linalg.lstsq(basis, signal, rcond=None)
        assert fit[0] == pytest.approx(0.5, abs=0.002), row["name"]
        assert np.abs(signal - basis @ fit).max() < 0.002


def test_sweep(tmp_path):
    rendered = Rendered("sweep", tmp_path, channels="II")
    signal = rendered.step("sweep")
    assert (signal.min(), signal.max()) == pytest.approx((-0.5, 0.5), abs=0.001)
    rising = np.flatnonzero((signal[:-1] < 0) & (signal[1:] >= 0))
    times = (rising + signal[rising] / (signal[rising] - signal[rising + 1])) / FRAME_RATE_HZ
    frequency, middle = 1 / np.diff(times), (times[1:] + times[:-1]) / 2
    expected = 0.05 * (150 / 0.05) ** (middle / 120)
    clear = frequency < 100
    # Within a period the frequency grows; two of the slowest periods are long.
    assert np.abs(frequency[clear] / expected[clear] - 1)[2:].max() < 0.02
    assert frequency[-1] == pytest.approx(150, rel=0.05)


def test_impulses(tmp_path):
    signal = Rendered("impulse", tmp_path, channels="II").step("impulses")
    assert set(np.round(signal, 4)) == {0.0, 3.0}
    starts = np.flatnonzero(np.diff(signal) > 0)
    ends = np.flatnonzero(np.diff(signal) < 0)
    assert np.abs(np.diff(starts) - 10_000).max() <= 1
    assert np.abs((ends[1:] if ends[0] < starts[0] else ends)[: len(starts)] - starts - 100).max() <= 1
    area = signal[: 10_000].sum() / FRAME_RATE_HZ
    assert area == pytest.approx(0.3, abs=0.004)


@pytest.mark.parametrize(("name", "slope"), [("dynamic-range", 320.0), ("reproduction", 125.0)])
def test_slew_and_offset(name, slope, tmp_path):
    # A multiple of four times 16 Hz and 6.25 Hz, so that frames meet the peaks.
    rendered = Rendered(name, tmp_path, hz=8000, channels="II")
    for row in rendered.steps:
        number = float(row["name"].split()[0])
        height, offset = (10.0, number) if name == "dynamic-range" else (number, 0.0)
        signal = rendered.span(row)
        assert np.ptp(signal) == pytest.approx(height, rel=0.01)
        assert (signal.max() + signal.min()) / 2 == pytest.approx(offset, abs=0.06)
        found = np.median(np.abs(np.diff(signal))) * 8000
        assert found == pytest.approx(slope * height / 10.0, rel=0.01)


def test_lead_relations(tmp_path):
    rendered = Rendered("lead-relations", tmp_path)
    lead = {name: rendered.recording.values(name) for name in ("I", "II", "III", "aVR", "aVL", "aVF", *(f"V{i}" for i in range(1, 7)))}
    step = rendered.recording.channels["I"].scale
    for name in ("II", "V1", "V2", "V3", "V4", "V5", "V6"):
        assert np.array_equal(lead[name], lead["I"])
    assert np.abs(lead["III"]).max() <= step
    assert np.abs(lead["aVR"] + lead["I"]).max() <= step
    for name in ("aVL", "aVF"):
        assert np.abs(lead[name] - lead["I"] / 2).max() <= step
    assert lead["I"].max() == pytest.approx(2.0, abs=0.05)


def test_a_wave_without_beats_needs_a_rhythm_without_beats(tmp_path):
    outcome = run("render", "--rhythm", "sinus", "--set", "test.signal=sine", "--duration", "5s", "-o", tmp_path / "x.wav")
    assert outcome.code == 2 and "asystole" in outcome.stderr
    outcome = run("render", "--rhythm", "asystole", "--set", "test.signal=sinus", "--duration", "5s", "-o", tmp_path / "x.wav")
    assert outcome.code == 2 and "'sine'" in outcome.stderr
