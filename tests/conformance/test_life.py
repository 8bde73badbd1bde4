"""Life of beats and noise in the band of the QRS, read from the samples with numpy and scipy.

Ranges at resting life are those of persons at rest: successive beats correlate by 0.984 to 0.989 in records 100 and s0010_re. R
amplitude varies by 5 to 7 %, and QRS power above 25 Hz is 0.15 of the whole: both measured in record 100 alone.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
import wfdb
from discriminator import RATE_HZ, r_peaks
from program import ROOT, succeed
from reading import read_truth, read_wav
from scipy.signal import butter, filtfilt, resample_poly, welch

LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")
FRAME_RATE_HZ = 500
RECORDINGS = ROOT / "tests" / "data" / "recordings"


def leads_and_beats(folder, name: str, *words, duration: str = "60s"):
    """Eight leads, mV, frames by leads, and the beats of the truth."""
    target = folder / f"{name}.wav"
    succeed("render", *words, "--duration", duration, "--frame-rate", FRAME_RATE_HZ, "--channels", ",".join(LEADS), "-o", target)
    recording = read_wav(target)
    return np.column_stack([recording.values(lead) for lead in LEADS]), read_truth(target, "beats")


def r_frames(leads_mv: np.ndarray, beats) -> list[int]:
    onsets = [round(float(beat["qrs_onset_s"]) * FRAME_RATE_HZ) for beat in beats][2:-2]
    return [onset + int(np.argmax(leads_mv[onset : onset + 50, 1])) for onset in onsets]


def successive_correlation(leads_mv: np.ndarray, frames: list[int]) -> float:
    ii = filtfilt(*butter(2, 0.5 / (FRAME_RATE_HZ / 2), "high"), leads_mv[:, 1])
    windows = np.array([ii[frame - 125 : frame + 175] for frame in frames])
    return float(np.median([np.corrcoef(a, b)[0, 1] for a, b in zip(windows, windows[1:], strict=False)]))


def test_beats_at_rest_differ_as_a_persons_do(tmp_path):
    leads_mv, beats = leads_and_beats(tmp_path, "resting", "--rhythm", "sinus", "--set", "life=resting")
    frames = r_frames(leads_mv, beats)
    assert 0.98 <= successive_correlation(leads_mv, frames) <= 0.995
    heights = np.array([leads_mv[f - 10 : f + 10, 1].max() - np.median(leads_mv[f - 60 : f - 25, 1]) for f in frames])
    assert 0.02 <= heights.std() / heights.mean() <= 0.08
    singular = np.linalg.svd(leads_mv - leads_mv.mean(axis=0), compute_uv=False)
    beyond_mv = np.sqrt((singular[3:] ** 2).sum() / leads_mv.size)
    # A pure dipole has none; recordings have 0.024 mV.
    assert 0.010 <= beyond_mv <= 0.040


def test_the_waves_of_a_qrs_differ_from_beat_to_beat_by_themselves(tmp_path):
    """Without noise, and without the breath that turns the axis: R and the shape of QRS in V2 and V5 still change."""
    words = [word for name in ("axis_deg", "noise_mv", "t_percent", "qrs_percent") for word in ("--set", f"variability.{name}=0")]
    leads_mv, beats = leads_and_beats(tmp_path, "shape", "--rhythm", "sinus", "--set", "life=resting", *words)
    onsets = [round(float(beat["qrs_onset_s"]) * FRAME_RATE_HZ) for beat in beats][2:-2]
    for lead in (3, 6):
        qrs = np.array([leads_mv[onset - 5 : onset + 55, lead] for onset in onsets])
        heights = np.ptp(qrs, axis=1)
        assert 0.01 < heights.std() / heights.mean() < 0.08
        scaled = qrs / heights[:, None]
        assert scaled.std(axis=0).max() > 0.01, "more than one size of one shape"


def test_without_life_beats_are_equal_and_a_dipole(tmp_path):
    leads_mv, beats = leads_and_beats(tmp_path, "none", "--rhythm", "sinus")
    heights = [leads_mv[f - 10 : f + 10, 1].max() for f in r_frames(leads_mv, beats)]
    assert np.ptp(heights) < 0.02, "only where frames fall on the wave"
    singular = np.linalg.svd(leads_mv - leads_mv.mean(axis=0), compute_uv=False)
    assert np.sqrt((singular[3:] ** 2).sum() / leads_mv.size) < 0.001


@pytest.mark.parametrize("rhythm", ["sinus", "ventricular-tachycardia", "atrial-flutter", "asystole"])
def test_two_seeds_never_give_the_same_signal(tmp_path, rhythm):
    one, other = (
        leads_and_beats(tmp_path, f"{rhythm}-{seed}", "--rhythm", rhythm, "--seed", seed, "--set", "life=resting", duration="10s")[0]
        for seed in (1, 2)
    )
    assert (np.abs(one - other).max(axis=0) > 0.01).all()


def test_the_qrs_is_as_steep_and_fast_as_a_recorded_one(tmp_path):
    leads_mv, beats = leads_and_beats(tmp_path, "steep", "--rhythm", "sinus", "--rate", 60)
    frame = r_frames(leads_mv, beats)[3]
    ii = leads_mv[frame - 100 : frame + 100, 1] - leads_mv[frame - 30, 1]
    steepest = np.abs(np.diff(ii)).max() * FRAME_RATE_HZ
    assert 67 <= steepest / ii.max() <= 144
    onset, end = (round(float(beats[5][name]) * FRAME_RATE_HZ) for name in ("qrs_onset_s", "qrs_end_s"))
    qrs = leads_mv[onset : end + 1, 1]
    qrs = np.pad(qrs - np.linspace(qrs[0], qrs[-1], len(qrs)), 2000)
    power = np.abs(np.fft.rfft(qrs)) ** 2
    hz = np.fft.rfftfreq(len(qrs), 1 / FRAME_RATE_HZ)
    assert 0.02 <= power[hz > 25].sum() / power[1:].sum() <= 0.15


def test_the_st_segment_is_not_level_and_s_in_v1_has_one_lowest_point(tmp_path):
    leads_mv, beats = leads_and_beats(tmp_path, "st", "--rhythm", "sinus", "--rate", 60)
    beat = beats[5]
    j = round(float(beat["qrs_end_s"]) * FRAME_RATE_HZ)
    for after in (10, 30):
        assert (np.abs(leads_mv[j + after]) > 0.004).sum() >= 7, "J + 20 and J + 60 ms"
    assert (np.diff(leads_mv[j + 10 : j + 90, 1]) > -0.0005).all(), "II rises from J into T"
    v1 = leads_mv[round(float(beat["qrs_onset_s"]) * FRAME_RATE_HZ) : j, 2]
    inner = v1[1:-1]
    lowest = (inner < v1[:-2]) & (inner <= v1[2:]) & (inner < -0.2)
    assert lowest.sum() == 1
    assert (v1 < 0.97 * v1.min()).sum() * 1000 / FRAME_RATE_HZ <= 8


def test_asystole_at_rest_has_a_baseline_and_none_without_life(tmp_path):
    still, _ = leads_and_beats(tmp_path, "still", "--rhythm", "asystole", duration="10s")
    assert (still == 0).all()
    living, _ = leads_and_beats(tmp_path, "living", "--rhythm", "asystole", "--set", "life=resting", duration="30s")
    assert ((living.std(axis=0) > 0.010) & (living.std(axis=0) < 0.040)).all()


def test_electrode_noise_lies_where_detectors_listen(tmp_path):
    noise, _ = leads_and_beats(tmp_path, "electrode", "--rhythm", "asystole", "--set", "artefact.electrode_mv=1", duration="300s")
    assert noise.std(axis=0) == pytest.approx(np.ones(len(LEADS)), abs=0.08)
    hz, power = welch(noise, FRAME_RATE_HZ, nperseg=8192, axis=0)
    total = power.sum(axis=0)
    assert (power[(hz >= 0.5) & (hz <= 12)].sum(axis=0) / total > 0.8).all()
    assert (power[(hz >= 5) & (hz <= 15)].sum(axis=0) / total > 0.08).all()


def test_electrode_noise_comes_in_bursts(tmp_path):
    words = ("artefact.electrode_mv=1", "artefact.electrode_burst_s=3", "artefact.electrode_every_s=10")
    sets = [word for setting in words for word in ("--set", setting)]
    noise, _ = leads_and_beats(tmp_path, "bursts", "--rhythm", "asystole", *sets, duration="100s")
    on = (np.abs(noise) > 0).any(axis=1)
    assert on.mean() == pytest.approx(0.3, abs=0.02)
    for k in range(10):
        part = on[k * 5000 : (k + 1) * 5000]
        assert part.sum() == pytest.approx(1500, abs=15), "edges swell from nothing"


def test_an_amplitude_that_a_step_changes_glides(tmp_path):
    quiet = {"artefact": {"wander_mv": 0, "breathing_mv": 0}, "ecg": {"gain": 1}}
    loud = {"artefact": {"wander_mv": 1, "breathing_mv": 1}, "ecg": {"gain": 3}}
    # Steps that end at many phases of the beat.
    steps = [{"duration_s": 2 + 0.137 * k, "rhythm": "sinus", **(loud if k % 2 else quiet)} for k in range(12)]
    script = tmp_path / "steps.json"
    script.write_text(json.dumps({"version": 1, "steps": steps}), encoding="utf-8")
    target = tmp_path / "steps.wav"
    succeed("render", script, "--frame-rate", FRAME_RATE_HZ, "--channels", ",".join(LEADS), "-o", target)
    recording = read_wav(target)
    leads_mv = np.column_stack([recording.values(lead) for lead in LEADS])
    starts = np.cumsum([2 + 0.137 * k for k in range(12)])[:-1]
    steady, _ = leads_and_beats(tmp_path, "steady", "--rhythm", "sinus", "--set", "ecg.gain=3", duration="20s")
    steepest = np.abs(np.diff(steady, axis=0)).max()
    for start in starts:
        frame = round(start * FRAME_RATE_HZ)
        assert np.abs(np.diff(leads_mv[frame - 3 : frame + 4], axis=0)).max() < 1.05 * steepest
        # A jump shows in the second difference as no wave does.
        bend = np.abs(np.diff(leads_mv[frame - 3 : frame + 4], 2, axis=0)).max()
        assert bend <= 1.1 * np.abs(np.diff(steady, 2, axis=0)).max()


def typical_beat(leads_mv: np.ndarray, beats) -> np.ndarray:
    onsets = [round(float(beat["qrs_onset_s"]) * FRAME_RATE_HZ) for beat in beats][2:-2]
    return np.median([leads_mv[onset - 100 : onset + 250] for onset in onsets], axis=0)


def test_each_seed_is_a_person_of_its_own_who_stays_the_same(tmp_path):
    persons = []
    for seed in range(12):
        words = ("--rhythm", "sinus", "--rate", 60, "--seed", seed, "--set", "variability.person_percent=15")
        leads_mv, beats = leads_and_beats(tmp_path, f"person-{seed}", *words, duration="12s")
        beat = typical_beat(leads_mv, beats)
        for k, other in enumerate(beats[2:-2]):
            onset = round(float(other["qrs_onset_s"]) * FRAME_RATE_HZ)
            assert np.abs(leads_mv[onset - 100 : onset + 250] - beat).max() < 0.06, f"beat {k}: where frames fall on steep waves"
        persons.append(beat)
    usual = typical_beat(*leads_and_beats(tmp_path, "usual", "--rhythm", "sinus", "--rate", 60, duration="12s"))
    r, t = (np.array([beat[part].max(axis=0) for beat in [*persons, usual]]) for part in (slice(95, 150), slice(180, 250)))
    for lead in ("I", "II", "V3", "V4", "V5"):
        k = LEADS.index(lead)
        assert 0.05 < r[:-1, k].std() / r[-1, k] < 0.5, f"R of {lead}"
        assert 0.1 < t[:-1, k].std() / t[-1, k] < 0.6, f"T of {lead}"
        assert (t[:-1, k] > 0.02).all(), "T stays upright"
    for a, b in zip(persons, persons[1:], strict=False):
        assert np.abs(a - b).max() > 0.1


def recorded_rms_uv(record: str, frames: int) -> list[tuple[float, float]]:
    """Of each of our leads in a recording: RMS below 0.5 Hz, and between T and P from 15 to 45 Hz, uV."""
    found = []
    signals = wfdb.rdrecord(str(RECORDINGS / record), sampto=frames)
    for name, lead in zip(signals.sig_name, signals.p_signal.T, strict=True):
        if name.upper() not in LEADS and name != "MLII":
            continue
        even = resample_poly(lead - np.median(lead), RATE_HZ, signals.fs)
        hz, density = welch(even, RATE_HZ, nperseg=min(4096, len(even)))
        fast = filtfilt(*butter(3, (15 / (RATE_HZ / 2), 45 / (RATE_HZ / 2)), "band"), even)
        peaks = r_peaks(even)
        rests = [fast[a + int(0.55 * (b - a)) : a + int(0.72 * (b - a))] for a, b in zip(peaks, peaks[1:], strict=False)]
        quiet = np.sqrt(np.median([np.mean(rest**2) for rest in rests]))
        found.append((1000 * np.sqrt(density[hz < 0.5].sum() * hz[1]), 1000 * quiet))
    return found


def test_noise_has_the_colour_of_recordings(tmp_path):
    """Of record 100 and s0010_re: ours alone is no more below 0.5 Hz than they have with all their wander, and lies among them from 15 to
    45 Hz."""
    words = ("--rhythm", "asystole", "--set", "variability.noise_mv=0.026")
    noise, _ = leads_and_beats(tmp_path, "colour", *words, duration="600s")
    assert noise.std(axis=0) == pytest.approx(np.full(len(LEADS), 0.026), rel=0.15)
    hz, density = welch(noise, FRAME_RATE_HZ, nperseg=8192, axis=0)
    rms_uv = lambda low, high: 1000 * np.sqrt(density[(hz >= low) & (hz < high)].sum(axis=0) * hz[1])  # noqa: E731
    recorded = np.array(recorded_rms_uv("100", 300 * 360) + recorded_rms_uv("s0010_re", 15_000))
    assert len(recorded) == 10
    (least_slow, least_fast), (most_slow, most_fast) = recorded.min(axis=0), recorded.max(axis=0)
    slow, fast = rms_uv(0, 0.5), rms_uv(15, 45)
    assert (slow > least_slow / 2).all() and (slow < most_slow).all(), (slow, recorded)
    assert least_fast < np.median(fast) < most_fast, (fast, recorded)
    assert (fast > least_fast / 2).all() and (fast < most_fast).all(), (fast, recorded)
    assert fast.max() > 1.3 * fast.min(), "electrodes do not sit equally well"
