"""Bumps on the heart vector as the core draws them, and the means to fit them.

The kernel and the lead matrix are written down again here, from the documentation of `deflection` and `leads`.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

# Dower, Machado and Osborne, Clin Cardiol 1980: I, II, V1 to V6 from X, Y, Z.
DOWER = np.array(
    [
        [0.632, -0.235, 0.059],
        [0.235, 1.066, -0.132],
        [-0.515, 0.157, -0.917],
        [0.044, 0.164, -1.387],
        [0.882, 0.098, -1.277],
        [1.213, 0.127, -0.601],
        [1.125, 0.127, -0.086],
        [0.831, 0.076, 0.230],
    ]
)
LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")
STEP_MS = 0.5
EDGE = 0.05
"""A wave's visible edge: where the vector passes this part of its peak."""


def height(t, at, rise, hold, fall, power=3):
    """Height, 0 to 1, of a bump."""
    x = np.minimum((t - at - rise) / rise, 0) + np.maximum((t - at - rise - hold) / fall, 0)
    return (1 - np.minimum(x * x, 1)) ** power


def vector(t, waves, power=3):
    """Heart vector, mV, of waves (at, rise, hold, fall, x, y, z)."""
    return sum((height(t, *w[:4], power)[:, None] * np.array(w[4:]) for w in waves), np.zeros((len(t), 3)))


def edges(t, v):
    """Visible onset, peak and end."""
    size = np.linalg.norm(v, axis=1)
    seen = np.flatnonzero(size > EDGE * size.max())
    return t[seen[0]], t[size.argmax()], t[seen[-1]]


def read_templates(path: Path) -> dict[str, tuple[list, float]]:
    """QRS waves and durations of a file of templates as they were before, by name."""
    number = r"(-?[\d.]+)"
    wave = re.compile(
        r"(wave|held)\(" + ", ".join([number] * 3) + rf"(?:, {number})?, \[" + ", ".join([number] * 3) + r"\]\)"
    )
    shapes = {}
    for name, body in re.findall(r"const (\w+): Shape<\d> = Shape \{(.*?)\n\};", path.read_text(), re.S):
        qrs_text, rest = body.split("qrs_ms:")
        waves = []
        for kind, at, rise, a, b, x, y, z in wave.findall(qrs_text):
            hold, fall = (a, b) if kind == "held" else ("0", a)
            waves.append([float(n) for n in (at, rise, hold, fall, x, y, z)])
        shapes[name] = (waves, float(rest.split(",")[0]))
    return shapes


def fit(t, target, start, weights=None, smooth=0.0, first=0.0, ridge=0.0, longest_rise=150.0):
    """Waves without plateau nearest to `target` (frames by leads, mV), from `start`; no wave begins before 0."""
    weights = np.ones(target.shape) if weights is None else weights
    start = np.array(start, float)[:, [0, 1, 3, 4, 5, 6]]

    def unpack(p):
        q = p.reshape(-1, 6)
        return [[w[0], w[1], 0.0, w[2], *w[3:]] for w in q]

    def residual(p):
        waves = unpack(p)
        v = vector(t, waves)
        parts = [(weights * (v @ DOWER.T - target)).ravel()]
        if first:
            # The visible onset comes within `first` ms of the template's start.
            size = np.linalg.norm(v, axis=1)
            parts.append([300.0 * max(0.0, 1.1 * EDGE * size.max() - size[round(first / STEP_MS)])])
        if ridge:
            parts.append(ridge * (p.reshape(-1, 6)[:, 3:] - start[:, 3:]).ravel())
        if smooth:
            parts.append(smooth * np.diff(v, 2, axis=0).ravel())
        return np.concatenate(parts)

    low = np.tile([0.0, 9.0, 9.0, -3, -3, -3], len(start))
    high = np.tile([400.0, 150.0, 200.0, 3, 3, 3], len(start))
    if first:
        low[0], high[0] = 0.0, 0.01
    high[1::6] = longest_rise
    x0 = np.clip(start.ravel(), low + 1e-6, high - 1e-6)
    return unpack(least_squares(residual, x0, bounds=(low, high), max_nfev=400).x)


def to_duration(waves, qrs_ms, t=np.arange(0, 500, STEP_MS)):
    """The waves stretched so that they last `qrs_ms` between their visible edges, and when their peak then is."""
    onset, _, end = edges(t, vector(t, waves))
    k = qrs_ms / (end - onset)
    waves = [[*(np.array(w[:4]) * k), *w[4:]] for w in waves]
    waves[0][0] = 0.0
    return waves


def rust(waves) -> str:
    """As a template writes them."""
    lines = []
    for at, rise, hold, fall, x, y, z in waves:
        mv = f"[{x:.3f}, {y:.3f}, {z:.3f}]"
        lines.append(f"wave({at:.1f}, {rise:.1f}, {fall:.1f}, {mv})" if hold == 0 else f"held({at:.1f}, {rise:.1f}, {hold:.1f}, {fall:.1f}, {mv})")
    return ",\n".join(lines)
