"""Artefacts at a stated signal-to-noise ratio: signal and noise measured from the samples by the definition of the noise stress test.

Source: Moody, Muldrow, Mark, A noise stress test for arrhythmia detectors, Computers in Cardiology 11 (1984) 381-384, with the figures
(QRS from 50 ms before to 50 ms after, a²/8, windows of 1 s, the middle 90 %) of the documentation of the waveform database's tool
for it; from memory.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from program import assert_refused, run, succeed
from scipy.io import wavfile
from scipy.signal import find_peaks

HZ = 500
NOISES = ("mains", "wander", "breathing", "muscle", "motion", "surgery", "electrode", "tremor", "compression")


def lead_ii(folder, name, step, seed=5, seconds=300):
    """Lead II of a step, mV."""
    script, out = folder / f"{name}.json", folder / f"{name}.wav"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "seed": seed, "steps": [{"duration_s": seconds, **step}]}))
    succeed("render", script, "-o", out, "--channels", "II", "--bits", "float", "--frame-rate", HZ, "--force")
    return np.asarray(wavfile.read(out)[1], dtype=float)


def trimmed(values):
    """Mean of the middle 90 %."""
    ordered = np.sort(values)
    cut = len(ordered) // 20
    return ordered[cut : len(ordered) - cut].mean()


def signal_power(clean):
    """Of a lead without noise, in which R is the highest wave."""
    peaks, _ = find_peaks(clean, height=0.6 * clean.max(), distance=int(0.25 * HZ))
    half = HZ // 20
    heights = [np.ptp(clean[p - half : p + half + 1]) for p in peaks if half <= p < len(clean) - half]
    return trimmed(heights) ** 2 / 8


def noise_power(noise):
    windows = noise[: len(noise) // HZ * HZ].reshape(-1, HZ)[:300]
    return trimmed(windows.std(axis=1)) ** 2


@pytest.mark.parametrize("noise", NOISES)
def test_an_artefact_has_the_ratio_that_is_asked_for(tmp_path, noise):
    step = {"rate_bpm": 80, "rhythm": "sinus"}
    clean = lead_ii(tmp_path, "clean", step)
    for db in (12, -3):
        loud = lead_ii(tmp_path, "loud", {**step, "artefact": {f"{noise}_snr_db": db}})
        measured = 10 * np.log10(signal_power(clean) / noise_power(loud - clean))
        assert abs(measured - db) < 0.2, (noise, db, measured)


def test_the_ratio_follows_the_signal_that_the_step_has(tmp_path):
    small = {"ecg": {"gain": 0.5}, "body": "neonate"}
    clean = lead_ii(tmp_path, "clean", small)
    loud = lead_ii(tmp_path, "loud", {**small, "artefact": {"muscle_snr_db": 6}})
    assert abs(10 * np.log10(signal_power(clean) / noise_power(loud - clean)) - 6) < 0.2


def test_a_suite_plan_takes_ratios(tmp_path):
    plan = {
        "version": 1, "duration_s": 20, "score": {"learning_s": 0},
        "blocks": [{"rhythm": ["sinus"], "set": {"artefact.electrode_snr_db": [0, 12]}}],
    }
    (tmp_path / "plan.json").write_text(json.dumps(plan))
    listed = succeed("suite", tmp_path / "plan.json", "--list").stdout.decode()
    assert "artefact.electrode_snr_db=0-" in listed and "artefact.electrode_snr_db=12-" in listed
    assert "same signal" not in listed


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ({"artefact": {"muscle_snr_db": 90}}, ["muscle_snr_db"]),
        ({"artefact": {"muscle_snr_db": 6, "muscle_mv": 1}}, ["an amplitude beside its ratio"]),
        ({"artefact": {"muscle_snr_db": 6}, "rhythm": "asystole"}, ["no beats in lead II"]),
        ({"artefact": {"muscle_snr_db": 6}, "rhythm": "each"}, ["differs from rhythm to rhythm"]),
        ({"artefact": {"muscle_snr_db": -40}}, ["at most 10"]),
        ({"artefact": {"muscle_snr": 6}}, ["muscle_snr"]),
    ],
)
def test_what_has_no_ratio_is_refused(tmp_path, step, words):
    path = tmp_path / "s.json"
    path.write_text(json.dumps({"version": 1, "steps": [{"duration_s": 10, **step}]}))
    assert_refused(run("check", path), *words)
