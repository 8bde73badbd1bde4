"""Two of every verb at once on the same target: the first wins, the second is refused and names it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from program import PROGRAM, assert_refused, files_below, run
from test_crash_model import ANSWERS, MORE_VERBS, RIG, VERBS, commands, hidden, inputs, options_of, visible  # noqa: F401


def two_at_once(first_words, second_words, folder, *, call="fsync", when=1, **options):
    """Starts a command, stops it at a call of the system, and runs a second one, which must be refused and name the first. Gives how the
    first ended. strace stops it when it first syncs a part: it has claimed its names by then."""
    if not shutil.which("strace"):
        pytest.skip("no strace: .ci/test installs it")
    log = folder.with_name(f"{folder.name} log")
    log.unlink(missing_ok=True)
    threads = ["-f"] if "stdin" in options else []
    command = ["strace", "-qq", *threads, "-o", log, "-e", f"trace={call}", "-e", f"inject={call}:signal=STOP:when={when}", PROGRAM, *first_words]
    first = subprocess.Popen(list(map(str, command)), stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        if "stdin" in options:
            first.stdin.write(options["stdin"])
            first.stdin.flush()
        children = Path(f"/proc/{first.pid}/task/{first.pid}/children")
        deadline = time.monotonic() + 60
        while "SIGSTOP" not in (log.read_text() if log.exists() else ""):
            assert first.poll() is None and time.monotonic() < deadline
            time.sleep(0.005)
        process = int(children.read_text().split()[0])
        before = hidden(folder), visible(folder)
        assert_refused(run(*second_words, within_s=60, **options), f"is being written by process {process}")
        assert (hidden(folder), visible(folder)) == before
        os.kill(process, signal.SIGCONT)
        _, stderr = first.communicate(timeout=60)
    finally:
        first.kill()
        log.unlink(missing_ok=True)
    assert first.returncode in (0, 1), stderr
    assert visible(folder) and not hidden(folder)


@pytest.mark.parametrize("verb", [*VERBS, *MORE_VERBS])
def test_the_second_is_refused_and_names_the_first(tmp_path, inputs, verb):  # noqa: F811
    folder = tmp_path / "set"
    folder.mkdir()
    if verb == "report --sign":
        shutil.copy(inputs / "record.json", folder)
    words = commands(verb, inputs, "new", folder)
    force = [] if verb in MORE_VERBS else ["--force"]
    two_at_once(words, [*words, *force], folder, **options_of(verb))


def test_two_corrections_of_one_rig(tmp_path):
    folder = tmp_path / "set"
    folder.mkdir()
    shutil.copy(RIG, folder / "bench.json")
    words = ["calibrate", folder / "bench.json", "--meter", "invented", "--accept", "--reading", "RA=-4.69/4.71"]
    two_at_once(words, words, folder)


def test_two_consoles(tmp_path):
    """One works in a folder. For the signal each takes a file of its own."""
    kept, signal_ = tmp_path / "kept", tmp_path / "signal.f32"
    words = ["console", "--no-open", "--folder", kept, "--play", signal_]
    other = [tmp_path / "other.f32" if word is signal_ else word for word in words]
    first = subprocess.Popen(list(map(str, [PROGRAM, *words])), stdin=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        assert b"/enter/" in first.stderr.readline()
        before = files_below(tmp_path)
        assert_refused(run(*other, within_s=60), "console.json", f"is being written by process {first.pid}")
        assert {name: text for name, text in files_below(tmp_path).items() if not name.startswith("other")} == before
        first.send_signal(signal.SIGINT)
        assert first.wait(60) == 0
    finally:
        first.kill()
        first.wait()
    assert not hidden(tmp_path)


def test_two_sessions_that_play_into_one_file(tmp_path, inputs):  # noqa: F811
    """Each gets a file of its own, whole."""
    folder = tmp_path / "set"
    folder.mkdir()
    words = [[str(PROGRAM), "session", inputs / "session.json", "-o", folder / f"{name}.json", "--play", folder / "signal.f32"] for name in ("one", "two")]
    both = [subprocess.Popen(list(map(str, of)), stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) for of in words]
    ended = [(process.communicate(b"80\n" + ANSWERS, timeout=60)[1].decode(), process.returncode) for process in both]
    assert all(code in (0, 1) for _, code in ended), ended
    assert sum("the signal goes to" in said for said, _ in ended) == 1, ended
    names = {json.loads((folder / f"{name}.json").read_text("utf-8"))["played"]["output"] for name in ("one", "two")}
    assert names == {str(folder / "signal.f32"), str(folder / "signal-2.f32")}
    assert all((folder / name).stat().st_size > 0 for name in ("signal.f32", "signal-2.f32"))
    assert not hidden(folder)
