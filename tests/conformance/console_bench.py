"""A running console with a rig at a pipe: every byte with the time at which it came, and the page in a browser."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import signal
import struct
import subprocess
import termios
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page, expect

from program import PROGRAM, ROOT, succeed

HZ = 500
CHANNELS = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6", "respiration", "arterial"]
FRAME_BYTES = 4 * len(CHANNELS)


class Rig:
    """Reads the pipe as a rig would, and notes when each piece came."""

    def __init__(self, path: Path) -> None:
        os.mkfifo(path)
        self.path = path
        self.pieces: list[tuple[float, bytes]] = []
        self.reads = threading.Event()
        self.reads.set()
        self.pipe = -1
        self.thread = threading.Thread(target=self._read, daemon=True)
        self.thread.start()

    def _read(self) -> None:
        with open(self.path, "rb", buffering=0) as pipe:
            self.pipe = pipe.fileno()
            while piece := pipe.read(1 << 16):
                self.pieces.append((time.monotonic(), piece))
                self.reads.wait()

    def waiting(self) -> int:
        """Bytes that are in the pipe."""
        return struct.unpack("i", fcntl.ioctl(self.pipe, termios.FIONREAD, bytes(4)))[0]

    def stall(self) -> None:
        """Takes nothing more; returns when the pipe is full and the program has waited for half a second."""
        self.reads.clear()
        before = -1
        while (now := self.waiting()) != before:
            before = now
            time.sleep(0.5)

    def go_on(self) -> None:
        """Takes frames again; returns when those that are late have come."""
        self.reads.set()
        looks = 0
        while looks < 5:
            looks = looks + 1 if self.waiting() < HZ // 10 * FRAME_BYTES else 0
            time.sleep(0.05)

    def bytes(self) -> bytes:
        return b"".join(piece for _, piece in list(self.pieces))

    def frames(self) -> np.ndarray:
        content = self.bytes()
        whole = len(content) // FRAME_BYTES * FRAME_BYTES
        return np.frombuffer(content[:whole], "<f4").reshape(-1, len(CHANNELS))

    def wait_for(self, holds: Callable[[np.ndarray], bool], most_s: float = 60.0) -> np.ndarray:
        """The frames, once something holds of them."""
        end = time.monotonic() + most_s
        while not holds(frames := self.frames()):
            assert time.monotonic() < end, f"it does not hold after {most_s} s"
            time.sleep(0.02)
        return frames

    def late_ms(self) -> np.ndarray:
        """The first frame of each piece, and how late it came by the rig's clock, against the least late of all."""
        firsts = np.cumsum([0, *(len(piece) for _, piece in list(self.pieces))])[:-1] // FRAME_BYTES
        times = np.array([at for at, _ in list(self.pieces)[: len(firsts)]])
        late = 1000 * (times - firsts / HZ)
        return np.column_stack([firsts, late - late.min()])

    def came_at(self, frame: int) -> float:
        """When the last byte of a frame came."""
        end = (frame + 1) * FRAME_BYTES
        total = 0
        for at, piece in list(self.pieces):
            total += len(piece)
            if total >= end:
                return at
        raise AssertionError(f"frame {frame} has not come")


class Console:
    """The program, serving; links come on its standard error."""

    def __init__(self, folder: Path, *flags: object, environment: dict[str, str] | None = None) -> None:
        self.folder = folder / "bench"
        command = [str(PROGRAM), "console", "--no-open", "--folder", str(self.folder), *map(str, flags)]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
        self.said: list[str] = []
        self.arrived = threading.Condition()
        self.listener = threading.Thread(target=self._listen, daemon=True)
        self.listener.start()
        self.link()

    def _listen(self) -> None:
        for line in self.process.stderr:
            with self.arrived:
                self.said.append(line.strip())
                self.arrived.notify_all()

    def link(self) -> str:
        """The link that works next."""
        links = lambda: [line.split()[-1] for line in self.said if "/enter/" in line]  # noqa: E731
        with self.arrived:
            assert self.arrived.wait_for(lambda: links() or self.process.poll() is not None, 60), self.said
            assert links(), self.said
            return links()[-1]

    def next_link(self, used: str) -> str:
        with self.arrived:
            assert self.arrived.wait_for(lambda: f"console: {used}" != self.said[-1], 60), self.said
        return self.link()

    @property
    def address(self) -> str:
        return self.link().split("/")[2]

    def end(self) -> str:
        """Ends it as Ctrl+C does, and gives what it said."""
        self.process.send_signal(signal.SIGINT)
        assert self.process.wait(60) == 0, self.said
        # Its last lines may still be in the pipe when it has ended.
        self.listener.join(60)
        return "\n".join(self.said)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(60)

    def log(self) -> Path:
        (log,) = self.folder.glob("played-*.json")
        return log

    def steps(self) -> list[dict]:
        return json.loads(self.log().read_text("utf-8"))["steps"]


def enter(chromium: Browser, console: Console, scheme: str = "light", size: tuple[int, int] = (1400, 900)) -> Page:
    """A page that came in by the link, with all that it logged and asked for."""
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    page = context.new_page()
    page.said, page.asked = [], []
    page.on("console", lambda message: page.said.append(message.text))
    page.on("pageerror", lambda error: page.said.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    link = console.link()
    page.goto(link)
    console.next_link(link)
    # Asked while outputs are closed; where they are open nothing stands before the stop.
    expect(page.locator("#log")).not_to_be_empty()
    expect(page.locator("#confirm[open], #stop:enabled").first).to_be_visible()
    return page


def confirm(page: Page) -> None:
    page.check("#no-person")
    page.check("#verified")
    page.click("#confirm-yes")
    expect(page.locator("#confirm")).to_be_hidden()
    expect(page.locator("#status-word")).to_have_text("At rest")


def choose(page: Page, typed: str, name: str) -> None:
    """Types into the search and plays the first rhythm found."""
    page.fill("#search", typed)
    page.press("#search", "Enter")
    expect(page.locator("#h-now")).to_have_text(name)


def rendered(log: Path, folder: Path) -> bytes:
    """The frames that a render of the log gives, as the rig gets them."""
    target = folder / "again.raw"
    flags = ["--frame-rate", HZ, "--channels", ",".join(CHANNELS), "--format", "raw", "--bits", "float", "--no-truth"]
    succeed("render", log, "-o", target, *flags)
    return target.read_bytes()


def recorded_plan(folder: Path) -> Path:
    """A plan whose first step plays a recording that lies beside it."""
    for name in ("100.hea", "100.dat", "100.atr"):
        shutil.copy(ROOT / "tests" / "data" / "recordings" / name, folder)
    step = {"name": "recorded", "duration_s": "hold", "recording": {"file": "100.hea", "leads": {"II": "MLII"}, "loop": "beats"},
            "expect": {"manual": [{"name": "Trace as in the printed one", "source": "invented"}]}}
    plan = folder / "recorded.json"
    plan.write_text(json.dumps({"version": 1, "title": "A recording (invented plan)", "steps": [step]}), "utf-8")
    return plan
