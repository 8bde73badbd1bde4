"""The plan editor of the console: forms to the script and back; the check is that of the command line; what has no form stays."""

from __future__ import annotations

import http.client
import json
import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from console_bench import Console, enter
from program import ROOT, run
from worksheet_page import chromium  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")

# An invented plan with much that the editor has no form for.
PLAN = """{
  "version": 1, "title": "Invented plan", "notes": "Invented data, for test benches only.", "seed": 18446744073709551615,
  "asset_class": "Bedside monitor", "kit": ["ECG cable"], "limits": {"heart-rate": {"tolerance": 2.50, "source": "invented"}},
  "rhythms": {"slow-escape": {"extends": "sinus"}},
  "steps": [
    {"name": "rate", "duration_s": "hold", "rate_bpm": 80.0, "expect": {"readings": ["heart-rate"]}},
    {"name": "beats", "duration_s": 12.0, "rhythm": "slow-escape", "beats": [{"at_s": 3.0, "site": "left-ventricular"}]},
    {"repeat": 2, "steps": [
      {"name": "ramp", "duration_s": 10, "rate_bpm": {"to": 110, "over_s": 5.0}},
      {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "expect": {"alarms": "usual", "silent": [{"name": "Invented noise alarm"}]}}
    ]}
  ]
}
"""


def exact(text: str) -> object:
    """A document whose numbers are as they were written and whose members keep their order."""
    return json.loads(text, parse_float=str, parse_int=str, object_pairs_hook=list)


def step(page: Page, name: str) -> None:
    page.locator("#steps button", has_text=name).first.click()


def field(page: Page, path: str):
    return page.locator(f'#fields [data-path="{path}"]')


def put(page: Page, path: str, value: str) -> None:
    field(page, path).fill(value)
    field(page, path).press("Tab")


def save(page: Page, name: str) -> None:
    page.fill("#name", name)
    page.click("#save")


@pytest.fixture
def plan(tmp_path) -> Path:
    path = tmp_path / "plan.json"
    path.write_text(PLAN, "utf-8")
    return path


@pytest.fixture
def console(tmp_path, plan):
    console = Console(tmp_path, plan)
    yield console
    console.kill()


def open_editor(chromium, console: Console, scheme: str = "light", size: tuple[int, int] = (1440, 900)) -> Page:
    page = enter(chromium, console, scheme, size)
    page.goto(f"http://{console.address}/editor")
    expect(page.locator("#check-line")).to_have_text("No problems")
    return page


def test_what_has_no_form_is_saved_as_it_was_written(chromium, console, plan):
    page = open_editor(chromium, console)
    save(page, "same.json")
    expect(page.locator("#status-more")).to_contain_text("same.json")
    assert exact(plan.with_name("same.json").read_text("utf-8")) == exact(PLAN)
    # A change of one member changes nothing else.
    step(page, "arrest")
    put(page, "steps[2].steps[1].name", "no beats")
    save(page, "renamed.json")
    expect(page.locator("#status-more")).to_contain_text("renamed.json")
    assert exact(plan.with_name("renamed.json").read_text("utf-8")) == exact(PLAN.replace('"arrest"', '"no beats"'))
    assert plan.read_text("utf-8") == PLAN
    for ready in sorted((ROOT / "examples").glob("plan-*.json")):
        text = ready.read_text("utf-8")
        page.set_input_files("#file", ready)
        expect(page.locator("#steps")).to_contain_text(json.loads(text)["title"])
        assert exact(page.locator("#json").text_content()) == exact(text), ready.name
    assert not page.said


