"""A plan in the console: played, entered, judged, cut off, taken up, signed; the report's verdicts against the page's."""

from __future__ import annotations

import hashlib
import json
import os
import re
import time
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from console_bench import HZ, Console, Rig, confirm, enter, rendered
from program import ROOT, run
from worksheet_page import chromium, item  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")

PLAN = {
    "version": 1, "title": "Invented plan", "notes": "Invented data, for test benches only.", "seed": 5,
    "kit": ["ECG cable"], "prepare": ["Sound is on"], "steps": [
        {"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate", "arterial-mean", "arterial-systolic"]}},
        {"name": "faster", "duration_s": 1, "rate_bpm": {"to": 110}},
        {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "expect": {"alarms": "usual", "silent": ["apnoea"]}},
        {"name": "flutter", "duration_s": "hold", "rhythm": "ventricular-flutter",
         "expect": {"alarms": [{"within_s": 0.2, "source": "invented"}], "silent": ["apnoea"]}},
        {"name": "again", "duration_s": "hold", "rhythm": "sinus", "rate_bpm": 75, "expect": {"readings": ["heart-rate"]}},
    ],
}


ARREST = {"version": 1, "title": "Invented plan", "steps": [
    {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "expect": {"alarms": "usual"}},
]}


def verdict(page: Page, name: str, words: str | re.Pattern) -> None:
    expect(item(page, name).locator(".verdict")).to_have_text(words)


def read(page: Page, name: str, value: str) -> None:
    field = item(page, name).locator("input").first
    field.fill(value)
    field.press("Enter")


def begin(page: Page, asset: str, **words: str) -> None:
    page.fill("#about-asset", asset)
    for word, text in words.items():
        page.fill(f"#about-{word}", text)
    page.press("#about-asset", "Enter")
    expect(page.locator("#check-line")).to_contain_text(f"{asset}:")


def instrument(page: Page, what: str, number: str, due: str) -> None:
    row = page.get_by_role("group", name=what, exact=True)
    row.get_by_label("Number").fill(number)
    row.get_by_label("Calibrated until").fill(due)
    row.get_by_label("Calibrated until").press("Tab")


def played_for(page: Page, seconds: float) -> None:
    while float((page.locator("#watch").inner_text() or "0").split(" s")[0]) < seconds:
        page.wait_for_timeout(100)


def go(page: Page, screen: str | int) -> None:
    page.locator("details", has=page.locator("#plan-steps")).evaluate("of => { of.open = true; }")
    page.locator(f'#plan-steps [data-screen="{screen}"]').click()


def sign(page: Page, name: str) -> None:
    page.fill("#signer", name)
    page.press("#signer", "Enter")
    expect(page.locator("#signed")).to_be_visible()


def judged(record: Path) -> dict[str, str]:
    outcome = run("report", record, "-o", record.with_suffix(".report.json"))
    report = json.loads(record.with_suffix(".report.json").read_text("utf-8"))
    assert report["changed"] == [] and outcome.code == (0 if report["overall"] == "passed" else 1)
    return {"overall": report["overall"]} | {of["id"]: of["verdict"] for of in report["items"]}


