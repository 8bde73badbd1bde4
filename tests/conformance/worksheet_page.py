"""A worksheet in a real browser, cut off from every network: Debian's chromium, driven from outside."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from program import succeed

# A small plan with readings, alarms, kit and preparations.
PLAN = {
    "version": 1,
    "title": "Invented plan <&> \"small\"",
    "notes": "Invented data, for test benches only.",
    "seed": 18446744073709551615,
    "asset_class": "Bedside monitor",
    "kit": ["ECG cable", "Cuff hose"],
    "prepare": ["Connected to no person"],
    "steps": [
        {"name": "rate", "duration_s": "hold", "rate_bpm": 80,
         "expect": {"readings": ["heart-rate", "respiration-rate", "arterial-systolic", "arterial-diastolic", "venous-mean"]}},
        {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "prepare": ["Sound is on"],
         "expect": {"alarms": "usual", "readings": [{"quantity": "heart-rate", "value": 0}]}},
        {"name": "flutter", "duration_s": "hold", "rhythm": "ventricular-flutter", "expect": {"alarms": "usual"}},
        {"name": "tachycardia", "duration_s": "hold", "rhythm": "ventricular-tachycardia", "expect": {"alarms": "usual"}},
        {"name": "fibrillation", "duration_s": "hold", "rhythm": "ventricular-fibrillation",
         "cautions": ["nothing of this is real"], "expect": {"alarms": "usual"}},
    ],
}

# Of a stopwatch that runs.
RUNNING = re.compile(r"\brunning\b")
# A page that shows something at once on an idle machine may take seconds on a busy one.
expect.set_options(timeout=60_000)


@contextmanager
def browser() -> Iterator[Browser]:
    """Debian's chromium; a machine without it fails here, and is not passed over."""
    program = shutil.which("chromium")
    assert program, "no chromium on this machine: `.ci/test conformance` installs Debian's package"
    with sync_playwright() as playwright:
        # Without its sandbox, since tests may run as root; it only ever sees pages that these tests made.
        chromium = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        try:
            yield chromium
        finally:
            chromium.close()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """The browser of a file of tests, which imports this name."""
    with browser() as chromium:
        yield chromium


@pytest.fixture(scope="module")
def sheet(tmp_path_factory) -> Path:
    """The page of the plan above, with the plan beside it."""
    folder = tmp_path_factory.mktemp("sheet")
    script = folder / "plan.json"
    script.write_text(json.dumps(PLAN), encoding="utf-8")
    succeed("worksheet", script, "-o", folder / "sheet.html")
    return folder / "sheet.html"


class Watched:
    """A page with all that it asked of the network, logged or threw."""

    def __init__(self, chromium: Browser, size: tuple[int, int] = (1400, 900), scheme: str = "light") -> None:
        self.context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, offline=True, accept_downloads=True
        )
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page: Page = self.context.new_page()
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.route(lambda url: not url.startswith("file:") and not url.startswith("blob:"), lambda route: route.abort())

    def open(self, path: Path) -> Page:
        self.page.goto(path.as_uri())
        return self.page

    def outside(self) -> list[str]:
        """Requests for anything but the file itself and its own data."""
        return [url for url in self.asked if not url.startswith(("file:", "blob:", "data:"))]


# The browser's storage for the page.
KEPT = "JSON.stringify(Object.entries(localStorage).sort())"


def reload(page: Page) -> None:
    """Reloads, and waits until the browser has scrolled back to where it was: a click before that may land elsewhere.

    On a busy machine the browser may give the new page what it kept before the old page's last words have come to it, which
    no person is quick enough to see: then it is asked again. Nor does a page keep a draft before the browser has given it the
    draft's lock, which no person types ahead of.
    """
    expect(page.locator("#draft")).to_have_text("draft kept")
    kept = page.evaluate(KEPT)
    for _ in range(20):
        page.reload()
        if page.evaluate(KEPT) == kept:
            break
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def stopwatch(page: Page, name: str, runs: bool) -> None:
    """Starts or stops the stopwatch of an alarm, and waits until it says so. By key: a page that still moves loses clicks."""
    button = page.locator(f'[data-watch="{name}"]')
    expect(button).not_to_have_class(RUNNING) if runs else expect(button).to_have_class(RUNNING)
    button.press("Enter")
    expect(button).to_have_class(RUNNING) if runs else expect(button).not_to_have_class(RUNNING)


def item(page: Page, name: str):
    """The row of an item."""
    return page.locator(f'[data-item="{name}"]')


def enter(page: Page, name: str, value: str) -> None:
    item(page, name).locator("[data-field=value]").fill(value)


def alarm(page: Page, name: str, delay: str, priority: str) -> None:
    enter(page, name, delay)
    item(page, name).locator("[data-field=priority]").select_option(priority)


def skip(page: Page, name: str, reason: str) -> None:
    row = item(page, name)
    row.locator(".more").click()
    row.locator("[data-field=skip]").fill(reason)


def verdict(page: Page, name: str) -> str:
    return item(page, name).get_attribute("data-verdict") or ""


def save(page: Page, folder: Path) -> Path:
    """Saves the record as a person does, and gives the file."""
    with page.expect_download() as download:
        page.get_by_role("button", name="Save record").click()
    target = folder / download.value.suggested_filename
    download.value.save_as(target)
    return target
