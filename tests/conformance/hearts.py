"""Whether ventricles, valves and vessels obey each other, from samples of their pressures alone.

Pulses are found by scipy; no truth file is read, no setting is known but the documented transit time to the wrist.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import minimum_filter1d
from scipy.signal import find_peaks

CHANNELS = "arterial,pulmonary,left-ventricle,right-ventricle,left-atrium,right-atrium,venous,wedge"
FRAME_RATE_HZ = 1000
TRANSIT_S = {"arterial": 0.070, "pulmonary": 0.0}
"""From the heart to where the pressure is taken, as documented."""


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
            found.append((upstroke(slope, foot, top), top))
    return found


def upstroke(slope: np.ndarray, foot: int, top: int) -> int:
    """Where the last rise before a top begins: an early pulse may come while the wave after the notch before it still rises."""
    steep = find_peaks(slope[foot : top + 1], prominence=3.0)[0]
    if len(steep) < 2:
        return foot
    return foot + int(steep[-2]) + int(np.argmin(slope[foot + steep[-2] : foot + steep[-1]]))


def against_the_flow(channels: dict[str, np.ndarray]) -> Findings:
    """By how much a pressure downstream is above the one upstream while blood flows, and the steepest slopes."""
    findings = Findings()
    for artery, ventricle, atrium in (
        ("arterial", "left-ventricle", "left-atrium"),
        ("pulmonary", "right-ventricle", "right-atrium"),
    ):
        vessel, chamber, before = channels[artery], channels[ventricle], channels[atrium]
        transit = round(TRANSIT_S[artery] * FRAME_RATE_HZ)
        for foot, top in ejections(vessel):
            frames = np.arange(foot + 1, top + 1)
            frames = frames[frames >= transit]
            findings.note(f"{artery} over {ventricle}", vessel[frames] - chamber[frames - transit], frames)
        # Filling: from where the ventricle is lowest after a beat until its pressure rises faster than any filling does.
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
    # What atria bring is less than 4 mmHg.
    tops = find_peaks(chamber, prominence=4.0)[0]
    found = []
    for top, following in zip(tops[:-1], tops[1:], strict=True):
        begin = top + int(np.argmin(chamber[top:following]))
        # Below a third of the way up, the last frame without an upstroke.
        low = chamber[begin] + 0.35 * (chamber[following] - chamber[begin])
        end = begin + int(np.flatnonzero(chamber[begin:following] < low)[-1])
        calm = np.flatnonzero(slope[begin:end] < 10)
        if len(calm):
            found.append((begin, begin + int(calm[-1])))
    return found


def corner(values: np.ndarray, frames: int = 20) -> float:
    """Largest fall within some frames, in the unit of the values."""
    return float(np.max(values - minimum_filter1d(values, frames, origin=-frames // 2)))