def test_a_plan_is_written_in_forms_and_checked_as_on_the_command_line(chromium, console, plan, tmp_path):
    page = open_editor(chromium, console)
    step(page, "rate")
    page.click("#add")
    expect(field(page, "steps[1].name")).to_be_focused()
    put(page, "steps[1].name", "fibrillation")
    page.get_by_text("Choose a rhythm").click()
    # The list takes the keys once it has opened, a moment after the click.
    expect(page.get_by_label("Search by name")).to_be_focused()
    page.keyboard.type("vf")
    page.keyboard.press("Enter")
    expect(field(page, "steps[1].rhythm")).to_have_text("Ventricular fibrillation, coarse")
    page.get_by_label("The usual alarm of what is played").check()
    # A step from the list: copied, moved, deleted.
    page.click("#copy")
    put(page, "steps[2].name", "pressure")
    page.get_by_role("button", name="Rhythm as before").click()
    page.get_by_label("The usual alarm of what is played").uncheck()
    page.click("#down")
    expect(field(page, "steps[3].name")).to_have_value("pressure")
    step(page, "beats")
    page.click("#delete")
    expect(field(page, "steps[2].name")).to_have_value("pressure")
    page.get_by_text("Choose a rhythm").click()
    page.get_by_label("Search by name").fill("nsr")
    page.keyboard.press("Enter")
    page.get_by_label("Add a setting").select_option("arterial.systolic_mmhg")
    expect(field(page, "steps[2].arterial.systolic_mmhg")).to_be_focused()
    expect(page.locator("#fields .setting")).to_contain_text("10 to 320 mmHg")

    # The check says what the command line says, and the field that is meant is marked.
    put(page, "steps[2].arterial.systolic_mmhg", "3200")
    expect(page.locator("#check-line")).to_have_text("1 problem")
    expect(page.locator("#steps button", has_text="pressure")).to_contain_text("1 problem")
    expect(field(page, "steps[2].arterial.systolic_mmhg")).to_have_attribute("aria-invalid", "true")
    bad = tmp_path / "bad" / "plan.json"
    bad.parent.mkdir()
    bad.write_text(page.locator("#json").text_content(), "utf-8")
    outcome = run("check", bad)
    said = outcome.stderr.replace(str(bad), str(plan)).strip()
    assert outcome.code == 2 and page.locator("#check-text").text_content().strip() == said
    save(page, "bad.json")
    expect(page.locator("#message")).to_contain_text("has problems")
    assert not plan.with_name("bad.json").exists()
    put(page, "steps[2].arterial.systolic_mmhg", "135,5")
    page.get_by_label("Add a setting").select_option("arterial.diastolic_mmhg")
    put(page, "steps[2].arterial.diastolic_mmhg", "80")
    page.get_by_role("button", name="arterial.diastolic_mmhg: let it move").click()
    put(page, "steps[2].arterial.diastolic_mmhg.to", "85")
    put(page, "steps[2].arterial.diastolic_mmhg.over_s", "10")

    # Expectations: readings with limits, a listed alarm, silence, an end, checks by hand.
    page.get_by_role("button", name="Add: readings").click()
    reading = page.get_by_role("group", name="Readings 1", exact=True)
    reading.get_by_label("Quantity").select_option("arterial-systolic")
    reading = page.get_by_role("group", name="Readings 1", exact=True)
    for label, value in [("Largest error", "3"), ("Where the limit comes from", "service manual (invented), 4")]:
        reading.get_by_label(label, exact=True).fill(value)
        page.keyboard.press("Tab")
    page.get_by_role("button", name="Add: alarms that end").click()
    page.get_by_role("group", name="Alarms that end 1").get_by_label("Alarm of the step before").select_option("ventricular-fibrillation")
    page.get_by_role("button", name="Add: alarms that stay silent").click()
    page.get_by_role("button", name="Add: checks by hand").click()
    page.get_by_role("button", name="Add: checks by hand").click()
    hand = page.get_by_role("group", name="Checks by hand 2")
    for label, value in [("What to check", "Saturation"), ("Unit; empty", "%"), ("Value", "90"), ("Largest error", "2"), ("Where the limit", "invented")]:
        hand.get_by_label(label, exact=label in ("Value", "Largest error")).fill(value)
        page.keyboard.press("Tab")
    expect(page.locator("#check-line")).to_have_text("No problems")
    page.click("#undo")
    expect(page.locator("#check-line")).to_have_text("No problems")
    page.get_by_role("group", name="Checks by hand 2").get_by_label("Where the limit").fill("leakage meter (invented)")
    page.keyboard.press("Tab")
    save(page, "written.json")
    expect(page.locator("#status-more")).to_contain_text("written.json")

    written = plan.with_name("written.json")
    document = json.loads(written.read_text("utf-8"))
    assert document["seed"] == 18446744073709551615
    assert document["steps"][1] == {"name": "fibrillation", "duration_s": "hold", "rhythm": "ventricular-fibrillation", "expect": {"alarms": "usual"}}
    assert document["steps"][2] == {
        "name": "pressure", "duration_s": "hold", "rhythm": "sinus",
        "arterial": {"systolic_mmhg": 135.5, "diastolic_mmhg": {"to": 85, "over_s": 10}},
        "expect": {
            "readings": [{"quantity": "arterial-systolic", "tolerance": 3, "source": "service manual (invented), 4"}],
            "clears": ["ventricular-fibrillation"], "silent": ["asystole"],
            "manual": [
                {"name": "Case and cables whole", "source": "service manual"},
                {"name": "Saturation", "source": "leakage meter (invented)", "unit": "%", "value": 90, "tolerance": 2},
            ],
        },
    }
    assert [of.get("name") for of in document["steps"]] == ["rate", "fibrillation", "pressure", None]
    outcome = run("check", written)
    assert outcome.code == 0 and page.locator("#check-text").text_content().replace(str(plan), str(written)) == outcome.stdout.decode()
    assert run("worksheet", written, "-o", tmp_path / "sheet.html").code == 0
    assert not page.said