def test_a_whole_plan_is_entered_cut_off_taken_up_and_signed(chromium, tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(PLAN), "utf-8")
    console = Console(tmp_path, plan, "--play", Rig(tmp_path / "rig").path)
    try:
        page = enter(chromium, console)
        confirm(page)
        begin(page, "INV-0042", model="Invented monitor", software="1.0")
        instrument(page, "Rig", "R-1", "2099-01-31")
        instrument(page, "Meter that verified the rig", "M-1", "2099-01-31")
        page.locator("#kit-out").get_by_role("checkbox", name="ECG cable").check()
        page.get_by_label("Sound is on").check()

        # Nothing can be read of a step that was not played.
        go(page, 0)
        read(page, "1.heart-rate", "80")
        expect(page.locator("#message")).to_contain_text("has not been played")
        verdict(page, "1.heart-rate", "open")
        page.click("#plan-again")
        expect(page.locator("#watch")).to_contain_text(re.compile(r"\d\.\d s"))
        read(page, "1.heart-rate", "eighty")
        expect(page.locator("#message")).to_contain_text("is not a number")
        read(page, "1.heart-rate", "95")
        verdict(page, "1.heart-rate", re.compile("^fail: off by"))
        page.click("#undo")
        expect(page.locator("#message")).to_contain_text("Taken back: Heart rate")
        expect(item(page, "1.heart-rate").locator("input").first).to_have_value("eighty")
        read(page, "1.heart-rate", "81")
        verdict(page, "1.heart-rate", re.compile("^pass"))
        read(page, "1.arterial-mean", "16 kPa")
        verdict(page, "1.arterial-mean", re.compile("^fail"))
        row = item(page, "1.arterial-systolic")
        row.locator("summary").click()
        row.get_by_label("Reason to skip").fill("no second cable <here>")
        row.get_by_role("button", name="Skip", exact=True).click()
        verdict(page, "1.arterial-systolic", "skipped: no second cable <here>")

        page.get_by_role("button", name="Next: faster").click()
        expect(page.locator("#watch")).to_contain_text("over")
        page.get_by_role("button", name="Next: arrest").click()
        expect(page.locator("#plan-step")).to_have_text("arrest")
        # Sooner than a monitor can know: asked back.
        page.keyboard.press(" ")
        page.keyboard.press("h")
        expect(page.locator("#message")).to_contain_text("too soon")
        verdict(page, "3.alarm-1", re.compile("^open: .*too soon"))
        # Later than the step has played: refused.
        read(page, "3.alarm-1", "300")
        page.keyboard.press("h")
        expect(page.locator("#message")).to_contain_text("the step has played for")
        item(page, "3.alarm-1").locator("input").first.fill("")
        page.locator("#heard").focus()
        played_for(page, 2.6)
        page.keyboard.press(" ")
        page.keyboard.press("h")
        verdict(page, "3.alarm-1", "pass")
        item(page, "3.silent-1").get_by_role("button", name="Stayed silent").click()
        verdict(page, "3.silent-1", "pass")

        page.get_by_role("button", name="Next: flutter").click()
        played_for(page, 5.0)
        page.keyboard.press(" ")
        page.keyboard.press("m")
        verdict(page, "4.alarm-1", re.compile("^fail: late by .*, and medium in place of high"))
        page.reload()
        expect(page.locator("#check-line")).to_contain_text("INV-0042: 3 passed, 2 failed, 1 skipped, 2 open")
        page.click("#open-next")
        expect(page.locator("#plan-step")).to_have_text("flutter")
        console.kill()
        expect(page.locator("#status-word")).to_have_text("No program")
        page.close()

        # Everything that was entered is there when the program runs again.
        rig = Rig(tmp_path / "rig again")
        console = Console(tmp_path, plan, "--play", rig.path)
        page = enter(chromium, console)
        confirm(page)
        page.get_by_role("button", name="Go on with INV-0042").click()
        expect(page.locator("#check-line")).to_contain_text("INV-0042: 3 passed, 2 failed, 1 skipped, 2 open")
        # An entry of before the kill is undone, too.
        expect(page.locator("#undo")).to_contain_text("flutter")
        page.click("#undo")
        expect(page.locator("#check-line")).to_contain_text("INV-0042: 3 passed, 1 failed, 1 skipped, 3 open")
        page.get_by_role("button", name="Play this step").click()
        played_for(page, 5.0)
        page.keyboard.press(" ")
        page.keyboard.press("m")
        verdict(page, "4.alarm-1", re.compile("^fail: late by .*, and medium in place of high"))
        item(page, "4.silent-1").get_by_role("button", name="Sounded").click()
        verdict(page, "4.silent-1", "fail: it sounded")
        page.get_by_role("button", name="Next: again").click()
        expect(page.locator("#plan-step")).to_have_text("again")
        read(page, "5.heart-rate", "75")
        verdict(page, "5.heart-rate", "pass")
        go(page, "after")
        page.locator("#kit-back").get_by_label("ECG cable").check()
        page.fill("#signer", "A. Invented")
        page.press("#signer", "Enter")
        expect(page.locator("#message")).to_contain_text("still plays")
        page.click("#stop")
        expect(page.locator("#status-word")).to_have_text("At rest")
        sign(page, "A. Invented")
        shown = page.locator("#signed-line").inner_text()
        assert shown == "INV-0042: failed, 4 passed, 3 failed, 1 skipped, 0 open"
        console.end()
        rig.thread.join(60)
    finally:
        console.kill()

    (record,) = [path for path in console.folder.glob("record-INV-0042-*.json") if not path.stem.endswith("played")]
    assert not list(console.folder.glob("*.draft"))
    expected = {
        "1.heart-rate": "pass", "1.arterial-mean": "fail", "1.arterial-systolic": "skipped", "3.alarm-1": "pass", "3.silent-1": "pass",
        "4.alarm-1": "fail", "4.silent-1": "fail", "5.heart-rate": "pass",
    }
    assert judged(record) == {"overall": "failed"} | expected
    saved = json.loads(record.read_text("utf-8"))
    # Each answer that was taken back or replaced stays, and none that was only asked back.
    earlier = [(of["item"], of["entry"]["verdict"]) for of in saved["earlier"]]
    assert earlier == [("1.heart-rate", "fail"), ("4.alarm-1", "fail")] and saved["earlier"][0]["entry"]["value"] == "95"
    assert saved["about"]["software"] == "1.0" and saved["instruments"][0] == {"what": "Rig", "id": "R-1", "due": "2099-01-31"}
    assert [step["id"] for step in saved["played"]["steps"]] == ["1", "2", "3", "4", "5"]

    # The log beside the record renders to what the rig got: the steps that were played after the program was killed.
    log = console.folder / saved["played"]["log"]["name"]
    assert "sha256:" + hashlib.sha256(log.read_bytes()).hexdigest() == saved["played"]["log"]["digest"]
    whole = max(console.folder.glob("played-*.json"))
    assert rig.bytes() == rendered(whole, tmp_path)
    steps = json.loads(log.read_text("utf-8"))["steps"]
    assert [step.get("name") for step in steps[1:3]] == ["flutter", "again"] and len(steps) == 4
    assert steps[:-1] == json.loads(whole.read_text("utf-8"))["steps"][: len(steps) - 1]
    ends = np.round(np.cumsum([step["duration_s"] for step in steps[:3]]) * HZ)
    assert [int(frames) for frames in np.diff(ends)] == [step["frames"] for step in saved["played"]["steps"][3:]]


