"""The detectors and the matching are judged on a person's signal before they judge ours."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import wfdb
from detectors import DETECTORS
from matching import BEAT_CODES, match, mean_rate_bpm

RECORDINGS = Path(__file__).resolve().parents[1] / "data" / "recordings"


@pytest.fixture(scope="module")
def record_100():
    """Lead MLII of record 100, its frame rate and the times of its annotated beats."""
    record = wfdb.rdrecord(str(RECORDINGS / "100"))
    marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    beats = [s for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]
    return record.p_signal[:, 0], record.fs, np.array(beats) / record.fs


def test_record_100_is_whole(record_100):
    lead, rate, beats = record_100
    # 30 min, 360 Hz, 2273 beats: MIT-BIH Arrhythmia Database directory, record 100.
    assert (len(lead), rate, len(beats)) == (650_000, 360, 2273)


@pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: d.name)
def test_detector_finds_a_persons_beats(record_100, detector):
    lead, rate, beats = record_100
    agreement = match(beats, detector.beats_s(lead, rate))
    # These libraries reach on this record, measured: 99.87 to 100 % (three beats of 2273 at most).
    assert len(agreement.missed_s) <= 3
    assert len(agreement.extra_s) <= 1


def test_a_deaf_detector_is_caught(record_100):
    lead, rate, beats = record_100
    heard = DETECTORS[0].beats_s(lead, rate)
    every_50th_dropped = np.delete(heard, np.arange(49, len(heard), 50))
    agreement = match(beats, every_50th_dropped)
    assert len(agreement.missed_s) == len(heard) // 50
    assert agreement.sensitivity < 0.995
    shifted = match(beats, heard + 0.160)
    assert shifted.sensitivity < 0.995


def test_window_is_inclusive_and_pairs_are_one_to_one():
    assert match([1.0], [1.150]).sensitivity == 1.0
    assert match([1.0], [1.1501]).sensitivity == 0.0
    doubled = match([1.0, 2.0], [0.95, 1.05, 2.0])
    assert (len(doubled.pairs), len(doubled.extra_s)) == (2, 1)
    # Competing candidates, the worked example of the comparator's documentation: window 37 frames of 250 Hz.
    both = match([96 / 250, 160 / 250], [128 / 250, 185 / 250], window_s=37 / 250)
    assert len(both.pairs) == 2
    nothing = match([1.0, 2.0], [])
    assert (nothing.sensitivity, nothing.positive_predictivity) == (0.0, 0.0)


def test_mean_rate_counts_whole_intervals():
    assert mean_rate_bpm(np.arange(11) * 0.75) == pytest.approx(80.0)
    assert np.isnan(mean_rate_bpm([1.0]))
