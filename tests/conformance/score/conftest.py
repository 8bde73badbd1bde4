"""Fixtures of the scoring tests: the program, record 100 and the detectors that hear it."""

from __future__ import annotations

import csv
import itertools
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import wfdb

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from matching import BEAT_CODES  # noqa: E402

RECORDINGS = HERE.parents[1] / "data" / "recordings"


class Scored:
    """One run of `pulsewright score`."""

    def __init__(self, done: subprocess.CompletedProcess, beats: Path):
        self.code = done.returncode
        self.out = done.stdout
        self.err = done.stderr
        self._beats = beats

    @property
    def report(self):
        return json.loads(self.out)

    @property
    def record(self):
        return self.report["records"][0]

    def counts(self):
        detection = self.record["detection"]
        return detection["matched"], detection["missed"], detection["extra"]

    def beats(self, rate_hz: int):
        """Frames of pairs, missed and extra beats, from the list of beats."""
        pairs, missed, extra = [], [], []
        with self._beats.open(newline="") as rows:
            for row in csv.DictReader(rows):
                frame = lambda cell: round(float(row[cell]) * rate_hz)  # noqa: E731
                if row["outcome"] == "match":
                    pairs.append((frame("reference_s"), frame("test_s")))
                elif row["outcome"] == "missed":
                    missed.append(frame("reference_s"))
                else:
                    extra.append(frame("test_s"))
        return pairs, missed, extra


@pytest.fixture
def score(tmp_path):
    """Runs `pulsewright score`, JSON unless asked otherwise."""
    program = os.environ.get("PULSEWRIGHT")
    if not program:
        pytest.fail("PULSEWRIGHT must name the built program; .ci/test sets it")

    runs = itertools.count()

    def run(reference, test, *flags, form="json"):
        beats = tmp_path / f"beats-{next(runs)}.csv"
        events = not {"readings", "alarms"} & set(flags)
        extra = ["--beats", str(beats)] if events else []
        command = [program, "score", str(reference), str(test), "--format", form, *extra, *map(str, flags)]
        return Scored(subprocess.run(command, capture_output=True, text=True, timeout=120, check=False), beats)

    return run


class Record100:
    """Lead MLII of record 100 of the MIT-BIH Arrhythmia Database and its annotated beats, in frames."""

    rate_hz = 360
    reference = RECORDINGS / "100.atr"

    def __init__(self):
        self.lead_mv = wfdb.rdrecord(str(RECORDINGS / "100")).p_signal[:, 0]
        marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
        beats = [(int(s), c) for s, c in zip(marks.sample, marks.symbol, strict=True) if c in BEAT_CODES]
        self.beats = np.array([frame for frame, _ in beats])
        self.codes = [code for _, code in beats]


@pytest.fixture(scope="session")
def record_100():
    return Record100()


@pytest.fixture
def write_frames(tmp_path):
    """Writes a detector's frames as CSV."""

    def write(frames, name="detector.csv"):
        path = tmp_path / name
        path.write_text("sample\n" + "".join(f"{frame}\n" for frame in frames))
        return path

    return write
