"""R and ST of each beat in single leads, and the QRS peak, against the samples by numpy and scipy.

Beats into which the next P wave runs are left out, as are leads where two tops are as good as equal.
Heart vectors come from the eight leads by least squares over Dower's matrix (Dower, Machado and Osborne, Clin Cardiol 1980).
"""

from __future__ import annotations

import csv

import numpy as np
import pytest
from program import assert_refused, run, succeed
from reading import beside, read_wav
from scipy.signal import find_peaks

FRAME_RATE_HZ = 2000
LEADS = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6"]
DOWER = np.array(
    [
        [0.632, -0.235, 0.059],
        [0.235, 1.066, -0.132],
        [-0.515, 0.157, -0.917],
        [0.044, 0.164, -1.387],
        [0.882, 0.098, -1.277],
        [1.213, 0.127, -0.601],
        [1.125, 0.127, -0.086],
        [0.831, 0.076, 0.230],
    ]
)

CASES = {
    "adult": ("sinus",),
    "child": ("sinus", "--body", "child"),
    "newborn": ("sinus", "--body", "neonate"),
    "ST": ("sinus", "--set", "st.lateral_mv=0.2", "--set", "st.inferior_mv=-0.15"),
    "Q": ("sinus", "--set", "q.inferior_mv=0.7"),
    "axis": ("sinus", "--set", "ecg.axis_deg=70"),
    "gain": ("sinus", "--set", "ecg.gain=2.5", "--set", "breathing.ecg_percent=25"),
    "life": ("sinus", "--set", "life=lively", "--set", "variability.noise_mv=0"),
    "left block": ("left-bundle-branch-block",),
    "left block, newborn": ("left-bundle-branch-block", "--body", "neonate", "--rate", "110"),
    "right block": ("right-bundle-branch-block",),
    "pre-excitation": ("pre-excitation",),
    "ventricular": ("ventricular-tachycardia", "--rate", "110"),
    "ventricular, child": ("ventricular-tachycardia", "--rate", "110", "--body", "child"),
    "agonal": ("agonal",),
    "paced": ("paced-vvi", "--set", "pacing.amplitude_mv=0"),
}


def table(target, what):
    with open(beside(target, what), newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def rendered(folder, flags, channels="leads", more=()):
    target = folder / "out.wav"
    succeed(
        "render", "--rhythm", *flags, "--duration", "30s", "--frame-rate", FRAME_RATE_HZ, "--channels", channels,
        "--bits", "float", "--lead-truth", "leads", "-o", target, *more,
    )
    return target


def frames(beat, *names):
    return [round(float(beat[name]) * FRAME_RATE_HZ) for name in names]


def whole_beats(target, n_frames, clear_s):
    """Beats with their J + 60 ms within the signal, the first of all left out, and those that a P wave of another beat runs into, which
    begins from `clear_s` before QRS onset to J + 60 ms. A beat's own P wave must begin 100 ms before it where `clear_s` is not 0."""
    atria = np.array([float(row["time_s"]) for row in table(target, "atrial.csv")])

    def alone(beat):
        onset, end = float(beat["qrs_onset_s"]), float(beat["qrs_end_s"]) + 0.06
        inside = (atria > onset - clear_s) & (atria < end)
        own = np.isclose(atria, float(beat["p_onset_s"] or -1.0), atol=1e-5) & ((atria < onset - 0.1) | (clear_s == 0.0))
        return end < n_frames / FRAME_RATE_HZ - 0.001 and not (inside & ~own).any()

    return [beat for beat in table(target, "beats.csv")[1:] if alone(beat)]


def clear_top(size):
    """Where `size` is largest, unless another top comes within 4 % of it."""
    top = int(np.argmax(size))
    others = [other for other in find_peaks(size)[0] if abs(other - top) > 4 and size[other] > 0.96 * size[top]]
    return None if others or 0.96 * size[top] < size[-1] and top < len(size) - 4 else top


@pytest.mark.parametrize("case", CASES)
def test_r_and_st_are_those_of_the_samples(tmp_path, case):
    target = rendered(tmp_path, CASES[case])
    recording = read_wav(target)
    rows = {(row["time_s"], row["lead"]): row for row in table(target, "leads.csv")}
    beats = whole_beats(target, recording.n_frames, 0.0)
    compared = 0
    for beat in beats:
        onset, end = frames(beat, "qrs_onset_s", "qrs_end_s")
        for lead in LEADS:
            values, row = recording.values(lead), rows[beat["time_s"], lead]
            around = values[onset : end + 1] - values[onset]
            st_mv = values[end + round(0.06 * FRAME_RATE_HZ)] - values[onset]
            # ST may rise by 1 uV in a frame.
            assert float(row["st_mv"]) == pytest.approx(st_mv, abs=0.003), (lead, beat)
            r = clear_top(np.abs(around))
            if r is None:
                continue
            compared += 1
            assert float(row["r_time_s"]) * FRAME_RATE_HZ == pytest.approx(onset + r, abs=1.0), (lead, beat, row)
            assert float(row["r_mv"]) == pytest.approx(around[r], rel=0.01, abs=0.002), (lead, beat, row)
    assert len(beats) >= 3
    assert compared >= 8 * len(beats), f"{compared} of {12 * len(beats)}"


@pytest.mark.parametrize("case", CASES)
def test_the_qrs_peak_is_the_longest_heart_vector(tmp_path, case):
    target = rendered(tmp_path, CASES[case])
    recording = read_wav(target)
    eight = np.array([recording.values(lead) for lead in LEADS if lead not in ("III", "aVR", "aVL", "aVF")])
    vector = np.linalg.lstsq(DOWER, eight, rcond=None)[0]
    compared = 0
    for beat in whole_beats(target, recording.n_frames, 0.3):
        onset, peak, end = frames(beat, "qrs_onset_s", "time_s", "qrs_end_s")
        top = clear_top(np.linalg.norm(vector[:, onset : end + 1] - vector[:, [onset]], axis=0))
        if top is not None:
            compared += 1
            assert peak == pytest.approx(onset + top, abs=1), beat
    assert compared >= 4


def test_the_triangle_of_a_test_signal_is_exact(tmp_path):
    settings = ("test.signal=triangular-qrs", "test.height_mv=1.5", "test.width_ms=80")
    target = rendered(tmp_path, ("sinus", *(flag for setting in settings for flag in ("--set", setting))))
    recording = read_wav(target)
    rows = table(target, "leads.csv")
    assert len(rows) >= 300
    for row in rows:
        values, at = recording.values(row["lead"]), round(float(row["r_time_s"]) * FRAME_RATE_HZ)
        assert row["r_time_s"] == row["time_s"]
        assert float(row["r_mv"]) == pytest.approx(values[at], abs=0.001)
        assert float(row["st_mv"]) == 0.0
    assert {round(float(row["r_mv"]), 4) for row in rows} == {1.5, 0.75, 0.0, -1.5}


def test_leads_stand_in_the_manifest_and_only_where_asked_for(tmp_path):
    target = rendered(tmp_path, ("sinus",))
    manifest = (tmp_path / "out.manifest.json").read_text(encoding="utf-8")
    assert "out.leads.csv" in manifest
    succeed("render", "--rhythm", "sinus", "--duration", "5s", "-o", target, "--force")
    assert not (tmp_path / "out.leads.csv").exists()
    assert_refused(run("render", "--rhythm", "sinus", "--duration", "5s", "--lead-truth", "II", "-o", "-"), "--lead-truth")
    assert_refused(run("render", "--rhythm", "sinus", "--duration", "5s", "--lead-truth", "arterial", "-o", target), "no lead")
