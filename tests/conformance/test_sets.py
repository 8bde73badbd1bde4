"""Files that are written together: manifest, inputs, pipes, links, leftovers, two at a time."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import shutil
import signal
import stat
import subprocess
import threading
import time

import pytest
import scripts
from program import PROGRAM, ROOT, assert_refused, files_below, run, start, succeed

PLAN = ROOT / "examples" / "plan-transport-monitor.json"


@pytest.fixture
def script(tmp_path):
    return scripts.write(tmp_path / "script.json", scripts.step(5, rate_bpm=72))


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("more", [["out.wav"], ["out.hea"], ["out.csv", "--split", "2s"]], ids=lambda more: more[0])
def test_the_manifest_tells_of_every_file(tmp_path, script, more):
    succeed("render", script, "-o", tmp_path / more[0], *more[1:])
    manifest = json.loads((tmp_path / "out.manifest.json").read_text())
    listed = {part["name"]: part for part in manifest["files"]}
    others = {path.name for path in tmp_path.glob("out.*")} - {"out.manifest.json"}
    assert set(listed) == others
    for name, part in listed.items():
        assert part["sha256"] == sha256(tmp_path / name)
        assert part["bytes"] == (tmp_path / name).stat().st_size
    signals = [name for name, part in listed.items() if part["holds"] == "signal"]
    channels = json.loads((tmp_path / "out.channels.json").read_text())
    assert [(file["name"], file["sha256"]) for file in channels["files"]] == [(name, listed[name]["sha256"]) for name in signals]


def test_a_truth_table_stays_plain_csv(tmp_path, script):
    succeed("render", script, "-o", tmp_path / "out.wav")
    with open(tmp_path / "out.beats.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 5
    assert all(float(row["time_s"]) >= 0 for row in rows)


def test_the_truth_of_another_signal_is_refused(tmp_path, script):
    other = scripts.write(tmp_path / "other.json", scripts.step(5, rate_bpm=95))
    for name, source in (("one", script), ("two", other)):
        succeed("render", source, "-o", tmp_path / f"{name}.wav")
    beats = [tmp_path / f"{name}.beats.csv" for name in ("one", "two")]
    words = ["score", beats[0], beats[0], "--learning-s", "0"]
    succeed(*words)
    kept = beats[0].read_bytes()
    shutil.copy(beats[1], beats[0])
    assert_refused(run(*words), "one.beats.csv", "another signal")
    beats[0].write_bytes(kept)
    succeed(*words)
    shutil.copy(tmp_path / "two.wav", tmp_path / "one.wav")
    assert_refused(run(*words), "one.beats.csv", "another signal", "one.wav")
    (tmp_path / "one.wav").unlink()
    succeed(*words)
    (tmp_path / "one.manifest.json").write_text("{")
    assert_refused(run(*words), "one.manifest.json")
    # A table alone, as it was sent to somebody.
    (tmp_path / "one.manifest.json").unlink()
    succeed(*words)


def test_readings_and_alarms_of_another_signal_are_refused(tmp_path):
    succeed("render", PLAN, "-o", tmp_path / "out.wav", "--duration", "20s", "--channels", "II")
    steps = tmp_path / "out.steps.csv"
    (tmp_path / "shown.csv").write_text("time_s,kind,value\n")
    steps.write_text(steps.read_text().replace("1", "2", 1))
    for what in ("readings", "alarms"):
        assert_refused(run("score", steps, tmp_path / "shown.csv", "--what", what), "out.steps.csv", "another signal")


def own_inputs(folder, script):
    """Command lines whose output is one of their inputs, and the input."""
    plan = folder / "plan.html"
    shutil.copy(PLAN, plan)
    rig = folder / "rig.wav"
    shutil.copy(ROOT / "examples" / "rig" / "bench.json", rig)
    table = folder / "table.csv"
    table.write_text("time_s\n1\n")
    as_csv, as_json = folder / "script.csv", folder / "again.json"
    shutil.copy(script, as_csv)
    shutil.copy(PLAN, as_json)
    shutil.copy(script, folder / "out.steps.csv")
    return [
        (["render", as_csv, "-o", as_csv], as_csv),
        (["render", folder / "out.steps.csv", "-o", folder / "out.wav"], folder / "out.steps.csv"),
        (["render", script, "--rig", rig, "-o", rig], rig),
        (["compile", as_json, "-o", as_json], as_json),
        (["worksheet", plan, "-o", plan], plan),
        (["stream", as_json, "--log", as_json, "--fast", "--duration", "1s"], as_json),
        (["score", table, table, "--learning-s", "0", "--write", table], table),
        (["score", table, table, "--learning-s", "0", "--beats", table], table),
        (["calibrate", rig, "--levels", rig], rig),
        (["session", as_json, "-o", as_json], as_json),
        (["session", as_json, "-o", folder / "r.json", "--play", as_json], as_json),
        (["report", as_json, "--script", as_json, "-o", as_json], as_json),
    ]


@pytest.mark.parametrize("number", range(12))
@pytest.mark.parametrize("link", [None, os.link, os.symlink], ids=["same name", "hard link", "symbolic link"])
def test_no_verb_writes_what_it_reads(tmp_path, script, number, link):
    words, source = own_inputs(tmp_path, script)[number]
    if link:
        away = tmp_path / "away"
        away.mkdir()
        first = words.index(source)
        shutil.move(source, away / source.name)
        link(away / source.name, source)
        words[first] = away / source.name
    before = files_below(tmp_path)
    assert_refused(run(*words, "--force"), "is an input")
    assert files_below(tmp_path) == before


def test_names_of_steps_calculate_nothing_and_move_nothing(tmp_path):
    names = ["=cmd|' /C calc'!A0", "@SUM(A1)", "-2+3", "a\u202eb", "plain, \"quoted\""]
    text = {"version": 1, "steps": [{"name": name, "duration_s": 1} for name in names]}
    (tmp_path / "names.json").write_text(json.dumps(text))
    succeed("render", tmp_path / "names.json", "-o", tmp_path / "out.csv", "--channels", "II")
    with (tmp_path / "out.steps.csv").open(newline="", encoding="utf-8") as rows:
        shown = [row["name"] for row in csv.DictReader(line for line in rows if not line.startswith("#"))]
    assert shown[:4] == ["'" + names[0], "'" + names[1], "'" + names[2], "a\\u{202e}b"]
    assert len(shown) == len(names) and shown[4] == names[4]
    assert not any(c in "\u202e\n" for name in shown for c in name)


@pytest.mark.parametrize("verb", ["compile", "worksheet", "plot", "score", "stream", "calibrate", "report"])
def test_a_pipe_stays_a_pipe(tmp_path, script, verb):
    endings = {"worksheet": "html", "plot": "svg", "calibrate": "raw", "report": "json", "score": "json"}
    pipe = tmp_path / f"pipe.{endings.get(verb, 'json')}"
    os.mkfifo(pipe)
    table = tmp_path / "table.csv"
    table.write_text("time_s\n1\n")
    words = {
        "compile": ["compile", script, "-o", pipe],
        "worksheet": ["worksheet", PLAN, "-o", pipe],
        "plot": ["plot", script, "-o", pipe],
        "score": ["score", table, table, "--learning-s", "0", "--write", pipe],
        "stream": ["stream", script, "--fast", "--duration", "1s", "--log", pipe],
        "calibrate": ["calibrate", ROOT / "examples" / "rig" / "bench.json", "--levels", pipe],
        "report": ["report", tmp_path / "record.csv", "--script", PLAN, "-o", pipe],
    }[verb]
    if verb == "report":
        (tmp_path / "record.csv").write_text("item,value\n")
    got = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    outcome = run(*words, within_s=60)
    assert outcome.code in (0, 1), outcome
    reader.join(60)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert len(got[0]) > 20
    left = {path.name for path in tmp_path.iterdir()} - {script.name, pipe.name, "table.csv", "record.csv"}
    assert not left


CORRECT = ["--meter", "invented", "--accept", "--reading", "RA=-4.69/4.71"]


def test_a_correction_keeps_the_mode_and_refuses_other_names(tmp_path):
    rig = tmp_path / "bench.json"
    shutil.copy(ROOT / "examples" / "rig" / "bench.json", rig)
    rig.chmod(0o640)
    os.link(rig, tmp_path / "other.json")
    before = rig.read_bytes()
    assert_refused(run("calibrate", rig, *CORRECT), "bench.json", "hard links")
    assert rig.read_bytes() == before
    (tmp_path / "other.json").unlink()
    succeed("calibrate", rig, *CORRECT)
    assert rig.read_bytes() != before
    assert stat.S_IMODE(rig.stat().st_mode) == 0o640


def test_a_name_too_long_for_a_sidecar_is_refused_before_the_work(tmp_path):
    long = scripts.write(tmp_path / "long.json", scripts.step(100 * 86_400, rate_bpm=72))
    before = files_below(tmp_path)
    assert_refused(run("render", long, "-o", tmp_path / ("x" * 250 + ".wav"), within_s=20), "too long")
    assert files_below(tmp_path) == before


def hidden(folder):
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


@pytest.fixture
def long_render(tmp_path):
    """A render of two days under way in the folder `out`; and its folder."""
    long = scripts.write(tmp_path / "days.json", scripts.step(2 * 86_400, rate_bpm=70))
    folder = tmp_path / "out"
    folder.mkdir()
    rendering = start("render", long, "-o", folder / "long.wav")
    try:
        while not any(path.stat().st_size > 1_000_000 for path in folder.iterdir()):
            assert rendering.poll() is None, rendering.stderr.read()
            time.sleep(0.005)
        yield rendering, folder, long
    finally:
        rendering.kill()
        rendering.wait()


def test_what_a_killed_render_left_is_cleared_by_the_next_run(long_render, script):
    rendering, folder, _ = long_render
    rendering.kill()
    rendering.wait()
    left = sum(path.stat().st_blocks * 512 for path in folder.iterdir())
    assert left > 10_000_000, "it should hold the room of the whole"
    assert not [path for path in folder.iterdir() if not path.name.startswith(".")]
    succeed("plot", script, "-o", folder / "strip.svg")
    assert [path.name for path in folder.iterdir()] == ["strip.svg"]


def test_a_render_at_work_is_not_disturbed_and_named_to_a_second(long_render, script):
    rendering, folder, long = long_render
    os.kill(rendering.pid, signal.SIGSTOP)
    before = hidden(folder)
    succeed("plot", script, "-o", folder / "strip.svg")
    assert hidden(folder) == before
    for target in ("long.wav", "long.csv"):
        refused = run("render", long, "-o", folder / target, "--force", within_s=20)
        assert_refused(refused, target, f"process {rendering.pid}")
    assert hidden(folder) == before
