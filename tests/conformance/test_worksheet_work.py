"""Work with a worksheet: many records in one browser, keys, the next open item, dark strips, and paper at true scale."""

from __future__ import annotations

import json
from io import BytesIO

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from playwright.sync_api import expect

from program import ROOT, succeed
from worksheet_page import PLAN, Watched, alarm, chromium, enter, item, reload, sheet, verdict  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")


def test_two_tabs_keep_two_drafts_and_the_next_record_keeps_the_instruments(chromium, sheet):
    watched = Watched(chromium)
    first = watched.open(sheet)
    first.locator("[data-about=asset]").fill("INV-1")
    first.locator('[data-instrument="0"][data-field=id]').fill("R-1")
    second = watched.context.new_page()
    second.goto(sheet.as_uri())
    assert second.locator("[data-about=asset]").input_value() == ""
    second.locator("[data-about=asset]").fill("INV-2")
    enter(second, "1.heart-rate", "81")
    enter(first, "1.heart-rate", "99")
    reload(first)
    assert (first.locator("[data-about=asset]").input_value(), verdict(first, "1.heart-rate")) == ("INV-1", "fail")
    reload(second)
    assert (second.locator("[data-about=asset]").input_value(), verdict(second, "1.heart-rate")) == ("INV-2", "pass")
    # The next record: the instruments are there, the first draft can be taken up again.
    first.on("dialog", lambda dialog: dialog.accept())
    first.get_by_role("button", name="Start anew").click()
    expect(first.locator("[data-about=asset]")).to_be_focused()
    assert first.locator("[data-about=asset]").input_value() == "" and verdict(first, "1.heart-rate") == "open"
    assert first.locator('[data-instrument="0"][data-field=id]').input_value() == "R-1"
    first.get_by_role("button", name="Go on with INV-1").click()
    expect(first.locator("[data-about=asset]")).to_have_value("INV-1")
    assert (first.locator("[data-about=asset]").input_value(), verdict(first, "1.heart-rate")) == ("INV-1", "fail")
    # A browser that was closed: a new tab lists both.
    third = watched.context.new_page()
    third.goto(sheet.as_uri())
    expect(third.locator("#drafts button", has_text="Go on with")).to_have_count(2)
    assert not watched.said


def test_a_duplicated_tab_begins_another_record(chromium, sheet):
    watched = Watched(chromium)
    first = watched.open(sheet)
    first.locator("[data-about=asset]").fill("INV-1")
    first.locator('[data-instrument="0"][data-field=id]').fill("R-1")
    enter(first, "1.heart-rate", "99")
    # A browser gives a tab that a page opens a copy of the page's session storage, as it does to a duplicate.
    with watched.context.expect_page() as opened:
        first.evaluate("window.open(location.href)")
    second = opened.value
    assert second.evaluate("Object.keys(sessionStorage).length") == 1
    expect(second.locator("#message")).to_contain_text("This tab was duplicated")
    expect(second.locator("[data-about=asset]")).to_have_value("")
    assert second.locator('[data-instrument="0"][data-field=id]').input_value() == "R-1"
    second.locator("[data-about=asset]").fill("INV-2")
    enter(second, "1.heart-rate", "81")
    # The draft of a tab that is open can't be taken up in another one.
    second.get_by_role("button", name="Go on with INV-1").click()
    expect(second.locator("#message")).to_contain_text("open in another tab")
    reload(first)
    assert (first.locator("[data-about=asset]").input_value(), verdict(first, "1.heart-rate")) == ("INV-1", "fail")
    reload(second)
    assert (second.locator("[data-about=asset]").input_value(), verdict(second, "1.heart-rate")) == ("INV-2", "pass")
    first.close()
    second.get_by_role("button", name="Go on with INV-1").click()
    expect(second.locator("[data-about=asset]")).to_have_value("INV-1")
    assert not watched.said


