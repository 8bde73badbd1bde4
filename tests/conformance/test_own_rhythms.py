"""Rhythms of a script's own, read from the samples by scipy: the intervals and waves that their documents ask for."""

from __future__ import annotations

import json

import numpy as np
from program import succeed
from scipy.io import wavfile
from scipy.signal import find_peaks

SCRIPT = {
    "version": 1,
    "notes": "Invented data.",
    "rhythms": {
        "slow-flutter": {
            "extends": "atrial-flutter", "usual": {"bpm": 240}, "min_bpm": 180, "settings": {"heart": {"av_ratio": 3}},
        },
        "couplets": {"extends": "ventricular-trigeminy", "ectopy": {"run": 2, "share": 0.6, "run_period": 0.55}},
    },
}


def lead(tmp_path, rhythm: str, **settings) -> tuple[int, np.ndarray]:
    """A minute of lead II in mV, and its rate."""
    script, out = tmp_path / "own.json", tmp_path / "own.wav"
    script.write_text(json.dumps(SCRIPT | {"steps": [{"duration_s": 60, "rhythm": rhythm, **settings}]}))
    succeed("render", str(script), "-o", str(out), "--channels", "II", "--bits", "float")
    hz, samples = wavfile.read(out)
    return hz, np.asarray(samples, dtype=float)


def beats(hz: int, mv: np.ndarray) -> np.ndarray:
    """Times of the steepest deflections, s."""
    slope = np.abs(np.gradient(mv))
    smooth = np.convolve(slope, np.ones(hz // 10) / (hz // 10), "same")
    return find_peaks(smooth, height=0.4 * smooth.max(), distance=int(0.3 * hz))[0] / hz


def test_flutter_has_the_atrial_rate_and_the_ratio_of_its_document(tmp_path):
    hz, mv = lead(tmp_path, "slow-flutter")
    intervals = np.diff(beats(hz, mv))
    assert abs(np.median(intervals) - 3 * 60 / 240) < 0.01
    spectrum = np.abs(np.fft.rfft((mv - mv.mean()) * np.hanning(len(mv))))
    frequency = np.fft.rfftfreq(len(mv), 1 / hz)
    # The third harmonic of the beats is the flutter wave, and stands out from its neighbours.
    third, second, fourth = (spectrum[np.abs(frequency - at) < 0.1].max() for at in (4.0, 8 / 3, 16 / 3))
    assert third > 1.3 * second and third > 1.3 * fourth, (third, second, fourth)


def test_couplets_come_after_two_beats_with_the_intervals_of_their_document(tmp_path):
    hz, mv = lead(tmp_path, "couplets", rate_bpm=60)
    intervals = np.diff(beats(hz, mv))
    rounds = [intervals[i : i + 3] for i in range(3, len(intervals) - 3) if abs(intervals[i] - 1.0) < 0.03]
    early = [row for row in rounds if row[1] < 0.8]
    assert len(early) >= 8
    for row in early:
        assert abs(row[1] - 0.6) < 0.06 and abs(row[2] - 0.55) < 0.06, row
