"""A board plays the tour by itself, in an emulator, led by lines of text: every word of its converters is that of a render.

The emulator's clock counts instructions, so neither the load nor the speed of this computer has a part in it. The render is of a script
that this file writes from the board's answers: the steps of the tour with the lengths that the orders gave them.

`PULSEWRIGHT_ALONE_SECONDS` sets how much of the board's time is played on the Cortex-M4F (600 when not set).
"""

import json
import os
import select
import time
import tty

import numpy as np
import pytest

import program
from board import COUNTS_A_SECOND, HZ, TOUR, Board, frames, rendered

SECONDS = {"m4f": int(os.environ.get("PULSEWRIGHT_ALONE_SECONDS", "600")), "m0plus": 30}
STEP_S = 20
# Orders as soon as so many hundredths of the time were shown.
ORDERS = [(5, "hold"), (12, "next"), (20, "rhythm ventricular-tachycardia"), (40, "rhythm no-such"), (45, "dance"), (50, "next"),
          (60, "rhythm atrial-fibrillation"), (70, "hold"), (80, "next"), (90, "rhythm paced-ddd")]


def ticks(frame):
    """The instant of a frame in units of 2^-32 s, as docs/image.md counts time."""
    return (frame << 32) // HZ


def led(board, count):
    """Sends the orders, and returns the board's lines once `count` records were shown."""
    line = os.open(board.line, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(line)
    said = b""
    for hundredths, order in [*ORDERS, (100, None)]:
        assert board.wait_for(count * hundredths // 100, seconds=600), "the board stands still"
        if order is not None:
            os.write(line, order.encode() + b"\n")
            # Its answer, so that the orders come at different frames.
            while order.encode() not in said:
                assert select.select([line], [], [], 60)[0], f"no answer to {order}"
                said += os.read(line, 4096)
    os.close(line)
    return said.decode().splitlines()


def as_led(rhythms, lines, count):
    """The steps as they were played: rhythm and first frame of each."""
    steps, place, holds = [(rhythms[0], 0)], 0, False

    def until(frame):
        nonlocal place
        while not holds and steps[-1][1] + STEP_S * HZ < frame:
            place += 1
            steps.append((rhythms[place], steps[-1][1] + STEP_S * HZ))

    for line in lines:
        if not line[:1].isdigit():
            continue
        frame, verb, *rest = line.split()
        until(int(frame))
        if verb == "hold":
            holds = True
            continue
        holds = False
        place = rhythms.index(rest[0]) if verb == "rhythm" else place + 1
        steps.append((rhythms[place], int(frame)))
    until(count)
    return steps


@pytest.mark.parametrize("processor", ["m4f", "m0plus"])
def test_the_words_of_a_board_alone_are_those_of_a_render(processor, tmp_path):
    image = tmp_path / "tour.pwi"
    program.succeed("compile", TOUR, "-o", image)
    catalog = json.loads(program.succeed("catalog", "rhythms", "--json").stdout)["rhythms"]
    rhythms = [rhythm["id"] for rhythm in catalog]
    count = SECONDS[processor] * HZ
    began = time.monotonic()
    # A short run keeps to the computer's clock, so that its orders are seconds apart and not as fast as the emulator can go.
    with Board(tmp_path, "alone", processor, sleep="off" if processor == "m4f" else "on", script=image.read_bytes()) as board:
        lines = led(board, count)
        shown = board.shown()
    took = time.monotonic() - began
    played = frames(shown)
    assert len(played) >= count - 100
    # From the first frame on there is no rest.
    assert len(played) == len(shown) - np.argmax(shown["marks"] != 0)
    orders = [line.split(maxsplit=1)[1] for line in lines if line[:1].isdigit()]
    assert orders == [order for _, order in ORDERS if order not in ("rhythm no-such", "dance")], lines
    assert any("no such rhythm: rhythm no-such" in line for line in lines) and any("no order: dance" in line for line in lines)
    steps = as_led(rhythms, lines, len(played))
    ends = [start for _, start in steps[1:]] + [len(played)]
    log = {
        "version": 1,
        "seed": json.loads(TOUR.read_text())["seed"],
        "steps": [
            {"duration_s": round((ticks(end) - ticks(start)) / 2**32, 11), "rhythm": rhythm}
            for (rhythm, start), end in zip(steps, ends)
        ],
    }
    script = tmp_path / "log.json"
    script.write_text(json.dumps(log))
    expected = rendered(script, tmp_path / "log.raw")
    assert len(expected) == len(played)
    wrong = np.flatnonzero((played["words"] != expected).any(axis=1))
    assert len(wrong) == 0, f"frame {wrong[0]} and {len(wrong) - 1} more; {lines}"
    assert len(np.unique(expected, axis=0)) > len(expected) // 4, "too still to prove anything"
    # The moments of the latches are those of the timer. An emulator that leaves idle time out jumps over two periods at once (seen with
    # QEMU 7.2); the length of the period is looked at below, with idle time.
    period = COUNTS_A_SECOND // HZ
    periods = np.diff(played["latched"].astype(np.int64)) % 2**32
    off = (periods + period // 2) % period - period // 2
    print(
        f"{processor}: {len(played)} frames of 13 words in {len(steps)} steps equal the render's; latches {off.min()} to {off.max()} "
        f"cycles of 40 ns off their tick; {took:.0f} s of this computer"
    )
    if processor == "m0plus":
        # By the computer's clock the emulator itself is late.
        return
    assert periods.max() < 2.5 * period and np.abs(off).max() <= COUNTS_A_SECOND // 1_000_000, "a microsecond"


def test_a_board_without_a_script_says_so_and_rests(tmp_path):
    # Into a file: what is said before a terminal listens is lost.
    with Board(tmp_path, "alone", line=f"file,id=link,path={tmp_path / 'said'}") as board:
        assert board.wait_for(HZ)
        assert (tmp_path / "said").read_bytes().startswith(b"no script: ")
        shown = board.shown()
    # The emulated timer ticks 250 times a second of this computer, however late each tick is.
    period = np.median(np.diff(shown["at"].astype(np.int64)))
    assert abs(period * HZ / COUNTS_A_SECOND - 1) < 0.02
    assert len(frames(shown)) == 0 and (shown["words"] == shown["words"][0]).all()
