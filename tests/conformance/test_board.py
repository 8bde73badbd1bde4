"""A board drives a rig's converters: in an emulator, with the frames of this program over a serial line.

The board's converters are modelled: each latch sends its moment and the words that it shows to a second serial port. They are held
against the codes that `render --rig` writes for the log of the stream.

`PULSEWRIGHT_BOARD_SECONDS` sets how long the stream is (12 when not set; ten minutes are 600).
"""

import csv
import math
import os
import re
import signal
import subprocess
import time

import numpy as np
import pytest

import program
from reading import beside

RIG = program.ROOT / "examples/rig/bench.json"
TOUR = program.ROOT / "examples/tour.json"
HZ = 250
SECONDS = int(os.environ.get("PULSEWRIGHT_BOARD_SECONDS", "12"))
# The emulated board's timer.
COUNTS_A_SECOND = 25_000_000
SHOWN = np.dtype([("moment", "<u4"), ("words", "<i2", 13), ("marks", "u1")])
# Marks of the digital outputs, as docs/link.md has them.
R_WAVE, SHOWN_PIN = 1, 16
# The emulated board keeps the time of this computer, so a computer that stands still for 40 ms brings it to rest, as it should.
ATTEMPTS = 4


@pytest.fixture(scope="module")
def built():
    """Emulator and image of the board."""
    done = subprocess.run(["bash", ".ci/firmware", "build"], cwd=program.ROOT, capture_output=True, text=True, timeout=900)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    emulator, image = done.stdout.splitlines()[-2:]
    return emulator, image


