"""Every verb that writes is killed before, and separately made to fail at, each file-system call that it makes.

Afterwards the folder holds the old set or the new one, whole, for a reader that uses this program, and the same command
line succeeds and leaves the new set and nothing else. strace counts the calls, delivers the signal and makes them fail.

By default every call that changes something is tried and every tenth of the others, over an old set for each verb (of renders
one in one file and one in several), and where nothing was there for a render and a report. With PULSEWRIGHT_CRASH=all every
call is, for each verb and each kind of render, both ways.
No `close` is made to fail: it releases its file whatever it returns, and the standard library aborts a program on its error.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
import scripts
from cryptography.hazmat.primitives import serialization
from program import PROGRAM, ROOT, run, succeed

CHANGING = {
    "write", "writev", "pwrite64", "fsync", "fdatasync", "ftruncate", "fallocate", "rename", "renameat", "renameat2", "link",
    "linkat", "unlink", "unlinkat", "rmdir", "mkdir", "mkdirat", "chmod", "fchmod", "fchmodat", "flock",
}
ALL = os.environ.get("PULSEWRIGHT_CRASH") == "all"
OTHERS_TRIED = 1 if ALL else 10
"""One in so many of the calls that change nothing."""
HIDDEN = ".pulsewright-"
RIG = ROOT / "examples" / "rig" / "bench.json"
CONVERSATION = {
    "version": 1, "title": "Invented plan", "notes": "Invented data.", "seed": 3, "kit": ["cable"], "prepare": ["no person"],
    "steps": [{"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate"], "silent": ["asystole"]}}],
}
ANSWERS = b"80\n\n" * 40
"""Two answers, one of which every question of this plan takes, wherever a session is taken up: a number, and Enter."""
SUITE = {
    "version": 1, "duration_s": 4, "score": {"learning_s": 0},
    "blocks": [{"rhythm": ["sinus"], "rate_bpm": [75], "frame_rate_hz": [250], "seed": {"from": 1, "count": 2}}],
}
COHORT = {"version": 1, "duration_s": 2, "channels": ["II"], "people": {"groups": [{"rhythm": "sinus", "draw": {"rate_bpm": {"uniform": [60, 90]}}}]}}
PLAN = ROOT / "examples" / "plan-transport-monitor.json"


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    """Inputs of the verbs; they write elsewhere."""
    folder = tmp_path_factory.mktemp("inputs")
    for name, rate in (("old", 60), ("new", 100)):
        scripts.write(folder / f"{name}.json", scripts.step(2, rate_bpm=rate))
        (folder / f"{name}-beats.csv").write_text(f"time_s\n1\n{rate / 50}\n")
    (folder / "suite.json").write_text(json.dumps(SUITE))
    (folder / "cohort.json").write_text(json.dumps(COHORT))
    (folder / "session.json").write_text(json.dumps(CONVERSATION))
    for name in ("old", "new"):
        succeed("session", folder / "session.json", "-o", folder / f"{name}-record.json", stdin=name.encode() + b"\n" + ANSWERS)
    shutil.copy(folder / "new-record.json", folder / "record.json")
    succeed("report", "--new-key", folder / "key.pem")
    rig = (folder / "new-rig.json", folder / "old-rig.json")
    shutil.copy(RIG, rig[0])
    rig[1].write_text(RIG.read_text().replace("bench", "Bench"))
    # A title is not compiled: the wiring has to differ.
    shutil.copy(RIG, folder / "new-wiring.json")
    wiring = json.loads(RIG.read_text())
    wiring["outputs"].pop()
    (folder / "old-wiring.json").write_text(json.dumps(wiring))
    return folder


def commands(verb, inputs, state, folder):
    """The command line that makes the `old` or the `new` state in a folder."""
    script, beats, record = inputs / f"{state}.json", inputs / f"{state}-beats.csv", inputs / f"{state}-record.json"
    seed = ["--seed", "1" if state == "old" else "2"]
    return {
        "render wav": ["render", script, "-o", folder / "out.wav"],
        "render hea": ["render", script, "-o", folder / "out.hea", "--channels", "II"],
        "render split, no truth": ["render", script, "-o", folder / "out.csv", "--split", "1s", "--no-truth", "--channels", "II"],
        "render rig": ["render", script, "--rig", RIG, "--clip", "count", "-o", folder / "out.raw"],
        "plot": ["plot", script, "-o", folder / "out.svg"],
        "compile": ["compile", script, "-o", folder / "out.pwi"],
        "compile --rig": ["compile", "--rig", inputs / f"{state}-wiring.json", "-o", folder / "out.pwr"],
        "stream --log": ["stream", script, "--fast", "--duration", "1s", "--log", folder / "out.json"],
        "worksheet": ["worksheet", inputs / "session.json", *seed, "-o", folder / "out.html"],
        "report": ["report", record, "-o", folder / "out.json", "-o", folder / "out.csv"],
        "score": ["score", beats, beats, "--learning-s", "0", "--write", folder / "a.json", "--write", folder / "b.csv", "--beats", folder / "c.csv"],
        "calibrate --levels": ["calibrate", inputs / f"{state}-rig.json", "--levels", folder / "out.raw", "--hold", "1s" if state == "old" else "2s"],
        "suite": ["suite", inputs / "suite.json", "-o", folder, "--jobs", "1", "--", "/bin/cp", inputs / "new-beats.csv", "{beats-out}"],
        "cohort": ["cohort", inputs / "cohort.json", "-n", "4", "--packs", "2", "-o", folder, "--jobs", "1"],
        "session": ["session", inputs / "session.json", "-o", folder / "record.json"],
        "report --new-key": ["report", "--new-key", folder / "key.pem"],
        "report --sign": ["report", folder / "record.json", "--sign", inputs / "key.pem", "--signer", "A. Invented", "--meaning", "performed"],
    }[verb]


VERBS = [
    "render wav", "render hea", "render split, no truth", "render rig", "plot", "compile", "compile --rig", "stream --log", "worksheet", "report",
    "score", "calibrate --levels",
]
MORE_VERBS = ["suite", "cohort", "session", "report --new-key", "report --sign"]
"""Verbs whose files differ from run to run, or are kept where a run was cut off."""


def options_of(verb):
    """Standard input of a run."""
    return {"stdin": ANSWERS} if verb == "session" else {}


def traced(words, *flags, log="/dev/null", stdin=b""):
    """Runs the program under strace, with all its threads where it is asked something; gives its exit code, negative for a signal."""
    command = ["strace", "-qq", *(["-f"] if stdin else []), "-o", str(log), *flags, str(PROGRAM), *map(str, words)]
    ended = subprocess.run(command, input=stdin, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, timeout=60, check=False)
    assert b"panicked" not in ended.stderr, ended.stderr
    return ended.returncode


def calls(words, folder, log, **options):
    """The calls that concern a folder and are tried: name, and which of its name in its thread."""
    traced(words, "-y", "-e", "trace=%file,%desc", log=log, **options)
    counts, found, others = {}, {}, 0
    for line in Path(log).read_text(errors="replace").splitlines():
        call = re.match(r"(\d* *)(\w+)\(", line)
        if not call:
            continue
        name, thread = call[2], call[1]
        counts[thread, name] = counts.get((thread, name), 0) + 1
        if str(folder) in line:
            changing = name in CHANGING or "O_CREAT" in line
            others += not changing
            if changing or others % OTHERS_TRIED == 0:
                found[name, counts[thread, name]] = None
    return list(found)


def visible(folder):
    files = [path for path in folder.rglob("*") if path.is_file() and not path.name.startswith(HIDDEN)]
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def hidden(folder):
    return [path.name for path in folder.rglob("*") if path.name.startswith(HIDDEN)]


def settle(folder, inputs):
    """The first action of a program that scores in the folder."""
    (inputs / "nothing.csv").write_text("time_s\n")
    table = folder / "out.beats.csv"
    run("score", table if table.exists() else folder / "none.csv", inputs / "nothing.csv", "--learning-s", "0")


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
@pytest.mark.parametrize(
    ("verb", "there"),
    [(verb, "an old set there") for verb in VERBS if ALL or verb not in ("render hea", "render rig", "compile --rig")] + [(verb, "nothing there") for verb in (VERBS if ALL else ["render wav", "report"])],
)
def test_killed_and_failing_at_every_call(tmp_path, inputs, verb, there, record_property):
    folder = tmp_path / "set"
    force = ["--force"] if there != "nothing there" else []

    def begin():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        for name, content in old.items():
            (folder / name).write_bytes(content)

    old = {}
    begin()
    if force:
        assert run(*commands(verb, inputs, "old", folder)).code in (0, 1)
        old = visible(folder)
    words = [*commands(verb, inputs, "new", folder), *force]
    begin()
    tried = calls(words, folder, tmp_path / "log")
    new = visible(folder)
    assert new != old and not hidden(folder)
    assert len(tried) >= 5

    settled = 0
    for how in ("signal=KILL", "error=EIO"):
        for name, count in tried:
            if how == "error=EIO" and name == "close":
                continue
            at = f"{how} at {name} {count}"
            begin()
            code = traced(words, "-e", f"trace={name}", "-e", f"inject={name}:{how}:when={count}")
            if how == "signal=KILL":
                assert code == -9, at
            else:
                assert code in (0, 1, 2), at
            if any(name.endswith(".journal") for name in hidden(folder)):
                settled += 1
                settle(folder, inputs)
                assert visible(folder) == old, at
            state = visible(folder)
            assert state in (old, new), (at, sorted(state))
            if how == "error=EIO" and code in (0, 1):
                assert state == new, at
            elif how == "error=EIO":
                # A single file that replaced another can't be taken back when its folder then refuses to be synced.
                assert state == old or (name == "fsync" and len(new) == 1 and old), at
            # Without --force a set that got its names is there; what else is left is no obstacle.
            if force or state == old:
                assert run(*words).code in (0, 1), at
                assert not hidden(folder), (at, hidden(folder))
            assert visible(folder) == new, at
    changing = sum(name in CHANGING for name, _ in tried)
    record_property(
        "counts",
        f"{verb}, {there}: killed before each of {len(tried)} calls and failed at each ({changing} that change something); "
        f"{settled} times between two names, taken back",
    )


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
def test_a_correction_killed_and_failing_at_every_call(tmp_path, record_property):
    """`calibrate` writes into the description itself."""
    folder = tmp_path / "set"
    folder.mkdir()
    rig = folder / "bench.json"
    words = ["calibrate", rig, "--meter", "invented", "--accept", "--reading", "RA=-4.69/4.71"]
    old = {"bench.json": RIG.read_bytes()}

    def begin():
        shutil.rmtree(folder)
        folder.mkdir()
        rig.write_bytes(old["bench.json"])

    begin()
    tried = calls(words, folder, tmp_path / "log")
    new = visible(folder)
    assert new != old
    for how in ("signal=KILL", "error=EIO"):
        for name, count in tried:
            if how == "error=EIO" and name == "close":
                continue
            begin()
            code = traced(words, "-e", f"trace={name}", "-e", f"inject={name}:{how}:when={count}")
            state = visible(folder)
            assert state in (old, new), (how, name, count)
            assert code != 0 or state == new, (how, name, count)
            if state == old:
                assert run(*words).code == 0
                assert visible(folder) == new
                assert not hidden(folder)
    record_property("counts", f"calibrate, the rig itself: killed before each of {len(tried)} calls and failed at each")


def is_whole(verb, folder, inputs, new):
    """Whether the files that a cut off run left are those of a run that ended, as far as they are there."""
    state = visible(folder)
    if verb == "suite":
        # A record that a detector works on is in `work`; times differ from run to run.
        return all(content == new.get(name) for name, content in state.items() if not name.startswith("work") and name != "times.csv")
    if verb == "cohort":
        return all(content == new.get(name) for name, content in state.items())
    if verb == "session":
        # A draft is judged by the run that takes it up.
        known = {"record.json", "record.json.draft", "record.played.json"}
        return set(state) <= known and ("record.json" not in state or run("report", folder / "record.json").code == 0)
    if verb == "report --sign":
        verified = run("report", folder / "record.json", "--verify", inputs / "key.pem.pub")
        return "record.json.signatures" not in state or verified.code == 0
    if not state:
        return True
    if set(state) != {"key.pem", "key.pem.pub"} or (folder / "key.pem").stat().st_mode & 0o077:
        return False
    key = serialization.load_pem_private_key(state["key.pem"], None).public_key()
    return key == serialization.load_pem_public_key(state["key.pem.pub"])


def is_done(verb, folder, new):
    """Whether the work is done."""
    done = {"suite": set(new), "cohort": set(new), "session": {"record.json"}, "report --new-key": {"key.pem", "key.pem.pub"}, "report --sign": {"record.json", "record.json.signatures"}}
    return done[verb] <= set(visible(folder))


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
@pytest.mark.parametrize("verb", MORE_VERBS)
def test_cut_off_at_every_call_and_taken_up(tmp_path, inputs, verb, record_property):
    """The same for verbs that go on where they were cut off, or whose files differ from run to run."""
    folder = tmp_path / "set"
    words, options = commands(verb, inputs, "new", folder), options_of(verb)

    def begin():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        if verb == "report --sign":
            shutil.copy(inputs / "record.json", folder)

    begin()
    tried = calls(words, folder, tmp_path / "log", **options)
    new = visible(folder)
    assert is_done(verb, folder, new) and is_whole(verb, folder, inputs, new) and not hidden(folder)
    if not ALL:
        # A session syncs and writes alike for each answer.
        tried = tried[:: -(-len(tried) // 30)]
    lost = 0
    for how in ("signal=KILL", "error=EIO"):
        for name, count in tried:
            if how == "error=EIO" and name == "close":
                continue
            at = f"{how} at {name} {count}"
            begin()
            code = traced(words, "-e", f"trace={name}", "-e", f"inject={name}:{how}:when={count}", **options)
            assert code == -9 if how == "signal=KILL" else code in (0, 1, 2), (at, code)
            if any(name.endswith(".journal") for name in hidden(folder)):
                settle(folder, inputs)
            assert is_whole(verb, folder, inputs, new), (at, sorted(visible(folder)))
            if how == "error=EIO" and code == 0:
                assert is_done(verb, folder, new), at
            if not is_done(verb, folder, new):
                lost += 1
                again = run(*words, **options)
                assert again.code == 0, (at, again)
                assert is_done(verb, folder, new) and is_whole(verb, folder, inputs, new), at
                assert not hidden(folder), (at, hidden(folder))
                assert verb not in ("suite", "cohort") or set(visible(folder)) == set(new), at
                assert not (folder / "record.json.draft").exists(), at
    record_property("counts", f"{verb}: killed before each of {len(tried)} calls and failed at each; {lost} times taken up by the same command line")
