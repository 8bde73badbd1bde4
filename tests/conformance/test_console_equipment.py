"""Equipment at the console: photos under the record's proof, kit with numbers and places, labels that a reader of codes reads, scanning."""

from __future__ import annotations

import hashlib
import http.client
import io
import json
from urllib.parse import quote

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Page, expect

from console_bench import Console, confirm, enter
from program import run
from test_console_plan import begin, go, instrument, read, sign, verdict
from worksheet_page import chromium, item  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")

PLAN = {
    "version": 1, "title": "Invented plan", "notes": "Invented data, for test benches only.", "seed": 5, "kit": ["ECG cable", "Cuff hose"],
    "steps": [{"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {
        "readings": ["heart-rate"], "manual": [{"name": "Case whole", "source": "invented"}]}}],
}
# A browser with a camera and a reader of codes, which headless ones do not have: the reader finds nothing at first, then a label.
CAMERA = """
  navigator.mediaDevices.getUserMedia = async () => {
    const canvas = document.createElement("canvas");
    const context = canvas.getContext("2d");
    let x = 0;
    setInterval(() => { x = (x + 7) % 200; context.clearRect(0, 0, 300, 150); context.fillRect(x, 0, 50, 50); }, 50);
    return canvas.captureStream(20);
  };
  let looks = 0;
  window.BarcodeDetector = class { async detect() { looks += 1; return looks < 3 ? [] : [{ rawValue: " INV-1 " }]; } };
"""


def picture(seed: int, kind: str) -> bytes:
    pixels = np.random.default_rng(seed).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    target = io.BytesIO()
    Image.fromarray(pixels).save(target, kind)
    return target.getvalue()


def photo(page: Page, of: str, content: bytes, name: str = "any.jpg") -> None:
    page.locator(f'[data-photo="{of}"]').set_input_files([{"name": name, "mimeType": "image/jpeg", "buffer": content}])


def photos(page: Page, of: str):
    return page.locator(f'.row:has(> [data-photo="{of}"]) img')


def asked(console: Console, page: Page, method: str, path: str, body: bytes | None = None, **headers: str) -> int:
    (cookie,) = page.context.cookies()
    connection = http.client.HTTPConnection(console.address, timeout=60)
    connection.request(method, path, body, {"Cookie": f"{cookie['name']}={cookie['value']}"} | headers)
    return connection.getresponse().status


