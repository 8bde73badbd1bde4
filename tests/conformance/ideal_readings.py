"""Readings of a monitor without faults at an instant, from what `ideal_monitor` found in the samples."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, detrend, sosfiltfilt

from ideal_alarms import Alarm, breathing_alarms, heart_alarms, pressure_alarms
from ideal_monitor import ECG_HZ, Breaths, Heart, Pulses, Signals, averaged_rate, find_breaths, find_pulses, read_heart
from oscillometry import read_cuff

PRESSURE_S = 10.0
"""Pressures are averaged over so long."""
SYSTOLIC_RATIO, DIASTOLIC_RATIO = 0.5, 0.8
"""Of the largest oscillation of a cuff, as docs/signals.md states (Geddes 1982)."""
PRESSURE_HZ = 250


@dataclass
class Monitor:
    """A monitor that was connected to signals from their start to their end."""

    signals: Signals
    limits: dict[str, float]
    heart: Heart

    @staticmethod
    def connected(signals: Signals, limits: dict[str, float]) -> Monitor:
        """One that finds every QRS."""
        return Monitor(signals, limits, read_heart(signals))

    @property
    def end_s(self) -> float:
        return len(self.signals.arterial_mmhg) / self.signals.rate_hz

    @cached_property
    def arterial_mmhg(self) -> np.ndarray:
        return self.signals.arterial_mmhg[:: self.signals.rate_hz // PRESSURE_HZ]

    @cached_property
    def pulses(self) -> Pulses:
        return find_pulses(self.arterial_mmhg, PRESSURE_HZ)

    @cached_property
    def breaths(self) -> Breaths:
        """An apnoea shows no heart rate in the impedance: the usual rate of all the time serves."""
        return find_breaths(self.signals.respiration_ohm, self.signals.rate_hz, 60 / np.median(np.diff(self.heart.qrs_s)))

    def alarms(self) -> list[Alarm]:
        """Every time that an alarm sounded."""
        found = heart_alarms(self.heart, self.limits, self.end_s) + breathing_alarms(self.breaths, self.limits, self.end_s)
        return found + pressure_alarms("arterial", self.arterial_mmhg, PRESSURE_HZ, self.pulses, self.limits)

    def shows(self, quantity: str, start_s: float, at_s: float) -> float:
        """The reading of a quantity at an instant, in its unit; NaN for none. A cuff is read from `start_s` on."""
        if quantity == "heart-rate":
            if any(a < at_s <= b for a, b in self.heart.fibrillation_s):
                return np.nan
            return _rate(self.heart.qrs_s, at_s, self.limits["asystole_s"])
        if quantity == "pulse-rate":
            return _rate(self.pulses.foot_s, at_s, self.limits["asystole_s"])
        if quantity == "respiration-rate":
            starts = self.breaths.start_s[self.breaths.start_s < at_s]
            ends = self.breaths.end_s[self.breaths.end_s < at_s]
            if len(ends) and at_s - ends[-1] > self.limits["apnoea_s"]:
                return 0.0
            intervals = np.diff(starts)
            silent = np.flatnonzero(intervals > self.limits["apnoea_s"])
            kept = intervals[silent[-1] + 1 :] if len(silent) else intervals
            return 60 / np.mean(kept[-8:]) if len(kept) else 0.0
        channel, part = quantity.split("-")
        if channel == "st":
            return self._st(part, at_s)
        if channel == "cuff":
            return _cuff(part, self.signals.part(start_s, at_s))
        if channel == "arterial":
            return self._arterial(part, at_s)
        recent = self.signals.part(at_s - PRESSURE_S, at_s).venous_mmhg
        return float(np.mean(recent)) if quantity == "venous-mean" else np.nan

    @cached_property
    def _st_beats(self) -> tuple[np.ndarray, np.ndarray]:
        """Of each QRS that shows an ST level its time, and the samples of its onset and of the level 60 ms after its end: both where the
        leads move at 5 % of their highest speed."""
        rate_hz = self.signals.rate_hz
        speed = uniform_filter1d(np.linalg.norm(np.gradient(self.signals.leads_mv, axis=0), axis=1), rate_hz // 100)
        kept, places = [], []
        for qrs_s in self.heart.qrs_s[~self.heart.ventricular & ~self.heart.captured]:
            peak = round(qrs_s * rate_hz)
            if not 0.2 * rate_hz < peak < len(speed) - 0.3 * rate_hz:
                continue
            about = speed[peak - round(0.1 * rate_hz) : peak + round(0.1 * rate_hz)]
            moving = np.flatnonzero(about > 0.05 * np.max(about)) + peak - round(0.1 * rate_hz)
            pieces = np.split(moving, np.flatnonzero(np.diff(moving) > 0.012 * rate_hz) + 1)
            qrs = max(pieces, key=lambda piece: np.max(speed[piece]))
            kept.append(qrs_s)
            places.append((qrs[0], qrs[-1] + round(0.06 * rate_hz)))
        return np.array(kept), np.array(places, dtype=int).reshape(-1, 2)

    def _st(self, lead: str, at_s: float) -> float:
        """Of the last 15 s, the level after each QRS against its onset."""
        qrs_s, places = self._st_beats
        recent = places[(qrs_s > max(at_s - 15, 0) + 0.2) & (qrs_s < at_s - 0.3)]
        one, two, v1, v5 = self.signals.leads_mv[recent].transpose(2, 0, 1)
        onsets, levels = {"I": one, "II": two, "III": two - one, "V1": v1, "V5": v5}[lead].T
        return float(np.mean(levels - onsets)) if len(recent) else np.nan

    def _arterial(self, part: str, at_s: float) -> float:
        pulses = self.pulses
        recent = (pulses.end_s <= at_s) & (pulses.foot_s > at_s - PRESSURE_S)
        flat = self.arterial_mmhg[round((at_s - 2) * PRESSURE_HZ) : round(at_s * PRESSURE_HZ)]
        if np.ptp(flat) < 0.5:
            return float(np.mean(flat))
        return float(np.mean(getattr(pulses, part)[recent])) if np.any(recent) else np.nan


def _rate(beats_s: np.ndarray, at_s: float, silence_s: float) -> float:
    before = beats_s[beats_s < at_s][-13:]
    if len(before) == 0 or at_s - before[-1] > silence_s:
        return 0.0
    intervals = np.diff(before)
    silent = np.flatnonzero(intervals > silence_s)
    kept = intervals[silent[-1] + 1 :] if len(silent) else intervals
    return float(averaged_rate(kept)) if len(kept) else 0.0


def _cuff(part: str, signals: Signals) -> float:
    rate_hz, cuff = signals.rate_hz, signals.cuff_mmhg
    if part == "pressure":
        return float(np.mean(cuff[-5 * rate_hz :]))
    if part == "ceiling":
        return float(np.max(cuff))
    if part == "leak":
        still = cuff[-60 * rate_hz :]
        return float(np.mean(still[:rate_hz]) - np.mean(still[-rate_hz:]))
    reading = read_cuff(cuff[:: rate_hz // PRESSURE_HZ], PRESSURE_HZ, SYSTOLIC_RATIO, DIASTOLIC_RATIO)
    return {"systolic": reading.systolic_mmhg, "diastolic": reading.diastolic_mmhg, "mean": reading.mean_mmhg}[part]


def without_flat_beats(monitor: Monitor) -> Monitor:
    """The same monitor with a filter that takes a QRS for noise when no wave follows it within 0.4 s."""
    signals, heart = monitor.signals, monitor.heart
    leads = signals.leads_mv[:: signals.rate_hz // ECG_HZ]
    slow = sosfiltfilt(butter(4, 10, fs=ECG_HZ, output="sos"), leads, axis=0)

    def waves(qrs_s: float) -> bool:
        after = slow[round((qrs_s + 0.15) * ECG_HZ) : round((qrs_s + 0.4) * ECG_HZ)]
        return len(after) > 2 and np.max(np.ptp(detrend(after, axis=0), axis=0)) > 0.03

    kept = np.array([waves(qrs_s) for qrs_s in heart.qrs_s], dtype=bool)
    of_beats = {name: getattr(heart, name)[kept] for name in ("qrs_s", "ventricular", "on_t", "captured")}
    return replace(monitor, heart=replace(heart, **of_beats))