def test_keys_next_open_and_the_field_that_is_wanted(chromium, sheet):
    page = Watched(chromium).open(sheet)
    # Enter goes on from a tick, too.
    tick = page.locator('[data-kit="1"][data-way=out]')
    tick.focus()
    page.keyboard.press("Enter")
    assert not tick.is_checked()
    expect(page.locator('[data-kit="1"][data-way=id]')).to_be_focused()
    alarm(page, "2.alarm-1", "8.2", "")
    row = item(page, "2.alarm-1")
    assert row.locator("[data-field=priority]").get_attribute("aria-invalid") == "true"
    assert row.locator("[data-field=value]").get_attribute("aria-invalid") == "false"
    enter(page, "1.heart-rate", "80")
    page.get_by_role("button", name="Next open").click()
    expect(item(page, "1.respiration-rate").locator("[data-field=value]")).to_be_focused()
    page.keyboard.press("Alt+o")
    expect(item(page, "1.arterial-systolic").locator("[data-field=value]")).to_be_focused()
    field = item(page, "1.arterial-systolic").locator("[data-field=value]")
    field.fill("13,9 kPa")
    assert field.evaluate("of => of.scrollWidth <= of.clientWidth"), "what was typed is cut"


def test_the_contents_follow_the_step_in_view(chromium, tmp_path):
    script = tmp_path / "long.json"
    steps = [PLAN["steps"][0] | {"name": f"rate {number}"} for number in range(26)]
    script.write_text(json.dumps(PLAN | {"steps": steps}), "utf-8")
    succeed("worksheet", script, "-o", tmp_path / "long.html")
    page = Watched(chromium).open(tmp_path / "long.html")
    page.locator("#step-22").evaluate("of => of.scrollIntoView()")
    current = page.locator("nav a[aria-current]")
    expect(current).to_have_attribute("data-step", "22")
    box, view = current.bounding_box(), page.locator("nav ol").bounding_box()
    assert view["y"] <= box["y"] <= view["y"] + view["height"] - box["height"], "the entry is in view"
    small = Watched(chromium, (400, 800)).open(tmp_path / "long.html")
    small.locator("nav summary").click()
    small.locator('nav [data-step="12"]').click()
    expect(small.locator("#step-12")).to_be_in_viewport()


def brightness(page, selector: str) -> float:
    """The mean of what is drawn, of 255."""
    return float(np.asarray(Image.open(BytesIO(page.locator(selector).first.screenshot())).convert("L")).mean())


def test_strips_are_dark_on_a_dark_page(chromium, sheet):
    assert brightness(Watched(chromium, scheme="light").open(sheet), ".strip") > 200
    assert brightness(Watched(chromium, scheme="dark").open(sheet), ".strip") < 70


DOTS_PER_MM = 8


def test_the_paper_of_a_strip_prints_at_true_scale_and_no_step_is_split(chromium, sheet, tmp_path):
    page = Watched(chromium).open(sheet)
    # As "Print with strips" has it while it prints.
    page.evaluate("document.documentElement.dataset.strips = ''")
    target = tmp_path / "sheet.pdf"
    page.pdf(path=target, prefer_css_page_size=True)
    document = pypdfium2.PdfDocument(target)
    # Bold letters are printed twice.
    once = lambda word: word[::2] if len(word) % 2 == 0 and word[::2] == word[1::2] else word  # noqa: E731
    texts = [[once(word) for word in document[number].get_textpage().get_text_range().split()] for number in range(len(document))]
    # Of each step the first and the last words, which stand nowhere else on paper, are on one page.
    last = {"rate": "Central", "fibrillation": "fibrillation"}
    for number, step in enumerate(PLAN["steps"], 1):
        heads = [page for page, words in enumerate(texts) if [str(number), step["name"]] in (words[at : at + 2] for at in range(len(words)))]
        assert len(heads) == 1, step["name"]
        assert last.get(step["name"], "priority") in texts[heads[0]], step["name"]
    number = 1
    assert "rate" in texts[number]
    sheet_of_paper = document[number]
    assert abs(sheet_of_paper.get_width() / 72 * 25.4 - 210) < 0.5, "A4"
    picture = np.asarray(sheet_of_paper.render(scale=DOTS_PER_MM * 25.4 / 72).to_pil().convert("RGB")).astype(int)
    # The lines of the paper have a colour, everything else on the sheet is grey; each fifth one is darker.
    colour = picture.max(axis=2) - picture.min(axis=2)
    rows = np.flatnonzero((colour > 12).sum(axis=1) > 100 * DOTS_PER_MM)
    assert rows.size, "no paper was found"
    columns = colour[rows[0] : rows[0] + 20 * DOTS_PER_MM].sum(axis=0).astype(float)
    paper = np.flatnonzero(columns)
    columns = columns[paper[0] : paper[-1] + 1]
    columns -= columns.mean()
    power = np.abs(np.fft.rfft(columns, 1 << 16)) ** 2
    per_mm = np.fft.rfftfreq(1 << 16) * DOTS_PER_MM
    near = (per_mm > 0.15) & (per_mm < 0.3)
    spacing = 1 / per_mm[near][np.argmax(power[near])]
    assert abs(spacing - 5) < 0.03, f"5 mm of the paper are {spacing:.3f} mm"


