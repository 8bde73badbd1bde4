"""The examples that the guide shows, run as the guide shows them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[3] / "examples"
PLAN = EXAMPLES / "suite" / "gate.json"
LIMITS = EXAMPLES / "suite" / "limits.json"
DETECTOR = [sys.executable, EXAMPLES / "suite" / "detector.py"]


def test_a_detector_of_a_general_library_passes_the_gate(suite, tmp_path):
    done = suite(PLAN, "-o", "out", "--stay", "--limits", LIMITS, "--write", "report.json", command=DETECTOR)
    assert done.returncode == 0, done.stdout + done.stderr
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["failures"] == []
    assert {group["dimension"] for group in report["groups"]} >= {"rhythm", "rate_bpm", "ecg.gain", "artefact.mains_mv"}


def test_one_process_for_each_record_answers_the_same_as_one_that_stays(suite, write_plan):
    plan = write_plan([{"rhythm": ["sinus"], "frame_rate_hz": [250], "seed": [1, 2]}])
    once = suite(plan, "-o", "once", "--format", "csv", command=[*DETECTOR, "{signal}", "{beats-out}"])
    stays = suite(plan, "-o", "stays", "--format", "csv", "--stay", command=DETECTOR)
    assert once.returncode == 0, once.stderr
    assert once.stdout == stays.stdout


@pytest.mark.xdist_group("suite of thousands")
def test_dask_gives_the_same_report(suite, program, slope_detector, tmp_path):
    whole = suite(PLAN, "-o", "whole", "--limits", LIMITS, "--write", "whole.json", command=[slope_detector])
    words = [sys.executable, EXAMPLES / "suite-dask" / "run.py", PLAN, "dask", "--shards", "3", "--program", program]
    words += ["--report", "dask.json", "--limits", LIMITS, "--", slope_detector]
    done = subprocess.run(
        list(map(str, words)), capture_output=True, text=True, timeout=300, check=False, cwd=tmp_path
    )
    assert done.returncode == whole.returncode == 0, done.stderr
    assert (tmp_path / "dask.json").read_bytes() == (tmp_path / "whole.json").read_bytes()
    assert len(list((tmp_path / "dask" / "shard-3" / "answers").iterdir())) > 0
