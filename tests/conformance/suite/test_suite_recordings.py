"""Recordings beside synthetic records in a suite: the same gate, and the figures of the waveform database's comparator."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
import wfdb
from matching import BEAT_CODES
from program import ROOT
from scipy.io import wavfile
from wfdb.processing import compare_annotations

RECORDINGS = ROOT / "tests" / "data" / "recordings"
WINDOW = 54
"""150 ms at 360 Hz, inclusive."""


@pytest.fixture
def plan_with_100(tmp_path, write_plan):
    def plan(channels=None, blocks=(), **more):
        for ending in ("atr", "dat", "hea"):
            shutil.copy(RECORDINGS / f"100.{ending}", tmp_path)
        recording = {"record": "100.hea", "channels": channels or {"II": "MLII"}}
        return write_plan([{"recordings": [recording]}, *blocks], **more)

    return plan


def test_record_100_beside_synthetic_records_has_the_comparators_figures(suite, plan_with_100, slope_detector, tmp_path):
    synthetic = {"rhythm": ["sinus"], "frame_rate_hz": [360], "rate_bpm": [60, 90]}
    done = suite(plan_with_100(blocks=[synthetic]), "-o", "out", "--format", "json", command=[slope_detector])
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["records"] == 3
    record = next(one for one in report["score"]["records"] if "recording-100" in one["record"])
    answer = next((tmp_path / "out" / "answers").glob("*recording-100*"))
    heard = np.round(360 * np.loadtxt(answer, delimiter=",", skiprows=1, usecols=0, ndmin=1)).astype(int)
    marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    beats = np.array([s for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES])
    # Its window is exclusive.
    found = compare_annotations(beats, heard, WINDOW + 1)
    detection = record["detection"]
    assert (detection["matched"], detection["missed"], detection["extra"]) == (found.tp, found.fn, found.fp)
    assert found.tp + found.fn == 2273 and found.tp > 2200


@pytest.mark.parametrize("signal", [{"signal": "csv"}, {"signal": "wav"}], ids=str)
def test_a_detector_gets_the_samples_of_the_recording(suite, plan_with_100, tmp_path, signal):
    keep = tmp_path / "detector.py"
    keep.write_text("import shutil, sys\nshutil.copy(sys.argv[1], sys.argv[2])\nopen(sys.argv[3], 'w').write('time_s\\n1\\n')\n")
    copy = tmp_path / "copy"
    plan = plan_with_100({"II": "MLII", "V5": "V5"}, **signal)
    done = suite(plan, "-o", "out", command=["python3", keep, "{signal}", copy, "{beats-out}"])
    assert done.returncode == 0, done.stderr
    expected = wfdb.rdrecord(str(RECORDINGS / "100")).p_signal[:, 0]
    if signal["signal"] == "wav":
        rate, samples = wavfile.read(copy)
        assert rate == 360 and np.abs(samples - expected).max() < 1e-6
    else:
        with copy.open() as lines:
            head = [line for line in (next(lines) for _ in range(6)) if not line[0].isdigit()]
        assert head[-1] == "time_s,II_mV\n"
        rows = np.loadtxt(copy, delimiter=",", skiprows=len(head))
        assert np.abs(rows[:, 1] - expected).max() < 0.0006
        assert np.abs(rows[:, 0] - np.arange(len(expected)) / 360).max() < 1e-3


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda r: r.update(channels={"II": "MLI"}), ["no channel 'MLI'", "MLII, V5"]),
        (lambda r: r.update(channels={"V5": "V5"}), ["channels give no II"]),
        (lambda r: r.update(record="../100.hea"), ["no file below the folder"]),
        (lambda r: r.update(record="101.hea"), ["101.hea", "No such file"]),
        (lambda r: r.update(record="100.dat"), ["is no header"]),
        (lambda r: r.update(annotations="100.hea"), ["100.hea"]),
        (lambda r: r.update(channels={"aVL": "MLII"}), ["aVL can't be given"]),
    ],
)
def test_mistakes_about_recordings_are_named(suite, plan_with_100, change, words):
    path = plan_with_100()
    plan = json.loads(path.read_text())
    change(plan["blocks"][0]["recordings"][0])
    path.write_text(json.dumps(plan))
    done = suite(path, "--list")
    assert done.returncode == 2
    for word in ["blocks[0].recordings[0]: ", *words]:
        assert word in done.stderr, done.stderr


def test_answers_to_another_recording_of_the_same_name_are_not_taken(suite, plan_with_100, slope_detector, tmp_path):
    plan = plan_with_100()
    assert suite(plan, "-o", "out", command=[slope_detector]).returncode == 0
    # Another sample, and the check sum that goes with it.
    samples = bytearray((tmp_path / "100.dat").read_bytes())
    step = -4 if samples[30_000] & 4 else 4
    samples[30_000] ^= 4
    (tmp_path / "100.dat").write_bytes(samples)
    changed = suite(plan, "-o", "out", command=[slope_detector])
    assert changed.returncode == 2 and "check sum of signal 1" in changed.stderr, changed.stderr
    header = tmp_path / "100.hea"
    header.write_text(header.read_text().replace("-22131", str(-22131 + step)))
    other = suite(plan, "-o", "out", command=[slope_detector])
    assert other.returncode == 2 and "holds answers of another plan" in other.stderr, other.stderr
