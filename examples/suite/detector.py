"""A beat detector of a general analysis library, as a suite calls it.

    detector.py SIGNAL.csv BEATS.csv    one record, then the end
    detector.py                         stays: a record a line on standard input; answers with its name and `ok` when its
                                        beats are written

Needs numpy and sleepecg (tests/requirements.txt holds the versions it was tried with).
"""

from __future__ import annotations

import sys

import numpy as np
import sleepecg


def write_beats(signal: str, beats_out: str) -> None:
    """Finds the beats in the first channel of a CSV and writes their times in seconds."""
    with open(signal, encoding="utf-8") as file:
        rows = [row for row in file if not row.startswith("#")]
    times_s, lead_mv = np.loadtxt(rows[1:], delimiter=",", usecols=(0, 1), unpack=True)
    frame_rate_hz = (len(times_s) - 1) / (times_s[-1] - times_s[0])
    frames = sleepecg.detect_heartbeats(lead_mv, frame_rate_hz)
    with open(beats_out, "w", encoding="utf-8") as file:
        file.write("time_s\n")
        file.writelines(f"{times_s[frame]:.6f}\n" for frame in frames)


def stay() -> None:
    """Answers one record after the other until the suite has no more."""
    # The answers' own channel: what a library prints from now on goes to standard error.
    answers, sys.stdout = sys.stdout, sys.stderr
    for line in sys.stdin:
        record, signal, beats_out, _frame_rate_hz = line.rstrip("\n").split("\t")
        try:
            write_beats(signal, beats_out)
            answer = "ok"
        except Exception as error:  # One bad record must not end the others.
            answer = f"{type(error).__name__}: {error}".replace("\n", " ")
        print(record, answer, sep="\t", file=answers, flush=True)


if __name__ == "__main__":
    if len(sys.argv) == 3:
        write_beats(sys.argv[1], sys.argv[2])
    else:
        stay()
