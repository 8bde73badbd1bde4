"""Inputs that are too much, empty or of another kind, one by one: each once cost gigabytes, seconds, or passed."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import time
from pathlib import Path

import pytest
import scripts
from program import PROGRAM, ROOT, assert_refused, measure_each, run, succeed
from test_crash_model import ANSWERS, VERBS, commands, inputs, options_of, visible  # noqa: F401

BOM = b"\xef\xbb\xbf"
SCORE = ["score", "--learning-s", "0"]


def measured(words, folder: Path):
    """A command: exit code, seconds of a processor, bytes of memory, what it says."""
    ((code, seconds, size),) = measure_each([{"words": [str(PROGRAM), *map(str, words)], "folder": str(folder)}])
    return code, seconds, size, (folder / "stderr").read_text()


@pytest.mark.parametrize("what", ["beats", "readings", "alarms"])
@pytest.mark.parametrize("garbage", [b"", b"\n\n", b"<html><body>404 not found</body></html>\n", b"\0" * 400, BOM], ids=["empty", "blank", "page", "NULs", "mark"])
def test_garbage_is_no_reference(tmp_path, what, garbage):
    heads = {"beats": "time_s\n1\n", "readings": "time_s,heart_rate_bpm\n1,60\n", "alarms": "time_s,alarm\n1,asystole\n"}
    (tmp_path / "reference.csv").write_bytes(garbage)
    (tmp_path / "shown.csv").write_text(heads[what])
    assert_refused(run("score", tmp_path / "reference.csv", tmp_path / "shown.csv", "--what", what), "reference.csv")


def test_a_hundred_megabytes_of_beats_are_refused_in_little_room(tmp_path):
    with (tmp_path / "long.csv").open("wb") as file:
        for _ in range(100):
            file.write(b"0.5,N\n" * ((1 << 20) // 6))
    (tmp_path / "short.csv").write_text("time_s\n1\n")
    code, seconds, size, said = measured([*SCORE, "short.csv", "long.csv", "--test-unit", "s"], tmp_path)
    assert code == 2 and "rows" in said, said
    assert size < 400 << 20 and seconds < 10, (size >> 20, seconds)


def test_an_answer_of_256_megabytes_costs_its_record(tmp_path):
    plan = {"version": 1, "duration_s": 4, "score": {"learning_s": 0},
            "blocks": [{"rhythm": ["sinus"], "rate_bpm": [75], "frame_rate_hz": [250], "seed": {"from": 1, "count": 2}}]}
    (tmp_path / "plan.json").write_text(json.dumps(plan))
    words = ["suite", "plan.json", "-o", "out", "--jobs", "1", "--", "/usr/bin/head", "-c", str(256 << 20), "/dev/zero"]
    code, _, size, said = measured(words, tmp_path)
    failures = list((tmp_path / "out").rglob("*.failure.txt"))
    assert code in (1, 2) and (failures or "MB" in said), said
    assert size < 200 << 20, size >> 20


def test_a_header_of_nuls_is_none(tmp_path):
    script = scripts.write(tmp_path / "script.json", scripts.step(3, rate_bpm=72))
    succeed("render", script, "-o", tmp_path / "in.hea", "--channels", "II")
    (tmp_path / "in.manifest.json").unlink()
    (tmp_path / "test.csv").write_text("time_s\n1\n")
    succeed(*SCORE, tmp_path / "in.atr", tmp_path / "test.csv")
    (tmp_path / "in.hea").write_bytes(b"\0" * 300)
    assert_refused(run(*SCORE, tmp_path / "in.atr", tmp_path / "test.csv"), "in.hea")


def test_a_line_of_99999_bad_steps_is_refused_at_once(tmp_path):
    (tmp_path / "in.json").write_text('{"version": 1, "steps": [' + ",".join(['{"duration_s": -1, "rhythm": "sinsu"}'] * 99_999) + "]}")
    code, seconds, size, said = measured(["check", "in.json"], tmp_path)
    assert code == 2 and "more" in said and len(said) < 100_000, said[:300]
    assert seconds < 2 and size < 200 << 20, (seconds, size >> 20)


@pytest.mark.parametrize("form", ["script", "rig", "record", "record table", "limits", "suite plan", "table"])
def test_a_byte_order_mark_is_skipped(tmp_path, inputs, form):  # noqa: F811
    (tmp_path / "t.csv").write_text("time_s\n1\n")
    sources = {
        "script": (inputs / "new.json", "in.json", ["check", "in.json"]),
        "rig": (ROOT / "examples" / "rig" / "bench.json", "in.json", ["rig", "check", "in.json"]),
        "record": (inputs / "record.json", "in.json", ["report", "in.json"]),
        "record table": (tmp_path / "r.csv", "in.csv", ["report", "in.csv", "--script", inputs / "session.json"]),
        "limits": (tmp_path / "l.json", "in.json", [*SCORE, "t.csv", "t.csv", "--limits", "in.json"]),
        "suite plan": (inputs / "suite.json", "in.json", ["suite", "in.json", "--list"]),
        "table": (tmp_path / "t.csv", "in.csv", [*SCORE, "t.csv", "in.csv"]),
    }
    (tmp_path / "r.csv").write_text("item,value\nabout.asset,A\n")
    (tmp_path / "l.json").write_text('{"gross": {"min": {"se": 50}}}')
    source, name, words = sources[form]
    (tmp_path / name).write_bytes(source.read_bytes())
    plain = run(*words, cwd=tmp_path)
    (tmp_path / name).write_bytes(BOM + source.read_bytes())
    marked = run(*words, cwd=tmp_path)
    assert plain.code == marked.code == (1 if form == "record table" else 0), marked
    assert plain.stdout == marked.stdout


def test_answers_and_commands_have_a_longest_line(tmp_path, inputs):  # noqa: F811
    long = b"x" * (40 << 20)
    (tmp_path / "stdin").write_bytes(long + b"\n" + ANSWERS)
    code, _, size, said = measured(["session", inputs / "session.json", "-o", "record.json"], tmp_path)
    assert code == 0, said
    assert b"the line is too long: at most 4 KiB" in (tmp_path / "stdout").read_bytes()
    assert size < 100 << 20, size >> 20
    for name in ("record.json", "stdin"):
        (tmp_path / name).unlink()
    # Long lines without an end, then a command, while frames are sent.
    (tmp_path / "stdin").write_bytes((long + b"\n") * 2 + b"\xff\nrate 90\n")
    code, _, size, said = measured(["stream", inputs / "new.json", "--live", "--duration", "1500ms"], tmp_path)
    assert code == 0 and said.count("the line is too long: at most 4 KiB") == 2 and "the line is not UTF-8 text" in said, said
    assert "s: rate 90" in said
    assert size < 100 << 20, size >> 20


def test_a_flood_of_commands_does_not_hold_the_signal_up(tmp_path, inputs):  # noqa: F811
    flood = subprocess.Popen(["yes", "rate 90"], stdout=subprocess.PIPE)
    try:
        words = [str(PROGRAM), "stream", str(inputs / "new.json"), "--live", "--duration", "500ms", "--channels", "II"]
        start = time.monotonic()
        sent = subprocess.run(words, stdin=flood.stdout, capture_output=True, timeout=60, check=False)
        elapsed_s = time.monotonic() - start
    finally:
        flood.kill()
        flood.wait()
    assert sent.returncode == 0 and len(sent.stdout) == 250 * 2
    assert 0.45 < elapsed_s < 5, f"{elapsed_s:.2f} s for a signal of 0.5 s (a busy machine takes longer, a flood for ever)"


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
@pytest.mark.parametrize("verb", [*VERBS, "session", "report --new-key", "report --sign"])
def test_every_part_is_synced_before_it_has_its_name_and_the_folder_after(tmp_path, inputs, verb):  # noqa: F811
    """Files outlive a loss of power: the order of the calls, as strace sees them."""
    folder = tmp_path / "set"
    folder.mkdir()
    log = tmp_path / "log"
    words = [str(word) for word in commands(verb, inputs, "new", folder)]
    if verb == "report --sign":
        shutil.copy(inputs / "record.json", folder)
    before = set(visible(folder))
    calls = "trace=fsync,fdatasync,rename,renameat,renameat2,link,linkat"
    traced = ["strace", "-f", "-qq", "-y", "-o", log, "-e", calls, PROGRAM, *words]
    subprocess.run(traced, input=options_of(verb).get("stdin", b""), capture_output=True, timeout=60, check=False)
    synced, named, folder_synced_at, named_at = set(), set(), -1, -1
    for at, numbered in enumerate(log.read_text().splitlines()):
        line = numbered.split(maxsplit=1)[1]
        if found := re.match(r"f(?:data)?sync\(\d+<([^>]+)>\)\s+= 0", line):
            synced.add(found[1])
            if found[1] == str(folder):
                folder_synced_at = at
        elif (found := re.match(r'\w+\((?:[^"]*, )?"([^"]+)", (?:[^"]*, )?"([^"]+)".*= 0', line)) and str(folder) in found[2]:
            name = Path(found[2]).name
            if not name.startswith(".pulsewright-"):
                assert found[1] in synced, line
                named.add(name)
                named_at = at
    assert named == set(visible(folder)) - before and named
    assert folder_synced_at > named_at, "the folder is synced after the last name"


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace: .ci/test installs it")
def test_each_answer_is_synced_before_the_next_question(tmp_path, inputs):  # noqa: F811
    """A draft outlives a loss of power after any answer."""
    words = ["session", inputs / "session.json", "-o", tmp_path / "record.json"]
    log = tmp_path / "log"
    traced = ["strace", "-f", "-qq", "-y", "-o", log, "-e", "trace=write,fsync,fdatasync", PROGRAM, *words]
    subprocess.run(list(map(str, traced)), input=ANSWERS, capture_output=True, timeout=60, check=False)
    answers, unsynced = 0, False
    for line in log.read_text(errors="replace").splitlines():
        call = re.match(r"\d+ +(\w+)\((\d+)<([^>]*)>", line)
        if call and call[1] == "write" and call[2] == "1":
            assert not unsynced, "the next words are said before the answer is synced"
        elif call and call[3].endswith("record.json.draft"):
            unsynced = call[1] == "write"
            answers += unsynced
    assert answers > 10 and not unsynced