# A square wave of 1 mV and 2 Hz: 10 mm high, half a period 6.25 mm.
SQUARE = {
    "version": 1, "title": "Invented plan", "notes": "Invented data.", "steps": [
        {"name": "square", "duration_s": "hold", "rhythm": "asystole", "life": "none",
         "test": {"signal": "square", "height_mv": 1, "hz": 2}, "expect": {"manual": [{"name": "Height", "source": "invented"}]}},
    ],
}
DOTS_PER_INCH = 300


def test_the_trace_prints_at_true_scale(chromium, tmp_path):
    script = tmp_path / "square.json"
    script.write_text(json.dumps(SQUARE), "utf-8")
    succeed("worksheet", script, "-o", tmp_path / "square.html")
    page = Watched(chromium).open(tmp_path / "square.html")
    page.evaluate("document.documentElement.dataset.strips = ''")
    page.pdf(path=tmp_path / "square.pdf", prefer_css_page_size=True)
    document = pypdfium2.PdfDocument(tmp_path / "square.pdf")
    dots = DOTS_PER_INCH / 25.4
    found = []
    for number in range(len(document)):
        dark = np.asarray(document[number].render(scale=DOTS_PER_INCH / 72).to_pil().convert("L")) < 110
        # The flat halves of the trace are the only dark lines of 5 to 7 mm that repeat; letters and rules are shorter or longer.
        for row in np.flatnonzero(dark.sum(axis=1) > 20 * dots):
            edges = np.flatnonzero(np.diff(np.concatenate([[0], dark[row].astype(int), [0]])))
            runs = [(start, end) for start, end in zip(edges[::2], edges[1::2]) if 5 * dots < end - start < 7.5 * dots]
            if len(runs) >= 5:
                found.append((row, [start for start, _ in runs]))
    assert found, "no trace was found"
    rows = np.array([row for row, _ in found])
    lines = [part.mean() for part in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)]
    height = (lines[1] - lines[0]) / dots
    assert abs(height - 10) < 0.1, f"1 mV is {height:.2f} mm high"
    periods = np.diff(found[0][1]) / dots
    assert abs(np.mean(periods) - 12.5) < 0.125, f"half a second is {np.mean(periods):.2f} mm wide"


def test_a_sheet_holds_ten_checks_and_days_print_in_iso_form(chromium, tmp_path):
    succeed("worksheet", ROOT / "examples" / "plan-adult-monitor.json", "-o", tmp_path / "sheet.html")
    page = Watched(chromium).open(tmp_path / "sheet.html")
    page.locator("[data-about=date]").fill("2026-11-25")
    page.locator('[data-instrument="0"][data-field=due]').fill("2027-03-01")
    names = page.locator(".step .item .verdict .word").count()
    page.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    document = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")
    # Beyond a sheet for each ten checks: one for the equipment, one for the signatures.
    assert names >= 80 and len(document) <= 2 + names / 10, f"{len(document)} sheets for {names} checks"
    # The browser's own form of a day is not seen on paper; the day as it is kept stands in its place.
    page.emulate_media(media="print")
    after = "of => getComputedStyle(of.closest('.field'), '::after').content"
    for selector, day in [("[data-about=date]", "2026-11-25"), ('[data-instrument="0"][data-field=due]', "2027-03-01")]:
        field = page.locator(selector)
        assert field.evaluate(after) == f'"{day}"' and field.evaluate("of => getComputedStyle(of).color") == "rgba(0, 0, 0, 0)"
