"""Pairs true beats with heard beats.

Written from the published rule (ANSI/AAMI EC57, as in the documentation of the open waveform-database
comparator): a heard beat belongs to a true beat when they are at most 150 ms apart, and each belongs to at most
one of the other. Among sorted times, taking the earliest possible pair first gives the largest possible number
of pairs, so no choice of pairs can make a detector look better than this does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

WINDOW_S = 0.150
"""Match window, inclusive. Source: ANSI/AAMI EC57."""

BEAT_CODES = frozenset("NLRBAaJSVrFejnE/fQ?")
"""Annotation codes of beats, as open annotation files write them; the other codes are no beats."""

_ROUNDING_S = 1e-9


@dataclass(frozen=True)
class Agreement:
    """How a list of heard beats agrees with the true beats."""

    pairs: tuple[tuple[float, float], ...]
    missed_s: tuple[float, ...]
    extra_s: tuple[float, ...]

    @property
    def sensitivity(self) -> float:
        """Share of the true beats that were heard, 0 to 1; 0 when there was no true beat."""
        true = len(self.pairs) + len(self.missed_s)
        return len(self.pairs) / true if true else 0.0

    @property
    def positive_predictivity(self) -> float:
        """Share of the heard beats that are true, 0 to 1; 0 when nothing was heard."""
        heard = len(self.pairs) + len(self.extra_s)
        return len(self.pairs) / heard if heard else 0.0


def match(true_s, heard_s, window_s: float = WINDOW_S) -> Agreement:
    """Pair true with heard times (seconds, any order)."""
    true = np.sort(np.asarray(true_s, dtype=np.float64)).tolist()
    heard = np.sort(np.asarray(heard_s, dtype=np.float64)).tolist()
    pairs, missed, extra = [], [], []
    i = j = 0
    while i < len(true) and j < len(heard):
        late_by = heard[j] - true[i]
        if abs(late_by) <= window_s + _ROUNDING_S:
            pairs.append((true[i], heard[j]))
            i += 1
            j += 1
        elif late_by < 0:
            extra.append(heard[j])
            j += 1
        else:
            missed.append(true[i])
            i += 1
    missed.extend(true[i:])
    extra.extend(heard[j:])
    return Agreement(tuple(pairs), tuple(missed), tuple(extra))


def within(times_s, from_s: float, to_s: float) -> np.ndarray:
    """The times in the half-open span from `from_s` to `to_s`."""
    times = np.asarray(times_s, dtype=np.float64)
    return times[(times >= from_s) & (times < to_s)]


def mean_rate_bpm(beats_s) -> float:
    """Mean rate over whole RR intervals, beats per minute; NaN under two beats."""
    beats = np.sort(np.asarray(beats_s, dtype=np.float64))
    if len(beats) < 2:
        return float("nan")
    return 60.0 * (len(beats) - 1) / (beats[-1] - beats[0])
