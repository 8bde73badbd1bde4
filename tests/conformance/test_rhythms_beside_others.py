"""Rhythms that differ from their neighbours in one thing: pulse, width, regularity, sensing. All read from the samples by scipy.

Criteria are those of textbooks of electrocardiography (from memory).
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from ideal_monitor import Signals, read_heart
from program import succeed
from reading import read_truth, read_wav
from scipy.signal import butter, find_peaks, sosfiltfilt, welch

FRAME_RATE_HZ = 2000


def played(folder, rhythm: str, *words, duration: str = "60s", channels: str = "I,II,V1,V6,arterial"):
    target = folder / f"{rhythm}.wav"
    succeed(
        "render", "--rhythm", rhythm, *words, "--duration", duration, "--frame-rate", FRAME_RATE_HZ, "--channels", channels, "-o", target, "--force"
    )
    recording = read_wav(target)
    return {name: recording.values(name) for name in channels.split(",")}


def qrs_frames(lead: np.ndarray, least: float = 0.25) -> np.ndarray:
    """Middles of the steep parts, by the energy of the band from 5 to 25 Hz."""
    fast = sosfiltfilt(butter(2, (5, 25), "band", fs=FRAME_RATE_HZ, output="sos"), lead)
    energy = np.convolve(fast**2, np.ones(160) / 160, "same")
    return find_peaks(energy, height=least * np.quantile(energy, 0.99), distance=int(0.18 * FRAME_RATE_HZ))[0]


def intervals_s(lead: np.ndarray) -> np.ndarray:
    return np.diff(qrs_frames(lead))[1:-1] / FRAME_RATE_HZ


def typical(lead: np.ndarray, half_s: float = 0.12) -> np.ndarray:
    half = int(half_s * FRAME_RATE_HZ)
    return np.median([lead[at - half : at + half] for at in qrs_frames(lead)[1:-1]], axis=0)


def test_pulseless_activity_has_beats_and_no_pulse(tmp_path):
    channels = played(tmp_path, "pulseless-electrical-activity")
    assert 60 / intervals_s(channels["II"]).mean() == pytest.approx(35, abs=0.5)
    assert np.ptp(channels["arterial"][FRAME_RATE_HZ * 20 :]) < 1.0
    script = tmp_path / "loss.json"
    steps = [{"duration_s": 20, "rhythm": "sinus"}, {"duration_s": 40, "rhythm": "pulseless-electrical-activity"}]
    script.write_text(json.dumps({"version": 1, "steps": steps}), encoding="utf-8")
    succeed("render", script, "--frame-rate", 250, "--channels", "II,arterial", "-o", tmp_path / "loss.wav")
    arterial = read_wav(tmp_path / "loss.wav").values("arterial")
    assert np.ptp(arterial[250 * 10 : 250 * 15]) > 30
    # Schipke 2003: 24.2 mmHg without flow.
    assert arterial[-1] == pytest.approx(24.2, abs=2.0)


def test_block_makes_fibrillation_regular(tmp_path):
    channels = played(tmp_path, "atrial-fibrillation-complete-block")
    rr = intervals_s(channels["II"])
    assert rr.std() / rr.mean() < 0.02
    assert 60 / rr.mean() == pytest.approx(42, abs=0.3)
    # Between T and the next QRS, f waves of 4 to 9 Hz and no P wave before each QRS.
    frames = qrs_frames(channels["V1"])
    quiet = [channels["V1"][at + int(0.65 * FRAME_RATE_HZ) : at + int(1.25 * FRAME_RATE_HZ)] for at in frames[1:-1]]
    hz, power = welch(np.array(quiet) - np.mean(quiet, axis=1, keepdims=True), FRAME_RATE_HZ, nperseg=1200, nfft=8000)
    assert 4 <= hz[np.argmax(power.mean(axis=0))] <= 9
    before = [channels["II"][at - int(0.3 * FRAME_RATE_HZ) : at - int(0.08 * FRAME_RATE_HZ)] for at in frames[1:-1]]
    assert np.ptp(np.mean(before, axis=0)) < 0.06, "nothing keeps step with the QRS"


def test_pre_excited_fibrillation_is_fast_irregular_and_wide(tmp_path):
    fibrillating, excited = (played(tmp_path, rhythm) for rhythm in ("atrial-fibrillation-pre-excited", "pre-excitation"))
    rr = intervals_s(fibrillating["II"])
    assert 60 / rr.mean() == pytest.approx(190, rel=0.04)
    assert 0.12 < rr.std() / rr.mean() < 0.28
    for lead in ("I", "V6"):
        assert np.corrcoef(typical(fibrillating[lead], 0.06), typical(excited[lead], 0.06))[0, 1] > 0.97


def test_aberrancy_is_wide_regular_and_without_fusion(tmp_path):
    aberrant, blocked, narrow = (
        played(tmp_path, rhythm)
        for rhythm in ("supraventricular-tachycardia-aberrant", "right-bundle-branch-block", "supraventricular-tachycardia")
    )
    assert intervals_s(aberrant["V6"]).std() < 0.002
    beats = [aberrant["V1"][at - 120 : at + 120] for at in qrs_frames(aberrant["V1"])[3:-3]]
    assert np.ptp(beats, axis=0).max() < 0.1, "no fusion, no capture"
    assert np.corrcoef(typical(aberrant["V1"], 0.07), typical(blocked["V1"], 0.07))[0, 1] > 0.9
    assert np.corrcoef(typical(aberrant["V1"], 0.07), typical(narrow["V1"], 0.07))[0, 1] < 0.6


def test_tachycardia_of_the_right_ventricle_looks_like_left_bundle_branch_block(tmp_path):
    channels = played(tmp_path, "ventricular-tachycardia-right")
    assert 60 / intervals_s(channels["II"]).mean() == pytest.approx(165, abs=1)
    v1, ii = typical(channels["V1"]), typical(channels["II"])
    assert -v1.min() > 2 * v1.max() and ii.max() > 2 * -ii.min()
    # P waves keep a time of their own: averaged over the beats they vanish, and each beat differs by them.
    beats = np.array([channels["II"][at - 200 : at + 200] for at in qrs_frames(channels["II"])[3:-3]])
    assert np.ptp(beats, axis=0).max() > 0.08


def test_a_device_that_senses_waits_for_own_beats(tmp_path):
    """Each pulse comes an interval of 1 s after the pulse or own QRS before it, never sooner; own beats, paced beats and fusion all
    occur."""
    channels = played(tmp_path, "paced-vvi-competing", "--set", "pacing.amplitude_mv=20", duration="180s")
    spikes = find_peaks(np.abs(np.diff(channels["II"])), height=3, distance=100)[0]
    # A pulse of 1 ms is short against any wave.
    lead = channels["II"].copy()
    for at in spikes:
        lead[at - 8 : at + 12] = np.linspace(lead[at - 8], lead[at + 12], 20)
    # A paced QRS is low and slow beside an own one.
    beats = qrs_frames(lead, 0.03)
    size = np.array([lead[at - 160 : at + 160].max() + lead[at - 160 : at + 160].min() for at in beats])
    after_spike = np.array([np.any((at - spikes > 0) & (at - spikes < 420)) for at in beats])
    own = ~after_spike
    assert own.sum() > 20 and after_spike.sum() > 20
    assert (size[own] > 0.2).all(), "own QRS upright in II"
    assert (size[after_spike] < -0.3).sum() > 10, "paced QRS downwards in II"
    assert ((size[after_spike] > -0.3)).sum() > 3, "fusion, or a pulse within an own QRS"
    events = np.sort(np.concatenate((spikes, beats[own])))
    waits = [(at - events[np.searchsorted(events, at) - 1]) / FRAME_RATE_HZ for at in spikes[1:]]
    # An own QRS is found in its middle, within 60 ms of the onset that the device senses.
    assert min(waits) > 0.92 and max(waits) < 1.06
    assert np.diff(beats).max() / FRAME_RATE_HZ < 1.16, "no silence beyond the interval, from middle to middle of two kinds of QRS"


def pacing_faults(folder, rhythm: str, duration: str) -> tuple[set[str], set[str]]:
    """Faults of a pacing device that the samples show, and the alarms about it that are reported."""
    ecg, others = ("I", "II", "V1", "V5"), ("respiration", "arterial", "venous", "cuff")
    channels = played(folder, rhythm, duration=duration, channels=",".join((*ecg, *others)))
    leads = np.column_stack([channels[lead] for lead in ecg]).astype(np.float64)
    heart = read_heart(Signals(FRAME_RATE_HZ, leads, *(channels[name] for name in others)))
    own, shortest_s = heart.qrs_s[~heart.captured], np.diff(heart.pulses_s).min()
    assert len(heart.pulses_s) > 20
    # A device that waits for own beats often has no usual interval: it waits for the shortest one.
    since_own = np.array([at - own[own < at].max(initial=-np.inf) for at in heart.pulses_s])
    found = {"pacing-no-sensing"} if ((since_own > 0.1) & (since_own < 0.6 * shortest_s)).any() else set()
    found |= {"pacing-no-capture"} if not heart.answered.all() else set()
    reported = {row["alarm"] for row in read_truth(folder / f"{rhythm}.wav", "alarms")}
    return found, {alarm for alarm in reported if alarm.startswith("pacing-")}


def test_a_device_raises_the_alarms_of_its_faults_alone(tmp_path):
    assert pacing_faults(tmp_path, "paced-vvi-competing", "180s") == (set(), set())
    for rhythm, alarm in (("paced-no-capture", "pacing-no-capture"), ("paced-no-sensing", "pacing-no-sensing")):
        found, reported = pacing_faults(tmp_path, rhythm, "60s")
        assert alarm in found & reported, (rhythm, found, reported)
