"""`--play audio:NAME`: a card gets the samples of a render, rests before, after and on every fault, and no test that it would falsify."""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import time
from pathlib import Path

import console_orders
import numpy as np
import pytest
from console_bench import Console, choose, confirm, enter
from playwright.sync_api import expect
from program import succeed
from scipy.io import wavfile
from sound_card import RAMP_S, Card, built, interruptions
from test_console import ordered
from test_session import AFTER, BEFORE, PLAN, SAFE
from worksheet_page import chromium  # noqa: F401

STEP = ("--rhythm", "sinus")
LIMBS = [{"electrode": limb, "attenuation": 201} for limb in ("RA", "LA", "LL", "V1")]


@pytest.fixture(scope="module")
def library(tmp_path_factory) -> Path:
    return built(tmp_path_factory.mktemp("plugin"))


@pytest.fixture
def card(library, tmp_path):
    return lambda **options: Card(tmp_path, library, **options)


def rig(folder: Path, bits: int = 16, outputs: list[dict] = LIMBS, **more) -> Path:
    converter = {"bits": bits, "low_v": -1, "high_v": 1, "coding": "twos-complement"} | more.pop("converter", {})
    path = folder / "rig.json"
    path.write_text(json.dumps({"version": 1, "title": "A card (invented)", "converter": converter, "outputs": outputs} | more))
    return path


def rendered(folder: Path, *arguments: object) -> np.ndarray:
    """Codes of a render to WAV, read by scipy; it puts 24 bits on top of 32."""
    succeed("render", *arguments, "-o", folder / "r.wav", "--no-truth", "--force")
    _, samples = wavfile.read(folder / "r.wav")
    return samples.reshape(len(samples), -1)


def reported(errors: str) -> int:
    """Interruptions that the program reports."""
    lines = [line for line in errors.splitlines() if "interrupted" in line]
    return int(lines[0].split("interrupted ")[1].split()[0]) if lines else 0


@pytest.mark.parametrize("fault", [None, "changed", "lost", "click", "not at rest", "held too long"])
def test_the_check_of_a_cards_samples_sees_what_is_wrong(fault):
    frames = np.array([[4000, 7], [-2000, 0], [9000, 9], [30, 1]] * 50)
    ramp = np.arange(100)[:, None] / 100
    rise, fall = (ramp * frames[0]).astype(int), (ramp[::-1] * frames[-1]).astype(int)
    held = np.repeat(frames, 3, axis=0)
    rest = np.zeros((50, 2), int)
    match fault:
        case "changed":
            held[301, 1] += 1
        case "lost":
            held = np.delete(held, range(300, 303), axis=0)
        case "click":
            rise = rise[:40]
        case "not at rest":
            fall = fall[:30]
        case "held too long":
            held = np.insert(held, 300, held[300], axis=0)
    taken = np.vstack([rest, rise, held, fall, rest[: 0 if fault == "not at rest" else 50]])
    expect = pytest.raises(AssertionError) if fault else contextlib.nullcontext()
    with expect:
        assert interruptions(taken, frames, 3, 100) == 0


def wait_for(ready) -> None:
    deadline = time.monotonic() + 60
    while not ready():
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_the_cards_are_listed_with_what_they_play(card):
    code, out, _ = card(channels=4, rates=(44100, 96000), form="S32_LE").run("stream", *STEP, "--play", "audio:?")
    assert code == 0
    assert "audio:bench\n    A card that is no hardware\n    up to 4 channels, up to 32 bits, frames a second: 44100, 96000\n" in out


