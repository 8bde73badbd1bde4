"""A render that is cut off leaves no file under a final name; a reader that goes away is no error."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time

import pytest
import scripts
from program import PROGRAM, assert_refused, file_size_limit, files_below, render, run, start

TARGETS = ("out.wav", "out.csv")
TRUTHS = ("beats", "atrial", "pulses", "breaths", "pacing", "cuff", "episodes", "steps")
SIDECARS = ("out.channels.json", "out.manifest.json", *(f"out.{truth}.csv" for truth in TRUTHS))


@pytest.fixture
def long_script(tmp_path):
    """Two days: no machine is done with it before it is cut off; room for all of it is set aside first, so no longer."""
    return scripts.write(tmp_path / "days.json", scripts.step(2 * 86_400, rate_bpm=70))


@pytest.fixture
def short_script(tmp_path):
    """A minute: about a megabyte."""
    return scripts.write(tmp_path / "minute.json", scripts.step(60, rate_bpm=70))


def assert_no_final_name(folder) -> None:
    """Neither a target nor one of its sidecars exists."""
    left = {path.name for path in folder.iterdir()} & {*TARGETS, *SIDECARS}
    assert not left, left


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT], ids=lambda s: s.name)
def test_killed_in_the_middle(tmp_path, long_script, target, how):
    render_ = start("render", long_script, "-o", tmp_path / target, "--frame-rate", 500)
    try:
        # Cut off once it has really begun to write.
        deadline = time.monotonic() + 120
        while time.monotonic() < deadline and render_.poll() is None:
            if any(p.stat().st_size > 1_000_000 for p in tmp_path.iterdir() if p != long_script):
                break
            time.sleep(0.005)
        assert render_.poll() is None, "ended before it could be cut off"
        assert_no_final_name(tmp_path)
        render_.send_signal(how)
        _, stderr = render_.communicate(timeout=120)
    finally:
        render_.kill()
    assert render_.returncode != 0
    assert b"panicked" not in stderr
    assert_no_final_name(tmp_path)
    # The part that a killed process leaves takes the room of the whole file.
    for partial in tmp_path.glob(".pulsewright-*.partial"):
        partial.unlink()


@pytest.mark.parametrize("target", TARGETS)
def test_file_may_not_grow(tmp_path, short_script, target):
    """A quota: writing on answers an error."""
    before = files_below(tmp_path)
    outcome = render(short_script, tmp_path / target, before=file_size_limit(100_000, killed=False))
    assert_refused(outcome, target)
    assert files_below(tmp_path) == before, "something half written was left"


@pytest.mark.parametrize("target", TARGETS)
def test_killed_by_the_quota(tmp_path, short_script, target):
    outcome = render(short_script, tmp_path / target, before=file_size_limit(100_000, killed=True))
    assert outcome.code != 0, outcome
    assert_no_final_name(tmp_path)


@pytest.mark.parametrize("n_kib", [4, 64, 512])
@pytest.mark.parametrize("target", TARGETS)
def test_full_disk(tmp_path, short_script, target, n_kib):
    """A tiny file system of our own, in a name space that ends with the command."""
    disk = tmp_path / "disk"
    disk.mkdir()
    inside = f'mount -t tmpfs -o size={n_kib}k none "$1" && "$2" render "$3" -o "$1/$4"; code=$?; ls -A "$1" | sed "s/^/left: /"; exit $code'
    if not shutil.which("unshare") or subprocess.run(["unshare", "-rm", "true"], capture_output=True, check=False).returncode:
        pytest.skip("this machine allows no name spaces, so no small file system can be made")
    ended = subprocess.run(
        ["unshare", "-rm", "sh", "-c", inside, "sh", disk, PROGRAM, short_script, target], capture_output=True, text=True, timeout=300, check=False
    )
    assert ended.returncode == 2, ended
    assert "panicked" not in ended.stderr
    assert "left:" not in ended.stdout, ended
    assert "space" in ended.stderr.lower(), ended
    if target == "out.wav":
        assert "it takes 1 MB" in ended.stderr, "a full disk is reported before the work when the size is known"


PRINTING = (["catalog"], ["catalog", "--json"], ["manual"], ["schema"], ["completions", "bash"], ["check", "SCRIPT"], ["--help"], ["--version"])


@pytest.mark.parametrize("verb", PRINTING, ids=" ".join)
def test_reader_that_went_away(short_script, verb):
    """Like `pulsewright catalog | true`: the pipe is closed before the first byte."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        outcome = run(*[short_script if a == "SCRIPT" else a for a in verb], stdout=writing)
    finally:
        os.close(writing)
    assert (outcome.code, outcome.stderr) == (0, ""), outcome


@pytest.mark.parametrize("verb", PRINTING[:-2], ids=" ".join)
def test_output_that_is_full(short_script, verb):
    with open("/dev/full", "wb") as full:
        assert_refused(run(*[short_script if a == "SCRIPT" else a for a in verb], stdout=full))


def test_the_same_renders_succeed_undisturbed(tmp_path, short_script):
    """Or else nothing above would prove anything."""
    for target in TARGETS:
        outcome = render(short_script, tmp_path / target, channels="II")
        assert outcome.code == 0, outcome
        assert (tmp_path / target).stat().st_size > 50_000
        assert all((tmp_path / sidecar).exists() for sidecar in SIDECARS)
        for file in tmp_path.glob("out.*"):
            if file.name not in TARGETS:
                file.unlink()