def test_photos_kit_and_labels(chromium, tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(PLAN), "utf-8")
    console = Console(tmp_path, plan)
    front, inside, cable = picture(1, "JPEG"), picture(2, "PNG"), picture(3, "WEBP")
    try:
        page = enter(chromium, console)
        confirm(page)
        begin(page, "INV-1", model="Invented monitor")
        instrument(page, "Rig", "R-1", "2099-01-31")

        # Kit: its number, place and picture are in the address book at once.
        piece = page.get_by_role("group", name="ECG cable", exact=True)
        piece.get_by_label("Number").fill("K-17")
        piece.get_by_label("Place").fill("drawer 3")
        piece.get_by_label("Place").press("Tab")
        photo(page, "kit.1", cable)
        expect(photos(page, "kit.1")).to_have_count(1)
        for line in PLAN["kit"]:
            page.locator("#kit-out").get_by_role("checkbox", name=line).check()

        # Photos of the equipment and of an item; anything but a picture is refused.
        photo(page, "", front)
        expect(photos(page, "")).to_have_count(1)
        photo(page, "", b"<svg onload=alert(1)>" * 10)
        expect(page.locator("#message")).to_contain_text("JPEG, PNG or WebP")
        go(page, 0)
        page.click("#plan-again")
        item(page, "1.manual-1").locator("summary").click()
        for _ in range(2):
            photo(page, "1.manual-1", inside)
        expect(photos(page, "1.manual-1")).to_have_count(1)
        assert photos(page, "1.manual-1").evaluate("of => of.decode().then(() => [of.naturalWidth, of.naturalHeight])") == [80, 60]
        photo(page, "1.manual-1", front)
        page.get_by_role("button", name="Leave photo 2 out").click()
        expect(photos(page, "1.manual-1")).to_have_count(1)
        read(page, "1.heart-rate", "80")
        item(page, "1.manual-1").get_by_role("button", name="In order", exact=True).click()
        verdict(page, "1.manual-1", "pass")
        page.click("#stop")
        expect(page.locator("#status-word")).to_have_text("At rest")

        # A page elsewhere hands nothing in, and only photos are handed out.
        own = {"Origin": f"http://{console.address}"}
        assert asked(console, page, "POST", "/photos", front) == asked(console, page, "POST", "/photos", front, Origin="http://evil.example") == 403
        assert asked(console, page, "GET", "/photo/addresses.json") == asked(console, page, "GET", "/photo/..%2Fplan.json") == 404
        assert asked(console, page, "POST", "/photos/9.none", front, **own) == 200

        # What is missing is named, with number and place, before the signature.
        go(page, "after")
        page.locator("#kit-back").get_by_label("Cuff hose").check()
        expect(page.locator("#kit-back")).to_contain_text("K-17, to drawer 3")
        expect(page.locator("#missing")).to_contain_text("kit not brought back: ECG cable (K-17, place: drawer 3)")
        expect(page.locator("#missing li")).to_have_count(1)

        # A reader of codes reads the label as it is printed, 300 dots an inch.
        sheet = page.context.new_page()
        sheet.set_viewport_size({"width": 240, "height": 100})
        for number in ["INV-1", "Ger\u00e4t 7/\u00c4 <b>&\"quoted\""]:
            answer = page.context.request.get(f"http://{console.address}/label/{quote(number, safe='')}")
            assert answer.status == 200 and answer.headers["content-type"] == "image/svg+xml"
            sheet.set_content(f'<body style="margin:0">{answer.text()}')
            shot = Image.open(io.BytesIO(sheet.screenshot()))
            (code,) = zxingcpp.read_barcodes(shot)
            assert code.text == number and code.format == zxingcpp.BarcodeFormat.QRCode
            assert "".join(sheet.locator("text").all_text_contents()) == number
        box = sheet.locator("svg").bounding_box()
        assert abs(box["height"] / 96 * 25.4 - 22) < 0.1 and abs(box["width"] / 96 * 25.4 - 60) < 0.1, "true size"

        page.locator("#kit-back").get_by_label("ECG cable").check()
        expect(page.locator("#missing-part")).to_be_hidden()
        sign(page, "A. Invented")
        expect(page.locator("#signed-line")).to_contain_text("passed")

        # The next piece of equipment: its label is scanned; kit and instruments are known.
        other = page.context.new_page()
        other.add_init_script(CAMERA)
        other.goto(f"http://{console.address}/")
        other.get_by_role("button", name="Scan the label").click()
        expect(other.locator("#about-asset")).to_have_value("INV-1")
        expect(other.locator("#about-model")).to_have_value("Invented monitor")
        expect(other.locator("#begin-button")).to_be_focused()
        other.keyboard.press("Enter")
        piece = other.get_by_role("group", name="ECG cable", exact=True)
        expect(piece.get_by_label("Number")).to_have_value("K-17")
        expect(piece.get_by_label("Place")).to_have_value("drawer 3")
        expect(piece.locator("img")).to_have_count(1)
        assert not page.said and page.locator("#scan").is_hidden()
    finally:
        console.end()

    (record,) = [path for path in console.folder.glob("record-INV-1-*.json") if not path.stem.endswith("played")]
    saved = json.loads(record.read_text("utf-8"))
    assert saved["kit"]["1"] == {"id": "K-17", "place": "drawer 3", "out": "yes", "back": "yes"}
    taken = {of["item"]: of for of in saved["photos"]}
    assert set(taken) == {"", "1.manual-1"} and len(saved["photos"]) == 2
    for of, content in [("", front), ("1.manual-1", inside)]:
        assert (console.folder / taken[of]["name"]).read_bytes() == content
        assert taken[of]["digest"] == "sha256:" + hashlib.sha256(content).hexdigest()
    assert any(path.read_bytes() == cable for path in console.folder.glob("photo-kit-*.webp"))

    # The proof of the record covers them: a changed photo, a changed name of one, a changed log.
    outcome = run("report", record, "-o", tmp_path / "report.html")
    assert outcome.code == 0 and b"photo    1.manual-1: photo-INV-1-" in outcome.stdout, outcome
    page_text = (tmp_path / "report.html").read_text("utf-8")
    assert "ECG cable (K-17, place: drawer 3): back" in page_text and taken[""]["digest"] in page_text
    kept = console.folder / taken["1.manual-1"]["name"]
    log = console.folder / saved["played"]["log"]["name"]
    for path in (kept, log):
        before = path.read_bytes()
        path.write_bytes(before + b" ")
        outcome = run("report", record)
        assert outcome.code == 1 and path.name.encode() in outcome.stdout and b"CHANGED" in outcome.stdout, outcome
        path.unlink()
        outcome = run("report", record)
        assert outcome.code == 0 and b"can't be compared" in outcome.stdout, outcome
        path.write_bytes(before)
    text = record.read_text("utf-8").replace(taken[""]["digest"], taken["1.manual-1"]["digest"])
    forged = record.with_name("forged.json")
    forged.write_text(text, "utf-8")
    assert run("report", forged).code == 1