@pytest.mark.parametrize(
    ("hz", "bits", "form", "shift"),
    [(1000, "16", "S16_LE", 0), (48000, "16", "S32_LE", 16), (500, "24", "S32_LE", 0), (1000, "24", "FLOAT_LE", 31)],
)
def test_a_card_gets_the_samples_of_a_render_held_and_between_ramps(card, tmp_path, hz, bits, form, shift):
    of_signal = (*STEP, "--set", "life=resting", "--duration", "1.5s", "--channels", "V2,II", "--frame-rate", hz, "--bits", bits)
    bench = card(form=form)
    began = time.monotonic()
    code, _, errors = bench.run("stream", *of_signal, "--play", bench.name, "--dc-coupled")
    lasted_s = time.monotonic() - began
    assert code == 0, errors
    frames = rendered(tmp_path, *of_signal)
    frames = frames / 2.0**shift if form == "FLOAT_LE" else frames.astype(np.int64) << shift
    assert np.abs(frames).max() > 0
    assert interruptions(bench.taken(), frames, 48000 // hz, int(RAMP_S * 48000)) == reported(errors)
    # By the card's clock, not as fast as they can be made.
    assert lasted_s > 1.4


def test_the_codes_of_a_rig_go_to_its_channels(card, tmp_path):
    bench, description = card(channels=6), rig(tmp_path, ac_coupling_hz=0.05)
    of_signal = ("--rhythm", "ventricular-tachycardia", "--duration", "1s", "--frame-rate", 8000, "--rig", description)
    code, _, errors = bench.run("stream", *of_signal, "--play", bench.name)
    assert code == 0, errors
    frames = np.hstack([rendered(tmp_path, *of_signal), np.zeros((8000, 2), np.int16)])
    assert interruptions(bench.taken(), frames, 6, int(RAMP_S * 48000)) == reported(errors)
    assert "channel 3: LL" in errors
    assert "isolation" in errors


def test_a_card_that_ran_out_of_samples_rises_again_and_it_is_reported(card, tmp_path):
    bench = card(more="starve_after_ms 700")
    of_signal = (*STEP, "--duration", "2s", "--channels", "V2,II", "--frame-rate", 1000)
    code, _, errors = bench.run("stream", *of_signal, "--play", bench.name, "--dc-coupled")
    assert code == 0, errors
    assert reported(errors) >= 1


def test_a_card_that_goes_away_ends_the_stream(card):
    bench = card(more="unplug_after_ms 600")
    code, _, errors = bench.run("stream", *STEP, "--duration", "60s", "--channels", "II", "--play", bench.name, "--dc-coupled", within_s=50)
    assert code == 2, errors
    assert "audio:bench: " in errors.splitlines()[-1] and "disconnect" in errors, errors


def test_what_keeps_no_time_is_no_card(card):
    code, _, errors = card().run("stream", *STEP, "--duration", "60s", "--channels", "II", "--play", "audio:sink", "--dc-coupled", within_s=50)
    assert code == 2
    assert "keeps no time" in errors


def test_an_interrupt_ends_with_a_ramp(card, tmp_path):
    bench = card()
    of_signal = (*STEP, "--channels", "V2,II", "--frame-rate", 1000)
    process = bench.start("stream", *of_signal, "--play", bench.name, "--dc-coupled")
    wait_for(lambda: (tmp_path / "taken.raw").exists() and len(bench.taken()) > 48000)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 0, errors
    count = int(next(line for line in errors.splitlines() if " frames, " in line).split()[0])
    frames = rendered(tmp_path, *of_signal, "--duration", "60s")[:count]
    assert interruptions(bench.taken(), frames, 48, int(RAMP_S * 48000)) == reported(errors)


def test_a_session_plays_by_a_card(card, tmp_path):
    plan = tmp_path / "plan.json"
    script = {**PLAN, "steps": [dict(PLAN["steps"][0])]}
    plan.write_text(json.dumps(script))
    bench, description = card(channels=4), rig(tmp_path)
    asked = ("session", plan, "-o", tmp_path / "record.json", "--plain", "--rig", description, "--frame-rate", 1000, "--folder", tmp_path / "bench")
    process = bench.start(*asked, "--play", bench.name, "--dc-coupled", stdin=subprocess.PIPE)
    process.stdin.write("\n".join([*BEFORE, *SAFE, ""]))
    process.stdin.flush()
    wait_for(lambda: (tmp_path / "taken.raw").exists() and len(bench.taken()) > 48000)
    out, errors = process.communicate("\n".join(["80", "95", *AFTER, ""]), timeout=60)
    assert (tmp_path / "record.json").exists(), out + errors
    played = json.loads((tmp_path / "record.json").read_text())["played"]
    assert played["output"] == bench.name
    # The log of the run renders to what the card took: rest, the step for as long as its questions took, rest.
    (log,) = (tmp_path / "bench").glob("played-*.json")
    frames = rendered(tmp_path, log, "--rig", description, "--frame-rate", 1000)
    assert interruptions(bench.taken(), frames, 48, int(RAMP_S * 48000)) == reported(errors)


@pytest.mark.xdist_group("browser")
def test_a_console_plays_by_a_card(chromium, card, tmp_path):
    bench, description = card(channels=4), rig(tmp_path)
    flags = ("--play", bench.name, "--dc-coupled", "--rig", description, "--frame-rate", 1000)
    console = Console(tmp_path, *flags, environment=bench.environment)
    page = enter(chromium, console)
    assert not (tmp_path / "taken.raw").exists() or not len(bench.taken()), "nothing plays before the two confirmations"
    confirm(page)
    choose(page, "vf", "Ventricular fibrillation, coarse")
    wait_for(lambda: np.count_nonzero(bench.taken().any(axis=1)) > 48000)
    page.click("#stop")
    expect(page.locator("#status-word")).to_have_text("At rest")
    said = console.end()
    frames = rendered(tmp_path, console.log(), "--rig", description, "--frame-rate", 1000)
    assert interruptions(bench.taken(), frames, 48, int(RAMP_S * 48000)) == reported(said)


REFUSED = {
    "without a word about the coupling": (["--channels", "II"], "ac_coupling_hz"),
    "an unknown card": (["--channels", "II", "--dc-coupled"], "audio:?"),
    "too many channels": (["--channels", "I,II,V1", "--dc-coupled"], "2 channels at most"),
    "a rate that the card has not": (["--channels", "II", "--dc-coupled", "--frame-rate", "360"], "Rates that it plays: 44100, 48000."),
    "codes that are wider than its own": (["--channels", "II", "--dc-coupled", "--bits", "24"], "16 bits at most"),
    "codes that fill no bytes": (["--channels", "II", "--dc-coupled", "--bits", "12"], "--bits 16, 24 or 32"),
    "a pressure over AC": (["--channels", "II,arterial", "--ac-coupling-hz", "0.05"], "arterial is a level"),
    "respiration over AC": (["--channels", "II,respiration", "--ac-coupling-hz", "0.05"], "respiration is a level"),
    "a corner that takes the QRS": (["--channels", "II", "--ac-coupling-hz", "10"], "QRS"),
    "ST over AC": (["--channels", "II", "--ac-coupling-hz", "0.5", "--set", "st.inferior_mv=0.2"], "ST"),
    "two couplings": (["--channels", "II", "--dc-coupled", "--ac-coupling-hz", "0.5"], "cannot be used with"),
    "a file": (["--channels", "II"], "standard output"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_refusal_says_why_and_plays_nothing(card, case):
    flags, words = REFUSED[case]
    bench = card(rates=(44100, 48000))
    name = {"an unknown card": "audio:elsewhere", "a file": "out.raw"}.get(case, bench.name)
    code, _, errors = bench.run("stream", *STEP, "--duration", "1s", "--play", name, *flags)
    assert code == 2
    assert words in errors, errors
    assert not (bench.folder / "taken.raw").exists() or not len(bench.taken())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"converter": {"coding": "offset-binary"}}, "twos-complement"),
        ({"converter": {"bits": 20}}, "16 or 24 bits"),
        ({"converter": {"low_v": 0}}, '"low_v" must be -"high_v"'),
        ({"outputs": LIMBS[:2]}, "LL"),
        ({"ac_coupling_hz": 10}, "a monitor must find"),
        ({"ac_coupling_hz": 0.05, "more": ["--dc-coupled"]}, "keep the one that is true"),
        ({"converter": {"low_v": -2, "high_v": 2}, "outputs": [{**LIMBS[0], "attenuation": 1}, *LIMBS[1:]]}, "may harm a monitor"),
    ],
)
def test_a_rig_that_does_not_suit_a_card_is_refused(card, tmp_path, changes, words):
    bench = card(channels=4)
    more = changes.pop("more", [] if "ac_coupling_hz" in changes else ["--dc-coupled"])
    code, _, errors = bench.run("stream", *STEP, "--duration", "1s", "--play", bench.name, "--rig", rig(tmp_path, **changes), *more)
    assert code == 2
    assert words in errors, errors


def test_a_console_sets_no_st_over_ac(card, tmp_path):
    bench, description = card(channels=4), rig(tmp_path, ac_coupling_hz=0.5)
    console = Console(tmp_path, "--play", bench.name, "--rig", description, "--frame-rate", 1000, environment=bench.environment)
    sets = [{"do": "set", "values": values} for values in ({"ecg.gain": 1.5}, {"st.inferior_mv": 0.2}, {"st.inferior_mv": 0})]
    try:
        assert ordered(console, console_orders.CONFIRM, console_orders.rhythm("sinus"), *sets) == [True, True, True, False, True]
        console.end()
    finally:
        console.kill()
    assert [step["st"] for step in console.steps() if "st" in step] == []


def test_a_command_that_sets_st_over_ac_is_refused(card):
    bench = card()
    flags = ("--live", "--duration", "1s", "--channels", "II", "--play", bench.name, "--ac-coupling-hz", "0.5")
    process = bench.start("stream", *STEP, *flags, stdin=subprocess.PIPE)
    _, errors = process.communicate("set st.inferior_mv=0.3\n", timeout=60)
    assert process.returncode == 0, errors
    assert "level of ST" in errors
