"""The emulated boards of `crates/firmware`, and what their modelled converters have shown.

Two processors run the same programs: a Cortex-M4F, and the instructions of a Cortex-M0+ (on an emulated Cortex-M3, which has them all).
"""

import functools
import os
import re
import subprocess
import time

import numpy as np

import program

RIG = program.ROOT / "examples/rig/bench.json"
TOUR = program.ROOT / "examples/tour.json"
HZ = 250
# The emulated board's timer.
COUNTS_A_SECOND = 25_000_000
# A record of the board's logic analyser, at each tick: when the words were latched, the moment of the record, when the host was heard
# last; the words, the marks.
SHOWN = np.dtype([("latched", "<u4"), ("at", "<u4"), ("heard_ms", "<u4"), ("words", "<i2", 13), ("marks", "<u2")])
# Marks of the digital outputs, as docs/link.md has them.
R_WAVE, SHOWN_PIN = 1, 16
# The size of the board's external memory, which begins with a script's image; in it the faults that a test asks of its converters, the
# count of records, and the records.
MEMORY, FAULT, RECORDED, RECORDS = 1 << 24, 0x10_0000, 0x10_0010, 0x10_1000
MACHINES = {"m4f": ("mps2-an386", "thumbv7em-none-eabihf"), "m0plus": ("mps2-an385", "thumbv6m-none-eabi")}


@functools.cache
def built():
    """The emulator, and the folder of images by target."""
    done = subprocess.run(["bash", ".ci/firmware", "build"], cwd=program.ROOT, capture_output=True, text=True, timeout=1800)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    emulator, folder = done.stdout.splitlines()[-2:]
    return emulator, folder


class Board:
    """An emulated board while it runs: the serial line of its link, and what its converters have shown."""

    def __init__(self, folder, image="rig", processor="m4f", sleep="on", line="pty,id=link", script=b"", fault=(0, 0)):
        emulator, images = built()
        machine, target = MACHINES[processor]
        path = folder / f"memory-{time.monotonic_ns()}"
        with path.open("wb") as file:
            file.truncate(MEMORY)
        self.memory = np.memmap(path, dtype=np.uint8, mode="r+")
        self.memory[: len(script)] = np.frombuffer(script, np.uint8)
        self.memory[FAULT : FAULT + 8] = np.array(fault, "<u4").view(np.uint8)
        # An instruction takes 1 ns of the board's time.
        arguments = ["-M", f"{machine},memory-backend=memory", "-display", "none", "-monitor", "none"]
        arguments += ["-object", f"memory-backend-file,id=memory,size={MEMORY},mem-path={path},share=on"]
        arguments += ["-icount", f"shift=0,sleep={sleep}", "-chardev", line, "-serial", "chardev:link"]
        kernel = f"{images}/{target}/release/pulsewright-{image}"
        self.process = subprocess.Popen(
            [emulator, *arguments, "-kernel", kernel], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        try:
            # So that other work of this computer does not stop the board's clock.
            os.sched_setscheduler(self.process.pid, os.SCHED_RR, os.sched_param(1))
        except PermissionError:
            pass
        self.line = None
        if line.startswith("pty"):
            said = self.process.stdout.readline()
            found = re.search(r"/dev/pts/\d+", said)
            assert found, said + self.process.stdout.read()
            self.line = found.group()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def records(self):
        """How many records there are."""
        return int(self.memory[RECORDED : RECORDED + 4].view("<u4")[0])

    def shown(self):
        """The records so far."""
        return self.memory[RECORDS : RECORDS + self.records() * SHOWN.itemsize].view(SHOWN).copy()

    def wait_for(self, records, seconds=60):
        """Until so many records are there; says whether they are."""
        deadline = time.monotonic() + seconds
        while self.records() < records and time.monotonic() < deadline and self.process.poll() is None:
            time.sleep(0.01)
        return self.records() >= records


def frames(shown):
    """The records of frames: the interlock's pin is held with each of them, and with nothing else."""
    return shown[shown["marks"] & SHOWN_PIN != 0]


def rendered(script, out):
    """Codes of a script at the board's rate, as a render writes them."""
    done = program.run("render", script, "--rig", RIG, "--frame-rate", HZ, "--clip", "count", "-o", out, "--force")
    assert done.code == program.DONE, str(done)
    return np.fromfile(out, dtype="<i2").reshape(-1, 13)