class Board:
    """The emulated board while it runs: the serial line of its link, and what its converters have shown."""

    def __init__(self, built, folder, sleep="on", line="pty,id=link"):
        emulator, image = built
        self.trace = folder / f"shown-{time.monotonic_ns()}.bin"
        # An instruction takes 1 ns of the board's time.
        arguments = ["-M", "mps2-an386", "-display", "none", "-monitor", "none", "-icount", f"shift=0,sleep={sleep}"]
        ports = ["-chardev", line, "-serial", "chardev:link", "-serial", f"file:{self.trace}"]
        self.process = subprocess.Popen(
            [emulator, *arguments, "-kernel", image, *ports], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        try:
            # So that other work of this computer does not stop the board's clock.
            os.sched_setscheduler(self.process.pid, os.SCHED_RR, os.sched_param(1))
        except PermissionError:
            pass
        self.line = None
        if line.startswith("pty"):
            self.line = re.search(r"/dev/pts/\d+", self.process.stdout.readline()).group()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def shown(self):
        content = self.trace.read_bytes()
        return np.frombuffer(content[: len(content) // SHOWN.itemsize * SHOWN.itemsize], dtype=SHOWN)


def stream(board, *arguments):
    command = ["stream", TOUR, "--rig", RIG, "--frame-rate", str(HZ), "--board", board.line, *arguments]
    return subprocess.Popen(
        [program.PROGRAM, *map(str, command)], stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def rendered(log, folder):
    """Codes of the log, as a render writes them."""
    out = folder / "log.raw"
    done = program.run("render", log, "--rig", RIG, "--frame-rate", HZ, "--clip", "count", "-o", out, "--force")
    assert done.code == program.DONE, str(done)
    return np.fromfile(out, dtype="<i2").reshape(-1, 13)


def between_rests(shown):
    """What was shown between the first and the last rest."""
    moving = np.flatnonzero((shown["words"] != shown["words"][:1]).any(axis=1))
    return shown[moving[0] : moving[-1] + 1] if len(moving) else shown[:0]


def played(shown):
    """The words that were shown between the first and the last rest."""
    return between_rests(shown)["words"]


def peaks(log, folder):
    """Frames at or after the peaks of the beats, from the table of a render of the log."""
    with beside(folder / "log.raw", "beats.csv").open(newline="") as file:
        # A microsecond is the last digit.
        return {math.ceil(float(beat["time_s"]) * HZ - 1e-4) for beat in csv.DictReader(file)}


def test_the_words_of_the_converters_are_those_of_a_render(built, tmp_path):
    for attempt in range(ATTEMPTS):
        log = tmp_path / f"log-{attempt}.json"
        with Board(built, tmp_path) as board:
            process = stream(board, "--duration", f"{SECONDS}s", "--live", "--log", log)
            for command in ("rate 110", "rhythm ventricular-tachycardia", "rhythm sinus", "beat left-ventricular"):
                time.sleep(1.5)
                if process.poll() is None:
                    process.stdin.write(f"{command}\n")
                    process.stdin.flush()
            _, messages = process.communicate(timeout=SECONDS * 10 + 60)
            time.sleep(0.2)
            shown = between_rests(board.shown())
        words = shown["words"]
        expected = rendered(log, tmp_path)
        # The first and last frames of a signal may be those of rest, which look the same.
        start = next((n for n in range(len(expected)) if len(words) and (expected[n] == words[0]).all()), 0)
        assert len(words) <= len(expected) - start
        # Whether the board could keep the time of this computer or not: no wrong word.
        assert (words == expected[start : start + len(words)]).all(), messages
        # The interlock is held with every frame, and an R wave's pin rises at the frame of its peak.
        assert (shown["marks"] & SHOWN_PIN).all(), "frames without the interlock"
        rises = np.flatnonzero(np.diff((shown["marks"] & R_WAVE).astype(int), prepend=0) > 0) + start
        inner = [peak for peak in peaks(log, tmp_path) if start < peak < start + len(words)]
        assert sorted(inner) == list(rises), messages
        if process.returncode == 0:
            assert len(rises) > SECONDS / 2, "too few beats to prove anything"
            assert len(expected) - len(words) < 5, messages
            print(f"{len(words)} frames of 13 words equal the render's, attempt {attempt + 1}; {messages.splitlines()[-1]}")
            return
    pytest.fail(f"the emulated board went to rest {ATTEMPTS} times: {messages}")


def test_a_silent_host_brings_rest(built, tmp_path):
    """The board has frames for a second, and shows less than 80 ms of them before it rests: a stopped program is a fault."""
    for _ in range(ATTEMPTS):
        with Board(built, tmp_path) as board:
            process = stream(board, "--duration", "60s")
            deadline = time.monotonic() + 30
            while time.monotonic() < deadline and (not board.trace.exists() or len(played(board.shown())) < HZ):
                time.sleep(0.02)
            playing = process.poll() is None
            process.send_signal(signal.SIGSTOP)
            before = len(played(board.shown()))
            time.sleep(1.0)
            after = board.shown()
            process.kill()
            process.communicate()
        rest = (after["words"][-1] == after["words"][0]).all() and after["marks"][-1] == 0
        late = (len(played(after)) - before) / HZ
        # However late this computer is: a host that stays silent for a second always brings rest.
        assert rest
        # 40 ms of silence, a tick, and what this computer took between the signal and the look.
        if playing and before >= HZ and late < 0.08:
            print(f"{1000 * late:.0f} ms of frames were shown after the host had stopped")
            return
    pytest.fail(f"{before} frames before the host had stopped, {late} s of frames after it")


def test_ticks_do_not_jitter(built, tmp_path):
    """With the board's clock free of this computer's the moments of the latches are those of its timer."""
    with Board(built, tmp_path, sleep="off", line="null,id=link") as board:
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline and (not board.trace.exists() or len(board.shown()) < 2000):
            time.sleep(0.05)
        moments = board.shown()["moment"].astype(np.int64)
    # The first tick ends the start-up.
    periods = np.diff(moments[2:]) % 2**32
    assert len(periods) > 1000
    spread = int(periods.max() - periods.min())
    print(f"{len(periods)} latches: periods differ by {spread} counts of 40 ns")
    assert spread <= COUNTS_A_SECOND // 1_000_000, "a microsecond"


def test_codes_for_another_rig_are_refused(built, tmp_path):
    other = tmp_path / "other.json"
    other.write_text(RIG.read_text().replace('"attenuation": 401', '"attenuation": 402'))
    with Board(built, tmp_path) as board:
        command = ["stream", TOUR, "--rig", other, "--frame-rate", HZ, "--board", board.line, "--duration", "2s"]
        done = subprocess.run([program.PROGRAM, *map(str, command)], capture_output=True, text=True, timeout=60)
    assert done.returncode != 0
    assert "another rig" in done.stderr
