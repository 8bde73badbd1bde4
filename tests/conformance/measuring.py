"""Measures what a monitor would measure, from samples alone, with scipy's general signal processing.

Nothing here reads the truth files: a value measured here is compared with the script and with the truth by the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, find_peaks, sosfiltfilt

RATE_SPAN_HZ = (0.03, 3.0)
"""Range of breathing rates that is searched: 2 to 180 breaths a minute."""


@dataclass(frozen=True)
class Pulses:
    """Peaks of a pressure channel and the valley after each but the last."""

    peak_s: np.ndarray
    systolic_mmhg: np.ndarray
    diastolic_mmhg: np.ndarray
    mean_mmhg: np.ndarray


def pressure_pulses(pressure_mmhg: np.ndarray, frame_rate_hz: float, rate_bpm: float) -> Pulses:
    """Pulses of a pressure signal whose rate is roughly known.

    A peak must rise by half of the signal's span above the valleys beside it, which a wave after the dicrotic notch
    does not, and peaks closer than 0.6 of a beat are one. Means are by time from valley to valley.
    """
    pressure = np.asarray(pressure_mmhg, dtype=np.float64)
    low, high = np.percentile(pressure, [1.0, 99.0])
    if high - low < 1.0:
        empty = np.empty(0)
        return Pulses(empty, empty, empty, empty)
    nearest = max(1, int(0.6 * 60.0 / rate_bpm * frame_rate_hz))
    peaks, _ = find_peaks(pressure, prominence=0.5 * (high - low), distance=nearest)
    valleys = np.array([p + int(np.argmin(pressure[p:q])) for p, q in zip(peaks[:-1], peaks[1:], strict=True)], dtype=int)
    means = np.array([pressure[a:b].mean() for a, b in zip(valleys[:-1], valleys[1:], strict=True)])
    return Pulses(peaks / frame_rate_hz, pressure[peaks], pressure[valleys], means)


def end_diastolic(pressure_mmhg: np.ndarray, frame_rate_hz: float, peak_s: np.ndarray) -> np.ndarray:
    """Ventricular pressure where the upstroke before each peak but the first begins: the last slope below 2 % of the steepest."""
    pressure = np.asarray(pressure_mmhg, dtype=np.float64)
    slope = np.diff(pressure)
    found = []
    for top in np.round(peak_s[1:] * frame_rate_hz).astype(int):
        steepest = max(0, top - int(0.25 * frame_rate_hz)) + int(np.argmax(slope[max(0, top - int(0.25 * frame_rate_hz)) : top]))
        calm = np.flatnonzero(slope[:steepest] < 0.02 * slope[steepest])
        found.append(pressure[calm[-1] + 1])
    return np.array(found)


def breath_rate_by_peaks(impedance_ohm: np.ndarray, frame_rate_hz: float) -> float:
    """Breaths per minute from the spacing of the tops of breath; NaN under two breaths."""
    signal = np.asarray(impedance_ohm, dtype=np.float64)
    if frame_rate_hz > 20.0:
        # A heart beat's ripple on the impedance is not a breath.
        signal = sosfiltfilt(butter(2, 3.0, fs=frame_rate_hz, output="sos"), signal)
    low, high = np.percentile(signal, [1.0, 99.0])
    if high - low < 1e-3:
        return float("nan")
    tops, _ = find_peaks(signal, prominence=0.5 * (high - low))
    if len(tops) < 2:
        return float("nan")
    return 60.0 * (len(tops) - 1) * frame_rate_hz / (tops[-1] - tops[0])


def breath_rate_by_spectrum(impedance_ohm: np.ndarray, frame_rate_hz: float) -> float:
    """Breaths per minute as the strongest line of the windowed spectrum, refined by a parabola through its top.

    The lowest line of a breath is its rate whatever the breath's shape, as long as the breath is one hump.
    """
    signal = np.asarray(impedance_ohm, dtype=np.float64)
    signal = (signal - signal.mean()) * np.hanning(len(signal))
    padded = 8 * len(signal)
    spectrum = np.abs(np.fft.rfft(signal, padded))
    frequency_hz = np.fft.rfftfreq(padded, 1.0 / frame_rate_hz)
    candidates = np.flatnonzero((frequency_hz >= RATE_SPAN_HZ[0]) & (frequency_hz <= RATE_SPAN_HZ[1]))
    top = candidates[np.argmax(spectrum[candidates])]
    before, at, after = np.log(spectrum[top - 1 : top + 2] + 1e-30)
    shift = 0.5 * (before - after) / (before - 2.0 * at + after)
    return 60.0 * (frequency_hz[top] + shift * (frequency_hz[1] - frequency_hz[0]))


def limb_lead_errors(leads: dict[str, np.ndarray]) -> dict[str, float]:
    """Largest departure from each identity of the limb leads, in the unit of the leads.

    Einthoven: I + III = II. Goldberger: aVR = -(I + II) / 2, aVL = (I - III) / 2, aVF = (II + III) / 2.
    Sources: Einthoven, Fahr, de Waart 1913; Goldberger 1942.

    When every lead is rounded to a step of its own, sums of three whole leads are whole steps and off by at most 1.5,
    so by at most one; where halves stand, half a step meets twice a quarter, which is at most one as well.
    """
    one, two, three = (np.asarray(leads[name], dtype=np.float64) for name in ("I", "II", "III"))
    avr, avl, avf = (np.asarray(leads[name], dtype=np.float64) for name in ("aVR", "aVL", "aVF"))
    return {
        "I + III - II": _largest(one + three - two),
        "aVR + (I + II) / 2": _largest(avr + (one + two) / 2),
        "aVL - (I - III) / 2": _largest(avl - (one - three) / 2),
        "aVF - (II + III) / 2": _largest(avf - (two + three) / 2),
        "aVR + aVL + aVF": _largest(avr + avl + avf),
    }


def _largest(values: np.ndarray) -> float:
    return float(np.max(np.abs(values))) if len(values) else float("nan")
