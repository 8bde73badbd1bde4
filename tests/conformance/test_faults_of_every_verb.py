"""Every verb that writes a file, on a disk that is full, a folder that is not, cannot be written, or goes away meanwhile:
a message, exit code 2, and nothing half-written under the final name. `test_interrupted.py` has more of `render`."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
import scripts
from program import PROGRAM, ROOT, assert_refused, file_size_limit, files_below, run, start, succeed

PLAN = ROOT / "examples" / "plan-transport-monitor.json"
RIG = ROOT / "examples" / "rig" / "bench.json"

#: Name of the output, and the arguments before and after it; SOURCE and its like are made by `sources`.
WRITERS = {
    "render-wav": ("out.wav", ["render", "SCRIPT", "-o", "TARGET"]),
    "render-csv": ("out.csv", ["render", "SCRIPT", "-o", "TARGET"]),
    "render-edf": ("out.edf", ["render", "SCRIPT", "-o", "TARGET"]),
    "render-record": ("out.hea", ["render", "SCRIPT", "-o", "TARGET"]),
    "render-rig": ("out.raw", ["render", "SCRIPT", "--rig", RIG, "-o", "TARGET"]),
    "plot-svg": ("out.svg", ["plot", "SCRIPT", "-o", "TARGET"]),
    "plot-png": ("out.png", ["plot", "SCRIPT", "-o", "TARGET"]),
    "compile": ("out.pwi", ["compile", "SCRIPT", "-o", "TARGET"]),
    "compile-c": ("out.h", ["compile", "SCRIPT", "--format", "c", "-o", "TARGET"]),
    "worksheet": ("out.html", ["worksheet", PLAN, "-o", "TARGET"]),
    "report-html": ("out.html", ["report", "RECORD", "--script", PLAN, "-o", "TARGET"]),
    "report-json": ("out.json", ["report", "RECORD", "--script", PLAN, "-o", "TARGET"]),
    "report-csv": ("out.csv", ["report", "RECORD", "--script", PLAN, "-o", "TARGET"]),
    "score": ("out.json", ["score", "BEATS", "BEATS", "--learning-s", "0", "--write", "TARGET"]),
    "stream-log": ("out.json", ["stream", "SCRIPT", "--fast", "--log", "TARGET"]),
    "fit": ("out.json", ["fit", "RECORDING", "-o", "TARGET"]),
    "calibrate-levels": ("out.raw", ["calibrate", RIG, "--hold", "1s", "--levels", "TARGET"]),
}
EVERY = pytest.mark.parametrize("verb", WRITERS)


@pytest.fixture
def sources(tmp_path):
    """Inputs of the verbs, in a folder of their own."""
    folder = tmp_path / "sources"
    folder.mkdir()
    script = scripts.write(folder / "script.json", scripts.step(5, rate_bpm=72))
    record = folder / "record.csv"
    record.write_text("item,value\n2.heart-rate,41\n")
    beats = folder / "beats.csv"
    beats.write_text("time_s,code\n0.5,N\n1.5,N\n2.5,N\n")
    recording = folder / "recording.csv"
    assert run("render", script, "--channels", "II", "--frame-rate", "100", "--no-truth", "-o", recording).code == 0
    return {"SCRIPT": script, "RECORD": record, "BEATS": beats, "RECORDING": recording}


def arguments(verb: str, sources: dict[str, Path], folder: Path) -> list[object]:
    name, words = WRITERS[verb]
    return [{**sources, "TARGET": folder / name}.get(word, word) if isinstance(word, str) else word for word in words]


@EVERY
def test_undisturbed_it_writes(tmp_path, sources, verb):
    """Or else nothing below would prove anything. A report of one reading is no passed one: exit code 1."""
    outcome = run(*arguments(verb, sources, tmp_path))
    assert outcome.code in ((1,) if verb.startswith("report") else (0,)), outcome
    assert (tmp_path / WRITERS[verb][0]).stat().st_size > 16


@EVERY
def test_file_may_not_grow(tmp_path, sources, verb):
    before = files_below(tmp_path)
    assert_refused(run(*arguments(verb, sources, tmp_path), before=file_size_limit(16, killed=False)))
    assert files_below(tmp_path) == before, "something half-written was left"


@EVERY
def test_killed_by_the_quota(tmp_path, sources, verb):
    """As `kill -9` in the middle of the first write: the system ends the program, which can do nothing about it."""
    outcome = run(*arguments(verb, sources, tmp_path), before=file_size_limit(16, killed=True))
    assert outcome.code == -signal.SIGXFSZ, outcome
    assert not (tmp_path / WRITERS[verb][0]).exists()


@EVERY
def test_folder_as_target(tmp_path, sources, verb):
    target = tmp_path / WRITERS[verb][0]
    target.mkdir()
    before = files_below(tmp_path)
    for more in ([], ["--force"] if verb != "score" else []):
        assert_refused(run(*arguments(verb, sources, tmp_path), *more), target.name)
        assert target.is_dir()
        assert files_below(tmp_path) == before


@EVERY
def test_target_in_no_folder(tmp_path, sources, verb):
    before = files_below(tmp_path)
    assert_refused(run(*arguments(verb, sources, tmp_path / "none")), "none")
    assert files_below(tmp_path) == before


@EVERY
@pytest.mark.parametrize("options", ["ro", "size=4k"])
def test_disk_that_takes_nothing(tmp_path, sources, verb, options):
    """A file system of our own, read-only or filled up, in a name space that ends with the command."""
    if not shutil.which("unshare") or subprocess.run(["unshare", "-rm", "true"], capture_output=True, check=False).returncode:
        pytest.skip("this machine allows no name spaces, so no small file system can be made")
    disk = tmp_path / "disk"
    disk.mkdir()
    # dd fills the disk, and fails on a read-only one.
    inside = 'mount -t tmpfs -o "$1" none "$2"; dd if=/dev/zero of="$2/full" bs=4k 2>/dev/null; cd "$2"; shift 2; "$@"; code=$?; ls -A | sed "s/^/left: /" >&2; exit $code'
    words = [str(word) for word in arguments(verb, sources, disk)]
    ended = subprocess.run(
        ["unshare", "-rm", "sh", "-c", inside, "sh", options, disk, PROGRAM, *words], capture_output=True, timeout=60, check=False
    )
    assert ended.returncode == 2, ended
    stderr = ended.stderr.decode("utf-8", "replace")
    left = [line for line in stderr.splitlines() if line.startswith("left: ")]
    assert left == ([] if options == "ro" else ["left: full"]), ended
    assert "panicked" not in stderr
    assert ("read-only" if options == "ro" else "space") in stderr.lower(), ended


def test_a_rig_that_cannot_be_written_stays_as_it_was(tmp_path):
    """`calibrate` writes into the description itself."""
    rig = tmp_path / "bench.json"
    shutil.copy(RIG, rig)
    before = files_below(tmp_path)
    words = ["calibrate", rig, "--meter", "invented", "--accept", "--reading", "RA=-4.69/4.71"]
    outcome = run(*words, before=file_size_limit(16, killed=True))
    assert outcome.code == -signal.SIGXFSZ, outcome
    assert rig.read_bytes() == before["bench.json"]
    rig.write_bytes(before["bench.json"])
    for partial in tmp_path.glob(".*"):
        partial.unlink()
    assert_refused(run(*words, before=file_size_limit(16, killed=False)))
    assert files_below(tmp_path) == before
    succeed(*words)
    assert rig.read_bytes() != before["bench.json"]


def test_folder_that_goes_away_while_frames_are_sent(tmp_path, sources):
    folder = tmp_path / "going"
    folder.mkdir()
    sent = subprocess.Popen(
        [PROGRAM, "stream", sources["SCRIPT"], "--live", "--log", folder / "log.json"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    try:
        # The first bytes say that it has begun.
        assert sent.stdout.read(24)
        shutil.rmtree(folder)
        _, stderr = sent.communicate(b"stop\n", timeout=60)
    finally:
        sent.kill()
    assert sent.returncode == 2, stderr
    assert b"log.json" in stderr and b"panicked" not in stderr, stderr
    assert not folder.exists()


def test_folder_that_goes_away_while_a_file_is_written(tmp_path):
    script = scripts.write(tmp_path / "half-day.json", scripts.step(43_200, rate_bpm=70))
    folder = tmp_path / "going"
    folder.mkdir()
    rendering = start("render", script, "-o", folder / "out.wav", "--channels", "II")
    try:
        while not any(folder.iterdir()):
            assert rendering.poll() is None, rendering.stderr.read()
            time.sleep(0.002)
        # Stopped, so that it cannot finish before its folder is gone.
        os.kill(rendering.pid, signal.SIGSTOP)
        assert not (folder / "out.wav").exists(), "finished before it could be stopped"
        shutil.rmtree(folder)
        os.kill(rendering.pid, signal.SIGCONT)
        _, stderr = rendering.communicate(timeout=120)
    finally:
        rendering.kill()
    assert rendering.returncode == 2, stderr
    assert b"out.wav" in stderr or b"going" in stderr, stderr
    assert b"panicked" not in stderr
    assert not folder.exists()


@pytest.mark.parametrize("verb", [["plot", "SCRIPT", "-o", "-"], ["render", "SCRIPT", "-o", "-"], ["stream", "SCRIPT", "--fast"]], ids=" ".join)
def test_a_reader_that_went_away_is_no_error(sources, verb):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        outcome = run(*[sources.get(word, word) for word in verb], stdout=writing)
    finally:
        os.close(writing)
    assert outcome.code == 0, outcome
    assert "error" not in outcome.stderr, outcome
