"""Two of every verb at once on the same target: the first wins, the second is refused and names it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from program import PROGRAM, assert_refused, run
from test_crash_model import VERBS, commands, hidden, inputs, visible  # noqa: F401


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
@pytest.mark.parametrize("verb", VERBS)
def test_the_second_is_refused_and_names_the_first(tmp_path, inputs, verb):  # noqa: F811
    folder = tmp_path / "set"
    folder.mkdir()
    words = commands(verb, inputs, "new", folder)
    # Stopped by strace when it first syncs a part: it has claimed its names by then.
    command = ["strace", "-qq", "-o", tmp_path / "log", "-e", "trace=fsync", "-e", "inject=fsync:signal=STOP:when=1", PROGRAM, *words]
    first = subprocess.Popen(list(map(str, command)), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    try:
        children = Path(f"/proc/{first.pid}/task/{first.pid}/children")
        deadline = time.monotonic() + 60
        while "SIGSTOP" not in ((tmp_path / "log").read_text() if (tmp_path / "log").exists() else ""):
            assert first.poll() is None and time.monotonic() < deadline
            time.sleep(0.005)
        process = int(children.read_text().split()[0])
        before = hidden(folder)
        assert_refused(run(*words, "--force", within_s=60), f"is being written by process {process}")
        assert hidden(folder) == before and not visible(folder)
        os.kill(process, signal.SIGCONT)
        _, stderr = first.communicate(timeout=60)
    finally:
        first.kill()
    assert first.returncode in (0, 1), stderr
    assert visible(folder) and not hidden(folder)
