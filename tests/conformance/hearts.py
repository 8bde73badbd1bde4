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
        before = artery[max(0, top - 350) : top + 1].max()
        after_notch = before > artery[top] and height < 0.25 * (before - artery[foot])
        if height > 1.0 and slope[foot:top].max() > 20 and top > 500 and not after_notch:
            found.append((foot, top))
    return found


def opening(artery: np.ndarray, ventricle: np.ndarray, foot: int, top: int) -> int:
    """When the ventricle last came over the artery before a top; the foot when it never did, or when the artery was ahead of it.

    An early pulse may come while the wave after the notch before it still rises, which no ventricle makes: that is at most an
    eighth of the pulse before it.
    """
    below = np.flatnonzero(ventricle[foot:top] < artery[foot:top])
    if not len(below) or foot + below[-1] >= top - 1:
        return foot
    opened = foot + int(below[-1]) + 1
    wave = 0.125 * np.ptp(artery[max(0, foot - 600) : foot + 1])
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
            frames = np.arange(opening(vessel, at_wrist, foot, top), top + 1)
            findings.note(f"{artery} over {ventricle}", (vessel - at_wrist)[frames], frames)
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
