"""Our times beside outside references on the same machine in the same run: one table, by hand, for people.

    cargo build --release -p pulsewright && cargo build --release -p pulsewright-tests --example in_process
    python3 -m venv .venv-bench && .venv-bench/bin/python -m pip install -r tests/bench/requirements.txt
    .venv-bench/bin/python tests/bench/compare.py [--hours 24] [--rounds 3] [--folder DIR]

Rounds alternate between ours and the reference, and medians of wall time are compared. Quote figures of a quiet machine: a
busy one slows our threads, one a core, more than a reference's single one; the processor time of both stands at the line's
end, so that this can be seen. A target that is not met is reported and is no failure: exit 1 is for a job that did not do its
work. A day needs 3 GB in the folder.

Comparisons:
- WAV: `cp` of the very file; and numpy summing Gaussians over the phase of a beat, in chunks of a minute, quantised and written.
  Once with waves of their own in each lead, as sums of Gaussians are commonly written (six exponentials per lead and frame);
  once with six waves shared by all leads and a matrix, the least a numpy program can do. Fewer details than our signal: no
  beat differs from another, and there is no truth.
- CSV: pyarrow's writer given ready-made columns with the same values; numbers to a file, and to /dev/null.
- `check`: reading the same text as JSON alone. `--help`: /bin/true.
- Skipping a day: playing it. Score of a day: pyarrow reading the two tables and numpy looking up the nearest beat.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
PROGRAM = Path(os.environ.get("PULSEWRIGHT", TARGET / "pulsewright"))
IN_PROCESS = TARGET / "examples" / "in_process"

RATE_HZ = 500
LEADS = 12
RATE_BPM = 70
STEPS = 1000


@dataclass(frozen=True)
class Cost:
    """The cost of a job, in seconds."""

    wall: float
    processor: float


def command(*arguments: object) -> Cost:
    """Runs a command to its end, which must be a good one; its output goes nowhere."""
    return timed(lambda: subprocess.run([str(argument) for argument in arguments], stdout=subprocess.DEVNULL, check=True))


# A process starts with its parent's peak, so the parent is a small one. Prints KiB.
PEAK = "import os, sys; pid = os.spawnvp(os.P_NOWAIT, sys.argv[1], sys.argv[1:]); print(os.wait4(pid, 0)[2].ru_maxrss)"


def peak_kib(*arguments: object) -> int:
    """The most memory that a command held at a time."""
    return int(subprocess.check_output([sys.executable, "-I", "-S", "-c", PEAK, *map(str, arguments)]).split()[-1])


def processor_s() -> float:
    """Processor time so far, of this process and of the commands it has run."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in used)


def timed(job: Callable[[], object]) -> Cost:
    """The cost of a job, here or in a command."""
    began, used = time.perf_counter(), processor_s()
    job()
    return Cost(time.perf_counter() - began, processor_s() - used)


def in_turn(rounds: int, *jobs: Callable[[], Cost]) -> list[Cost]:
    """The median cost of each job, one round after the other."""
    costs = [[job() for job in jobs] for _ in range(rounds)]
    medians = (
        Cost(statistics.median(cost.wall for cost in column), statistics.median(cost.processor for cost in column))
        for column in zip(*costs)
    )
    return list(medians)


class Table:
    """Rows as they come, so that a long run shows how far it is."""

    def __init__(self) -> None:
        self.row("what", "ours", "reference", "ours is", "target", "", "processor, both")

    def row(self, *cells: str) -> None:
        print("{:<52} {:>10} {:>10} {:>19} {:>17}  {:<7}  {}".format(*cells).rstrip(), flush=True)

    def ratio(self, what: str, ours: Cost, reference: Cost, target: tuple[str, float] | None) -> None:
        """`target` is ("at most", times the reference's time) or ("faster", times faster than the reference)."""
        faster = reference.wall / ours.wall
        said = f"{faster:.2f} times faster" if target and target[0] == "faster" else f"{1 / faster:.2f} times as long"
        wanted, met = "", ""
        if target:
            kind, limit = target
            wanted = f">= {limit:g} times faster" if kind == "faster" else f"<= {limit:g} times"
            met = _met(faster >= limit if kind == "faster" else 1 / faster <= limit)
        used = f"{_time(ours.processor)}, {_time(reference.processor)}"
        self.row(what, _time(ours.wall), _time(reference.wall), said, wanted, met, used)

    def bound(self, what: str, value: float, reference: float | None, limit: float, show: Callable[[float], str]) -> None:
        """A bare limit, whatever the reference."""
        said = "" if reference is None else f"{value / reference:.2f} times as long"
        beside = "" if reference is None else show(reference)
        self.row(what, show(value), beside, said, f"<= {show(limit)}", _met(value <= limit), "")


def _met(met: bool) -> str:
    return "met" if met else "NOT MET"


