"""Breathing measured from the samples is the script's: rate, depth, apnoea, patterns, and the heart's part in it."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from measuring import breath_rate_by_peaks, breath_rate_by_spectrum
from program import rendered, run
from reading import read_steps, read_truth, read_wav
from scipy.signal import butter, find_peaks, sosfiltfilt

RATES = (4, 6, 9.5, 15, 20, 32, 45, 60, 90, 120, 150)
"""Breaths a minute; 0 to 6 is where monitors promise nothing, 150 the end of the newborn's range."""


@pytest.mark.parametrize(("frame_rate_hz", "cardiac_ohm"), [(100, 0.0), (500, 0.05)])
def test_rate(tmp_path, frame_rate_hz, cardiac_ohm):
    lengths_s = [round(max(60, 12 * 60 / rate)) for rate in RATES]
    steps = [
        scripts.step(length, rate_bpm=72, breathing={"rate_per_min": rate, "depth_ohm": 1, "cardiac_ohm": cardiac_ohm})
        for rate, length in zip(RATES, lengths_s, strict=True)
    ]
    script = scripts.write(tmp_path / "breaths.json", *steps)
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=frame_rate_hz, bits=24, channels="respiration")
    impedance, truth, listed = read_wav(target).values("respiration"), read_steps(target), read_truth(target, "breaths")
    start_s = 0
    for i, (rate, length_s) in enumerate(zip(RATES, lengths_s, strict=True)):
        # The first breath of a step may have begun in the step before.
        begin_s, end_s = start_s + 60 / RATES[max(i - 1, 0)], start_s + length_s
        start_s = end_s
        piece = impedance[round(begin_s * frame_rate_hz) : round(end_s * frame_rate_hz)]
        assert breath_rate_by_peaks(piece, frame_rate_hz) == pytest.approx(rate, abs=0.1), rate
        assert breath_rate_by_spectrum(piece, frame_rate_hz) == pytest.approx(rate, abs=0.1), rate
        assert float(truth[i]["breaths_per_min"]) == pytest.approx(rate, abs=0.005)
        starts = np.array([float(row["time_s"]) for row in listed])
        starts = starts[(starts >= begin_s) & (starts < end_s)]
        assert 60 / np.diff(starts) == pytest.approx(rate, abs=0.001), rate


@pytest.mark.parametrize("base_ohm", [200, 1000, 2500])
def test_base_and_depth(tmp_path, base_ohm):
    depths = (0.1, 0.3, 1, 3, 8)
    breathing = [{"rate_per_min": 15, "base_ohm": base_ohm, "depth_ohm": depth} for depth in depths]
    script = scripts.write(tmp_path / "depths.json", *(scripts.step(24, breathing=one) for one in breathing))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=250, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration")
    for i, depth in enumerate(depths):
        piece = impedance[(24 * i + 4) * 250 : 24 * (i + 1) * 250]
        assert piece.min() == pytest.approx(base_ohm, abs=0.01), depth
        assert np.ptp(piece) == pytest.approx(depth, rel=0.01), depth


def test_electrodes(tmp_path):
    """RA to LA sees 60 % of the breath and 150 % of the heart of RA to LL (as documented)."""
    sizes = []
    for lead in (0, 1):
        breath = {"rate_per_min": 12, "depth_ohm": 2, "cardiac_ohm": 0, "lead_i": lead}
        heart = {"rate_per_min": 0, "cardiac_ohm": 0.2, "lead_i": lead}
        script = scripts.write(tmp_path / f"{lead}.json", scripts.step(20, breathing=breath), scripts.step(20, breathing=heart))
        target = rendered(script, tmp_path / f"{lead}.wav", frame_rate_hz=250, bits=24, channels="respiration")
        impedance = read_wav(target).values("respiration")
        sizes.append((np.ptp(impedance[:5000]), np.ptp(impedance[6500:])))
    assert sizes[0] == pytest.approx((2, 0.2), rel=0.02)
    assert sizes[1] == pytest.approx((1.2, 0.3), rel=0.02)


