"""A board that drives a rig goes to rest within 50 ms of every fault: a pulled cable, lost bytes, a silent host, a stuck converter.

Both moments, that of the last whole message and that of the rest, are of the board's own clock, so a busy computer changes nothing.
A host and a board play over a pseudo-terminal that this program is in the middle of.
"""

import os
import select
import signal
import subprocess
import threading
import time
import tty

import numpy as np
import pytest

import program
from board import COUNTS_A_SECOND, HZ, RIG, SHOWN_PIN, TOUR, Board, frames

LONGEST_MS = 50
# A computer that stands still for 40 ms brings the board to rest before the fault: then once more.
ATTEMPTS = 8


class Cable(threading.Thread):
    """Carries bytes between a host and a board until it is pulled; from `lossy` on every packet to the board loses a byte."""

    def __init__(self, board_line):
        super().__init__(daemon=True)
        self.board = os.open(board_line, os.O_RDWR | os.O_NOCTTY)
        self.host, end = os.openpty()
        tty.setraw(self.board)
        tty.setraw(end)
        self.line = os.ttyname(end)
        self.end = end
        self.lossy = self.pulled = False
        self.start()

    def run(self):
        while not self.pulled:
            for line in select.select([self.host, self.board], [], [], 0.01)[0]:
                carried = os.read(line, 4096)
                if self.pulled:
                    return
                if self.lossy and line == self.host:
                    # The byte before the zero that ends each packet.
                    packets = carried.split(b"\0")
                    carried = b"\0".join([packet[:-1] for packet in packets[:-1]] + packets[-1:])
                os.write(self.host if line == self.board else self.board, carried)

    def close(self):
        self.pulled = True
        self.join()
        for line in (self.host, self.end, self.board):
            os.close(line)


def plays(board):
    """Whether the last record of the board is a frame."""
    shown = board.shown()
    return len(shown) > 0 and bool(shown[-1]["marks"] & SHOWN_PIN)


def wait_while(condition, deadline):
    while condition() and time.monotonic() < deadline:
        time.sleep(0.02)


def rest_after(fault, tmp_path, stuck=(0, 0)):
    """Plays, brings `fault` about, and returns the records of a second more from the last frame on, and the host's messages.

    Converters that are `stuck` after so many frames for so many milliseconds are a fault of their own.
    """
    # Frames that the board shows before the fault.
    before = stuck[0] or HZ // 2
    for _ in range(ATTEMPTS):
        with Board(tmp_path, fault=stuck) as board:
            cable = Cable(board.line)
            command = ["stream", TOUR, "--rig", RIG, "--frame-rate", HZ, "--duration", "60s", "--board", cable.line]
            host = subprocess.Popen([program.PROGRAM, *map(str, command)], stderr=subprocess.PIPE, text=True)
            deadline = time.monotonic() + 30
            wait_while(lambda: len(frames(board.shown())) < before and host.poll() is None, deadline)
            due = len(frames(board.shown())) >= before and (stuck != (0, 0) or plays(board))
            fault(host, cable)
            wait_while(lambda: plays(board), deadline)
            went_on = plays(board)
            board.wait_for(board.records() + HZ)
            shown = board.shown()
            host.send_signal(signal.SIGCONT)
            cable.close()
            host.kill()
            _, messages = host.communicate()
        assert len(shown) > 0, f"the board has recorded nothing: {messages}"
        if not due:
            continue
        assert not went_on, "the board still shows frames long after the fault"
        last = np.flatnonzero(shown["marks"] & SHOWN_PIN)[-1]
        assert stuck == (0, 0) or last + 1 - np.argmax(shown["marks"] != 0) == before, "frames were shown after the fault"
        after = shown[last + 1 :]
        assert len(after) > HZ // 2, f"{len(after)} ticks recorded after the last frame: the board does not keep its outputs at rest"
        assert (after["marks"] == 0).all(), "a pin is high at rest"
        assert (after[-1]["words"] == shown[0]["words"]).all(), "a second after the last frame the words are not those of rest"
        return shown[last:], messages
    pytest.fail(f"the board went to rest before the fault, {ATTEMPTS} times: {messages}")


def milliseconds(counts):
    return 1000 * float(counts) / COUNTS_A_SECOND


def rest_of_a_lost_host(shown):
    """Time from the last whole message to the rest, ms."""
    rest = shown[1]
    return milliseconds(rest["latched"]) - float(rest["heard_ms"])


def check_a_lost_host(fault, tmp_path):
    """Rest comes when the host was silent for 40 ms, and before 50."""
    shown, messages = rest_after(fault, tmp_path)
    took = rest_of_a_lost_host(shown)
    print(f"rest {took:.1f} ms after the last message; {messages}")
    assert took > 30, f"the board went to rest {took:.1f} ms after a message: for another reason than silence"
    assert took < LONGEST_MS, f"the board went to rest {took:.1f} ms after the last message, later than {LONGEST_MS} ms"


def test_a_pulled_cable(tmp_path):
    check_a_lost_host(lambda _host, cable: setattr(cable, "pulled", True), tmp_path)


def test_a_silent_host(tmp_path):
    check_a_lost_host(lambda host, _cable: host.send_signal(signal.SIGSTOP), tmp_path)


def test_a_lost_byte_of_each_packet(tmp_path):
    check_a_lost_host(lambda _host, cable: setattr(cable, "lossy", True), tmp_path)


def test_a_stuck_converter(tmp_path):
    """The converters fail for 300 ms: the interlock drops within 50 ms, and the words of rest come within 50 ms after they answer again."""
    stuck_ms = 300
    shown, messages = rest_after(lambda *_: None, tmp_path, stuck=(200, stuck_ms))
    assert "converter" in messages, f"the host does not name the converter: {messages}"
    shown_at = int(shown[0]["latched"])
    dropped = milliseconds((int(shown[1]["at"]) - shown_at) % 2**32)
    moved = shown[(shown["words"] != shown[0]["words"]).any(axis=1)]
    assert len(moved) > 0, "the words of the last frame stay on the outputs"
    back = milliseconds((int(moved[0]["at"]) - shown_at) % 2**32)
    print(f"interlock dropped {dropped:.1f} ms, rest shown {back:.1f} ms after the last frame; {messages}")
    assert dropped < LONGEST_MS, f"the interlock dropped {dropped:.1f} ms after the last frame, later than {LONGEST_MS} ms"
    assert back > stuck_ms - 1, f"rest was shown {back:.1f} ms after the last frame, while the converters did not answer"
    assert back < stuck_ms + LONGEST_MS, f"rest was shown {back - stuck_ms:.1f} ms after the converters answered again"
