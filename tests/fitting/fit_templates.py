"""Prints the waves of the adult, child and newborn templates.

Run it by hand when a shape or the kernel changes: `python fit_templates.py OLD_FOLDER`, where OLD_FOLDER holds the files
`adult.rs`, `child.rs` and `neonate.rs` as they were drawn with flanks of (1 - x^2)^2. It is no part of the product.

- Normal adult beat, left posterior fascicular block, pre-excitation: a sketch of each lead as a sum of bells is set down
  from amplitude surveys (R and S: STANDARDS-like tables of adult surveys, from memory; order of activation: textbooks) and
  six or five waves are fitted to it through the lead matrix.
- The agonal beat is drawn by hand.
- The others keep the shape that they had: their old curve is the target, slowed by 2 ms to make room for the softer foot.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from shapes import DOWER, LEADS, STEP_MS, edges, fit, read_templates, rust, to_duration, vector

T_MS = np.arange(0.0, 330.0, STEP_MS)


def bell(mv, centre_ms, sd_ms, later_sd_ms=None, earlier_ms=5.5):
    """A bell, maybe with another spread after its centre."""
    t = T_MS - centre_ms + earlier_ms
    return mv * np.exp(-0.5 * (t / np.where(t < 0, sd_ms, later_sd_ms or sd_ms)) ** 2)


def sketch(leads: dict, last=None) -> np.ndarray:
    """Leads (frames by eight) of a sketch: for each lead, bells as (mV, ms, ms); and maybe a last force as a vector."""
    target = np.stack([sum(bell(*part) for part in leads[lead]) for lead in LEADS], 1)
    if last is not None:
        (mv, centre_ms, sd_ms) = last
        target += (bell(1.0, centre_ms, sd_ms)[:, None] * np.array(mv)) @ DOWER.T
    return target


NORMAL = sketch(
    {
        "I": [(-0.05, 18, 5), (0.60, 41, 6.6), (-0.11, 61, 7, 11)],
        "II": [(-0.07, 19, 5), (1.12, 43, 6.6), (-0.22, 62, 7, 12)],
        "V1": [(0.24, 20, 6.5), (-0.88, 49, 8.5, 15)],
        "V2": [(0.5, 22, 7), (-1.32, 52, 8.5, 15)],
        "V3": [(0.85, 29, 7.5), (-1.05, 55, 8.5, 14)],
        "V4": [(-0.02, 14, 4), (1.6, 38, 7), (-0.52, 59, 8, 13)],
        "V5": [(-0.10, 17, 5), (1.5, 41, 6.8), (-0.25, 61, 8, 12)],
        "V6": [(-0.11, 18, 5), (1.12, 42, 6.8), (-0.12, 62, 8, 12)],
    }
)
NORMAL_START = [
    [0, 13, 0, 14, -0.1, -0.05, -0.35],
    [14, 18, 0, 16, 0.5, 0.4, -0.5],
    [24, 18, 0, 18, 1.0, 0.8, 0.1],
    [36, 20, 0, 24, 0.1, 0.1, 0.9],
    [44, 22, 0, 34, -0.3, -0.2, 0.4],
    [60, 22, 0, 34, -0.1, -0.1, 0.2],
]

POSTERIOR = sketch(
    {
        "I": [(0.28, 21, 7), (-0.62, 54, 10, 14)],
        "II": [(-0.14, 17, 6), (1.15, 54, 9, 15)],
        "V1": [(0.2, 20, 6.5), (-0.55, 50, 9, 14)],
        "V2": [(0.4, 23, 7), (-1.05, 54, 9, 15)],
        "V3": [(0.7, 29, 8), (-0.95, 58, 9, 15)],
        "V4": [(1.0, 38, 8), (-0.7, 64, 9, 14)],
        "V5": [(0.95, 41, 8), (-0.5, 66, 9, 14)],
        "V6": [(0.8, 43, 8), (-0.4, 68, 9, 14)],
    }
)
POSTERIOR_START = [
    [0, 13, 0, 16, 0.1, -0.2, -0.3],
    [14, 20, 0, 18, 0.5, 0.2, -0.2],
    [26, 24, 0, 24, 0.4, 1.0, 0.4],
    [40, 24, 0, 30, -0.4, 0.6, 0.6],
    [60, 24, 0, 34, -0.3, 0.3, 0.2],
]

EXCITED = sketch(
    {
        "I": [(0.28, 38, 14), (0.85, 66, 11), (-0.05, 96, 10)],
        "II": [(0.22, 38, 14), (0.80, 66, 11), (-0.12, 96, 10)],
        "V1": [(0.16, 36, 13), (0.30, 56, 10), (-0.45, 86, 11)],
        "V2": [(0.34, 38, 14), (0.60, 60, 11), (-0.90, 88, 11)],
        "V3": [(0.36, 38, 14), (1.0, 62, 11), (-0.75, 90, 11)],
        "V4": [(0.40, 38, 14), (1.4, 64, 11), (-0.40, 92, 11)],
        "V5": [(0.36, 38, 14), (1.3, 66, 11), (-0.15, 94, 11)],
        "V6": [(0.30, 38, 14), (1.0, 67, 11), (-0.05, 96, 11)],
    },
    last=((-0.10, -0.05, 0.12), 112, 11),
)
EXCITED_START = [
    [0, 17, 0, 40, 0.15, 0.1, -0.2],
    [8, 36, 0, 40, 0.3, 0.2, -0.3],
    [35, 30, 0, 30, 1.0, 0.6, -0.1],
    [55, 30, 0, 30, 0.3, 0.2, 0.7],
    [85, 26, 0, 28, -0.1, -0.05, 0.12],
]


def report(name: str, waves: list) -> None:
    v = vector(T_MS, waves)
    onset, _, end = edges(T_MS, v)
    print(f"--- {name}: seen {onset:.1f} to {end:.1f} ms, qrs_ms {end - onset:.1f}")
    print(rust(waves))


def refit(name: str, waves: list, qrs_ms: float) -> list:
    old = vector(T_MS - 2.0, waves, power=2) @ DOWER.T
    start = [[w[0] if i else 0.0, w[1] * 1.1 + w[2] / 2, 0, w[3] * 1.1 + w[2] / 2, *w[4:]] for i, w in enumerate(waves)]
    return to_duration(fit(T_MS, old, start, smooth=0.3, first=0.0 if qrs_ms > 250 else 6.3 if qrs_ms > 120 else 5.5, ridge=0.25), qrs_ms)


def main(folder: Path) -> None:
    weights = np.tile([2, 2.5, 2, 1, 1, 1.3, 1, 1], (len(T_MS), 1))
    for body in ("adult", "child", "neonate"):
        shapes = read_templates(folder / f"old_{body}.rs")
        for name, (waves, qrs_ms) in shapes.items():
            if body == "adult" and name == "NORMAL":
                waves = to_duration(fit(T_MS, NORMAL, NORMAL_START, weights, smooth=1.0, first=5.5, longest_rise=24.0), qrs_ms)
            elif body == "adult" and name == "LEFT_POSTERIOR":
                waves = to_duration(fit(T_MS, POSTERIOR, POSTERIOR_START, weights, smooth=1.0, first=5.5, longest_rise=24.0), qrs_ms)
            elif body == "adult" and name == "PRE_EXCITED":
                waves = to_duration(fit(T_MS, EXCITED, EXCITED_START, weights, smooth=1.0, first=6.3, ridge=0.1), qrs_ms)
            else:
                waves = refit(name, waves, qrs_ms)
            report(f"{body} {name}", waves)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
