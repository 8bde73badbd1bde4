"""Blood pressure from a cuff's pressure, by general signal processing and stated ratios.

The method is the textbook one (Geddes 1982: mean pressure where the oscillation is largest, systolic and diastolic
where it is a share of that above and below); filters, peaks and splines are scipy's. Nothing here reads a truth file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.interpolate import make_smoothing_spline
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d
from scipy.optimize import least_squares
from scipy.signal import butter, find_peaks, sosfiltfilt

EMPTY_MMHG = 8.0
"""Below this cuff pressure nothing is read."""


Points = tuple[np.ndarray, np.ndarray]
"""Of each pulse the cuff's pressure, falling, and the height of its oscillation."""


@dataclass(frozen=True)
class Reading:
    """A reading of the cuff."""

    systolic_mmhg: float
    mean_mmhg: float
    diastolic_mmhg: float


def deflation(cuff_mmhg: np.ndarray, frame_rate_hz: float) -> np.ndarray:
    """The part of a measurement from the end of inflation until the cuff is all but empty."""
    slow = sosfiltfilt(butter(2, 1.0, fs=frame_rate_hz, output="sos"), cuff_mmhg)
    top = int(np.argmax(slow))
    empty = top + int(np.argmax(slow[top:] < EMPTY_MMHG))
    return cuff_mmhg[top + int(0.5 * frame_rate_hz) : empty]


def oscillations(cuff_mmhg: np.ndarray, frame_rate_hz: float) -> Points:
    """Cuff pressure at the foot of each pulse, and the pulse's height over a line from its foot to the next.

    A pulse is where the pressure rises against its usual slope. One during which the cuff falls by more or less than
    usual, as when the valve steps or opens, is left out.
    """
    # A bell of 10 ms: unlike a sharper filter it answers a step of the valve without an upward swing.
    smooth = gaussian_filter1d(cuff_mmhg, 0.010 * frame_rate_hz)
    slope = np.gradient(smooth, 1 / frame_rate_hz)
    slope = slope - np.median(slope)
    strongest = np.percentile(slope, 99.5)
    steepest, _ = find_peaks(slope, height=0.06 * strongest, distance=max(1, int(0.3 * frame_rate_hz)))
    feet = []
    for steep in steepest:
        begin = max(0, steep - int(0.15 * frame_rate_hz))
        calm = np.flatnonzero(slope[begin:steep] < 0.1 * slope[steep])
        feet.append(begin + int(calm[-1]) if len(calm) else begin)
    falls, times = smooth[feet[:-1]] - smooth[feet[1:]], np.diff(feet) / frame_rate_hz
    # Irregular pulses let the cuff fall for longer or for less long.
    usual = np.percentile(falls / times, 30) * times
    steady = np.abs(falls - usual) < 0.25 + 0.2 * np.maximum(usual, 0.0)
    pressures, heights = [], []
    for foot, after in np.column_stack((feet[:-1], feet[1:]))[steady]:
        line = np.linspace(smooth[foot], smooth[after], after - foot + 1)
        pressures.append(smooth[foot])
        heights.append(np.max(smooth[foot : after + 1] - line))
    return np.array(pressures), np.array(heights)


def read_cuff(cuff_mmhg: np.ndarray, frame_rate_hz: float, systolic_ratio: float, diastolic_ratio: float) -> Reading:
    """Reads a measurement: the envelope's top and where it passes the ratios above and below."""
    pressures, heights = oscillations(deflation(cuff_mmhg, frame_rate_hz), frame_rate_hz)
    # Pulses at nearly one pressure, as on one step of the valve, are one point of the envelope.
    bins = np.floor((pressures - np.min(pressures)) / 1.5)
    level = np.array([np.mean(pressures[bins == one]) for one in np.unique(bins)])
    height = np.array([np.median(heights[bins == one]) for one in np.unique(bins)])
    return _ratios(level, height, systolic_ratio, diastolic_ratio)