ONE = {
    "version": 1, "title": "Invented round", "notes": "Invented data.",
    "steps": [{"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate"]}}],
}


def test_twenty_monitors_take_each_identity_once_and_the_instruments_once(chromium, tmp_path, record_property):
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(ONE), "utf-8")
    console = Console(tmp_path, plan, "--play", Rig(tmp_path / "rig").path)
    monitors = [f"INV-{number:04}" for number in range(1, 21)]
    try:
        page = enter(chromium, console)
        confirm(page)
        start = time.monotonic()
        for place, asset in enumerate(monitors):
            begin(page, asset, **({"model": "Invented monitor", "location": f"room {place}"}))
            if place == 0:
                instrument(page, "Rig", "R-1", "2099-01-31")
                instrument(page, "Meter that verified the rig", "M-1", "2099-01-31")
            page.click("#plan-next")
            expect(page.locator("#plan-step")).to_have_text("rate")
            read(page, "1.heart-rate", str(79 + place % 2))
            page.click("#stop")
            go(page, "after")
            expect(page.locator("#status-word")).to_have_text("At rest")
            sign(page, "A. Invented")
            page.click("#another")
            page.locator("#about-asset").fill("")
        record_property("counts", f"console: twenty monitors in {time.monotonic() - start:.0f} s")
        # The second time the number is enough, and the reading of the first time stands beside.
        begin(page, monitors[3])
        expect(page.locator("#about-location")).to_have_value("room 3")
        expect(page.get_by_role("group", name="Rig", exact=True).get_by_label("Number")).to_have_value("R-1")
        page.click("#plan-next")
        expect(item(page, "1.heart-rate")).to_contain_text("last time, ")
        expect(item(page, "1.heart-rate")).to_contain_text(": 80")
        # Two pages write into one record, and none over the other.
        second = enter(chromium, console)
        expect(second.locator("#check-line")).to_contain_text(monitors[3])
        read(page, "1.heart-rate", "81")
        go(second, "before")
        instrument(second, "Pressure or cuff reference", "P-1", "2020-01-31")
        go(second, 0)
        verdict(second, "1.heart-rate", "pass")
        page.click("#stop")
        go(page, "after")
        expect(page.locator("#missing")).to_contain_text("its calibration ran out on 2020-01-31")
        expect(page.locator("#status-word")).to_have_text("At rest")
        sign(page, "A. Invented")
        expect(page.locator("#signed-line")).to_contain_text("incomplete")
    finally:
        console.end()
    records = sorted(path for path in console.folder.glob("record-*.json") if not path.stem.endswith("played"))
    assert len(records) == 21
    for path in records[:2]:
        assert judged(path) == {"overall": "passed", "1.heart-rate": "pass"}
    saved = [json.loads(path.read_text("utf-8")) for path in records]
    assert {record["about"]["asset"] for record in saved} == set(monitors)
    assert all({of["id"] for of in record["instruments"]} >= {"R-1", "M-1"} for record in saved)
    assert all(len(record["played"]["steps"]) == 1 for record in saved)


