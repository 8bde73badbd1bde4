"""The guide to the bench, followed word for word: its commands in their order, in a folder of their own.

A record that a page would have saved is made here by the rule that the guide gives for the digest, with another JSON writer.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from program import PROGRAM, ROOT
from terminal_bench import ENTER, ESC, F1, Terminal

GUIDE = (ROOT / "docs" / "bench.md").read_text("utf-8")
COMMANDS = [line.split("  #")[0].strip() for block in re.findall(r"```sh\n(.*?)```", GUIDE, re.DOTALL) for line in block.splitlines() if line.strip()]

CODES = {"session": 2, "report by-hand.csv": 1, "report record": 1, "report this-year": 1}
"""Exit codes but 0: a session that is left at once, and records in which not everything was entered."""


def digest(value: dict) -> str:
    """SHA-256 of JSON with sorted members and no blanks, without its digest."""
    text = json.dumps({key: of for key, of in value.items() if key != "digest"}, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def record(worksheet: Path, **about: str) -> str:
    """The record of a worksheet in which one reading was entered, as the guide specifies it."""
    data = re.search(r'<script type="application/json" id="data">(.*?)</script>', worksheet.read_text("utf-8"), re.DOTALL)
    plan = json.loads(data[1])["plan"]
    reading = next(of for step in plan["steps"] for of in step["readings"] if of["value"] is not None)
    made = {
        "record": 1, "about": about, "instruments": [], "kit": {}, "prepared": {}, "signatures": {}, "saved_at": "2026-11-25T10:00:00Z",
        "items": {reading["id"]: {"value": str(reading["value"]), "verdict": "pass"}},
    }
    return json.dumps(made | {"plan": plan, "digest": digest(made | {"plan": plan["digest"]})}, ensure_ascii=False)


@pytest.fixture
def folder(tmp_path) -> Path:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    shutil.copy(ROOT / "examples" / "rig" / "bench.json", tmp_path / "bench.json")
    by_hand = re.search(r"```text\n(item;.*?)```", GUIDE, re.DOTALL)
    (tmp_path / "by-hand.csv").write_text(by_hand[1], "utf-8")
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "pulsewright").symlink_to(PROGRAM)
    return tmp_path


@pytest.fixture
def installed(folder, tmp_path) -> Path:
    """The folder of the program: with PULSEWRIGHT_INSTALL=1 that of the guide's own line, which builds it (minutes)."""
    if not os.environ.get("PULSEWRIGHT_INSTALL"):
        return folder / "bin"
    (line,) = re.findall(r"`(cargo install [^`]+)`", GUIDE)
    subprocess.run(f"{line} --root {tmp_path / 'installed'}", shell=True, cwd=ROOT, check=True, env=os.environ | {"CARGO_TARGET_DIR": str(ROOT / "target")})
    return tmp_path / "installed" / "bin"


def test_the_commands_of_the_guide_work(folder, installed):
    assert len(COMMANDS) >= 8 and all(command.startswith("pulsewright ") for command in COMMANDS), COMMANDS
    verbs = {command.split()[1] for command in COMMANDS}
    assert verbs == {"worksheet", "stream", "session", "report"}, "the guide has a command that this check does not follow"
    path = f"{installed}{os.pathsep}{os.environ['PATH']}"
    typed = {"stream": b"next\nnext\nstop\n", "session": b"q\n"}
    for command in COMMANDS:
        # The rig is a file here.
        line = command.replace("/dev/rig", str(folder / "rig"))
        # As a person would: a report or a key that is there already is another day's.
        for made in re.findall(r"(?:-o|--new-key) (\S+)", line):
            (folder / made).unlink(missing_ok=True)
        ended = subprocess.run(
            line, shell=True, cwd=folder, input=typed.get(command.split()[1], b""), capture_output=True, timeout=300, check=False,
            env=os.environ | {"PATH": path},
        )
        expected = next((code for start, code in CODES.items() if command.startswith(f"pulsewright {start}")), 0)
        assert ended.returncode == expected, (command, ended.stderr.decode(), ended.stdout.decode())
        assert b"changed:" not in ended.stdout, (command, ended.stdout.decode())
        if command.split()[1] == "worksheet":
            for name, day in [("record-AN-0042-2026-11-25", "2026-11-25"), ("this-year", "2026-11-25"), ("last-year", "2025-11-25"), ("2024", "2024-11-25")]:
                (folder / f"{name}.json").write_text(record(folder / "worksheet.html", asset="AN-0042", date=day), "utf-8")
        if command.split()[1] == "stream":
            assert (folder / "rig").stat().st_size > 0
        if command.split()[1] == "session":
            shutil.copy(folder / "this-year.json", folder / "record.json")


def test_the_keys_of_the_guide_work(folder):
    """The guide's session on a screen: keys do what the guide says that they do. `test_terminal.py` presses `n`, Space, `h`, `p` and `s`."""
    section = GUIDE.split("## In the terminal instead")[1].split("## ")[0]
    named = set(re.findall(r"`([^\s`]|Space|Esc|Enter|F1)`", section.split("Without a script")[0]))
    assert named == {"?", "F1", "y", "n", "Enter", "g", "a", "l", "w", "Space", "h", "m", "s", "u", "p", "c", "b", "x", "Esc", "e", "q"}
    (command,) = [line for line in COMMANDS if line.startswith("pulsewright session ")]
    arguments = command.replace("/dev/rig", str(folder / "rig")).split()[2:]
    terminal = Terminal(*arguments, folder=folder, columns=100, rows=44)
    try:
        terminal.confirm()
        terminal.press(F1)
        terminal.until("Help; any key closes it.")
        terminal.press(ENTER)
        terminal.until("Asset number: _")
        terminal.type("AN-0042")
        terminal.select("Begin the record")
        terminal.press(ENTER)
        terminal.until("The record is open")
        terminal.select("Play step 1", ENTER)
        terminal.press(ENTER)
        terminal.until("Playing")
        terminal.until("Step 1 of ")
        terminal.press("?")
        terminal.until("Help; any key closes it.")
        terminal.press(ENTER)
        terminal.press("l")
        terminal.until("Steps of the plan")
        terminal.press(ESC)
        # The first step is a rest.
        terminal.until("Step 1 of ")
        terminal.press("w")
        terminal.until("waiting")
        terminal.press("g")
        terminal.until("Step 2 of ")
        terminal.until("> Heart rate")
        terminal.press("m")
        terminal.type("worn cable")
        terminal.until("remark: worn cable")
        terminal.press("u")
        terminal.until("Taken back")
        terminal.until(lambda _: terminal.clock_s() >= 0.8)
        terminal.press("a")
        terminal.until(lambda _: terminal.clock_s() < 0.5)
        terminal.press("c")
        terminal.until("Settings")
        terminal.press(ESC)
        terminal.until("> Heart rate")
        terminal.press("b")
        terminal.until("does not play")
        terminal.press("g")
        terminal.until("Step 3 of ")
        terminal.press("x")
        terminal.until("At rest")
        # Leaving is asked back; any other key goes on.
        terminal.press("q")
        terminal.until("Leave the session?")
        terminal.press("n")
        terminal.until(lambda words: "Leave the session?" not in words)
        terminal.press("e")
        terminal.until("After the last step")
        code, said = terminal.leave()
        assert code == 2 and "goes on from here" in said
        terminal = Terminal(*arguments, folder=folder, columns=100, rows=44)
        terminal.confirm()
        terminal.until("Go on with AN-0042")
        terminal.press("q")
        terminal.until("Leave the session?")
        terminal.press("y")
        assert terminal.end()[0] == 2
    finally:
        terminal.kill()