def _time(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 1 else f"{seconds * 1e3:.2f} ms"


def _mib(kib: float) -> str:
    return f"{kib / 1024:.1f} MiB"


def with_truth_beside(hours: float, target: Path | str, channels: str = "leads") -> list[object]:
    """The command that renders a regular rhythm."""
    seconds = f"{round(hours * 3600)}s"
    played = ["--rhythm", "sinus", "--rate", RATE_BPM, "--duration", seconds, "--frame-rate", RATE_HZ, "--channels", channels]
    return [PROGRAM, "render", *played, "-o", target, "--force"]


def render(hours: float, target: Path | str) -> list[object]:
    """The same of twelve leads without the truth: what a copy, numpy or pyarrow writes."""
    return [*with_truth_beside(hours, target), "--no-truth"]


# Phase of the peak in turns, width in turns, amplitude in mV in a lead II of our own drawing: P, Q, R, S, two of T.
WAVES = np.array(
    [(-0.17, 0.02, 0.12), (-0.03, 0.008, -0.1), (0.0, 0.009, 1.1), (0.03, 0.009, -0.25), (0.28, 0.045, 0.2), (0.33, 0.035, 0.15)],
    np.float32,
)
LEAD_GAINS = np.linspace(-0.8, 1.2, LEADS, dtype=np.float32)


def gaussians(phase: np.ndarray, waves: np.ndarray) -> np.ndarray:
    """Sum of Gaussians over a phase in turns, distances around the circle."""
    total = np.zeros_like(phase)
    for at, width, amplitude in waves:
        distance = phase - at
        distance -= np.rint(distance)
        distance *= distance
        distance *= np.float32(-0.5 / width**2)
        np.exp(distance, out=distance)
        distance *= amplitude
        total += distance
    return total


def numpy_day(hours: float, target: Path, shared: bool) -> None:
    """Writes 16-bit WAV of a regular rhythm."""
    frames = round(hours * 3600 * RATE_HZ)
    unit = WAVES.copy()
    unit[:, 2] = 1
    matrix = WAVES[:, 2:] * LEAD_GAINS
    with wave.open(str(target), "wb") as file:
        file.setnchannels(LEADS)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        # A WAV header of Python's cannot hold over 4 GiB; a day of twelve leads is 1 GiB.
        file.setnframes(frames)
        for first in range(0, frames, 60 * RATE_HZ):
            index = np.arange(first, min(first + 60 * RATE_HZ, frames), dtype=np.float64)
            beats = index * (RATE_BPM / 60 / RATE_HZ)
            phase = (beats - np.rint(beats)).astype(np.float32)
            if shared:
                basis = np.stack([gaussians(phase, unit[row : row + 1]) for row in range(len(unit))], axis=1)
                leads = basis @ matrix
            else:
                leads = np.empty((len(phase), LEADS), np.float32)
                for lead, gain in enumerate(LEAD_GAINS):
                    leads[:, lead] = gaussians(phase, WAVES * (1, 1, gain))
            leads *= 1000
            np.rint(leads, out=leads)
            file.writeframesraw(leads.astype("<i2").tobytes())


def wav(table: Table, hours: float, rounds: int, folder: Path) -> None:
    ours, copy, theirs = folder / "day.wav", folder / "copy.wav", folder / "numpy.wav"

    def render_ours() -> Cost:
        ours.unlink(missing_ok=True)
        return command(*render(hours, ours))

    def copied() -> Cost:
        copy.unlink(missing_ok=True)
        return command("cp", ours, copy)

    def by_numpy(shared: bool) -> Cost:
        theirs.unlink(missing_ok=True)
        return timed(lambda: numpy_day(hours, theirs, shared))

    ours_cost, copy_cost = in_turn(rounds, render_ours, copied)
    what = f"{hours:g} h x {LEADS} x {RATE_HZ} Hz, 16-bit WAV"
    table.ratio(f"{what}: cp", ours_cost, copy_cost, ("at most", 2))
    table.bound("  memory at its peak", peak_kib(*render(hours, ours)), None, 64 * 1024, _mib)
    copy.unlink()
    ours_cost, numpy_cost = in_turn(1, render_ours, lambda: by_numpy(False))
    if abs(theirs.stat().st_size - ours.stat().st_size) > 200:
        sys.exit("numpy's file has another length than ours")
    table.ratio("  numpy, waves in each lead", ours_cost, numpy_cost, ("faster", 8))
    table.ratio("  numpy, waves shared", *in_turn(1, render_ours, lambda: by_numpy(True)), None)
    both = in_turn(rounds, lambda: command(*with_truth_beside(hours, ours)), render_ours)
    table.ratio("  with the truth beside it: without", *both, None)
    for path in folder.iterdir():
        path.unlink()


def csv(table: Table, rounds: int, folder: Path) -> None:
    ours, theirs = folder / "hour.csv", folder / "pyarrow.csv"
    command(*render(1, ours))
    columns = pa_csv.read_csv(ours, read_options=pa_csv.ReadOptions(skip_rows=2))
    if columns.num_rows != 3600 * RATE_HZ or set(columns.schema.types) != {pa.float64()}:
        sys.exit(f"read other columns than were written: {columns.schema}")
    options = pa_csv.WriteOptions(quoting_style="none")

    def written(target: Path) -> Cost:
        if target == theirs:
            target.unlink(missing_ok=True)
        return timed(lambda: pa_csv.write_csv(columns, target, options))

    def render_ours() -> Cost:
        ours.unlink()
        return command(*render(1, ours))

    def to_nowhere() -> Cost:
        return command(*render(1, "-"), "--format", "csv")

    what = f"1 h x {LEADS} x {RATE_HZ} Hz, CSV: pyarrow, ready columns"
    table.ratio(what, *in_turn(rounds, render_ours, lambda: written(theirs)), ("faster", 6))
    table.ratio("  both to /dev/null", *in_turn(rounds, to_nowhere, lambda: written(Path("/dev/null"))), ("faster", 6))
    for path in folder.iterdir():
        path.unlink()


def scripts_and_skip(table: Table, folder: Path) -> None:
    lines, text = subprocess.check_output([IN_PROCESS, str(STEPS)], text=True).split("\n\n", 1)
    in_process = {name: float(seconds) for name, seconds in (line.split() for line in lines.splitlines())}
    script = folder / "steps.json"
    script.write_text(text, encoding="utf-8")
    check, long_help, true = in_turn(
        20,
        lambda: command(PROGRAM, "check", script),
        lambda: command(PROGRAM, "--help"),
        lambda: command("/bin/true"),
    )
    table.bound(f"check of {STEPS} steps: JSON alone, in process", check.wall, in_process["read_json"], 0.02, _time)
    table.bound("  reading alone, both in process", in_process["read_script"], in_process["read_json"], 0.02, _time)
    table.bound("--help: /bin/true", long_help.wall, true.wall, 0.02, _time)
    table.bound("skip over 24 h: playing it, one core", in_process["skip_a_day"], in_process["play_a_day"], 0.1, _time)
    table.bound("  without pressures", in_process["skip_a_day_of_leads"], in_process["play_a_day"], 0.1, _time)
    script.unlink()


def score(table: Table, rounds: int, folder: Path) -> None:
    command(*with_truth_beside(24, folder / "day.wav", "II"))
    truth, test = folder / "day.beats.csv", folder / "detector.csv"
    (folder / "day.wav").unlink()
    times = pa_csv.read_csv(truth)["time_s"].to_numpy()
    if len(times) != 24 * 60 * RATE_BPM:
        sys.exit(f"{len(times)} beats in a day at {RATE_BPM} a minute")
    jitter = random.Random(1)
    test.write_text("time_s\n" + "".join(f"{at + jitter.gauss(0, 0.01):.4f}\n" for at in times), encoding="utf-8")

    def looked_up() -> None:
        reference = pa_csv.read_csv(truth)["time_s"].to_numpy()
        found = pa_csv.read_csv(test)["time_s"].to_numpy()
        after = np.clip(np.searchsorted(found, reference), 1, len(found) - 1)
        nearest = np.minimum(np.abs(found[after] - reference), np.abs(found[after - 1] - reference))
        if np.count_nonzero(nearest <= 0.15) != len(reference):
            sys.exit("a beat of the jittered copy is lost")

    table.ratio(
        f"score of a day, {len(times)} beats: arrays in memory",
        *in_turn(rounds, lambda: command(PROGRAM, "score", truth, test), lambda: timed(looked_up)),
        None,
    )


def main() -> None:
    arguments = argparse.ArgumentParser(description="Our times beside outside references: one table.")
    arguments.add_argument("--hours", type=float, default=24, help="length of the WAV [default: 24]")
    arguments.add_argument("--rounds", type=int, default=3, help="of which medians are taken [default: 3]")
    arguments.add_argument("--folder", type=Path, help="where files go [default: the system's for temporary files]")
    chosen = arguments.parse_args()
    for needed in (PROGRAM, IN_PROCESS):
        if not needed.exists():
            sys.exit(f"{needed} is not built; see the head of this file")
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start; numpy {np.__version__}, pyarrow {pa.__version__}\n")
    table = Table()
    with tempfile.TemporaryDirectory(dir=chosen.folder) as folder:
        wav(table, chosen.hours, chosen.rounds, Path(folder))
        csv(table, chosen.rounds, Path(folder))
        scripts_and_skip(table, Path(folder))
        score(table, chosen.rounds, Path(folder))


if __name__ == "__main__":
    main()