def tab_to(page: Page, selector: str) -> None:
    """Presses the tabulator until this has the focus, as a person without a mouse does."""
    for _ in range(250):
        page.keyboard.press("Tab")
        if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"the tabulator never comes to {selector}")


def faultless(page: Page, picture: Path, themes: int = 1) -> None:
    """No serious fault of accessibility; nothing wider than the screen. Each look leaves the other theme behind."""
    for _ in range(themes):
        response = Axe().run(page).response
        assert len(response["passes"]) > 10, "axe-core looked at nothing"
        serious = [fault for fault in response["violations"] if fault["impact"] in ("serious", "critical")]
        assert not serious, [(fault["id"], fault["nodes"][0]["html"][:150]) for fault in serious]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "the page is wider than the screen"
        page.evaluate("document.getElementById('theme').click()")
    page.screenshot(path=picture, full_page=True)


def test_keys_alone_lead_the_signal_and_a_plan(chromium, tmp_path):
    plan = tmp_path / "plan.json"
    steps = [ONE["steps"][0] | {"expect": {"readings": ["heart-rate"], "manual": [
        {"name": "Case and cables", "source": "invented"},
        {"name": "Saturation at the finger simulator", "unit": "%", "value": 90, "tolerance": 2, "source": "invented"},
    ]}}, PLAN["steps"][2]]
    plan.write_text(json.dumps(ONE | {"steps": steps}), "utf-8")
    console = Console(tmp_path, plan)
    pictures = Path(os.environ.get("PULSEWRIGHT_PICTURES", str(tmp_path)))
    try:
        page = enter(chromium, console)
        # Colours of buttons change at once: half-way they are no colours of the page.
        page.emulate_media(reduced_motion="reduce")
        keys = page.keyboard
        expect(page.locator("#no-person")).to_be_focused()
        keys.press(" ")
        keys.press("Tab")
        keys.press(" ")
        keys.press("Tab")
        keys.press("Enter")
        expect(page.locator("#search")).to_be_focused()
        keys.type("nsr")
        keys.press("Enter")
        expect(page.locator("#h-now")).to_have_text("Sinus rhythm")
        expect(page.locator("#c-rate_bpm")).to_be_enabled()
        tab_to(page, "#c-rate_bpm")
        keys.press("Control+a")
        keys.type("120")
        keys.press("Enter")
        expect(page.get_by_role("row", name=re.compile("^Heart rate")).get_by_role("cell").first).to_have_text("120 bpm")
        keys.press("Escape")
        expect(page.locator("#h-now")).to_have_text("At rest")
        tab_to(page, "#about-asset")
        keys.type("INV-7")
        keys.press("Enter")
        expect(page.locator("#check-line")).to_contain_text("INV-7:")
        faultless(page, pictures / "console-before.png", themes=2)
        tab_to(page, "#plan-next")
        keys.press("Enter")
        expect(page.locator("#heard")).to_be_focused()
        tab_to(page, '[id="v-1.heart-rate"]')
        keys.type("80")
        keys.press("Enter")
        verdict(page, "1.heart-rate", "pass")
        # The focus goes on by itself: to the number by hand, then to the look.
        expect(page.locator('[id="v-1.manual-2"]')).to_be_focused()
        keys.type("95 %")
        keys.press("Enter")
        verdict(page, "1.manual-2", "fail: off by +5 %")
        expect(item(page, "1.manual-1").get_by_role("button", name="In order", exact=True)).to_be_focused()
        keys.press("Enter")
        verdict(page, "1.manual-1", "pass")
        faultless(page, pictures / "console-step.png", themes=2)
        expect(page.locator("#plan-next")).to_be_focused()
        keys.press("Enter")
        expect(page.locator("#plan-step")).to_have_text("arrest")
        played_for(page, 2.6)
        keys.press(" ")
        keys.press("h")
        verdict(page, "2.alarm-1", "pass")
        go(page, "after")
        faultless(page, pictures / "console-after.png")
        page.set_viewport_size({"width": 390, "height": 844})
        go(page, 1)
        faultless(page, pictures / "console-step-390.png")
        page.evaluate("scrollTo(0, 0)")
        paper, first = page.locator("#paper").bounding_box(), page.locator("#plan-items .item").first.bounding_box()
        assert paper["y"] + paper["height"] < first["y"] < 844, "strip and first item are in sight together"
        # The guide names what is on the page.
        guide = (ROOT / "docs" / "console.md").read_text("utf-8").split("\n## A plan")[1].split("\n## ")[0]
        files = page.evaluate("Promise.all(['/', '/check.js', '/item.js'].map(async (path) => (await fetch(path)).text()))")
        named = re.findall(r'"([^"]+)"', guide)
        assert len(named) >= 5 and not [words for words in named if words not in "".join(files)]
    finally:
        console.end()


def test_no_alarm_is_timed_while_the_output_takes_nothing(chromium, tmp_path):
    plan, rig = tmp_path / "plan.json", Rig(tmp_path / "rig")
    plan.write_text(json.dumps(ARREST), "utf-8")
    console = Console(tmp_path, plan, "--play", rig.path)
    try:
        page = enter(chromium, console)
        confirm(page)
        page.click("#plan-next")
        expect(page.locator("#heard")).to_be_focused()
        played_for(page, 0.2)
        rig.stall()
        expect(page.locator("#status-word")).to_have_text("Falling behind")
        page.keyboard.press(" ")
        expect(page.locator("#message")).to_contain_text("nothing can be timed now")
        assert page.locator("#noted li").count() == 0
        rig.go_on()
        expect(page.locator("#status-word")).to_have_text("Playing")
        page.keyboard.press(" ")
        expect(page.locator("#noted li")).to_have_count(1)
        console.end()
    finally:
        console.kill()
