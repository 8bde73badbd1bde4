"""Whether ventricles, valves and vessels obey each other, from samples of their pressures alone.

Pulses are found by scipy; no truth file is read, no setting is known but the documented transit time to the wrist.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.signal import find_peaks

CHANNELS = "arterial,pulmonary,left-ventricle,right-ventricle,left-atrium,right-atrium,venous,wedge"
FRAME_RATE_HZ = 1000
TRANSIT_S = {"arterial": 0.070, "pulmonary": 0.0}
"""From the heart to where the pressure is taken, as documented."""


CLOSING_FRAMES = 30
"""Before the last frame without an upstroke, in which a valve may have closed already."""


@dataclass
class Findings:
    """The worst that was found, mmHg or mmHg/s, and when, s."""

    worst: dict[str, tuple[float, float]] = field(default_factory=dict)

    def note(self, name: str, values: np.ndarray, places: np.ndarray) -> None:
        """Keeps the largest of `values`, found at the frames `places`."""
        if len(values) and np.max(values) > self.worst.get(name, (-np.inf, 0.0))[0]:
            at = int(np.argmax(values))
            self.worst[name] = (float(values[at]), float(places[at]) / FRAME_RATE_HZ)

    def __getitem__(self, name: str) -> float:
        return self.worst.get(name, (-np.inf, 0.0))[0]


def ejections(artery: np.ndarray) -> list[tuple[int, int]]:
    """Frames of foot and top of each upstroke of an artery that is higher than 1 mmHg; a wave after the notch is none."""
    slope = np.gradient(artery) * FRAME_RATE_HZ
    found = []
    for top in find_peaks(artery, prominence=1.0)[0]:
        window = slope[max(0, top - 250) : top]
        flat = np.flatnonzero(window <= 0)
        foot = top - len(window) + (int(flat[-1]) + 1 if len(flat) else 0)
        if foot >= top:
            continue
        # Without beats a pressure may creep up before the pulse.
        foot += int(np.argmax(slope[foot:top] > 0.05 * slope[foot:top].max()))
        height = artery[top] - artery[foot]
        # The wave after a notch is lower than the pulse just before it, and far smaller.
        pulse = artery[max(0, top - 350) : foot + 1]
        before = max(pulse.max(), artery[top])
        # After an arrest the artery has hardly fallen when the wave comes, but the pulse was high.
        after_notch = before > artery[top] and height < max(0.25 * (before - artery[foot]), 0.06 * np.ptp(pulse))
        if height > 1.0 and slope[foot:top].max() > 20 and top > 500 and not after_notch:
            found.append((foot, top))
    return found


CONTRACTS_MMHG = 3.0
"""A ventricle that comes over its atrium by less does not contract."""

CHEST_MMHG_PER_S = 60.0
"""Faster than breathing moves a vessel: 8 mmHg in the half second of a newborn's breath is 25 mmHg/s, and a notch adds to it."""


def contraction(over_atrium: np.ndarray, foot: int, top: int) -> int | None:
    """First frame of the contraction behind an upstroke; none where a chest that breathes out raises the artery by itself.

    Breathing moves a ventricle and its atrium alike, so their difference does not show it.
    """
    begin = max(0, foot - 100)
    lead = over_atrium[begin : top + 1]
    gained = lead - np.minimum.accumulate(lead)
    gained[lead < CONTRACTS_MMHG] = 0
    most = foot - begin + int(np.argmax(gained[foot - begin :]))
    # One that relaxes from the foot on drives nothing.
    if gained[most] < CONTRACTS_MMHG or begin + most < foot + 10:
        return None
    slope = np.diff(lead[: most + 1])
    fastest = int(np.argmax(slope))
    # An atrium that relaxes just before makes a slower rise.
    calm = np.flatnonzero(slope[:fastest] < 0.2 * slope[fastest])
    return begin + (int(calm[-1]) + 1 if len(calm) else 0)


def moved_by_breathing(artery: np.ndarray, over_atrium: np.ndarray, foot: int, top: int) -> tuple[int, float] | None:
    """Foot of an upstroke without the rise before it that breathing makes, and that rise, mmHg/s; none when it is all of the upstroke.

    An upstroke faster than a chest stays one, whatever the ventricle does.
    """
    start = contraction(over_atrium, foot, top)
    if start is None:
        fastest = np.diff(artery[foot : top + 1]).max() * FRAME_RATE_HZ
        return (foot, 0.0) if fastest > CHEST_MMHG_PER_S else None
    if start <= foot or np.diff(artery[foot : start + 1]).max() * FRAME_RATE_HZ > CHEST_MMHG_PER_S:
        return foot, 0.0
    return start, (artery[start] - artery[foot]) / (start - foot) * FRAME_RATE_HZ


