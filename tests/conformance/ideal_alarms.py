"""Alarms of a monitor without faults, from what `ideal_monitor` found in the samples and the limits that the monitor is set to.

The rules are those that docs/script.md states.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ideal_monitor import Breaths, Heart, Pulses, averaged_rate

PULSES_OVER_S = 4.0
"""So long after its last pulse a pacing device is out of use."""
ATRIUM_TO_VENTRICLE_S = 0.25
"""Longest delay of a device between its two pulses."""
PRESSURE_DELAY_S = 4.0
RATES = (("extreme-tachycardia", "extreme_high_bpm", 1), ("extreme-bradycardia", "extreme_low_bpm", -1),
         ("high-rate", "rate_high_bpm", 1), ("low-rate", "rate_low_bpm", -1))

PRIORITIES = {
    "ventricular-fibrillation": "high",
    "asystole": "high",
    "ventricular-tachycardia": "high",
    "extreme-tachycardia": "high",
    "extreme-bradycardia": "high",
    "apnoea": "high",
    "ventricular-rhythm": "medium",
    "ventricular-run": "medium",
    "r-on-t": "medium",
    "pacing-no-sensing": "medium",
    "pacing-no-capture": "medium",
    "pause": "medium",
    "high-rate": "medium",
    "low-rate": "medium",
    "arterial-high": "medium",
    "arterial-low": "medium",
    "venous-high": "medium",
    "venous-low": "medium",
    "missed-beat": "low",
}
"""By default; the three names are those of IEC 60601-1-8, the choice is makers' printed defaults (common practice)."""


@dataclass
class Alarm:
    """One time that an alarm sounds; `end_s` is infinite while it goes on."""

    kind: str
    time_s: float
    end_s: float = np.inf


class Panel:
    """The alarms that sound, in the order in which they began."""

    def __init__(self):
        self.alarms: list[Alarm] = []
        self.sounding: dict[str, Alarm] = {}

    def set(self, kind: str, sounds: bool, at_s: float) -> None:
        """An alarm begins, goes on or ends."""
        if sounds and kind not in self.sounding:
            self.sounding[kind] = Alarm(kind, at_s)
            self.alarms.append(self.sounding[kind])
        elif not sounds and kind in self.sounding:
            self.sounding.pop(kind).end_s = at_s

    def flash(self, kind: str, at_s: float, end_s: float) -> None:
        """An alarm about something that is over."""
        if kind not in self.sounding:
            self.alarms.append(Alarm(kind, at_s, end_s))


def heart_alarms(heart: Heart, limits: dict[str, float], end_s: float) -> list[Alarm]:
    """Alarms of rate, rhythm and the absence of beats."""
    panel = Panel()
    for start, stop in heart.fibrillation_s:
        panel.flash("ventricular-fibrillation", start + limits["fibrillation_s"], stop)
    _beats(panel, heart, limits, end_s)
    _pacing(panel, heart)
    return sorted(panel.alarms, key=lambda alarm: alarm.time_s)


def _beats(panel: Panel, heart: Heart, limits: dict[str, float], end_s: float) -> None:
    """Goes from QRS to QRS; what was before a silence or fibrillation is forgotten."""
    last, memory = 0.0, _Memory()
    waves = list(heart.fibrillation_s)
    for i, now in enumerate([*heart.qrs_s, end_s]):
        while waves and waves[0][0] < now:
            start, stop = waves.pop(0)
            _silence(panel, limits, last, start)
            _quiet(panel, start)
            last, memory = stop, _Memory()
        if _silence(panel, limits, last, now):
            memory = _Memory()
        if i == len(heart.qrs_s):
            break
        interval = now - last if memory.beats else None
        if interval is not None:
            memory.missed(panel, limits, interval, last)
            memory.intervals.append(interval)
        memory.beats += 1
        _runs(panel, memory, limits, now, bool(heart.ventricular[i]))
        if heart.on_t[i]:
            panel.flash("r-on-t", now, now)
        if interval is not None:
            _rates(panel, memory, limits, now)
        last = now


class _Memory:
    """Beats in a row: how many, their intervals, and the ventricular ones among the last."""

    def __init__(self):
        self.beats = 0
        self.intervals: list[float] = []
        self.run: list[float] = []
        self.ventricular: list[bool] = []
        self.long: tuple[float, float] | None = None

    def missed(self, panel: Panel, limits: dict[str, float], interval: float, last: float) -> None:
        """A single long interval among regular ones is a missed beat, once the next one is short again."""
        if self.long is not None and interval < 1.3 * self.long[1]:
            panel.flash("missed-beat", last, last)
        self.long = None
        before = np.array(self.intervals[-6:])
        if len(before) < 3 or any(self.ventricular[-7:]):
            return
        usual = np.min(before)
        regular = np.all((before < 1.1 * usual) | (before > 1.8 * usual))
        if regular and 0.01 * limits["missed_beat_percent"] * usual < interval <= limits["pause_s"]:
            self.long = (interval, usual)


