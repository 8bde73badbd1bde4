"""The worksheet in a browser: filled in, cut off, reloaded, saved; and the report's verdicts against the page's."""

from __future__ import annotations

import json
import os

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from program import ROOT, run, succeed
from worksheet_page import Watched, alarm, chromium, enter, item, reload, save, sheet, skip, stopwatch, verdict  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")

CASES = ROOT / "crates" / "record" / "cases"
PLANS = sorted((ROOT / "examples").glob("plan-*.json"))


def test_the_page_judges_as_the_table_of_cases_says(chromium, sheet):
    page = Watched(chromium).open(sheet)
    rules = json.loads((CASES / "rules.json").read_text("utf-8"))
    judge = """([rule, entry]) => judge.item(rule, entry, JSON.parse(document.getElementById("data").textContent).units).verdict"""
    for name, of_file in rules.items():
        cases = json.loads((CASES / name).read_text("utf-8"))
        for case, rule in zip(cases, of_file, strict=True):
            entry = case.get("entry", {"value": case.get("written", ""), "skip": case.get("skip", "")})
            assert page.evaluate(judge, [rule, entry]) == case["verdict"], case
    # FIPS 180-4, examples of one and two blocks (values from memory).
    digest = "(text) => seal.sha256(new TextEncoder().encode(text))"
    assert page.evaluate(digest, "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    two = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
    assert page.evaluate(digest, two) == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"


FILLED = {
    "1.heart-rate": ("88", "pass"),
    "1.respiration-rate": ("18", "fail"),
    "1.arterial-systolic": ("16,0 kPa", "pass"),
    "1.arterial-diastolic": ("84,2", "fail"),
    "2.heart-rate": ("0", "pass"),
}


def fill_first_half(page) -> None:
    page.locator("[data-about=asset]").fill("INV-0042")
    page.locator('[data-kit="1"][data-way=out]').check()
    page.locator('[data-kit="2"][data-way=out]').check()
    page.locator('[data-prepare="0.prepare-1"]').check()
    for name in ("1.heart-rate", "1.respiration-rate", "1.arterial-systolic"):
        enter(page, name, FILLED[name][0])
    alarm(page, "2.alarm-1", "8,2", "high")


def fill_second_half(page) -> None:
    page.locator('[data-prepare="2.prepare-1"]').check()
    enter(page, "1.arterial-diastolic", FILLED["1.arterial-diastolic"][0])
    enter(page, "2.heart-rate", FILLED["2.heart-rate"][0])
    skip(page, "1.venous-mean", "no second \u201ccable\u201d <here>")
    alarm(page, "3.alarm-1", "12.5", "high")
    alarm(page, "4.alarm-1", "4", "medium")
    item(page, "5.alarm-1").locator("[data-field=heard]").check()
    for number in ("1", "2"):
        page.locator(f'[data-kit="{number}"][data-way=back]').check()
    page.locator('[data-sign=done][data-field=name]').fill("A. Invented, \u00d8ster\u00e5")


def test_filled_cut_off_reloaded_saved_and_judged_alike(chromium, sheet, tmp_path):
    watched = Watched(chromium)
    page = watched.open(sheet)
    fill_first_half(page)
    reload(page)
    assert page.locator("[data-about=asset]").input_value() == "INV-0042"
    assert page.locator('[data-kit="2"][data-way=out]').is_checked()
    assert verdict(page, "2.alarm-1") == "pass"
    assert "draft taken up again" in page.locator("#draft").inner_text()
    fill_second_half(page)
    shown = {row.get_attribute("data-item"): row.get_attribute("data-verdict") for row in page.locator("[data-item]").all()}
    expected = {name: verdict for name, (_, verdict) in FILLED.items()}
    expected |= {"1.venous-mean": "skipped", "2.alarm-1": "pass", "3.alarm-1": "fail", "4.alarm-1": "fail", "5.alarm-1": "fail"}
    assert shown == expected
    assert page.locator("#tally").inner_text() == "4 passed, 5 failed, 1 skipped, 0 open"
    assert page.locator('[data-item="3.alarm-1"] .why').inner_text() == "late by 2.5 s"
    record = save(page, tmp_path)
    assert record.name.startswith("record-INV-0042-")
    assert watched.outside() == [] and watched.said == []

    before = record.read_bytes()
    report = tmp_path / "report.json"
    outcome = run("report", record, "--script", sheet.parent / "plan.json", "-o", report, "-o", tmp_path / "report.html", "-o", tmp_path / "report.csv")
    assert outcome.code == 1, outcome
    assert record.read_bytes() == before
    judged = json.loads(report.read_text("utf-8"))
    assert {of["id"]: of["verdict"] for of in judged["items"]} == expected
    assert judged["changed"] == [] and judged["missing"] == [] and judged["overall"] == "failed"
    assert judged["unknown"] == []
    assert all(of["guide"] for of in judged["items"] if of["verdict"] == "fail")
    assert all(not of["guide"] for of in judged["items"] if of["verdict"] != "fail")
    assert "no second \u201ccable\u201d &lt;here&gt;" in (tmp_path / "report.html").read_text("utf-8")
    assert len((tmp_path / "report.csv").read_text("utf-8").splitlines()) == 1 + len(expected)


def test_all_passed_is_exit_code_nothing(chromium, sheet, tmp_path):
    page = Watched(chromium).open(sheet)
    fill_first_half(page)
    fill_second_half(page)
    for name, value in (("1.respiration-rate", "15"), ("1.arterial-diastolic", "80")):
        enter(page, name, value)
    for name in ("3.alarm-1", "4.alarm-1"):
        alarm(page, name, "9.9", "high")
    row = item(page, "5.alarm-1")
    row.locator("[data-field=heard]").uncheck()
    stopwatch(page, "5.alarm-1", runs=True)
    # A fibrillation is known once half of its limit of 4 s has passed.
    page.wait_for_timeout(2200)
    stopwatch(page, "5.alarm-1", runs=False)
    row.locator("[data-field=priority]").select_option("high")
    timed = float(row.locator("[data-field=value]").input_value())
    assert timed >= 2.2
    record = save(page, tmp_path)
    outcome = run("report", record)
    assert outcome.code == 0, outcome
    assert b"passed: 9 passed, 0 failed, 1 skipped, 0 open" in outcome.stdout

    # A changed reading, limit or name: each is reported, and none passes.
    text = record.read_text("utf-8")
    for old, new in (('"value": "9.9"', '"value": "9.8"'), ('"within_s": 6', '"within_s": 60'), ("INV-0042", "INV-0043")):
        assert old in text
        changed = tmp_path / "changed.json"
        changed.write_text(text.replace(old, new), "utf-8")
        outcome = run("report", changed)
        assert outcome.code == 1 and b"CHANGED" in outcome.stdout, (old, outcome)
    # Layout is no content.
    changed.write_text(json.dumps(json.loads(text), indent=None, sort_keys=True), "utf-8")
    assert run("report", changed).code == 0


def test_broken_records_are_refused_with_their_place_and_left_alone(chromium, sheet, tmp_path):
    page = Watched(chromium).open(sheet)
    fill_first_half(page)
    text = save(page, tmp_path).read_text("utf-8")
    broken = {
        "cut off": (text[: len(text) // 2], "was it cut off?"),
        "empty": ("", "the file is empty"),
        "comma": (text.replace('"record": 1,', '"record": 1'), "broken JSON"),
        "key": (text.replace('"items"', '"itmes"', 1), "unknown field"),
        "list": ("[]", "not a record"),
    }
    for what, (content, words) in broken.items():
        bad = tmp_path / f"{what}.json"
        bad.write_text(content, "utf-8")
        outcome = run("report", bad, "-o", tmp_path / "never.html")
        assert outcome.code == 2 and words in outcome.stderr and f"{bad}:" in outcome.stderr, outcome
        assert bad.read_text("utf-8") == content and not (tmp_path / "never.html").exists()
    # Its own input is never written over, not even by force.
    good = tmp_path / "good.json"
    good.write_text(text, "utf-8")
    assert run("report", good, "-o", good, "--force").code == 2
    assert good.read_text("utf-8") == text


def test_a_stopwatch_runs_on_over_a_reload(chromium, sheet):
    page = Watched(chromium).open(sheet)
    stopwatch(page, "2.alarm-1", runs=True)
    page.wait_for_timeout(600)
    reload(page)
    stopwatch(page, "2.alarm-1", runs=False)
    assert float(item(page, "2.alarm-1").locator("[data-field=value]").input_value()) >= 0.6


def test_a_saved_record_opens_again_and_a_foreign_one_does_not(chromium, sheet, tmp_path):
    page = Watched(chromium).open(sheet)
    fill_first_half(page)
    record = save(page, tmp_path)
    fresh = Watched(chromium).open(sheet)
    assert fresh.locator("[data-about=asset]").input_value() == ""
    fresh.locator("#file").set_input_files(record)
    expect(fresh.locator("[data-about=asset]")).to_have_value("INV-0042")
    assert verdict(fresh, "1.respiration-rate") == "fail"
    for text, word in (("{", "not whole JSON"), ('{"record": 1, "plan": {"digest": "x", "title": "other"}}', "another plan")):
        bad = tmp_path / "bad.json"
        bad.write_text(text, "utf-8")
        fresh.locator("#file").set_input_files(bad)
        expect(fresh.locator("#message")).to_contain_text(word)
        assert fresh.locator("[data-about=asset]").input_value() == "INV-0042"


def test_a_session_s_record_keeps_what_was_played(chromium, tmp_path):
    plan = tmp_path / "plan.json"
    steps = [{"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate"]}}]
    plan.write_text(json.dumps({"version": 1, "title": "Invented plan", "notes": "Invented data.", "steps": steps}), "utf-8")
    answers = ["INV-0042", "", "", "", "", "", "", "", "", "", "yes", "yes", "80", "", "A. Invented", "", ""]
    signal, record = tmp_path / "signal.f32", tmp_path / "record.json"
    run("session", plan, "-o", record, "--play", signal, stdin="".join(f"{line}\n" for line in answers).encode())
    played = json.loads(record.read_text("utf-8"))["played"]
    assert played["steps"][0]["frames"] > 0
    sheet = tmp_path / "sheet.html"
    succeed("worksheet", plan, "-o", sheet)
    page = Watched(chromium).open(sheet)
    page.locator("#file").set_input_files(record)
    expect(page.locator("[data-about=asset]")).to_have_value("INV-0042")
    enter(page, "1.heart-rate", "81")
    again = save(page, tmp_path)
    saved = json.loads(again.read_text("utf-8"))
    assert saved["played"] == played and saved["items"]["1.heart-rate"]["value"] == "81"
    assert b"changed: " not in run("report", again).stdout


@pytest.mark.parametrize("change", ["a reading", "no digest", "a member twice"])
def test_a_changed_record_stays_in_doubt_when_it_is_saved_again(chromium, sheet, tmp_path, change):
    page = Watched(chromium).open(sheet)
    fill_first_half(page)
    sound = save(page, tmp_path).read_text("utf-8")
    changed = tmp_path / "changed.json"
    digest = json.loads(sound)["digest"]
    changed.write_text({
        "a reading": sound.replace('"INV-0042"', '"INV-0043"', 1),
        "no digest": sound.replace(f',\n  "digest": "{digest}"', "", 1),
        "a member twice": sound.replace('"asset": ', '"asset": "INV-0043", "asset": "INV-0041", "asset_": ', 1),
    }[change], "utf-8")
    assert changed.read_text("utf-8") != sound
    fresh = Watched(chromium).open(sheet)
    fresh.locator("#file").set_input_files(changed)
    expect(fresh.locator("#message")).to_contain_text("changed after it was saved")
    reload(fresh)
    again = save(fresh, tmp_path)
    assert json.loads(again.read_text("utf-8"))["doubt"]
    outcome = run("report", again)
    assert outcome.code == 1 and b"\nchanged: " in outcome.stdout and b"made from one that was changed" in outcome.stdout, outcome
    # Once more through a page: the doubt stays.
    third = Watched(chromium).open(sheet)
    third.locator("#file").set_input_files(again)
    expect(third.locator("#message")).to_contain_text("changed after it was saved")
    assert run("report", save(third, tmp_path)).code == 1


def test_keys_alone_are_enough(chromium, sheet):
    page = Watched(chromium).open(sheet)
    page.locator("[data-about=asset]").focus()
    page.keyboard.press("Alt+ArrowDown")
    page.keyboard.type("80")
    page.keyboard.press("Enter")
    page.keyboard.type("15")
    assert (verdict(page, "1.heart-rate"), verdict(page, "1.respiration-rate")) == ("pass", "pass")
    page.keyboard.press("Alt+ArrowDown")
    assert page.evaluate("document.activeElement.closest('.step').id") == "step-2"


def serious(page) -> list[str]:
    """Serious and critical faults that axe-core finds."""
    response = Axe().run(page).response
    assert len(response["passes"]) > 10, "axe-core looked at nothing"
    found = response["violations"]
    return [
        f"{fault['id']}: {node['html'][:120]}"
        for fault in found if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1400, 900), (820, 1180), (400, 800)], ids=["desktop", "tablet", "phone"])
