"""PR, QRS and QT as an outside delineator reads them: neurokit2's wavelet method (Martinez et al. 2004).

It was written for noisy recordings and has a bias of its own: on these noiseless waves it reads a QRS of 92 ms as about
102 ms at 75 to 200 bpm, and as 124 ms at 60 bpm and below, where it takes wavelets of another scale although the waves are
the same samples. So QRS is judged at 75 bpm and by its changes: 10 ms more set must be 10 ms more read.
"""

from __future__ import annotations

import os
import subprocess
import warnings

import numpy as np
import pytest
from program import succeed
from reading import read_beats, read_wav

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import neurokit2

PULSEWRIGHT = os.environ.get("PULSEWRIGHT", "pulsewright")
FRAME_RATE_HZ = 500


def render(tmp_path, rhythm: str, **fields) -> np.ndarray:
    """Lead II, mV, of 20 s of a rhythm."""
    out = tmp_path / f"{'-'.join(map(str, fields.values()))}.csv"
    settings = [word for name, value in fields.items() for word in ("--set", f"{name.replace('__', '.')}={value}")]
    subprocess.run(
        [PULSEWRIGHT, "render", "--rhythm", rhythm, "--duration", "20s", "--frame-rate", str(FRAME_RATE_HZ),
         "--channels", "ii", *settings, "-o", str(out)],
        check=True, capture_output=True, timeout=60,
    )
    # Lines of a hash, a line of names, then time and the one lead.
    lines = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    assert lines[0] == "time_s,II_mV"
    return np.loadtxt(lines[1:], delimiter=",")[:, 1]


def intervals_ms(lead_mv: np.ndarray) -> tuple[float, float, float]:
    """Median PR, QRS and QT, ms."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        _, peaks = neurokit2.ecg_peaks(lead_mv, FRAME_RATE_HZ)
        _, waves = neurokit2.ecg_delineate(lead_mv, peaks["ECG_R_Peaks"], FRAME_RATE_HZ, method="dwt")
    p, onset, end, t_end = (
        np.asarray(waves[name], dtype=float) for name in ("ECG_P_Onsets", "ECG_R_Onsets", "ECG_R_Offsets", "ECG_T_Offsets")
    )
    to_ms = 1000 / FRAME_RATE_HZ
    return tuple(float(np.nanmedian(span)) * to_ms for span in (onset - p, end - onset, t_end - onset))


@pytest.mark.parametrize("pr_ms", [130, 160, 200])
def test_pr_is_read_as_set(tmp_path, pr_ms):
    pr, _, _ = intervals_ms(render(tmp_path, "sinus", rate_bpm=75, ecg__pr_ms=pr_ms))
    assert pr == pytest.approx(pr_ms, abs=10)


@pytest.mark.parametrize("rate_bpm", [75, 100])
@pytest.mark.parametrize("qtc_ms", [380, 420])
def test_qt_is_read_as_set(tmp_path, rate_bpm, qtc_ms):
    _, _, qt = intervals_ms(render(tmp_path, "sinus", rate_bpm=rate_bpm, ecg__qtc_ms=qtc_ms))
    # Fridericia; the delineator's early QRS onset lengthens what it reads by half its bias on the QRS.
    assert qt == pytest.approx(qtc_ms * (60 / rate_bpm) ** (1 / 3), abs=12)


def test_qrs_follows_what_is_set(tmp_path):
    read = {set_ms: intervals_ms(render(tmp_path, "sinus", rate_bpm=75, ecg__qrs_ms=set_ms))[1] for set_ms in (80, 92, 104)}
    assert read[92] == pytest.approx(102, abs=10)
    assert read[104] - read[80] == pytest.approx(24, abs=10)
    assert read[80] < read[92] < read[104]


# The wavelets of either method lose an edge in one lead or another of a wide beat, and then read too little or nothing; so
# the widest that two methods read in three leads counts. In left bundle branch block neither finds the edges of the broad,
# notched R in any lead, and under 60 bpm the bias above makes every beat a wide one: test_wide_beats.py reads those, and every
# rhythm, with a rule that looks at all leads together.
WIDE = {
    "right-bundle-branch-block": 75,
    "pre-excitation": 75,
    "idioventricular-accelerated": 75,
    "ventricular-tachycardia": 150,
    "paced-vvi": 75,
}


def widest_qrs_ms(tmp_path, rhythm: str, rate_bpm: float) -> float:
    """Median QRS duration, ms, as the widest of two methods in three leads reads it, about the truth's peaks."""
    target = tmp_path / f"{rhythm}.wav"
    succeed("render", "--rhythm", rhythm, "--rate", rate_bpm, "--duration", "30s", "--channels", "I,II,V5", "-o", target)
    recording = read_wav(target)
    peaks = np.array([beat.frame for beat in read_beats(target) if 1.0 < beat.time_s < 29.0])
    found = []
    for lead in ("I", "II", "V5"):
        for method in ("dwt", "cwt"):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                _, waves = neurokit2.ecg_delineate(recording.values(lead), peaks, FRAME_RATE_HZ, method=method)
            onset, end = (np.asarray(waves[name], dtype=float) for name in ("ECG_R_Onsets", "ECG_R_Offsets"))
            if np.isfinite(end - onset).mean() > 0.5:
                found.append(float(np.nanmedian(end - onset)) * 1000 / FRAME_RATE_HZ)
    return max(found)


@pytest.mark.parametrize("rhythm", WIDE)
def test_wide_beats_are_read_as_wide(tmp_path, rhythm):
    # At least 120 ms: AHA/ACCF/HRS part III, 2009.
    assert widest_qrs_ms(tmp_path, rhythm, WIDE[rhythm]) >= 120


@pytest.mark.parametrize(("rhythm", "rate_bpm"), [("sinus", 75), ("junctional-accelerated", 80), ("supraventricular-tachycardia", 180)])
def test_narrow_beats_are_read_as_narrow(tmp_path, rhythm, rate_bpm):
    assert widest_qrs_ms(tmp_path, rhythm, rate_bpm) < 120
