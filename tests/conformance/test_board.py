"""A board drives a rig's converters: in an emulator, with the frames of this program over a serial line.

The board's converters are modelled, and a logic analyser records the words of each latch with its moment. They are held against the
codes that `render --rig` writes for the log of the stream.

`PULSEWRIGHT_BOARD_SECONDS` sets how long the stream is (12 when not set; ten minutes are 600).
"""

import csv
import math
import os
import subprocess
import time

import numpy as np
import pytest

import program
from board import COUNTS_A_SECOND, HZ, R_WAVE, RIG, TOUR, Board, frames, rendered
from reading import beside

SECONDS = int(os.environ.get("PULSEWRIGHT_BOARD_SECONDS", "12"))
# The emulated board keeps the time of this computer, so a computer that stands still for 40 ms brings it to rest, as it should: what
# several streams have shown by then counts together.
ATTEMPTS = 25


def stream(board, *arguments):
    command = ["stream", TOUR, "--rig", RIG, "--frame-rate", str(HZ), "--board", board.line, *arguments]
    return subprocess.Popen(
        [program.PROGRAM, *map(str, command)], stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def peaks(log, folder):
    """Frames at or after the peaks of the beats, from the table of a render of the log."""
    with beside(folder / "log.raw", "beats.csv").open(newline="") as file:
        # A microsecond is the last digit.
        return {math.ceil(float(beat["time_s"]) * HZ - 1e-4) for beat in csv.DictReader(file)}


def test_the_words_of_the_converters_are_those_of_a_render(tmp_path):
    right = beats = 0
    for attempt in range(ATTEMPTS):
        log = tmp_path / f"log-{attempt}.json"
        with Board(tmp_path) as board:
            process = stream(board, "--duration", f"{SECONDS}s", "--live", "--log", log)
            for command in ("rate 110", "rhythm ventricular-tachycardia", "rhythm sinus", "beat left-ventricular"):
                time.sleep(1.5)
                if process.poll() is None:
                    process.stdin.write(f"{command}\n")
                    process.stdin.flush()
            _, messages = process.communicate(timeout=SECONDS * 10 + 60)
            time.sleep(0.2)
            shown = frames(board.shown())
        assert process.returncode == 0 or "the board went to rest" in messages, messages
        words = shown["words"]
        expected = rendered(log, tmp_path / "log.raw")
        assert len(words) <= len(expected)
        # Whether the board could keep the time of this computer or not: no wrong word.
        assert (words == expected[: len(words)]).all(), messages
        # An R wave's pin rises at the frame of its peak.
        rises = np.flatnonzero(np.diff((shown["marks"] & R_WAVE).astype(int), prepend=0) > 0)
        assert sorted(peak for peak in peaks(log, tmp_path) if peak < len(words)) == list(rises), messages
        right, beats = right + len(words), beats + len(rises)
        if process.returncode == 0:
            assert len(words) == len(expected), messages
        if right >= 0.9 * SECONDS * HZ:
            assert beats > SECONDS / 2, "too few beats to prove anything"
            print(f"{right} frames of 13 words equal the render's, attempts: {attempt + 1}; {messages.splitlines()[-1]}")
            return
    pytest.fail(f"{ATTEMPTS} streams have shown {right} frames: {messages}")


def test_ticks_do_not_jitter(tmp_path):
    """With the board's clock free of this computer's the moments of the latches are those of its timer."""
    with Board(tmp_path, sleep="off", line="null,id=link") as board:
        board.wait_for(2000)
        moments = board.shown()["latched"].astype(np.int64)
    # The first tick ends the start-up.
    periods = np.diff(moments[2:]) % 2**32
    assert len(periods) > 1000
    spread = int(periods.max() - periods.min())
    print(f"{len(periods)} latches: periods differ by {spread} cycles of 40 ns")
    assert spread <= COUNTS_A_SECOND // 1_000_000, "a microsecond"


def test_codes_for_another_rig_are_refused(tmp_path):
    other = tmp_path / "other.json"
    other.write_text(RIG.read_text().replace('"attenuation": 401', '"attenuation": 402'))
    with Board(tmp_path) as board:
        command = ["stream", TOUR, "--rig", other, "--frame-rate", HZ, "--board", board.line, "--duration", "2s"]
        done = subprocess.run([program.PROGRAM, *map(str, command)], capture_output=True, text=True, timeout=60)
    assert done.returncode != 0
    assert "another rig" in done.stderr
