"""Records as the program and the page save them, changed in one character, stripped of a member, or with a member doubled: none passes.

One in eighty changes is tried by default, and all of a member at the top or just below; every one with PULSEWRIGHT_FORGED=all. A
change that leaves the same document for the standard library's reader, as one of the layout does, is none.
"""

from __future__ import annotations

import copy
import json
import os
import re
from collections.abc import Iterator

import pytest
from malformed.mutations import at, places
from malformed.readers import ANSWERS, PLAN, WHO, no_duplicates
from program import run, succeed
from worksheet_page import Watched, browser, enter, item, save

EVERY = 1 if os.environ.get("PULSEWRIGHT_FORGED") == "all" else 80
"""One in so many changes is tried."""


def by_session(folder) -> str:
    succeed("session", folder / "plan.json", "-o", folder / "saved.json", stdin=ANSWERS.encode())
    return (folder / "saved.json").read_text("utf-8")


def by_worksheet(folder) -> str:
    succeed("worksheet", folder / "plan.json", "-o", folder / "sheet.html")
    with browser() as chromium:
        page = Watched(chromium).open(folder / "sheet.html")
        page.locator("[data-about=asset]").fill("INV-0042")
        for way in ("out", "back"):
            page.locator(f'[data-kit="1"][data-way={way}]').check()
        page.locator('[data-prepare="0.prepare-1"]').check()
        enter(page, "1.heart-rate", "80")
        enter(page, "1.arterial-mean", "96")
        item(page, "1.silent-1").locator("[data-field=heard]").select_option("no")
        page.locator("[data-sign=done][data-field=name]").fill("A. Invented")
        return save(page, folder).read_text("utf-8")


def same(text: str, other: object) -> bool:
    """Whether a text is the document, for a reader by other hands."""
    try:
        return json.loads(text, object_pairs_hook=no_duplicates) == other
    except ValueError:
        return False


def characters(text: str) -> Iterator[tuple[tuple, str]]:
    """The text without each character, with it doubled, and with two others in its place."""
    for place, was in enumerate(text):
        for other in ("", was * 2, "7" if was != "7" else "8", chr(ord(was) + 1)):
            yield (place, was, other), text[:place] + other + text[place + 1 :]


def members(text: str) -> Iterator[tuple[tuple, str]]:
    """The document without each member, with null for it, and with it twice: the same, and another before and after it."""
    whole = json.loads(text)
    for path in [path for path in places(whole) if path]:
        changed = copy.deepcopy(whole)
        above, key = at(changed, path[:-1]), path[-1]
        value = above.pop(key)
        yield (path, "lost"), json.dumps(changed)
        above.insert(key, None) if isinstance(above, list) else above.update({key: None})
        if value is not None:
            yield (path, "null"), json.dumps(changed)
        above[key] = "doubled"
        if isinstance(above, dict):
            name, sound, other = json.dumps(key), json.dumps(value), json.dumps("" if value != "" else "x")
            for first, second in ((sound, sound), (sound, other), (other, sound)):
                yield (path, "twice"), json.dumps(changed).replace(f'{name}: "doubled"', f"{name}: {first}, {name}: {second}", 1)


@pytest.mark.parametrize(
    ("saved_by", "signed"),
    [
        pytest.param(by_session, False, id="session"),
        pytest.param(by_session, True, id="session, signed"),
        pytest.param(by_worksheet, False, id="worksheet", marks=pytest.mark.xdist_group("browser")),
    ],
)
def test_no_record_passes_that_was_changed(tmp_path, saved_by, signed, record_property):
    (tmp_path / "plan.json").write_text(json.dumps(PLAN))
    text = saved_by(tmp_path)
    record = tmp_path / "record.json"
    record.write_text(text, "utf-8")
    words = ["report", record]
    if signed:
        succeed("report", "--new-key", tmp_path / "key.pem")
        succeed("report", record, "--sign", tmp_path / "key.pem", *WHO)
        words += ["--verify", tmp_path / "key.pem.pub"]
    assert re.search(rb"^passed: 3 passed", succeed(*words).stdout, re.MULTILINE)

    sound, tried = json.loads(text), 0
    for changes in (characters(text), members(text)):
        for number, (what, changed) in enumerate(changes):
            # Members of the record and of its lists are always tried: the digest is one, and a reader of types alone takes an entry twice.
            top = isinstance(what[0], tuple) and len(what[0]) <= 2
            if (number % EVERY and not top) or same(changed, sound):
                continue
            record.write_bytes(changed.encode("utf-8", "surrogatepass"))
            outcome = run(*words)
            assert outcome.code in (1, 2) and b"\npassed:" not in b"\n" + outcome.stdout, (what, outcome)
            assert "panicked" not in outcome.stderr, (what, outcome)
            tried += 1
    assert tried > 7_000 / EVERY
    record_property("counts", f"record of a {saved_by.__name__.removeprefix('by_')}{', signed' * signed}: {tried} changes, none passes")
