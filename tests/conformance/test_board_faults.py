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


def rest_after(fault, tmp_path, converters=(0, 0)):
    """Plays, brings `fault` about, and returns the records of a second more from the last frame on, and the host's messages."""
    for _ in range(ATTEMPTS):
        with Board(tmp_path, fault=converters) as board:
            cable = Cable(board.line)
            command = ["stream", TOUR, "--rig", RIG, "--frame-rate", HZ, "--duration", "60s", "--board", cable.line]
            host = subprocess.Popen([program.PROGRAM, *map(str, command)], stderr=subprocess.PIPE, text=True)
            deadline = time.monotonic() + 30
            while time.monotonic() < deadline and len(frames(board.shown())) < HZ // 2 and host.poll() is None:
                time.sleep(0.02)
            plays = board.shown()[-1]["marks"] & SHOWN_PIN
            fault(host, cable)
            while time.monotonic() < deadline and board.shown()[-1]["marks"] & SHOWN_PIN:
                time.sleep(0.02)
            board.wait_for(board.records() + HZ)
            shown = board.shown()
            host.send_signal(signal.SIGCONT)
            cable.close()
            host.kill()
            _, messages = host.communicate()
        if plays and ("converter" in messages) == (converters != (0, 0)):
            last = np.flatnonzero(shown["marks"] & SHOWN_PIN)[-1]
            # At rest, with every pin low, and for good.
            after = shown[last + 1 :]
            assert len(after) > HZ // 2 and (after["marks"] == 0).all()
            assert (after[-1]["words"] == shown[0]["words"]).all(), "other words than those of rest"
            return shown[last:], messages
    pytest.fail(f"the board went to rest before the fault: {messages}")


def milliseconds(counts):
    return 1000 * float(counts) / COUNTS_A_SECOND


def rest_of_a_lost_host(shown):
    """Time from the last whole message to the rest, ms."""
    rest = shown[1]
    return milliseconds(rest["latched"]) - float(rest["heard_ms"])


def test_a_pulled_cable(tmp_path):
    shown, _ = rest_after(lambda _host, cable: setattr(cable, "pulled", True), tmp_path)
    took = rest_of_a_lost_host(shown)
    print(f"rest {took:.1f} ms after the last message")
    assert 30 < took < LONGEST_MS


def test_a_silent_host(tmp_path):
    shown, _ = rest_after(lambda host, _cable: host.send_signal(signal.SIGSTOP), tmp_path)
    took = rest_of_a_lost_host(shown)
    print(f"rest {took:.1f} ms after the last message")
    assert 30 < took < LONGEST_MS


def test_a_lost_byte_of_each_packet(tmp_path):
    def lose(_host, cable):
        cable.lossy = True

    shown, messages = rest_after(lose, tmp_path)
    took = rest_of_a_lost_host(shown)
    print(f"rest {took:.1f} ms after the last message; {messages.splitlines()[-1]}")
    assert 30 < took < LONGEST_MS


def test_a_stuck_converter(tmp_path):
    """The converters fail for 300 ms: the interlock drops within 50 ms, and the words of rest come within 50 ms after they answer again."""
    shown, messages = rest_after(lambda *_: None, tmp_path, converters=(200, 300))
    dropped = milliseconds(int(shown[1]["at"]) - int(shown[0]["latched"]))
    moved = shown[(shown["words"] != shown[0]["words"]).any(axis=1)]
    back = milliseconds(int(moved[0]["at"]) - int(shown[0]["latched"]))
    print(f"interlock dropped {dropped:.1f} ms, rest shown {back:.1f} ms after the last frame; {messages.splitlines()[-1]}")
    assert 0 < dropped < LONGEST_MS and 299 < back < 300 + LONGEST_MS
