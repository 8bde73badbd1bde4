"""Global QRS onset and end of a recording of many leads, from its samples alone: no truth, no rate, no marks.

The rule is put together from published parts, and knows nothing of Pulsewright:

- Global onset is the earliest, global end the latest in any of the leads recorded together: CSE Working Party, Eur Heart J 6
  (1985) 815-825, taken over by IEC 60601-2-51 and 60601-2-25 (from memory).
- One trace that moves when any lead moves, the spatial velocity: the root of the sum (here the mean) of the squared slopes.
  Programs for Frank leads and for twelve leads find the QRS by it: van Bemmel, Kors, van Herpen, Methods Inf Med 29 (1990)
  346-353 (from memory). Slopes are those of Savitzky and Golay, Anal Chem 36 (1964) 1627-1639, over 10 ms.
- A QRS is where the leads travel far within 130 ms, the mean of that trace: the length transform of Zong, Moody, Jiang, Computers
  in Cardiology 30 (2003) 737-740 (from memory). One is not followed by another within 170 ms, so that 300 bpm can be heard.
- An edge is where the trace falls below a part of its peak and stays there: Laguna, Jané, Caminal, Comput Biomed Res 27 (1994)
  45-60, a part of a tenth to a third in one lead (from memory); it stays if it is quiet for longer than a notch lasts.

The figures that the papers leave open are set here: by the real record s0010_re and shapes with known edges, on which
test_global_qrs.py shows that wrong figures fail; and, within what those allow, so that the T waves of our fast wide rhythms are not
taken for QRS. By the record and the shapes alone `slowest_mv_per_s` might be 9, `slowest_part` 0.2 or 0.35, `quiet_ms` 40 or 60.

Limit: where a T, P or f wave as fast as a slow QRS joins a QRS without a level line between, it reads too much or gives no
answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks, medfilt, savgol_filter


@dataclass(frozen=True)
class Rule:
    """The figures of the rule; `RULE` holds those in use, others are for showing that they matter."""

    slope_ms: float = 10.0
    """Span over which a slope is taken."""
    part: float = 0.10
    """An edge lies where the spatial velocity passes this part of the peak that it has in the QRS."""
    slowest_mv_per_s: float = 7.0
    """No QRS where the leads move slower, root mean square: P and T of s0010_re reach half of it; the smallest wave of
    IEC 60601-2-51, annex GG.5, 30 uV in 6 ms, moves at 5 mV/s."""
    slowest_part: float = 0.25
    """This part of the peak is a QRS at any speed; otherwise the rule would miss a low and broad QRS."""
    notch_ms: float = 30.0
    """Quiet for less is a notch within the QRS: that of s0010_re lasts up to 20 ms."""
    quiet_ms: float = 45.0
    """Quiet for at least as long is the end of the QRS. Between the two lengths the rule gives no answer."""


RULE = Rule()

PULSE_MV = 0.2
"""A pacing pulse stands out by this much from its two neighbours on either side, for one or two frames."""
WINDOW_MS = 130.0
REFRACTORY_MS = 170.0
HEARD_PART = 0.35
"""In a beat's window the leads travel at least this part of the farthest: in P and T waves they travel less."""


@dataclass(frozen=True)
class Qrs:
    """One QRS: where the leads move fastest, its onset and end, seconds; `None` where the rule finds no edge."""

    steepest_s: float
    onset_s: float | None
    end_s: float | None

    @property
    def duration_ms(self) -> float | None:
        """Global QRS duration; `None` unless both edges were found."""
        if self.onset_s is None or self.end_s is None:
            return None
        return 1000.0 * (self.end_s - self.onset_s)


def without_pulses(leads_mv: np.ndarray) -> np.ndarray:
    """The leads (frames by leads) with pacing pulses cut out and bridged."""
    smooth = np.column_stack([medfilt(lead, 5) for lead in leads_mv.T])
    pulse = (np.abs(leads_mv - smooth) > PULSE_MV).any(axis=1)
    return np.where(pulse[:, None], smooth, leads_mv)


def spatial_velocity(leads_mv: np.ndarray, frame_rate_hz: float, rule: Rule = RULE) -> np.ndarray:
    """Root of the mean of the squared slopes of the leads (frames by leads), mV/s."""
    span = 2 * max(1, round(rule.slope_ms / 2000.0 * frame_rate_hz)) + 1
    slopes = savgol_filter(without_pulses(leads_mv), span, 2, deriv=1, delta=1.0 / frame_rate_hz, axis=0)
    return np.sqrt((slopes**2).mean(axis=1))


def find_qrs(leads_mv: np.ndarray, frame_rate_hz: float, rule: Rule = RULE) -> list[Qrs]:
    """Every QRS of a recording: `leads_mv` is frames by leads, the independent ones or all twelve."""
    velocity = spatial_velocity(np.asarray(leads_mv, dtype=np.float64), frame_rate_hz, rule)
    steepest = _steepest(velocity, frame_rate_hz)
    found = []
    for top in steepest:
        level = max(rule.part * velocity[top], min(rule.slowest_mv_per_s, rule.slowest_part * velocity[top]))
        moving = velocity > level
        after = _edge(moving[top:], frame_rate_hz, rule)
        before = _edge(moving[top::-1], frame_rate_hz, rule)
        found.append(
            Qrs(
                top / frame_rate_hz,
                None if before is None else (top - before) / frame_rate_hz,
                None if after is None else (top + after) / frame_rate_hz,
            )
        )
    return found


def _steepest(velocity: np.ndarray, frame_rate_hz: float) -> list[int]:
    """The fastest frame of every beat."""
    frames = round(WINDOW_MS / 1000.0 * frame_rate_hz) | 1
    heard = np.convolve(velocity, np.ones(frames) / frames, "same")
    beats, _ = find_peaks(heard, distance=round(REFRACTORY_MS / 1000.0 * frame_rate_hz), height=HEARD_PART * heard.max())
    tops = {max(0, beat - frames) + int(np.argmax(velocity[max(0, beat - frames) : beat + frames + 1])) for beat in beats}
    return sorted(tops)


def _edge(moving: np.ndarray, frame_rate_hz: float, rule: Rule) -> int | None:
    """Frames from the first to the last that moves, before the quiet that ends a QRS; `None` when there is no such quiet."""
    marks = np.flatnonzero(moving)
    gaps_ms = (np.diff(np.append(marks, len(moving))) - 1) * 1000.0 / frame_rate_hz
    for mark, gap_ms in zip(marks, gaps_ms, strict=True):
        if gap_ms >= rule.quiet_ms:
            return int(mark)
        if gap_ms >= rule.notch_ms:
            return None
    return None
