"""A session on a screen: the program at a pseudo-terminal, its screen rendered by a terminal emulator, keys as a person presses them."""

from __future__ import annotations

import fcntl
import os
import re
import signal
import struct
import subprocess
import termios
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pyte

from program import PROGRAM

UP, DOWN, F1 = "\x1b[A", "\x1b[B", "\x1bOP"
ENTER, ESC = "\r", "\x1b"


class Terminal:
    """The program at a pseudo-terminal of this size."""

    def __init__(self, *arguments: object, columns: int = 90, rows: int = 30, folder: Path) -> None:
        self.columns, self.rows = columns, rows
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.lock = threading.Lock()
        keyboard, terminal = os.openpty()
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.keyboard = keyboard
        command = [str(PROGRAM), "session", *map(str, arguments)]
        self.process = subprocess.Popen(
            command, stdin=terminal, stdout=terminal, stderr=subprocess.PIPE, cwd=folder, start_new_session=True,
            env=os.environ | {"TERM": "xterm-256color"},
        )
        os.close(terminal)
        self.raw = b""
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        while True:
            try:
                piece = os.read(self.keyboard, 1 << 16)
            except OSError:
                return
            if not piece:
                return
            with self.lock:
                self.raw += piece
                self.stream.feed(piece)

    def text(self) -> str:
        with self.lock:
            return "\n".join(line.rstrip() for line in self.screen.display)

    def words(self) -> str:
        """The words of the screen in one line, with a blank for each line break."""
        return " ".join(self.text().split())

    def selected(self) -> str:
        """The row that is selected, from its mark on."""
        marked = re.search(r"^> (.*(?:\n    .*)*)", self.text(), re.MULTILINE)
        return " ".join(marked[1].split()) if marked else ""

    def until(self, what: str | Callable[[str], bool], most_s: float = 60.0) -> str:
        """Waits until the screen shows these words, or until its words pass a test, and returns them."""
        holds = what if callable(what) else lambda words: what in words
        end = time.monotonic() + most_s
        while not holds(words := self.words()):
            assert time.monotonic() < end and self.process.poll() is None, f"not shown after {most_s} s: {what}\n{self.text()}"
            time.sleep(0.02)
        return words

    def press(self, *keys: str) -> None:
        for key in keys:
            os.write(self.keyboard, key.encode())

    def type(self, text: str, then: str = ENTER) -> None:
        self.press(text, then)

    def select(self, row: str, key: str = DOWN) -> None:
        """Presses a key until the row that begins so is selected."""
        for _ in range(100):
            before = self.selected()
            if before.startswith(row):
                return
            self.press(key)
            self.until(lambda _, before=before: self.selected() != before)
        raise AssertionError(f"no row '{row}'\n{self.text()}")

    def clock_s(self) -> float:
        """Seconds since the first frame of what plays, as the screen shows them."""
        found = re.search(r"(\d+\.\d) s", self.text().split(";")[0])
        return float(found[1]) if found else 0.0

    def confirm(self) -> None:
        self.until("connected to no person?")
        self.press("y")
        self.until("verified with a calibrated meter?")
        self.press("y")
        self.until(lambda words: "At rest" in words and "calibrated meter?" not in words)

    def end(self) -> tuple[int, str]:
        """Waits for the end; gives the exit code, and what it printed after the screen and as messages."""
        code = self.process.wait(60)
        errors = self.process.stderr.read().decode()
        self.reader.join(10)
        return code, self.raw.decode("utf-8", "replace").split("\x1b[?1049l")[-1] + errors

    def leave(self) -> tuple[int, str]:
        self.press("\x03")
        self.until("Leave the session?")
        self.press("y")
        return self.end()

    def kill(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait(60)
