"""Measures how well `stream` keeps the clock's pace; run by hand on a machine that is as busy as the one that matters.

    python tests/conformance/pace.py --duration 600

Each read of the pipe is stamped with the monotonic clock; its last frame was due (frames - 1) / rate after the first. How
late it came, against the earliest of them all, is the error of the pace: it holds drift, the delay that the machine's scheduler adds
to the stream, and the delay that it adds to this reader, which asks for real-time scheduling so that the last is small
(--ordinary-reader leaves that out). Beside it runs a loop that only sleeps to the next due time: no program on this machine
can be less late than that, above all on a virtual machine whose host makes it stand still. Prints figures and judges none,
because a busy machine changes them.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import subprocess
import time
from multiprocessing.connection import Connection

import numpy as np
from program import PROGRAM


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    arguments.add_argument("--duration", type=float, default=60, metavar="S")
    arguments.add_argument("--frame-rate", type=int, default=1000, metavar="HZ")
    arguments.add_argument("--ordinary-reader", action="store_true", help="read without real-time scheduling")
    chosen = arguments.parse_args()
    with Sleeper(chosen.frame_rate) as sleeper:
        late_s, used_s, said = measure(chosen.duration, chosen.frame_rate, ask_priority=not chosen.ordinary_reader)
    print(f"stream: {said}")
    print(f"processor time of the stream: {used_s:.2f} s")
    report("blocks of the stream", late_s)
    report("wakings of a bare sleep loop beside it", sleeper.late_s)


def ask_for_real_time() -> bool:
    """Whether this process comes before all that is not real-time from now on."""
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(20))
    except OSError:
        return False
    return True


class Sleeper:
    """A process that sleeps from due time to due time for as long as the context lasts, and how late each waking was."""

    def __init__(self, rate_hz: int) -> None:
        self.end, end = multiprocessing.Pipe()
        self.process = multiprocessing.Process(target=self._sleep, args=(end, rate_hz))
        self.late_s = np.array([])

    def __enter__(self) -> Sleeper:
        self.process.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.end.send(None)
        self.late_s = np.array(self.end.recv())
        self.process.join()

    @staticmethod
    def _sleep(end: Connection, rate_hz: int) -> None:
        ask_for_real_time()
        late_s: list[float] = []
        start_s = time.monotonic()
        # The pipe is looked at once a second: that costs more than a waking.
        while len(late_s) % rate_hz or not end.poll():
            due_s = start_s + (len(late_s) + 1) / rate_hz
            time.sleep(max(due_s - time.monotonic(), 0))
            late_s.append(time.monotonic() - due_s)
        end.send(late_s)


def measure(duration_s: float, rate_hz: int, *, ask_priority: bool) -> tuple[np.ndarray, float, str]:
    """How late each read was, s; processor time of the stream, s; what it said at its end."""
    words = ["stream", "--rhythm", "sinus", "--channels", "II", "--frame-rate", rate_hz, "--duration", f"{duration_s:g}s"]
    with subprocess.Popen([str(PROGRAM), *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0) as process:
        if ask_priority and not ask_for_real_time():
            print("reader: no real-time scheduling here, so its own delays are measured with the stream's")
        stamps: list[float] = []
        frames: list[int] = []
        n_bytes = 0
        while chunk := os.read(process.stdout.fileno(), 1 << 16):
            stamps.append(time.monotonic())
            n_bytes += len(chunk)
            frames.append(n_bytes // 2)
        said = process.stderr.read().decode().strip()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, said
    assert frames[-1] == round(duration_s * rate_hz), "frames are missing"
    late_s = np.array(stamps) - (np.array(frames) - 1) / rate_hz
    return late_s - late_s.min(), used.ru_utime + used.ru_stime, said


def report(what: str, late_s: np.ndarray) -> None:
    late_ms = late_s * 1000
    print(f"{what}: {len(late_ms)}; later than 1 ms: {np.count_nonzero(late_ms > 1)}")
    levels = {"median": 50, "p90": 90, "p99": 99, "p99.9": 99.9, "worst": 100}
    print("  late, ms: " + ", ".join(f"{name} {np.percentile(late_ms, level):.3f}" for name, level in levels.items()))
    print("  medians of tenths, ms: " + ", ".join(f"{np.median(part):.3f}" for part in np.array_split(late_ms, 10)))


if __name__ == "__main__":
    main()