def test_a_file_is_never_lost_to_the_editor(chromium, console, plan):
    page = open_editor(chromium, console)
    other = plan.with_name("other.json")
    other.write_text("{}", "utf-8")
    save(page, "other.json")
    expect(page.locator("#message")).to_contain_text("there already")
    step(page, "rate")
    put(page, "steps[0].name", "mine")
    # A reload offers what was not saved.
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.get_by_role("button", name="Take them up").click()
    expect(page.locator("#steps")).to_contain_text("mine")
    plan.write_text(PLAN.replace('"rate"', '"theirs"'), "utf-8")
    save(page, "plan.json")
    expect(page.locator("#message")).to_contain_text("was changed since")
    save(page, "../plan2.json")
    expect(page.locator("#message")).to_contain_text("the name has to")
    save(page, "mine.json")
    expect(page.locator("#status-more")).to_contain_text("mine.json")
    assert other.read_text("utf-8") == "{}" and "theirs" in plan.read_text("utf-8") and '"mine"' in plan.with_name("mine.json").read_text("utf-8")

    (cookie,) = page.context.cookies()
    known = {"Cookie": f"{cookie['name']}={cookie['value']}"}
    own = {"Origin": f"http://{console.address}"}
    body = json.dumps({"name": "stranger.json", "text": PLAN, "over": None})
    for headers, body, status in [
        (own, body, 403), (known, body, 403), (known | {"Origin": "http://evil.example"}, body, 403), (known | own, "x" * (5 << 20), 413), (known | own, body, 200),
    ]:
        connection = http.client.HTTPConnection(console.address, timeout=60)
        try:
            connection.request("POST", "/editor/save", body, headers)
            assert connection.getresponse().status == status, (headers, status)
        except (BrokenPipeError, ConnectionResetError):
            # The program does not take a body beyond its limit to the end.
            assert status == 413
        assert plan.with_name("stranger.json").exists() == (status == 200), headers


def test_no_serious_fault_of_accessibility_and_keys_alone(chromium, console, tmp_path):
    pictures = Path(os.environ.get("PULSEWRIGHT_PICTURES", str(tmp_path)))
    looks = [("light", 1440, ["The plan", "rate"]), ("dark", 390, ["rate", "2 times"])]
    if os.environ.get("PULSEWRIGHT_LOOKS") == "all":
        looks = [(scheme, width, ["The plan", "rate", "2 times"]) for scheme in ("light", "dark") for width in (1440, 1024, 390)]
    for scheme, width, screens in looks:
        page = open_editor(chromium, console, scheme, (width, 900))
        page.emulate_media(reduced_motion="reduce")
        for screen in screens:
            step(page, screen)
            response = Axe().run(page).response
            assert len(response["passes"]) > 10, "axe-core looked at nothing"
            serious = [fault for fault in response["violations"] if fault["impact"] in ("serious", "critical")]
            assert not serious, [(fault["id"], fault["nodes"][0]["html"][:150]) for fault in serious]
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "the page is wider than the screen"
            if screen == "rate":
                page.screenshot(path=pictures / f"editor-{width}-{scheme}.png", full_page=True)
    keys = page.keyboard
    page.locator("#steps button").nth(1).focus()
    keys.press("Enter")
    expect(page.locator("#form")).to_be_focused()
    keys.press("Tab")
    keys.press("Control+a")
    keys.type("by keys")
    keys.press("Tab")
    expect(page.locator("#steps")).to_contain_text("by keys")
    for _ in range(200):
        if page.evaluate("document.activeElement.id") == "save":
            break
        keys.press("Tab")
    assert page.evaluate("document.activeElement.id") == "save", "the Tab key reaches Save"
