"""Fixtures of the suite tests: the program and a small fast detector, both built by .ci/test."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def program():
    path = os.environ.get("PULSEWRIGHT")
    if not path:
        pytest.fail("PULSEWRIGHT must name the built program; .ci/test sets it")
    return path


@pytest.fixture(scope="session")
def slope_detector(program):
    path = Path(program).parent / "slope_detector"
    if not path.is_file():
        pytest.fail(f"{path} is not there; build it with `cargo build -p pulsewright-slope-detector`")
    return str(path)


@pytest.fixture
def suite(program, tmp_path):
    """Runs `pulsewright suite` in a folder of the test's own."""

    def run(plan, *flags, command=()):
        words = [program, "suite", str(plan), *map(str, flags), *(["--", *map(str, command)] if command else [])]
        return subprocess.run(words, capture_output=True, text=True, timeout=300, check=False, cwd=tmp_path)

    return run


@pytest.fixture
def write_plan(tmp_path):
    """Writes a plan of short records on lead II at 250 frames a second."""

    def write(blocks, name="plan.json", **more):
        plan = {"version": 1, "duration_s": 10, "score": {"learning_s": 0}, "blocks": blocks, **more}
        path = tmp_path / name
        path.write_text(json.dumps(plan))
        return path

    return write