def test_no_serious_fault_of_accessibility(chromium, sheet, tmp_path, size, scheme):
    watched = Watched(chromium, size, scheme)
    page = watched.open(sheet)
    fill_first_half(page)
    fill_second_half(page)
    assert serious(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "the page is wider than the screen"
    page.screenshot(path=os.environ.get("PULSEWRIGHT_PICTURES", str(tmp_path)) + f"/worksheet-{size[0]}-{scheme}.png", full_page=True)
    record = save(page, tmp_path)
    run("report", record, "--earlier", record, "-o", tmp_path / "report.html")
    page = watched.open(tmp_path / "report.html")
    assert serious(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "the report is wider than the screen"
    page.screenshot(path=os.environ.get("PULSEWRIGHT_PICTURES", str(tmp_path)) + f"/report-{size[0]}-{scheme}.png", full_page=True)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_ready_plans_make_worksheets_that_fit_a_page_and_print(chromium, plan, tmp_path):
    succeed("worksheet", plan, "-o", tmp_path / "sheet.html")
    assert (tmp_path / "sheet.html").stat().st_size < 3_000_000
    watched = Watched(chromium)
    page = watched.open(tmp_path / "sheet.html")
    assert page.locator(".item").count() >= 15
    assert page.locator(".strip").count() >= 10
    printed = page.pdf(prefer_css_page_size=True)
    assert printed.startswith(b"%PDF") and len(printed) > 20_000
    assert watched.outside() == [] and watched.said == []


def test_there_are_three_ready_plans():
    assert len(PLANS) == 3