def still(impedance: np.ndarray, base_ohm: float, depth_ohm: float) -> np.ndarray:
    """Runs of frames in which nothing moves, as rows of first frame and frame after the last."""
    calm = np.concatenate(([False], np.abs(impedance - base_ohm) < 0.002 * depth_ohm, [False]))
    return np.flatnonzero(np.diff(calm.astype(int))).reshape(-1, 2)


@pytest.mark.parametrize("length_s", [5, 10, 20, 35])
def test_apnoea_has_its_length(tmp_path, length_s):
    """Pauses of periodic breathing have the length that is set; breathing switched off, the length in the truth."""
    pauses = {"rate_per_min": 24, "depth_ohm": 1, "pause_s": length_s, "pause_every_s": length_s + 20}
    steps = [
        scripts.step(8 * (length_s + 20), breathing=pauses),
        scripts.step(12, breathing={"rate_per_min": 24, "depth_ohm": 1, "pause_s": 0}),
        scripts.step(length_s, breathing={"rate_per_min": 0}),
        scripts.step(12, breathing={"rate_per_min": 24}),
    ]
    script = scripts.write(tmp_path / "apnoea.json", *steps)
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=250, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration")
    seen = [run / 250 for run in still(impedance, 1000, 1) if run[1] - run[0] > 0.8 * length_s * 250]
    listed = [row for row in read_truth(target, "episodes") if row["episode"] == "apnoea"]
    listed = [(float(row["start_s"]), float(row["end_s"])) for row in listed]
    assert len(seen) == len(listed) >= 8
    for (from_s, to_s), (start_s, end_s) in zip(seen, listed, strict=True):
        assert to_s - from_s == pytest.approx(end_s - start_s, abs=0.2)
        assert (from_s, to_s) == pytest.approx((start_s, end_s), abs=0.15)
    for start_s, end_s in listed[:-1]:
        assert end_s - start_s == pytest.approx(length_s, abs=0.001)
    starts = np.array([start_s for start_s, _ in listed[:-1]])
    # To the nearest whole breath, as documented.
    assert np.diff(starts) == pytest.approx(length_s + 20, abs=60 / 24)
    breaths = np.array([float(row["time_s"]) for row in read_truth(target, "breaths")])
    for start_s, end_s in listed:
        assert not np.any((breaths > start_s) & (breaths < end_s - 1e-6)), "the truth has a breath within an apnoea"


def count_breaths(impedance: np.ndarray, frame_rate_hz: float, threshold_ohm: float) -> int:
    """A plain detector: the band that monitors use for newborns (0.2 to 2.5 Hz), then peaks over a threshold."""
    band = butter(2, (0.2, 2.5), "bandpass", fs=frame_rate_hz, output="sos")
    return len(find_peaks(sosfiltfilt(band, impedance), prominence=threshold_ohm)[0])


def test_the_heart_is_taken_for_breath_by_a_low_threshold_only(tmp_path):
    """The classic trap: no breath by the truth, and a detector that is set too low counts heartbeats."""
    for cardiac_ohm, counted in ((0.0, 0), (0.3, 40)):
        off = scripts.step(60, body="neonate", rate_bpm=110, breathing={"rate_per_min": 0, "cardiac_ohm": cardiac_ohm})
        on = scripts.step(60, breathing={"rate_per_min": 40, "depth_ohm": 1.5})
        script = scripts.write(tmp_path / "trap.json", on, off)
        options = {"frame_rate_hz": 250, "bits": 24, "channels": "II,respiration"}
        target = rendered(script, tmp_path / f"trap-{counted}.wav", **options)
        impedance = read_wav(target).values("respiration")
        breaths = np.array([float(row["time_s"]) for row in read_truth(target, "breaths")])
        apnoea = [row for row in read_truth(target, "episodes") if row["episode"] == "apnoea"]
        assert len(apnoea) == 1
        start_s, end_s = (float(apnoea[0][of]) for of in ("start_s", "end_s"))
        assert np.sum(breaths > start_s) == 0, "by the truth no breath is drawn in apnoea"
        assert end_s == pytest.approx(120, abs=0.01)
        quiet = impedance[round((start_s + 3) * 250) :]
        low, careful = count_breaths(quiet, 250, 0.1), count_breaths(quiet, 250, 0.6)
        assert careful == 0
        assert low == 0 if counted == 0 else low > counted, low
        assert count_breaths(impedance[: 60 * 250], 250, 0.6) == pytest.approx(40, abs=1), "which sees every breath"
        if counted:
            beats = np.array([float(row["time_s"]) for row in read_truth(target, "beats")])
            within = np.sum((beats > start_s + 3) & (beats < end_s - 0.3))
            assert low == pytest.approx(within, abs=2), "each heartbeat one false breath"


