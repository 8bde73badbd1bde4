"""A monitor without faults, from general signal processing alone: it reads samples and knows the patient category and its alarm limits.

Nothing here reads a truth file, a script or a plan, and no QRS detector of a library is used. Filters and peaks are scipy's.
The averages are those that docs/script.md states: the last 12 RR intervals without the longest and the shortest, the last 4
when three in a row exceed 1200 ms (makers' disclosures under EC13 4.1.2.1 d), and the last 8 breaths. All other figures are
common practice, no source, unless a comment names one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d
from scipy.signal import butter, find_peaks, resample_poly, sosfiltfilt
from scipy.stats import kurtosis

ECG_HZ = 250
"""Frames a second of the ECG once pacing pulses are taken out."""
SMALLEST_QRS_MV = 0.2
"""Between 0.15 mV, which a monitor must not count, and 0.5 mV, which it must (IEC 60601-2-27, as makers quote it)."""
STEEPEST_HEART_MV_PER_MS = 0.6
"""A pacing pulse is steeper, a QRS is not."""
SMALLEST_BAND_MV = 0.057
"""The same from 8 to 30 Hz over all leads; P and T waves have less."""
PULSE_TO_QRS_S = 0.2
BLUNT = 0.2
"""Share of a QRS between 8 and 30 Hz: a ventricular one has less, a narrow one or a bundle branch block more."""
WIDE_S = 0.125
"""A ventricular QRS is wider, measured as `width_s` does."""
SLOW_S = 1.2
SMALLEST_BREATH_OHM = 0.1
"""As makers print it."""


@dataclass(frozen=True)
class Signals:
    """Channels as they come to the inputs: leads in mV (one column each), ohm, mmHg."""

    rate_hz: int
    leads_mv: np.ndarray
    respiration_ohm: np.ndarray
    arterial_mmhg: np.ndarray
    venous_mmhg: np.ndarray
    cuff_mmhg: np.ndarray

    def part(self, start_s: float, end_s: float) -> Signals:
        """A stretch of all channels."""
        at = slice(round(start_s * self.rate_hz), round(end_s * self.rate_hz))
        rest = (self.respiration_ohm, self.arterial_mmhg, self.venous_mmhg, self.cuff_mmhg)
        return Signals(self.rate_hz, self.leads_mv[at], *(channel[at] for channel in rest))


@dataclass(frozen=True)
class Heart:
    """QRS complexes, pacing pulses and ventricular fibrillation found in an ECG."""

    qrs_s: np.ndarray
    ventricular: np.ndarray
    """Of each QRS, whether it is a ventricular one that no pacing pulse made."""
    on_t: np.ndarray
    """Of each QRS, whether it falls on the T wave before."""
    captured: np.ndarray
    """Of each QRS, whether a pacing pulse made it."""
    pulses_s: np.ndarray
    answered: np.ndarray
    """Of each pacing pulse, whether a QRS follows it at once."""
    fibrillation_s: list[tuple[float, float]]


def take_out_pulses(leads_mv: np.ndarray, rate_hz: int) -> tuple[np.ndarray, np.ndarray]:
    """The leads without pacing pulses, and the times of the pulses: two opposite edges within 4 ms."""
    edges = np.diff(leads_mv, axis=0)
    steep = np.flatnonzero(np.max(np.abs(edges), axis=1) > STEEPEST_HEART_MV_PER_MS * 1000 / rate_hz)
    clean, pulses, last = leads_mv.copy(), [], -1
    for edge in steep:
        if edge <= last:
            continue
        last = min(edge + max(4 * rate_hz // 1000, 1), len(edges) - 1)
        ends = [other for other in steep if edge <= other <= last]
        last = ends[-1]
        before, after = edge, min(last + 1, len(clean) - 1)
        share = np.linspace(0, 1, after - before + 1)[:, None]
        clean[before : after + 1] = (1 - share) * leads_mv[before] + share * leads_mv[after]
        pulses.append((edge + 1) / rate_hz)
    return clean, np.array(pulses)


def find_qrs(leads_mv: np.ndarray, pulses_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Times of QRS complexes in leads at ECG_HZ, and of each whether it is blunt and wide.

    A peak is no QRS when it is much lower than others nearby, or a T wave: within 360 ms of a QRS 2.5 times as high (after
    Pan and Tompkins 1985, who compare slopes), unless a pacing pulse stands before it. The T wave of a paced QRS is taller
    beside it, the more so with a retrograde P wave on it: 1.6 times as high.
    """
    band = sosfiltfilt(butter(2, [8, 30], "band", fs=ECG_HZ, output="sos"), leads_mv, axis=0)
    strength = np.sqrt(np.maximum(uniform_filter1d(np.sum(band**2, axis=1), ECG_HZ // 10), 0))
    slow = sosfiltfilt(butter(3, [0.5, 30], "band", fs=ECG_HZ, output="sos"), leads_mv, axis=0)
    speed = uniform_filter1d(np.linalg.norm(np.gradient(slow, axis=0), axis=1), ECG_HZ // 50)
    near = maximum_filter1d(strength, 3 * ECG_HZ)
    peaks, _ = find_peaks(strength, distance=round(0.2 * ECG_HZ), height=SMALLEST_BAND_MV)
    peaks = peaks[strength[peaks] > 0.18 * near[peaks]]
    times, wide, last, last_paced = [], [], None, False
    for peak in peaks:
        paced = np.any((pulses_s < peak / ECG_HZ) & (pulses_s > peak / ECG_HZ - PULSE_TO_QRS_S))
        t_wave = last is not None and peak - last < 0.36 * ECG_HZ and strength[peak] < (0.6 if last_paced else 0.4) * strength[last]
        height = np.ptp(leads_mv[max(0, peak - 20) : peak + 20], axis=0)
        if np.max(height) < SMALLEST_QRS_MV or (t_wave and not paced):
            continue
        last, last_paced = peak, paced
        times.append(peak / ECG_HZ)
        wide.append(strength[peak] < BLUNT * np.linalg.norm(height) and width_s(speed, peak) > WIDE_S)
    return np.array(times), np.array(wide, dtype=bool)


def width_s(speed: np.ndarray, peak: int) -> float:
    """How long the vector of the leads moves at more than 12 % of its highest speed about a QRS; gaps up to 24 ms belong to it."""
    start = max(0, peak - 30)
    about = speed[start : peak + 31]
    core = about[max(0, peak - start - 10) : peak - start + 11]
    moving = np.flatnonzero(about > 0.12 * np.max(core))
    pieces = np.split(moving, np.flatnonzero(np.diff(moving) > 6) + 1)
    top = max(0, peak - start - 10) + int(np.argmax(core))
    piece = next(piece for piece in pieces if piece[0] <= top <= piece[-1])
    return (piece[-1] - piece[0]) / ECG_HZ


def find_fibrillation(leads_mv: np.ndarray) -> list[tuple[float, float]]:
    """Stretches of ventricular fibrillation or flutter: over 4 s no rest between waves, no spikes, and waves faster than 4.2 Hz."""
    waves = sosfiltfilt(butter(2, [1, 20], "band", fs=ECG_HZ, output="sos"), leads_mv, axis=0)
    frequency_hz = np.fft.rfftfreq(4 * 1024, 1 / ECG_HZ)
    heart = (frequency_hz > 2) & (frequency_hz < 10)
    found: list[tuple[float, float]] = []
    for start in range(0, len(waves) - 4 * ECG_HZ + 1, ECG_HZ // 2):
        window = waves[start : start + 4 * ECG_HZ]
        largest = np.max(np.abs(window))
        lead = window[:, np.argmax(np.std(window, axis=0))]
        at_rest = np.mean(np.max(np.abs(window), axis=1) < 0.15 * largest)
        if largest < 0.05 or at_rest > 0.15 or kurtosis(lead, fisher=False) > 3.5:
            continue
        power = np.abs(np.fft.rfft(lead * np.hanning(len(lead)), 4 * 1024)) ** 2
        mean_hz = np.sum((frequency_hz * power)[heart]) / np.sum(power[heart])
        # Waves that are alike half a period later, but upside down (Kuo and Dillman 1978).
        half = max(1, round(0.5 * ECG_HZ / frequency_hz[np.argmax(power)]))
        left = np.sum(np.abs(lead[half:] + lead[:-half])) / np.sum(np.abs(lead[half:]) + np.abs(lead[:-half]))
        if mean_hz < 4.3 or left > 0.55:
            continue
        start_s, end_s = start / ECG_HZ, start / ECG_HZ + 4
        if found and start_s <= found[-1][1] + 2:
            found[-1] = (found[-1][0], end_s)
        else:
            found.append((start_s, end_s))
    return found


def read_heart(signals: Signals) -> Heart:
    """Everything that the ECG shows."""
    clean, pulses_s = take_out_pulses(signals.leads_mv, signals.rate_hz)
    leads = resample_poly(clean, 1, signals.rate_hz // ECG_HZ, axis=0)
    fibrillation = find_fibrillation(leads)
    qrs_s, wide = find_qrs(leads, pulses_s)
    outside = np.array([not any(a <= t <= b for a, b in fibrillation) for t in qrs_s], dtype=bool)
    qrs_s, wide = qrs_s[outside], wide[outside]
    captured = np.array([np.any((pulses_s < t) & (pulses_s > t - PULSE_TO_QRS_S)) for t in qrs_s], dtype=bool)
    answered = np.array([np.any((qrs_s > p) & (qrs_s < p + PULSE_TO_QRS_S)) for p in pulses_s], dtype=bool)
    ventricular = wide & ~captured
    interval_s = np.diff(qrs_s, prepend=-np.inf)
    usual_s = np.array([np.median(np.diff(qrs_s[max(0, i - 9) : i])) if i > 2 else np.inf for i in range(len(qrs_s))])
    # The T wave ends some 0.4 s after a QRS at 60 bpm, and with the root of the interval (Bazett 1920).
    premature = ventricular & ~np.concatenate(([False], ventricular[:-1]))
    on_t = premature & (interval_s < 0.4 * np.sqrt(usual_s)) & (usual_s < 2)
    return Heart(qrs_s, ventricular, on_t, captured, pulses_s, answered, fibrillation)


def averaged_rate(interval_s: np.ndarray) -> float:
    """The rate that is shown after these intervals, the newest last."""
    last = interval_s[-12:]
    if len(last) >= 3 and np.all(last[-3:] > SLOW_S):
        return 60 / np.mean(last[-4:])
    if len(last) >= 5:
        return 60 * (len(last) - 2) / (np.sum(last) - np.max(last) - np.min(last))
    return 60 / np.mean(last) if len(last) else np.nan


@dataclass(frozen=True)
class Pulses:
    """Pulses of a pressure, each from its foot to the next: instants in s, pressures in mmHg."""

    foot_s: np.ndarray
    end_s: np.ndarray
    systolic: np.ndarray
    diastolic: np.ndarray
    mean: np.ndarray


def find_pulses(pressure_mmhg: np.ndarray, rate_hz: int) -> Pulses:
    """Pulses at least 2 mmHg high and a third as high as others within 1.5 s; a wave after the notch is lower."""
    smooth = uniform_filter1d(pressure_mmhg.astype(np.float64), max(1, rate_hz // 100))
    peaks, found = find_peaks(smooth, prominence=2.0, distance=round(0.15 * rate_hz))
    rise = smooth[peaks] - np.array([np.min(smooth[a:b]) for a, b in zip([0, *peaks[:-1]], peaks)])
    tallest = np.array([np.max(rise[np.abs(peaks - peak) < 1.5 * rate_hz]) for peak in peaks])
    peaks = peaks[rise > 0.34 * tallest]
    feet = np.array([a + int(np.argmin(smooth[a:b])) for a, b in zip([0, *peaks[:-1]], peaks)], dtype=int)
    spans = [(a, b) for a, b in zip(feet, feet[1:]) if b - a < 6 * rate_hz]
    of = lambda how: np.array([how(pressure_mmhg[a:b]) for a, b in spans])  # noqa: E731
    ends = np.array([b for _, b in spans]) / rate_hz
    return Pulses(np.array([a for a, _ in spans]) / rate_hz, ends, of(np.max), of(lambda x: x[0]), of(np.mean))


@dataclass(frozen=True)
class Breaths:
    """Breaths by the instants at which each begins and ends, s."""

    start_s: np.ndarray
    end_s: np.ndarray


def find_breaths(impedance_ohm: np.ndarray, rate_hz: int, heart_bpm: float) -> Breaths:
    """Breaths of at least 0.1 ohm; a wave as fast as the heart is the heart's."""
    slow_hz = 10
    slow = resample_poly(impedance_ohm.astype(np.float64) - impedance_ohm[0], 1, rate_hz // slow_hz, padtype="line")
    cut_hz = 0.75 * heart_bpm / 60
    chest = sosfiltfilt(butter(4, cut_hz, fs=slow_hz, output="sos"), slow)
    tops, _ = find_peaks(chest, prominence=SMALLEST_BREATH_OHM)
    lows = [a + int(np.argmin(chest[a:b])) for a, b in zip([0, *tops], [*tops, len(chest)])]
    starts, ends = [], []
    for low, top, after in zip(lows, tops, lows[1:]):
        small = 0.1 * (chest[top] - max(chest[low], chest[after]))
        starts.append((low + np.flatnonzero(chest[low:top] < chest[low] + small)[-1]) / slow_hz)
        ends.append((top + np.flatnonzero(chest[top : after + 1] < chest[after] + small)[0]) / slow_hz)
    return Breaths(np.array(starts), np.array(ends))