def opening(artery: np.ndarray, ventricle: np.ndarray, foot: int, top: int, breathing_mmhg_per_s: float = 0.0) -> int:
    """When the ventricle last came over the artery before a top; the foot when it never did, or when the artery was ahead of it.

    An early pulse may come while the wave after the notch before it still rises, which no ventricle makes: that is at most an
    eighth of the pulse before it.
    """
    below = np.flatnonzero(ventricle[foot:top] < artery[foot:top])
    if not len(below) or foot + below[-1] >= top - 1:
        return foot
    opened = foot + int(below[-1]) + 1
    wave = 0.125 * np.ptp(artery[max(0, foot - 600) : foot + 1])
    wave += 1.5 * breathing_mmhg_per_s * (opened - foot) / FRAME_RATE_HZ
    return opened if artery[opened] - artery[foot] <= wave else foot


def against_the_flow(channels: dict[str, np.ndarray]) -> Findings:
    """By how much a pressure downstream is above the one upstream while blood flows, and the steepest slopes."""
    findings = Findings()
    for artery, ventricle, atrium in (
        ("arterial", "left-ventricle", "left-atrium"),
        ("pulmonary", "right-ventricle", "right-atrium"),
    ):
        vessel, chamber, before = channels[artery], channels[ventricle], channels[atrium]
        transit = round(TRANSIT_S[artery] * FRAME_RATE_HZ)
        at_wrist = np.concatenate((np.full(transit, chamber[0]), chamber[: len(chamber) - transit]))
        for foot, top in ejections(vessel):
            breathing = 0.0
            if artery == "pulmonary":
                moved = moved_by_breathing(vessel, chamber - before, foot, top)
                if moved is None:
                    continue
                foot, breathing = moved
            frames = np.arange(opening(vessel, at_wrist, foot, top, breathing), top + 1)
            # A valve opens between two frames, in which a ventricle rises by up to 2 mmHg.
            upstream = np.maximum(at_wrist[frames], at_wrist[np.minimum(frames + 1, len(at_wrist) - 1)])
            findings.note(f"{artery} over {ventricle}", vessel[frames] - upstream, frames)
        # Filling: from the ventricle's lowest pressure after a beat until its pressure rises faster than any filling.
        for begin, end in fillings(chamber):
            frames = np.arange(begin, end)
            if chamber[begin] > before[begin]:
                # A beat so early that the ventricle has not relaxed: nothing flows in.
                continue
            findings.note(f"{ventricle} over {atrium}", chamber[frames] - before[frames], frames)
        slope = np.gradient(vessel) * FRAME_RATE_HZ
        frames = np.arange(len(slope))
        findings.note(f"{artery} falls", -slope, frames)
        findings.note(f"{artery} rises", slope, frames)
    for name, values in channels.items():
        findings.note(f"{name} jumps", np.abs(np.diff(values)), np.arange(len(values) - 1))
    return findings


def fillings(chamber: np.ndarray) -> list[tuple[int, int]]:
    """First and last frame of each stretch in which a ventricle fills: from its lowest pressure after a beat to the next upstroke."""
    slope = np.gradient(chamber) * FRAME_RATE_HZ
    # The atria add less than 4 mmHg.
    tops = find_peaks(chamber, prominence=4.0)[0]
    found = []
    for top, following in zip(tops[:-1], tops[1:], strict=True):
        begin = top + int(np.argmin(chamber[top:following]))
        # Below a third of the way up, the last frame without an upstroke.
        low = chamber[begin] + 0.35 * (chamber[following] - chamber[begin])
        end = begin + int(np.flatnonzero(chamber[begin:following] < low)[-1])
        calm = np.flatnonzero(slope[begin:end] < 10)
        if len(calm):
            # Once the valve has closed, the atrium may relax before the ventricle rises.
            found.append((begin, begin + int(calm[-1]) - CLOSING_FRAMES))
    return [(begin, end) for begin, end in found if end > begin]