def test_breathing_without_depth_is_an_apnoea(tmp_path):
    """Nothing moves, so that no breath may be reported, and one apnoea is, from the last breath to the next."""
    steps = [scripts.step(20, breathing={"rate_per_min": 15, "depth_ohm": depth}) for depth in (1, 0, 1)]
    ramp = scripts.step(60, breathing={"depth_ohm": {"from": 1, "to": 0, "over_s": 20}})
    script = scripts.write(tmp_path / "flat.json", *steps, ramp)
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=100, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration")
    seen = [run / 100 for run in still(impedance, 1000, 1) if run[1] - run[0] > 800]
    listed = [row for row in read_truth(target, "episodes") if row["episode"] == "apnoea"]
    listed = [(float(row["start_s"]), float(row["end_s"])) for row in listed]
    assert len(seen) == len(listed) == 2
    for (from_s, to_s), (start_s, end_s) in zip(seen, listed, strict=True):
        assert (from_s, to_s) == pytest.approx((start_s, end_s), abs=0.5)
    breaths = np.array([float(row["time_s"]) for row in read_truth(target, "breaths")])
    assert not any(np.any((breaths > start_s) & (breaths < end_s - 1e-6)) for start_s, end_s in listed)
    assert np.sum(breaths < 20) == 5


@pytest.mark.parametrize("ratio", [0.5, 1, 1.5, 2, 4])
@pytest.mark.parametrize("ventilated", [0, 1])
def test_expiration_over_inspiration(tmp_path, ratio, ventilated):
    breathing = {"rate_per_min": 12, "depth_ohm": 2, "expiration_ratio": ratio, "ventilated": ventilated}
    script = scripts.write(tmp_path / "ratio.json", scripts.step(40, breathing=breathing))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=500, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration")
    # The impedance rises during inspiration.
    period = impedance[5 * 500 : 35 * 500]
    rising = np.sum(np.diff(period) > 0) / len(period)
    assert rising == pytest.approx(1 / (1 + ratio), abs=0.01)
    for row in read_truth(target, "breaths")[:-1]:
        start_s, peak_s, end_s = (float(row[of]) for of in ("time_s", "peak_s", "end_s"))
        assert (end_s - peak_s) / (peak_s - start_s) == pytest.approx(ratio, rel=0.001)
        around = impedance[round(start_s * 500) : round(end_s * 500)]
        assert start_s + np.argmax(around) / 500 == pytest.approx(peak_s, abs=0.02)


def test_sighs(tmp_path):
    breathing = {"rate_per_min": 20, "depth_ohm": 1, "sigh_every": 9}
    script = scripts.write(tmp_path / "sighs.json", scripts.step(180, breathing=breathing))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=100, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration") - 1000
    tops = impedance[find_peaks(impedance, prominence=0.5)[0]]
    sighs = np.flatnonzero(tops > 1.5)
    assert len(sighs) == 6 and np.all(np.diff(sighs) == 10), "after nine breaths a sigh"
    assert tops[sighs] == pytest.approx(2.5, abs=0.02)
    assert np.delete(tops, sighs) == pytest.approx(1.0, abs=0.02)
    depths = [float(row["depth_ohm"]) for row in read_truth(target, "breaths")]
    assert tops == pytest.approx(depths, abs=0.01)


