"""Blood pressure from a cuff's pressure, by general signal processing and stated ratios.

The method is the textbook one (Geddes 1982: mean pressure where the oscillation is largest, systolic and diastolic
where it is a share of that above and below); filters, peaks and splines are scipy's. Nothing here reads a truth file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import astuple, dataclass
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


def oscillations(cuff_mmhg: np.ndarray, frame_rate_hz: float, seen: float = 0.06) -> Points:
    """Cuff pressure at the foot of each pulse, and the pulse's height over a line from its foot to the next.

    A pulse is where the pressure rises against its usual slope, by a share `seen` of the steepest. One during which the cuff
    falls by more or less than usual, as when the valve steps or opens, is left out.
    """
    # A bell of 10 ms: unlike a sharper filter it answers a step of the valve without an upward swing.
    smooth = gaussian_filter1d(cuff_mmhg, 0.010 * frame_rate_hz)
    slope = np.gradient(smooth, 1 / frame_rate_hz)
    slope = slope - np.median(slope)
    strongest = np.percentile(slope, 99.5)
    steepest, _ = find_peaks(slope, height=seen * strongest, distance=max(1, int(0.3 * frame_rate_hz)))
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


@dataclass(frozen=True)
class Envelope:
    """Heights of oscillations on a falling cuff, and the two shares of their top that a monitor looks for."""

    pressures: np.ndarray
    heights: np.ndarray
    systolic_ratio: float
    diastolic_ratio: float

    def bell(self) -> tuple[Reading, np.ndarray]:
        """The bell with two flanks that fits all heights best, outliers weighing less, and its own heights.

        A flank falls as 1 / (1 + x^2) from the top (a fit of a curve to the envelope is common practice, no source).
        """
        pressures, heights = self.pressures, self.heights
        bends = 1 / self.systolic_ratio - 1, 1 / self.diastolic_ratio - 1
        largest = np.max(heights)

        def bell(of: np.ndarray) -> np.ndarray:
            away = pressures - of[1]
            return of[0] / (1 + np.where(away > 0, bends[0] * (away / of[2]) ** 2, bends[1] * (away / of[3]) ** 2))

        bounds = ([0.01 * largest, np.min(pressures), 1.0, 1.0], [3 * largest, np.max(pressures), 200.0, 100.0])
        starts = [(largest, top, 20.0, 15.0) for top in np.percentile(pressures, (30, 45, 60, 75))]
        fits = [least_squares(lambda of: bell(of) - heights, start, loss="soft_l1", f_scale=0.1 * largest, bounds=bounds) for start in starts]
        best = min(fits, key=lambda fit: fit.cost).x
        return Reading(best[1] + best[2], best[1], best[1] - best[3]), bell(best)

    def passed(self, mmhg: float) -> float:
        """A pressure that the deflation passed, else NaN."""
        return mmhg if np.min(self.pressures) <= mmhg <= np.max(self.pressures) else np.nan

    def read(self, heights: np.ndarray, *, outermost: bool) -> Reading:
        """Where smoothed heights have their top, and where they pass the shares: the nearest to it, or the outermost."""
        top = int(np.argmax(heights))
        systolic = _crossing(self.pressures[top::-1], heights[top::-1], self.systolic_ratio, outermost=outermost)
        diastolic = _crossing(self.pressures[top:], heights[top:], self.diastolic_ratio, outermost=outermost)
        return Reading(systolic, _vertex(self.pressures[top - 1 : top + 2], heights[top - 1 : top + 2], self.pressures[top]), diastolic)

    def readings(self) -> dict[str, Reading]:
        """The readings of several methods, each less its own error on equal pulses, those of the bell; NaN where one finds none.

        Envelopes of several smoothings are common practice, no source. The highest of several has a plateau in place of a top.
        """
        fitted, equal = self.bell()
        found = {"fit": Reading(*map(self.passed, astuple(fitted)))}
        for name, (smooth, sides) in SMOOTHINGS.items():
            for outermost in sides:
                read, of_equal = (np.array(astuple(self.read(smooth(of), outermost=outermost))) for of in (self.heights, equal))
                values = read - np.nan_to_num(of_equal - astuple(fitted))
                if name.startswith("highest"):
                    values[1] = np.nan
                found[f"{name}, {'outermost' if outermost else 'nearest'}"] = Reading(*values.tolist())
        return found


def _mean(weighted: Callable[..., np.ndarray]) -> Callable[[np.ndarray], np.ndarray]:
    """A weighted mean that has fewer heights at the ends: a last height that counted for those after it would make a top there."""
    return lambda heights: weighted(heights, mode="constant") / weighted(np.ones(len(heights)), mode="constant")


SMOOTHINGS: dict[str, tuple[Callable[[np.ndarray], np.ndarray], tuple[bool, ...]]] = {
    "highest of 3": (partial(maximum_filter1d, size=3, mode="nearest"), (True,)),
    "mean of 3": (_mean(partial(uniform_filter1d, size=3)), (True,)),
    "mean of 5": (_mean(partial(uniform_filter1d, size=5)), (True, False)),
    "mean of 7": (_mean(partial(uniform_filter1d, size=7)), (True, False)),
    "bell of 2 pulses": (_mean(partial(gaussian_filter1d, sigma=2)), (True, False)),
}
"""Smoothings from pulse to pulse, and whether the outermost crossing, the nearest, or one and the other is read."""

ENOUGH = 4
"""After so many pulses in a row below its share a monitor looks no further (common practice, no source)."""

SEEN = (0.04, 0.06, 0.09)
"""Shares of the steepest oscillation below which one monitor or another sees none (common practice, no source)."""


def _crossing(pressures: np.ndarray, heights: np.ndarray, ratio: float, *, outermost: bool) -> float:
    """Where heights fall below a share of the first of them, on the walk away from it."""
    level, found, below = ratio * heights[0], np.nan, 0
    for i in range(1, len(heights)):
        below = below + 1 if heights[i] <= level else 0
        if below == 1:
            found = np.interp(level, heights[[i, i - 1]], pressures[[i, i - 1]])
        if below >= ENOUGH or below and not outermost:
            break
    return float(found)


def _vertex(pressures: np.ndarray, heights: np.ndarray, top: float) -> float:
    """Of the parabola through the top and its neighbours, within them."""
    if len(pressures) < 3:
        return float(top)
    bend, slope, _ = np.polyfit(pressures - top, heights, 2)
    return float(np.clip(top - 0.5 * slope / bend, pressures[2], pressures[0])) if bend < 0 else float(top)


def readings(cuff_mmhg: np.ndarray, frame_rate_hz: float, systolic_ratio: float, diastolic_ratio: float) -> dict[str, Reading]:
    """One measurement as sensible methods read it, each of them with fewer or more of the weak oscillations."""
    part, found = deflation(cuff_mmhg, frame_rate_hz), {}
    for seen in SEEN:
        envelope = Envelope(*oscillations(part, frame_rate_hz, seen), systolic_ratio, diastolic_ratio)
        found |= {f"{name}, from {seen}": reading for name, reading in envelope.readings().items()}
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
