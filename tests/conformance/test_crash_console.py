"""A console is killed before, and separately made to fail at, each file-system call that concerns its folder.

Afterwards its lists are those before or after an order, its logs are scripts, the log of an earlier day is as it was, and the same
command line serves again and leaves nothing else. strace counts the calls of each thread, delivers the signal and makes them fail.
A `write` fails by a limit of the size of files: the server writes to no file too, when it wakes a thread.
A few of the calls are tried by default; with PULSEWRIGHT_CRASH=all every call is.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import threading
from pathlib import Path

import console_orders
import pytest
from program import PROGRAM, file_size_limit, run
from test_crash_model import ALL, hidden, visible

ORDERS = [console_orders.CONFIRM, console_orders.rhythm("sinus"), console_orders.favour("asystole"), console_orders.rhythm("torsades"), console_orders.STOP]
OLD = {"favourites": ["agonal"], "recent": ["agonal"]}
LISTS = [
    OLD,
    {"favourites": ["agonal"], "recent": ["sinus", "agonal"]},
    {"favourites": ["agonal", "asystole"], "recent": ["sinus", "agonal"]},
    {"favourites": ["agonal", "asystole"], "recent": ["torsades", "sinus", "agonal"]},
]
"""The lists before and after each order, when every order is carried out."""
EARLIER = "played-2026-01-01T00-00-00Z.json"
LONGEST_S = 60


def serve(folder: Path, *flags: object, orders: list[dict] = ORDERS, before=None) -> tuple[int, list[bool]]:
    """Runs a console under strace, gives it orders, and interrupts it. Its exit code, negative for a signal; which orders it says that it carried out."""
    command = ["strace", "-f", "-q", "-o", "/dev/null", *map(str, flags), str(PROGRAM), "console", "--no-open", "--folder", str(folder)]
    tracer = subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, preexec_fn=before)
    # A console that hangs fails the test.
    watch = threading.Timer(LONGEST_S, tracer.kill)
    watch.start()
    try:
        done = []
        said = b""
        for line in tracer.stderr:
            said += line
            if link := re.search(rb"http://\S+/enter/\w+", line):
                done = console_orders.order(link[0].decode(), orders)
                program = Path(f"/proc/{tracer.pid}/task/{tracer.pid}/children").read_text().split()
                if program:
                    os.kill(int(program[0]), signal.SIGINT)
                break
        said += tracer.stderr.read()
        code = tracer.wait()
    finally:
        watch.cancel()
        tracer.kill()
        tracer.wait()
    assert b"panicked" not in said, (flags, said.decode(errors="replace"))
    return code, done


def calls(folder: Path, log: Path) -> list[tuple[str, int]]:
    """The calls that concern a folder: name, and which of its name in its thread."""
    code, done = serve(folder, "-y", "-o", log, "-e", "trace=%file,%desc")
    assert (code, done) == (0, [True] * len(ORDERS))
    counts, found = {}, {}
    for line in log.read_text(errors="replace").splitlines():
        if call := re.match(r"(\d+) +(\w+)\(", line):
            key = call[1], call[2]
            counts[key] = counts.get(key, 0) + 1
            if str(folder) in line:
                found[call[2], counts[key]] = None
    return list(found)


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
def test_a_console_killed_and_failing_at_every_call(tmp_path, record_property):
    folder = tmp_path / "desk"
    earlier = json.dumps({"version": 1, "notes": "Invented data.", "steps": [{"duration_s": 1}]}).encode()

    def begin():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        (folder / "console.json").write_text(json.dumps(OLD))
        (folder / EARLIER).write_bytes(earlier)

    def judge(at: str) -> dict:
        """The lists, after everything in the folder was found whole."""
        state = visible(folder)
        lists = json.loads(state.pop("console.json"))
        assert lists in LISTS or at.startswith("error"), (at, lists)
        assert set(lists) == set(OLD) and set(lists["favourites"]) <= {"agonal", "asystole"}, (at, lists)
        assert state.pop(EARLIER) == earlier, at
        assert len(state) <= 1 and all(re.fullmatch(r"played-[\dTZ-]+\.json", name) for name in state), (at, list(state))
        for name in state:
            assert run("check", folder / name).code == 0, (at, state[name])
        return lists

    begin()
    tried = calls(folder, tmp_path / "log")
    assert judge("undisturbed") == LISTS[-1] and not hidden(folder)
    assert len(tried) >= 10
    some = tried if ALL else tried[1 :: max(1, len(tried) // 4)]
    for how in ("signal=KILL", "error=EIO"):
        for name, count in some:
            if how == "error=EIO" and name in ("close", "write"):
                continue
            at = f"{how} at {name} {count}"
            begin()
            code, done = serve(folder, "-e", f"trace={name}", "-e", f"inject={name}:{how}:when={count}")
            assert code == -signal.SIGKILL if how == "signal=KILL" else code in (0, 2), (at, code)
            lists = judge(at)
            if len(done) > 2 and done[2]:
                assert "asystole" in lists["favourites"], f"{at}: a favourite that was taken is kept"
            code, _ = serve(folder, orders=[])
            assert code == 0, at
            assert judge(at) == lists and not hidden(folder), (at, hidden(folder))
    begin()
    code, done = serve(folder, before=file_size_limit(16, killed=False))
    assert code == 2 and done[2] is False, "no favourite is said to be kept that is not"
    assert judge("files of 16 bytes") == OLD
    record_property("counts", f"console: killed before each of {len(some)} calls and failed at each; {len(tried)} concern its folder")
