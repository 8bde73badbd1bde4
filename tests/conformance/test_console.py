"""The console in a browser: real server, real binary, a rig at a pipe; the bytes it got, how soon, and who is kept out."""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import socket
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from scipy.signal import periodogram

import console_orders
from console_bench import CHANNELS, FRAME_BYTES, HZ, Console, Rig, choose, confirm, enter, recorded_plan, rendered
from program import ROOT, run
from worksheet_page import chromium  # noqa: F401

pytestmark = pytest.mark.xdist_group("browser")

LEAD_II = CHANNELS.index("II")
ARTERIAL = CHANNELS.index("arterial")


@pytest.fixture
def rig(tmp_path):
    return Rig(tmp_path / "rig")


@pytest.fixture
def console(tmp_path, rig):
    console = Console(tmp_path, "--play", rig.path)
    yield console
    if console.process.poll() is None:
        console.kill()


def test_fibrillation_is_found_by_vf_held_changed_to_asystole_and_stopped(chromium, console, rig, tmp_path, record_property):
    page = enter(chromium, console)
    assert not rig.bytes(), "nothing plays before the two confirmations"
    confirm(page)
    choose(page, "vf", "Ventricular fibrillation, coarse")
    expect(page.locator("#status-word")).to_have_text("Playing")
    expect(page.locator("#alarm")).to_contain_text("Ventricular fibrillation, high priority")
    page.wait_for_timeout(20_500)
    expect(page.locator("#since")).to_have_text(re.compile(r"for 0:2\d"))
    choose(page, "flatline", "Asystole")
    page.wait_for_timeout(3000)

    # From the key to the first frame at the rig that differs, by the rig's own clock; the best of four, since the machine may be busy.
    delays = []
    for _ in range(4):
        page.click("#stop")
        expect(page.locator("#status-word")).to_have_text("At rest")
        page.fill("#search", "vf")
        before = len(rig.wait_for(lambda frames: not frames[-HZ // 4 :, :12].any()))
        pressed = time.monotonic()
        page.press("#search", "Enter")
        expect(page.locator("#status-word")).to_have_text("Playing")
        ecg = rig.wait_for(lambda frames: frames[before:, LEAD_II].any())[:, LEAD_II]
        first = before + int(np.flatnonzero(ecg[before:] != 0.0)[0])
        delays.append(1000 * (rig.came_at(first) - pressed))
    record_property("counts", f"console: {np.median(delays):.0f} ms from a key to the first changed frame (median), {min(delays):.0f} to {max(delays):.0f}")
    assert min(delays) < 150, "best of four, ms"

    # Four strips are drawn while the stream goes on. Other tests draw and play beside it: the figures are held on a quiet machine
    # alone (PULSEWRIGHT_QUIET=1).
    quiet = "PULSEWRIGHT_QUIET" in os.environ
    choose(page, "nsr", "Sinus rhythm")
    assert page.locator("#lines input:checked").count() == 4
    seconds = []
    while len(seconds) < (15 if quiet else 3) and not any(pictures >= 55 and late < 20 for pictures, late in seconds):
        pictures, first = page.evaluate("picturesDrawn()"), len(rig.frames())
        page.wait_for_timeout(1000)
        pictures, last = page.evaluate("picturesDrawn()") - pictures, len(rig.frames())
        late = rig.late_ms()
        seconds.append((pictures, late[(late[:, 0] >= first) & (late[:, 0] < last), 1].max()))
    words = ", ".join(f"{pictures} and {late:.0f} ms" for pictures, late in seconds)
    record_property("counts", f"console: pictures of four strips drawn in a second, and how late the rig got its frames: {words}")
    assert any(pictures >= 55 and late < 20 for pictures, late in seconds) or not quiet, seconds

    page.keyboard.press("Escape")
    expect(page.locator("#status-word")).to_have_text("At rest")
    page.wait_for_timeout(1500)
    said = console.end()
    assert "played:" in said
    rig.thread.join(60)
    assert rig.bytes() == rendered(console.log(), tmp_path), "the rig got the bytes of a render of the log"

    steps = console.steps()
    assert [step.get("rhythm") for step in steps[:3]] == ["asystole", "ventricular-fibrillation", "asystole"]
    ends = np.cumsum([step["duration_s"] for step in steps])
    ecg = rig.frames()[:, LEAD_II]
    fibrillation = ecg[int((ends[0] + 1) * HZ) : int((ends[1] - 0.1) * HZ)]
    assert len(fibrillation) > 19 * HZ, "it was held"
    frequency, power = periodogram(fibrillation, HZ)
    # Dominant frequency of ventricular fibrillation 4 to 6 Hz: Clayton 1995, from memory; a margin for a short stretch.
    assert 3 < frequency[np.argmax(power)] < 7
    assert np.ptp(fibrillation) > 0.2
    still = ecg[int((ends[1] + 1) * HZ) : int(ends[2] * HZ)]
    # An asystole has no deflection over 0.1 mV (monitors' performance disclosures, from memory).
    assert np.ptp(still) < 0.1
    # At rest every electrode is at 0 mV and every pressure at 0 mmHg.
    resting = rig.frames()[-HZ:]
    assert not resting[:, :12].any() and not resting[:, ARTERIAL].any()
    assert not [line for line in page.said if "socket" not in line.lower() and "ERR_CONNECTION" not in line], page.said
    own = {f"http://{console.address}", f"ws://{console.address}"}
    assert all(any(url.startswith(start) for start in own) for url in page.asked), page.asked


def test_settings_beats_and_a_sequence_play_and_are_logged(chromium, console, rig, tmp_path):
    page = enter(chromium, console)
    confirm(page)
    choose(page, "nsr", "Sinus rhythm")
    page.fill("#c-rate_bpm", "120")
    page.press("#c-rate_bpm", "Enter")
    expect(page.get_by_role("row", name=re.compile("^Heart rate")).get_by_role("cell").first).to_have_text("120 bpm")
    # The systolic pressure is typed first, below the diastolic one: both are sent once they fit.
    page.fill('[id="c-arterial.systolic_mmhg"]', "70")
    page.press('[id="c-arterial.systolic_mmhg"]', "Tab")
    expect(page.locator("#message")).to_contain_text("Not sent yet")
    page.fill('[id="c-arterial.diastolic_mmhg"]', "45")
    page.press('[id="c-arterial.diastolic_mmhg"]', "Tab")
    expect(page.locator("#readings")).to_contain_text("70 / 45")

    def pulses(frames: np.ndarray) -> bool:
        pressure = frames[-4 * HZ :, ARTERIAL]
        return abs(pressure.max() - 70) < 2 and abs(pressure.min() - 45) < 2

    rig.wait_for(pulses)
    page.get_by_role("button", name="left ventricular").click()
    page.fill("#c-rate_bpm", "900")
    page.press("#c-rate_bpm", "Enter")
    expect(page.locator("#message")).to_contain_text("20 to 350")
    for typed, name in [("asystole", "Asystole"), ("bigeminy", "Ventricular bigeminy")]:
        page.fill("#search", typed)
        page.get_by_role("button", name=f"Add to the sequence: {name}", exact=True).click()
    page.fill("#seconds", "2")
    page.fill("#search", "torsades")
    page.get_by_role("button", name="Add to the sequence: Torsades de pointes").click()
    page.click("#sequence-start")
    expect(page.locator("#h-now")).to_have_text("Asystole")
    page.click("#sequence-next")
    expect(page.locator("#h-now")).to_have_text("Ventricular bigeminy")
    page.click("#sequence-pause")
    expect(page.locator("#sequence-pause")).to_have_text("Go on")
    page.click("#sequence-next")
    expect(page.locator("#h-now")).to_have_text("Torsades de pointes")
    page.click("#stop")
    expect(page.locator("#h-now")).to_have_text("At rest")
    console.end()
    rig.thread.join(60)
    assert rig.bytes() == rendered(console.log(), tmp_path)
    steps = console.steps()
    words = [step["rhythm"] for step in steps if "rhythm" in step]
    assert words == ["asystole", "sinus", "asystole", "ventricular-bigeminy", "torsades", "asystole"]
    assert [beat["site"] for step in steps for beat in step.get("beats", [])] == ["left-ventricular"]
    assert [step["rate_bpm"] for step in steps if step.get("rate_bpm")] == [120]


PLAN = {
    "version": 1, "title": "Invented plan", "seed": 5, "prepare": ["Sound is on"], "steps": [
        {"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate"]}},
        {"name": "faster", "duration_s": 1, "rate_bpm": {"to": 110}},
        {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "expect": {"alarms": "usual"}},
    ],
}


def test_a_plan_is_played_and_timed_step_by_step(chromium, rig, tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps(PLAN), "utf-8")
    console = Console(tmp_path, plan, "--play", rig.path)
    try:
        page = enter(chromium, console)
        confirm(page)
        page.get_by_role("button", name="Play the first step").click()
        expect(page.locator("#plan-step")).to_have_text("rate")
        expect(page.locator("#plan-items")).to_contain_text("80 bpm")
        page.get_by_role("button", name="Next: faster").click()
        expect(page.locator("#watch")).to_contain_text("over")
        page.get_by_role("button", name="Next: arrest").click()
        expect(page.locator("#plan-items")).to_contain_text("high priority")
        page.wait_for_timeout(2500)
        # After the button was pressed the space bar notes the time; it does not press the button again.
        expect(page.locator("#heard")).to_be_focused()
        page.keyboard.press(" ")
        heard = time.monotonic()
        expect(page.locator("#noted")).to_contain_text("noted after")
        noted = float(page.locator("#noted").inner_text().split("after ")[1].split(" s")[0])
        choose(page, "vf", "Ventricular fibrillation, coarse")
        expect(page.locator("#plan-step")).to_contain_text("no longer played")
        page.click("#help-open")
        page.keyboard.press("Escape")
        expect(page.locator("#status-word")).to_have_text("At rest")
        console.end()
        rig.thread.join(60)
        assert rig.bytes() == rendered(console.log(), tmp_path)
        steps = console.steps()
        assert json.loads(console.log().read_text("utf-8"))["seed"] == PLAN["seed"]
        assert [step.get("name") for step in steps[1:4]] == ["rate", "faster", "arrest"]
        assert steps[2]["rate_bpm"] == {"to": 110, "over_s": 1}
        # The time noted is from the first frame of the step at the rig to the key, by the rig's own clock.
        first = int(np.ceil(sum(step["duration_s"] for step in steps[:3]) * HZ))
        assert abs(noted - (heard - rig.came_at(first))) < 0.5
    finally:
        console.kill()


def get(console: Console, path: str, **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection(console.address, timeout=60)
    connection.putrequest("GET", path, skip_host="Host" in headers)
    for name, value in headers.items():
        connection.putheader(name, value)
    connection.endheaders()
    return connection.getresponse()


UPGRADE = {
    "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # Any 16 bytes: RFC 6455, 1.3.
}


def test_strangers_are_kept_out(console):
    token = console.link().rsplit("/", 1)[-1]
    other = token[:-1] + ("1" if token[-1] == "0" else "0")
    for path in ["/", "/console.js", "/data.json", "/socket", "/enter/", f"/enter/{other}", f"/enter/{token}x"]:
        assert get(console, path).status in (403, 404), path
    assert get(console, f"/enter/{token}", Host="evil.example").status == 421
    assert get(console, f"/enter/{token}", Host=f"evil.example:{console.address.split(':')[1]}").status == 421
    entered = get(console, f"/enter/{token}")
    assert entered.status == 303
    assert get(console, f"/enter/{token}").status == 403, "a link works once"
    cookie = entered.getheader("Set-Cookie")
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    pair = {"Cookie": cookie.split(";")[0]}
    page = get(console, "/", **pair)
    assert page.status == 200
    policy = page.getheader("Content-Security-Policy")
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert page.getheader("Access-Control-Allow-Origin") is None
    own = f"http://{console.address}"
    assert get(console, "/socket", Origin=own, **pair, **UPGRADE).status == 101
    for origin in ["http://evil.example", f"http://evil.example:{console.address.split(':')[1]}", "null", f"https://{console.address}"]:
        assert get(console, "/socket", Origin=origin, **pair, **UPGRADE).status == 403, origin
    assert get(console, "/socket", **pair, **UPGRADE).status == 403, "no page of ours"
    assert get(console, "/socket", Origin=own, **UPGRADE).status == 403, "no link"


def closed_by(page, script: str) -> int | str:
    """The code with which the server closes a socket of the page on which this was done, once it was open."""
    return page.evaluate(f"""() => new Promise((done) => {{
        const socket = new WebSocket(`ws://${{location.host}}/socket`);
        let opened = false;
        socket.onclose = ({{ code }}) => done(opened ? code : "it never opened");
        socket.onopen = () => {{ opened = true; {script} }};
    }})""")


def hundred_megabytes(console: Console, page) -> int:
    """Sends one message of 100 MB by hand (RFC 6455, 5.2), and gives how many bytes went out before the socket was closed."""
    host, port = console.address.split(":")
    (cookie,) = page.context.cookies()
    lines = {"Host": console.address, "Origin": f"http://{console.address}", "Cookie": f"{cookie['name']}={cookie['value']}", **UPGRADE}
    with socket.create_connection((host, int(port)), timeout=60) as raw:
        raw.sendall(("GET /socket HTTP/1.1\r\n" + "".join(f"{name}: {value}\r\n" for name, value in lines.items()) + "\r\n").encode())
        assert b"101" in raw.recv(64)
        sent = 0
        try:
            raw.sendall(b"\x81\xff" + (100_000_000).to_bytes(8, "big") + bytes(4))
            for _ in range(1000):
                raw.sendall(bytes(100_000))
                sent += 100_000
        except OSError:
            pass
        return sent


def test_floods_and_two_pages_at_once_disturb_nothing(chromium, console, rig, tmp_path, record_property):
    first = enter(chromium, console)
    second = enter(chromium, console)
    refused = first.evaluate("""() => new Promise((done) => {
        const socket = new WebSocket(`ws://${location.host}/socket`);
        socket.onopen = () => socket.send(JSON.stringify({ n: 7, do: "rhythm", rhythm: "sinus" }));
        socket.onmessage = ({ data }) => { const message = typeof data === "string" && JSON.parse(data); if (message.t === "answer") done(message); };
    })""")
    assert not refused["ok"] and "confirm" in refused["why"] and not rig.bytes()
    confirm(first)
    expect(second.locator("#confirm")).to_be_hidden()
    choose(second, "sinus", "Sinus rhythm")
    expect(first.locator("#h-now")).to_have_text("Sinus rhythm")

    start = time.monotonic()
    flood = 'for (let i = 0; i < 10000; i += 1) socket.send(JSON.stringify({ n: i, do: "set", values: { rate_bpm: 60 + (i % 50) } }));'
    assert closed_by(first, flood) in (1008, 1006)
    assert hundred_megabytes(console, first) < 10_000_000, "a message beyond the limit is not taken to its end"
    assert closed_by(first, "socket.send(new ArrayBuffer(8));") in (1003, 1006)
    status = open(f"/proc/{console.process.pid}/status").read()
    peak_mb = int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024
    record_property("counts", f"console: {peak_mb:.0f} MB at most, floods over in {time.monotonic() - start:.1f} s")
    assert peak_mb < 150, "a message is not kept beyond its limit"

    # Both pages lead, and both show what plays.
    choose(first, "asystole", "Asystole")
    expect(second.locator("#h-now")).to_have_text("Asystole")
    choose(second, "torsades", "Torsades de pointes")
    expect(first.locator("#h-now")).to_have_text("Torsades de pointes")

    # Pressed at once, the two have no order, and the later one may replace the earlier before it played a frame: both pages show the same.
    first.fill("#search", "asystole")
    second.fill("#search", "sinus rhythm")
    before = len(console.steps())
    first.press("#search", "Enter")
    second.press("#search", "Enter")
    names = {"asystole": "Asystole", "sinus": "Sinus rhythm"}
    until = time.monotonic() + 60
    shown = set()
    while not shown or shown != {names[step["rhythm"]] for step in console.steps()[before:][-1:]}:
        assert time.monotonic() < until, f"pages show {shown}, the log has {console.steps()[before:]}"
        shown = {page.text_content("#h-now") for page in (first, second)}
    first.wait_for_timeout(1000)
    first.click("#stop")
    expect(second.locator("#h-now")).to_have_text("At rest")
    console.end()
    rig.thread.join(60)
    assert rig.bytes() == rendered(console.log(), tmp_path), "nothing was lost, and the log has all of it"
    assert len(console.steps()) < 300, "of a flood only what a person could press is played"


def test_a_killed_console_leaves_a_log_that_plays(chromium, console, rig, tmp_path):
    page = enter(chromium, console)
    confirm(page)
    choose(page, "vt", "Ventricular tachycardia, monomorphic")
    page.wait_for_timeout(1500)
    console.kill()
    expect(page.locator("#status-word")).to_have_text("No program")
    rig.thread.join(60)
    log = json.loads(console.log().read_text("utf-8"))
    assert log["steps"][-1]["rhythm"] == "ventricular-tachycardia" and log["steps"][-1]["duration_s"] == "hold"
    seconds = len(rig.frames()) / HZ
    target = tmp_path / "again.raw"
    flags = ["--channels", ",".join(CHANNELS), "--format", "raw", "--bits", "float", "--no-truth", "--duration", f"{seconds + 1:.3f}s"]
    assert run("render", console.log(), "-o", target, "--frame-rate", HZ, *flags).code == 0
    got = rig.bytes()
    assert len(got) > FRAME_BYTES * HZ and target.read_bytes()[: len(got)] == got


def ordered(console: Console, *orders: dict) -> list[bool]:
    """Orders without a page; the browser's driver has a loop of events in the thread of the tests."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(console_orders.order, console.link(), orders).result(60)


@pytest.mark.parametrize("held", ["person", "output"])
def test_one_confirmation_alone_opens_nothing(chromium, console, rig, held):
    page = enter(chromium, console)
    page.check({"person": "#no-person", "output": "#verified"}[held])
    expect(page.locator("#confirm-yes")).to_be_disabled()
    # Nor for somebody who sends the order past the page.
    half = {"do": "confirm", "person": held == "person", "output": held == "output"}
    assert ordered(console, half, console_orders.rhythm("sinus")) == [False, False]
    expect(page.locator("#status-word")).to_have_text("Outputs closed")
    assert "played:" not in console.end()
    assert not rig.bytes()


def test_page_and_terminal_find_the_same_rhythms(chromium, console):
    """Both search by themselves; the table is what the terminal finds."""
    page = enter(chromium, console)
    table = json.loads((ROOT / "crates" / "bench" / "cases" / "search.json").read_text("utf-8"))
    assert len(table) > 10 and sum(map(len, table.values())) > 50
    search = """async (typed) => {
        const { search } = await import("/rhythms.js");
        const { rhythms } = await (await fetch("/data.json")).json();
        return search(rhythms.flatMap((group) => group.rhythms), typed).map((rhythm) => rhythm.id);
    }"""
    for typed, found in table.items():
        assert page.evaluate(search, typed) == found, typed


def test_a_recording_plays_as_a_step(console, rig, tmp_path):
    """What the rig got is a render of the log, in the folder of the recording that it names."""
    console.end()
    plan = recorded_plan(tmp_path)
    again = Rig(tmp_path / "second rig")
    played = Console(tmp_path / "second", plan, "--play", again.path)
    try:
        assert ordered(played, console_orders.CONFIRM, {"do": "step", "step": 0}) == [True, True]
        again.wait_for(lambda frames: len(frames) > 3 * HZ)
        played.end()
    finally:
        played.kill()
    again.thread.join(60)
    assert again.bytes() == rendered(shutil.copy(played.log(), tmp_path), tmp_path)
    assert np.ptp(again.frames()[:, LEAD_II]) > 0.5


def test_an_output_that_takes_nothing_is_not_called_playing(chromium, tmp_path):
    pipe = tmp_path / "slow"
    os.mkfifo(pipe)
    console = Console(tmp_path, "--play", pipe)
    try:
        page = enter(chromium, console)
        page.check("#no-person")
        page.check("#verified")
        page.click("#confirm-yes")
        expect(page.locator("#status-word")).to_have_text("Opening")
        reader = os.open(pipe, os.O_RDONLY)
        expect(page.locator("#status-word")).to_have_text("At rest")
        # A pipe holds 64 KiB: then nothing is taken any more.
        expect(page.locator("#status-word")).to_have_text("Falling behind")
        expect(page.locator("#status-more")).to_contain_text("behind")
        os.close(reader)
        expect(page.locator("#status-word")).to_have_text("Output ended")
    finally:
        console.kill()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_fault_of_accessibility(chromium, console, rig, scheme):
    for size in [(1440, 900), (390, 844)]:
        page = enter(chromium, console, scheme, size)
        looked_at = Axe().run(page).response
        if page.locator("#closed").is_visible():
            confirm(page)
        else:
            expect(page.locator("#confirm")).to_be_hidden()
        choose(page, "vf", "Ventricular fibrillation, coarse")
        page.fill("#search", "")
        for response in [looked_at, Axe().run(page).response]:
            assert len(response["passes"]) > 10, "axe-core looked at nothing"
            serious = [fault for fault in response["violations"] if fault["impact"] in ("serious", "critical")]
            assert not serious, [(fault["id"], fault["nodes"][0]["html"][:150]) for fault in serious]