def test_waxing_and_waning(tmp_path):
    breathing = {"rate_per_min": 20, "depth_ohm": 1, "pause_s": 15, "pause_every_s": 60, "waxing_percent": 80}
    script = scripts.write(tmp_path / "waxing.json", scripts.step(300, breathing=breathing))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=100, bits=24, channels="respiration")
    impedance = read_wav(target).values("respiration") - 1000
    peaks = find_peaks(impedance, prominence=0.1)[0]
    groups = np.split(impedance[peaks], np.flatnonzero(np.diff(peaks) > 10 * 100) + 1)
    assert len(groups) >= 4
    for group in groups[:-1]:
        middle = len(group) // 2
        assert len(group) == pytest.approx(15, abs=1)
        assert group[0] < 0.4 and group[-1] < 0.4 and group[middle] > 0.95
        assert np.all(np.diff(group[: middle + 1]) > 0) and np.all(np.diff(group[middle + 1 :]) < 0)


def test_breaths_while_an_electrode_is_off_are_not_asked_for(tmp_path):
    """A finder of peaks in the impedance, which sees nothing while it is flat, finds every breath that is asked for."""
    steps = [scripts.step(60, breathing={"rate_per_min": 15, "depth_ohm": 1, "cardiac_ohm": 0})]
    steps += [{"duration_s": 41, "artefact": {"off_ll": 1}}, {"duration_s": 60, "artefact": {"off_ll": 0}}]
    steps += [{"duration_s": 41, "artefact": {"off_la": 1}}, {"duration_s": 10, "artefact": {"off_la": 0}}]
    target = rendered(scripts.write(tmp_path / "off.json", *steps), tmp_path / "out.wav", frame_rate_hz=250, bits=24, channels="respiration")
    impedance, listed = read_wav(target).values("respiration"), read_truth(target, "breaths")
    assert np.ptp(impedance[61 * 250 : 100 * 250]) < 0.01 and np.ptp(impedance[165 * 250 : 200 * 250]) > 0.9
    # The step of an electrode that comes off or back has a steeper flank than a breath.
    slow = sosfiltfilt(butter(2, 1.0, fs=250, output="sos"), impedance)
    tops, _ = find_peaks(slow, prominence=0.5, width=250)
    shown = [row for row in listed if row["measured"] == "yes"]
    assert len(listed) - len(shown) >= 10
    missed = [row for row in shown if np.min(np.abs(tops / 250 - float(row["peak_s"]))) > 0.3]
    assert missed == []
    (tmp_path / "found.csv").write_text("time_s\n" + "".join(f"{top / 250 - 1.4}\n" for top in tops), encoding="utf-8")
    scored = run("score", target.with_suffix(".breaths.csv"), tmp_path / "found.csv", "--what", "breaths", "--min", "se=100")
    assert scored.code == 0, scored


def test_the_intracranial_pressure_moves_with_the_chest_and_says_why(tmp_path):
    script = scripts.write(tmp_path / "intracranial.json", scripts.step(60, "asystole", chest={"breathing_mmhg": 8}), scripts.step(60, "asystole", chest={"breathing_mmhg": 0}))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=250, bits=24, channels="intracranial")
    samples = read_wav(target).values("intracranial")
    swings = [np.ptp(samples[(first + 20) * 250 : (first + 55) * 250]) for first in (0, 60)]
    assert swings[0] == pytest.approx(4, abs=0.3) and swings[1] < 0.3
    whys = {row["step"]: row["why"] for row in read_truth(target, "readings") if row["reading"] == "intracranial-mean"}
    assert "moves with breathing" in whys["1"] and "breathing" not in whys["2"], whys
