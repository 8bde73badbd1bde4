"""The session on a screen: a rhythm found by an abbreviation, held, changed, stopped; a whole plan, killed and taken up."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from console_bench import HZ, Rig, recorded_plan, rendered
from program import run
from terminal_bench import DOWN, ENTER, ESC, F1, UP, Terminal
from test_console_plan import ARREST, PLAN, judged

HOLD_S = float(os.environ.get("PULSEWRIGHT_HOLD_S", "3"))
"""The rhythm is held so long: 20 s by hand, less in every run."""


def braille(screen: str) -> set[str]:
    return {letter for letter in screen if 0x2800 < ord(letter) <= 0x28FF}


def test_a_rhythm_is_found_held_changed_and_stopped(tmp_path):
    rig = Rig(tmp_path / "rig")
    terminal = Terminal("--play", rig.path, "--folder", "bench", folder=tmp_path)
    try:
        terminal.confirm()
        assert "vf" not in terminal.words()
        terminal.type("vf")
        terminal.until("Playing Ventricular fibrillation")
        terminal.until(lambda _: terminal.clock_s() >= HOLD_S)
        terminal.until("alarm Ventricular fibrillation, high priority")
        assert len(braille(terminal.text())) > 10, terminal.text()
        # A rate is not for a rhythm without beats.
        terminal.press("c")
        terminal.until("Heart rate: this rhythm has none")
        terminal.type("300")
        terminal.until("has no beats, so it has no rate to set")
        terminal.press(ESC, "p")
        terminal.until("Rhythm: _")
        terminal.type("asystole")
        terminal.until("Playing Asystole")
        terminal.until(lambda _: terminal.clock_s() >= 1)
        terminal.press("x")
        terminal.until("At rest")
        code, said = terminal.leave()
        assert code == 0, said
        rig.thread.join(60)
    finally:
        terminal.kill()
    (log,) = (tmp_path / "bench").glob("played-*.json")
    assert rig.bytes() == rendered(log, tmp_path)
    steps = json.loads(log.read_text("utf-8"))["steps"]
    assert [step.get("rhythm") for step in steps[1:3]] == ["ventricular-fibrillation", "asystole"]
    assert steps[1]["duration_s"] >= HOLD_S
    # The samples that the rig got: fibrillation has no quiet stretch, the asystole after it no beat.
    lead_ii = rig.frames()[:, 1]
    ends = np.round(np.cumsum([step["duration_s"] for step in steps[:3]]) * HZ).astype(int)
    fibrillating = lead_ii[ends[0] + HZ : ends[1]]
    assert all(np.ptp(part) > 0.2 for part in np.array_split(fibrillating, len(fibrillating) // HZ))
    assert np.ptp(lead_ii[ends[2] - HZ // 2 : ends[2]]) < 0.2
    assert not lead_ii[-HZ // 10 :].any()


def begin(terminal: Terminal, asset: str) -> None:
    terminal.until("Asset number: _")
    for text in [asset, "Invented monitor", "S-1", "1.0", "bench 2", "WO-9"]:
        terminal.type(text)
    terminal.until("> Begin the record")
    terminal.press(ENTER)
    terminal.until("The record is open")


def test_a_whole_plan_is_entered_killed_taken_up_and_signed(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(PLAN), "utf-8")
    rig = Rig(tmp_path / "rig")
    flags = (plan, "-o", tmp_path / "record.json", "--folder", "bench")
    terminal = Terminal(*flags, "--play", rig.path, folder=tmp_path)
    try:
        terminal.confirm()
        begin(terminal, "INV-0042")
        terminal.select("Rig, number")
        for text in ["R-1", "2099-01-31", "M-1", "2099-01-31"]:
            terminal.type(text)
        terminal.until(lambda _: terminal.selected().startswith("Pressure or cuff reference, number"))
        terminal.select("[ ] Kit out: ECG cable")
        terminal.press(ENTER)
        terminal.until("[x] Kit out: ECG cable")
        terminal.select("Kit out: ECG cable, number")
        for text in ["K-7", "drawer 2"]:
            terminal.type(text)
        terminal.until("ECG cable, place: drawer 2")
        # Nothing plays before the preparations are made.
        terminal.select("Play step 1: rate")
        terminal.press(ENTER)
        terminal.until("This is not ticked, so nothing plays: Prepare: Sound is on")
        terminal.select("[ ] Prepare: Sound is on", UP)
        terminal.press(ENTER)
        terminal.until("[x] Prepare: Sound is on")
        terminal.select("Play step 1: rate")
        terminal.press(ENTER)
        terminal.until("Step 1 of 5: rate")
        terminal.until("> Heart rate")
        terminal.type("5x")
        terminal.until("is not a number")
        terminal.type("95")
        terminal.until("[fail] 95 bpm off by")
        terminal.press("u")
        terminal.until("Taken back: Heart rate, rate")
        terminal.select("Heart rate", UP)
        terminal.type("81")
        terminal.until("[pass] 81 bpm")
        terminal.select("Arterial mean")
        terminal.type("16 kPa")
        terminal.until(re.compile(r"\[fail\] 16 kPa").search)
        terminal.select("Arterial systolic")
        terminal.press("s")
        terminal.type("no second cable")
        terminal.until("[skipped] no second cable")

        # Keys that are pressed before a step begins answer nothing in it: the alarm of the third step.
        terminal.press("g")
        terminal.until("Step 2 of 5: faster")
        terminal.press("w")
        terminal.until("s left, waiting")
        terminal.press("w", " ", "h")
        terminal.until("Step 3 of 5: arrest")
        assert terminal.selected().startswith("Asystole (alarm)") and "[" not in terminal.selected()
        terminal.press(" ")
        terminal.until("which priority does the monitor show?")
        terminal.press("h")
        terminal.until("too soon")
        terminal.type("300")
        terminal.until("which priority")
        terminal.press("h")
        terminal.until("the step has played for")
        terminal.until(lambda _: terminal.clock_s() >= 2.6)
        # The second key came with the first, before its question was shown: it is thrown away.
        terminal.press(" h")
        terminal.until("which priority")
        terminal.until(lambda _: terminal.clock_s() >= 3.2)
        assert "which priority" in terminal.words()
        terminal.press("h")
        terminal.until(re.compile(r"\[pass\] \d\.\d s, high").search)
        terminal.until(lambda _: terminal.selected().startswith("Apnoea"))
        terminal.press("y")
        terminal.until(lambda words: words.count("[pass]") == 2)

        terminal.press("g")
        terminal.until("Step 4 of 5: flutter")
        terminal.until(lambda _: terminal.clock_s() >= 4.5)
        terminal.press(" ")
        terminal.until("which priority")
        terminal.press("m")
        terminal.until(re.compile(r"\[fail\] \d\.\d s, medium late by .* s, and medium in place of high").search)
        terminal.kill()
        rig.thread.join(60)

        # Everything that was entered is there when the program runs again.
        rig = Rig(tmp_path / "rig again")
        terminal = Terminal(*flags, "--play", rig.path, folder=tmp_path)
        terminal.confirm()
        terminal.until("> Go on with INV-0042")
        terminal.press(ENTER)
        terminal.until("The record is open")
        terminal.select("Play step 4: flutter")
        terminal.press(ENTER)
        terminal.until("Step 4 of 5: flutter")
        terminal.until(lambda words: "> apnoea" in words.lower())
        terminal.press("n")
        terminal.until("it sounded")
        terminal.press("g")
        terminal.until("Step 5 of 5: again")
        terminal.type("75")
        terminal.until("[pass] 75 bpm")
        terminal.press("e")
        terminal.until("So far 4 passed, 3 failed, 1 skipped, 0 open")
        terminal.select("[ ] Kit back: ECG cable", UP)
        terminal.press(ENTER)
        terminal.until("[x] Kit back: ECG cable")
        terminal.select("Done by")
        terminal.type("A. Invented")
        terminal.select("Stop the outputs and sign")
        terminal.press(ENTER)
        terminal.until("Signed:")
        code, said = terminal.leave()
        assert code == 1 and "failed: 4 passed, 3 failed, 1 skipped, 0 open" in said, said
        rig.thread.join(60)
    finally:
        terminal.kill()

    record = tmp_path / "record.json"
    assert not (tmp_path / "record.json.draft").exists()
    assert judged(record) == {
        "overall": "failed", "1.heart-rate": "pass", "1.arterial-mean": "fail", "1.arterial-systolic": "skipped", "3.alarm-1": "pass",
        "3.silent-1": "pass", "4.alarm-1": "fail", "4.silent-1": "fail", "5.heart-rate": "pass",
    }
    saved = json.loads(record.read_text("utf-8"))
    assert [(of["item"], of["entry"]["value"]) for of in saved["earlier"]] == [("1.heart-rate", "95")]
    assert saved["about"] | {"date": ""} == {
        "asset": "INV-0042", "model": "Invented monitor", "serial": "S-1", "software": "1.0", "location": "bench 2", "work_order": "WO-9", "date": "",
    }
    assert saved["kit"]["1"] == {"out": "yes", "back": "yes", "id": "K-7", "place": "drawer 2"}
    assert saved["instruments"][:2] == [
        {"what": "Rig", "id": "R-1", "due": "2099-01-31"}, {"what": "Meter that verified the rig", "id": "M-1", "due": "2099-01-31"},
    ]
    # The log beside the record has the steps that were played since the program was started again; the log of the run renders to what the
    # rig got.
    log = tmp_path / saved["played"]["log"]["name"]
    assert "sha256:" + hashlib.sha256(log.read_bytes()).hexdigest() == saved["played"]["log"]["digest"]
    whole = max((tmp_path / "bench").glob("played-*.json"))
    assert rig.bytes() == rendered(whole, tmp_path)
    assert [step.get("name") for step in json.loads(log.read_text("utf-8"))["steps"][1:3]] == ["flutter", "again"]


def test_a_recording_plays_as_a_step(tmp_path):
    """What the rig got is a render of the log, in the folder of the recording that it names."""
    plan = recorded_plan(tmp_path)
    rig = Rig(tmp_path / "rig")
    terminal = Terminal(plan, "--play", rig.path, "--folder", "bench", folder=tmp_path)
    try:
        terminal.confirm()
        begin(terminal, "INV-7")
        terminal.select("Play step 1: recorded")
        terminal.press(ENTER)
        terminal.until("Step 1 of 1: recorded")
        terminal.until(lambda _: terminal.clock_s() >= 3)
        terminal.press("x")
        terminal.until("At rest")
        terminal.leave()
    finally:
        terminal.kill()
    rig.thread.join(60)
    (log,) = (tmp_path / "bench").glob("played-*.json")
    assert rig.bytes() == rendered(shutil.copy(log, tmp_path), tmp_path)
    assert np.ptp(rig.frames()[:, 1]) > 0.5


def test_no_alarm_is_timed_while_the_output_takes_nothing(tmp_path):
    plan, rig = tmp_path / "plan.json", Rig(tmp_path / "rig")
    plan.write_text(json.dumps(ARREST), "utf-8")
    terminal = Terminal(plan, "--play", rig.path, folder=tmp_path)
    try:
        terminal.confirm()
        begin(terminal, "INV-7")
        terminal.select("Play step 1: arrest")
        terminal.press(ENTER)
        terminal.until("Step 1 of 1: arrest")
        rig.stall()
        terminal.press(" ")
        terminal.until("nothing can be timed now")
        assert "which priority" not in terminal.words()
        rig.go_on()
        terminal.press(" ")
        terminal.until("which priority does the monitor show?")
        terminal.press(ESC)
        terminal.leave()
    finally:
        terminal.kill()


@pytest.mark.parametrize("line", [0, 1])
def test_no_is_no(tmp_path, line):
    target = tmp_path / "signal.f32"
    terminal = Terminal("--play", target, folder=tmp_path)
    try:
        terminal.until("connected to no person?")
        # Pressed twice at once: the second press answers no question that was not yet shown.
        if line:
            terminal.press("yy")
        terminal.until(["connected to no person?", "verified with a calibrated meter?"][line])
        time.sleep(0.3)
        assert "Outputs closed" in terminal.words()
        terminal.press("n")
        code, said = terminal.end()
        assert code == 2 and "nothing was played" in said, said
    finally:
        terminal.kill()
    assert not target.exists() or target.stat().st_size == 0


def test_what_is_refused(tmp_path):
    terminal = Terminal("--play", "/dev/no-such-rig", folder=tmp_path)
    code, said = terminal.end()
    assert code == 2 and "there is no device /dev/no-such-rig" in said
    for arguments in [(), ("--plain",)]:
        outcome = run("session", *arguments, stdin=b"")
        assert outcome.code == 2 and "needs a script" in outcome.stderr


WORD = re.compile(r"[a-z]+", re.IGNORECASE)


def still(terminal: Terminal) -> str:
    """The screen once its words stay the same: a picture may be read while it is drawn."""
    before = None
    for _ in range(200):
        text = terminal.text()
        words = WORD.findall(text)
        if words == before:
            return text
        before = words
        time.sleep(0.15)
    raise AssertionError(f"the words never stay the same:\n{text}")


def test_words_are_whole_on_every_width(tmp_path):
    """Each word on the screen is a word of the same screen on a wide terminal, where no line is broken."""
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(PLAN), "utf-8")
    pictures = Path(os.environ.get("PULSEWRIGHT_PICTURES", str(tmp_path)))

    def screens(columns: int, rows: int) -> dict[str, str]:
        terminal = Terminal(plan, "-o", tmp_path / f"record-{columns}.json", "--folder", f"bench-{columns}", columns=columns, rows=rows, folder=tmp_path)
        shown = {}
        try:
            terminal.until("connected to no person?")
            shown["confirm"] = still(terminal)
            terminal.confirm()
            terminal.until("Asset number")
            terminal.press(F1)
            terminal.until("any key closes it")
            shown["help"] = still(terminal)
            terminal.press(ENTER)
            begin(terminal, "INV-7")
            shown["before"] = still(terminal)
            terminal.select("[ ] Prepare")
            terminal.press(ENTER)
            terminal.until("[x] Prepare")
            terminal.press(DOWN, ENTER)
            terminal.until("Step 1 of 5: rate")
            terminal.until(lambda _: terminal.clock_s() >= 1)
            shown["step"] = still(terminal)
            terminal.press("p")
            terminal.until("Rhythm: _")
            shown["rhythms"] = still(terminal)
            terminal.leave()
        finally:
            terminal.kill()
        return shown

    widths = [60, 80, 90, 120, 400]
    with ThreadPoolExecutor(len(widths)) as pool:
        *narrow, wide = pool.map(lambda columns: screens(columns, 80 if columns == 400 else 30), widths)
    known = {word.lower() for screen in wide.values() for word in WORD.findall(screen)}
    for columns, shown in zip(widths, narrow, strict=False):
        for name, screen in shown.items():
            (pictures / f"terminal-{columns}-{name}.txt").write_text(screen, "utf-8")
            assert {word for word in WORD.findall(screen) if word.lower() not in known} == set(), (columns, name)
