"""Instructions that a few jobs take, counted by valgrind, against recorded limits.

    python3 tests/bench/instructions.py [--record]

The same program counts the same on a busy machine, so that work which has crept in is seen. A count more than a tenth over its
record fails (exit 1); --record writes the counts of now into limits.json. Two lengths of a render give the cost of a frame
without that of the start. Another compiler makes another program, and another processor has other instructions or vectors: on
such a machine counts are printed and not compared, and the closing line says so.

Prints `name count limit`, then `N passed, M failed`. Needs valgrind (exit 2 without) and a release build of `pulsewright`; the
standard library of Python alone.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("PULSEWRIGHT", ROOT / "target" / "release" / "pulsewright"))
LIMITS = Path(__file__).with_name("limits.json")
MARGIN = 1.1

# Plain forms of the C library's functions: those for wider vectors are chosen by processor, and count by the byte.
ENVIRONMENT = {
    **os.environ,
    "GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX2,-AVX2_Usable,-AVX512F,-AVX512VL,-EVEX,-ERMS,-FSRM,-Prefer_ERMS",
}


def counted(folder: Path, *arguments: object) -> int:
    """Instructions of one run of the program, which must end well."""
    command = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", str(PROGRAM), *map(str, arguments)]
    done = subprocess.run(command, cwd=folder, env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    found = re.search(r"Collected : (\d+)", done.stderr)
    if done.returncode != 0 or not found:
        sys.exit(f"{command}: exit {done.returncode}\n{done.stderr}")
    return int(found[1])


def render(seconds: int, target: str) -> list[str]:
    """Arguments of a render of twelve leads at 500 frames a second, the truth included."""
    return ["render", "--rhythm", "sinus", "--duration", f"{seconds}s", "--channels", "leads", "--force", "-o", target]


def stream(seconds: int) -> list[str]:
    """Arguments of the same signal as bare frames, without truth and without digests."""
    return ["stream", "--fast", "--rhythm", "sinus", "--duration", f"{seconds}s", "--channels", "leads"]


def per_frame(folder: Path, arguments: Callable[[int], list[str]]) -> int:
    short_s, long_s = 10, 20
    short, long = (counted(folder, *arguments(seconds)) for seconds in (short_s, long_s))
    return (long - short) // ((long_s - short_s) * 500)


def steps(count: int) -> str:
    """A script of many steps, every tenth with a ramp and a premature beat."""
    more = {"artefact": {"mains_mv": {"to": 0.05}}, "beats": [{"at_s": 5, "site": "right-ventricular"}]}
    listed = [
        {
            "name": f"step {index}",
            "duration_s": 10,
            "rhythm": ("sinus", "atrial-fibrillation")[index % 2],
            "rate_bpm": 70 + index % 40,
            "ecg": {"gain": 1 + index % 7 / 10},
            **(more if index % 10 == 0 else {}),
        }
        for index in range(count)
    ]
    return json.dumps({"version": 1, "seed": 1, "steps": listed})


def counts(folder: Path) -> dict[str, int]:
    (folder / "steps.json").write_text(steps(1000), encoding="utf-8")
    found = {
        "help": counted(folder, "--help"),
        "check.1000-steps": counted(folder, "check", "steps.json"),
        "render.wav.10-s": counted(folder, *render(10, "signal.wav")),
        "render.wav.frame": per_frame(folder, lambda seconds: render(seconds, "signal.wav")),
        "render.csv.frame": per_frame(folder, lambda seconds: render(seconds, "signal.csv")),
        "stream.frame": per_frame(folder, stream),
    }
    subprocess.run([PROGRAM, *render(600, "minutes.wav")], cwd=folder, check=True, stderr=subprocess.DEVNULL)
    found["score.600-s"] = counted(folder, "score", "minutes.beats.csv", "minutes.beats.csv")
    # Without a manifest beside it nothing is hashed, and the scoring itself counts.
    shutil.copy(folder / "minutes.beats.csv", folder / "alone.csv")
    found["score.600-s.alone"] = counted(folder, "score", "alone.csv", "alone.csv")
    return found


def made_with() -> dict[str, str]:
    compiler = subprocess.check_output(["rustc", "--version"], text=True, cwd=ROOT).split()[1]
    return {"machine": platform.machine(), "vectors": vectors(), "rustc": compiler}


def vectors() -> str:
    """Which of its forms the encoder takes here: that for 256-bit vectors, or the plain one."""
    try:
        known = Path("/proc/cpuinfo").read_text(encoding="utf-8").split()
    except OSError:
        return "unknown"
    return "256-bit" if {"avx2", "fma", "bmi2"} <= set(known) else "plain"


def main() -> int:
    arguments = argparse.ArgumentParser(description="Instruction counts against recorded limits.")
    arguments.add_argument("--record", action="store_true", help="write the counts of now as the limits")
    record = arguments.parse_args().record
    # A thread for each core would count each core.
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    with tempfile.TemporaryDirectory() as folder:
        found = counts(Path(folder))
    if record:
        LIMITS.write_text(json.dumps({"made_with": made_with(), "instructions": found}, indent=2) + "\n", encoding="utf-8")
    recorded = json.loads(LIMITS.read_text(encoding="utf-8"))
    limits, failed = recorded["instructions"], 0
    comparable = recorded["made_with"] == made_with()
    for name in sorted(limits.keys() | found.keys()):
        count, limit = found.get(name), limits.get(name)
        over = count is None or limit is None or count > limit * MARGIN
        failed += over and comparable
        print(f"{name:<18} {count or '-':>13} recorded {limit or '-':>13}{'  TOO MANY' if over else ''}")
    if not comparable:
        print(f"not compared: recorded with {recorded['made_with']}, here {made_with()}")
        return 0
    print(f"{len(limits.keys() | found.keys()) - failed} passed, {failed} failed")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