def fit_cuff(cuff_mmhg: np.ndarray, frame_rate_hz: float, systolic_ratio: float, diastolic_ratio: float) -> Reading:
    """Reads a measurement of irregular pulses: the bell with two flanks that fits all of them best, outliers weighing less.

    A flank falls as 1 / (1 + x^2) from the top (a fit of a curve to the envelope is common practice, no source).
    """
    pressures, heights = oscillations(deflation(cuff_mmhg, frame_rate_hz), frame_rate_hz)
    usual = np.percentile(heights, 95)

    def off(of: np.ndarray) -> np.ndarray:
        above = pressures - of[1]
        return of[0] / (1 + (above / np.where(above > 0, of[2], of[3])) ** 2) - heights

    low, high = np.min(pressures), np.max(pressures)
    starts = [(usual, top, 20.0, 30.0) for top in np.percentile(pressures, (30, 45, 60, 75))]
    bounds = ([0.0, low, 1.0, 1.0], [3 * usual, high, 200.0, 200.0])
    fits = [least_squares(off, start, loss="soft_l1", f_scale=0.1 * usual, bounds=bounds) for start in starts]
    _, top, above, below = min(fits, key=lambda fit: fit.cost).x
    return Reading(top + above * np.sqrt(1 / systolic_ratio - 1), top, top - below * np.sqrt(1 / diastolic_ratio - 1))


def read_smoothed(points: Points, smooth: Callable[[np.ndarray], np.ndarray], systolic_ratio: float, diastolic_ratio: float, *, outermost: bool) -> Reading:
    """Reads an envelope smoothed from pulse to pulse, with straight lines in between, where it passes the ratios: the nearest to its
    top, or the outermost. NaN where it does not pass one."""
    pressures, heights = points
    fine = np.arange(np.max(pressures), np.min(pressures), -0.05)
    envelope = np.interp(fine, pressures[::-1], smooth(heights)[::-1])
    top = int(np.argmax(envelope))
    over = np.flatnonzero(envelope >= systolic_ratio * envelope[top]), np.flatnonzero(envelope >= diastolic_ratio * envelope[top])
    under = np.flatnonzero(envelope[:top] <= systolic_ratio * envelope[top]), top + np.flatnonzero(envelope[top:] <= diastolic_ratio * envelope[top])
    passed = len(under[0]) > 0, len(under[1]) > 0
    systolic, diastolic = (over[0][0], over[1][-1]) if outermost else (under[0][-1] if passed[0] else 0, under[1][0] if passed[1] else 0)
    return Reading(float(fine[systolic]) if passed[0] else np.nan, float(fine[top]), float(fine[diastolic]) if passed[1] else np.nan)


def readings(cuff_mmhg: np.ndarray, frame_rate_hz: float, systolic_ratio: float, diastolic_ratio: float) -> dict[str, Reading]:
    """One measurement as sensible methods read it (common practice, no source): a fitted bell, and envelopes of several smoothings.

    Of irregular pulses a mean over three is still ragged: where it passes a ratio for the first time counts.
    """
    points = oscillations(deflation(cuff_mmhg, frame_rate_hz), frame_rate_hz)
    smoothings = {f"mean of {n}": partial(uniform_filter1d, size=n, mode="nearest") for n in (3, 5, 7)}
    smoothings["highest of 3"] = partial(maximum_filter1d, size=3, mode="nearest")
    smoothings["bell of 2 pulses"] = partial(gaussian_filter1d, sigma=2, mode="nearest")
    found = {"fit": fit_cuff(cuff_mmhg, frame_rate_hz, systolic_ratio, diastolic_ratio)}
    for name, smooth in smoothings.items():
        if name != "highest of 3":
            found[f"{name}, outermost"] = read_smoothed(points, smooth, systolic_ratio, diastolic_ratio, outermost=True)
        if name != "mean of 3":
            found[f"{name}, nearest"] = read_smoothed(points, smooth, systolic_ratio, diastolic_ratio, outermost=False)
    # The highest of several has a plateau in place of a top.
    found["highest of 3, nearest"] = replace(found["highest of 3, nearest"], mean_mmhg=np.nan)
    return found


def _ratios(level: np.ndarray, height: np.ndarray, systolic_ratio: float, diastolic_ratio: float) -> Reading:
    # A bell is a parabola in its logarithm, which a spline follows with few points.
    seen = height > 0.03 * np.max(height)
    level, height = level[seen], height[seen]
    spline = make_smoothing_spline(level, np.log(height), lam=1.0)
    fine = np.arange(level[0], level[-1], 0.05)
    envelope = np.exp(spline(fine))
    top = int(np.argmax(envelope))
    above = top + np.flatnonzero(envelope[top:] <= systolic_ratio * envelope[top])
    below = np.flatnonzero(envelope[:top] <= diastolic_ratio * envelope[top])
    assert len(above) and len(below), "the deflation does not pass systolic and diastolic pressure"
    return Reading(float(fine[above[0]]), float(fine[top]), float(fine[below[-1]]))