def _quiet(panel: Panel, at_s: float) -> None:
    for kind in ("ventricular-tachycardia", "ventricular-rhythm", "asystole", "pause", *(kind for kind, *_ in RATES)):
        panel.set(kind, False, at_s)


def _silence(panel: Panel, limits: dict[str, float], last: float, now: float) -> bool:
    """No QRS between two instants; returns whether that was an asystole."""
    pause, asystole = last + limits["pause_s"], last + limits["asystole_s"]
    if now > pause:
        panel.flash("pause", pause, min(now, asystole))
    if now > asystole:
        _quiet(panel, asystole)
        panel.flash("asystole", asystole, now)
    return now > asystole


def _runs(panel: Panel, memory: _Memory, limits: dict[str, float], now: float, ventricular: bool) -> None:
    memory.ventricular.append(ventricular)
    needed = int(limits["tachycardia_beats"])
    if not ventricular:
        if 3 <= len(memory.run) < needed:
            panel.flash("ventricular-run", memory.run[0], now)
        memory.run = []
        panel.set("ventricular-tachycardia", False, now)
        panel.set("ventricular-rhythm", False, now)
        return
    memory.run.append(now)
    if len(memory.run) >= needed:
        fast = 60 / np.mean(np.diff(memory.run[-needed:])) >= limits["tachycardia_bpm"]
        panel.set("ventricular-tachycardia", fast, now)
        panel.set("ventricular-rhythm", not fast, now)


def _rates(panel: Panel, memory: _Memory, limits: dict[str, float], now: float) -> None:
    """A rate alarm begins when the average and the last interval are beyond a limit, and ends with the average."""
    shown, last = averaged_rate(np.array(memory.intervals)), memory.intervals[-1]
    enough = len(memory.intervals) >= 4 or (len(memory.intervals) >= 2 and last > 1.2)
    tachycardia = "ventricular-tachycardia" in panel.sounding
    taken = {1: tachycardia, -1: False}
    for kind, limit, side in RATES:
        beyond = enough and side * shown > side * limits[limit]
        now_too = side * 60 / last > side * limits[limit]
        panel.set(kind, beyond and not taken[side] and (now_too or kind in panel.sounding), now)
        taken[side] = taken[side] or beyond


def _pacing(panel: Panel, heart: Heart) -> None:
    if len(heart.pulses_s) < 2:
        return
    # A pulse to the atria is followed by one to the ventricles.
    ventricular = np.append(np.diff(heart.pulses_s) > ATRIUM_TO_VENTRICLE_S, True)
    pulses, answered = heart.pulses_s[ventricular], heart.answered[ventricular]
    own = heart.qrs_s[~heart.captured]
    for i, pulse in enumerate(pulses):
        before = own[own < pulse]
        since = pulse - before[-1] if len(before) else np.inf
        period = np.median(np.diff(pulses[max(0, i - 4) : i + 5]))
        panel.set("pacing-no-capture", not answered[i], pulse)
        panel.set("pacing-no-sensing", 0.1 < since < 0.6 * period, pulse)
        over = pulse + PULSES_OVER_S
        if i + 1 == len(pulses) or pulses[i + 1] > over:
            for kind in ("pacing-no-capture", "pacing-no-sensing"):
                panel.set(kind, False, over)


def breathing_alarms(breaths: Breaths, limits: dict[str, float], end_s: float) -> list[Alarm]:
    """Apnoea, from the end of the last breath."""
    ends, starts = [0.0, *breaths.end_s], [*breaths.start_s, end_s]
    gaps = [(a + limits["apnoea_s"], b) for a, b in zip(ends, starts, strict=True)]
    return [Alarm("apnoea", begin, end) for begin, end in gaps if end > begin]


def pressure_alarms(name: str, mmhg: np.ndarray, rate_hz: int, pulses: Pulses, limits: dict[str, float]) -> list[Alarm]:
    """A pressure beyond a limit for some seconds: of each pulse, or of each second without one."""
    looks = list(zip(pulses.foot_s, pulses.end_s, pulses.systolic, pulses.diastolic, pulses.mean, strict=True))
    edges = np.array([0.0, *pulses.end_s])
    for second in range(len(mmhg) // rate_hz):
        last = edges[np.searchsorted(edges, second, side="right") - 1]
        if second - last > PRESSURE_DELAY_S:
            piece = mmhg[second * rate_hz : (second + 1) * rate_hz]
            looks.append((second, second + 1, np.max(piece), np.min(piece), np.mean(piece)))
    panel, since = Panel(), {}
    for start, end, *shown in sorted(looks):
        for side, word in ((1, "high"), (-1, "low")):
            bounds = [limits[f"{name}_{part}_{word}_mmhg"] for part in ("systolic", "diastolic", "mean")]
            beyond = any(side * value > side * bound for value, bound in zip(shown, bounds, strict=True))
            since[word] = since.get(word) or start if beyond else None
            panel.set(f"{name}-{word}", beyond and end - since[word] >= PRESSURE_DELAY_S, end)
    return panel.alarms
