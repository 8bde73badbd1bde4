"""Wide beats are wide and narrow ones narrow in the samples, by the rule of global_qrs.py, in every rhythm of the catalogue.

The rule sees eight leads and nothing else. The truth only says afterwards which beat was which, and how long it is said to be.
Limits: AHA/ACCF/HRS, Recommendations for the Standardization and Interpretation of the Electrocardiogram, part III, 2009:
a QRS is wide from 120 ms in an adult, over 100 ms at 4 to 16 years, over 90 ms under 4 years.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from global_qrs import RULE, Qrs, Rule, find_qrs
from program import succeed
from reading import read_truth, read_wav

LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")
FRAME_RATE_HZ = 500
EDGE_S = 0.5
NEAR_S = 0.03
"""How far beside a beat of the truth its steepest moment may be found."""

WIDE_FROM_MS = {"adult": 120.0, "child": 100.0, "neonate": 90.0}
WIDE_CODES = frozenset("VrE/LRa")
"""Truth codes of beats that are wide by definition: ventricular, escape, paced, bundle branch block, aberrant."""
FUSED_CODES = frozenset("Ff")
"""Made of a wide and a narrow beat: anything between, no limit published."""
WIDE_ALTHOUGH_N = {"pre-excitation", "atrial-fibrillation-pre-excited"}
NO_BEATS = {"ventricular-flutter", "ventricular-fibrillation", "ventricular-fibrillation-fine", "asystole", "ventricular-standstill", "paced-no-response"}

RATES_BPM = (30, 45, 55, 75, 95, 120, 150, 180, 220, 250, 280)
"""Tried as far as a rhythm allows them, beside its slowest and usual."""

# The fastest rate, bpm, at which the rule can separate a QRS from the waves beside it: above, T, P or f waves leave no level line between
# two QRS for the 45 ms that it asks for. It then takes them for QRS (146 ms of 92 in supraventricular tachycardia at 220 bpm) or has no
# answer, so those rates would show nothing about our beats. Where early beats fall on the T wave before them it comes soonest.
# Where the axis turns, QRS and T run into each other: at the usual rates of 200 and 220 a third or more of the beats have no answer.
FASTEST_BPM = {
    "early": 95,
    "varying": 95,
    "narrow": 140,
    "conducted": 180,
    "supraventricular": 182,
    "ventricular": 240,
    "turning": 150,
    "monomorphic": 280,
}
_GROUPS = {
    "varying": ("atrial-fibrillation", "atrial-fibrillation-fine", "sinus-arrhythmia"),
    "conducted": ("left-bundle-branch-block", "right-bundle-branch-block", "pre-excitation"),
    "supraventricular": ("supraventricular-tachycardia", "atrial-tachycardia"),
    "ventricular": ("ventricular-tachycardia-bidirectional",),
    "turning": ("ventricular-tachycardia-polymorphic", "torsades"),
    "monomorphic": ("ventricular-tachycardia",),
}
_EARLY = ("premature", "multifocal", "interpolated", "r-on-t", "couplet", "run", "bigeminy", "trigeminy", "quadrigeminy", "no-sensing", "oversensing")

# Against referees on persons' records, mean and standard deviation of the differences in QRS duration, ms: IEC 60601-2-25 (from memory).
MEAN_MS, SD_MS = 10, 10
FUSED_MS = MEAN_MS + 2 * SD_MS
"""A fused beat lasts by the truth as long as its wide part, whose low end fades below the rule's level: it reads 26 ms less."""
UNANSWERED = 0.05
"""Share of a record's beats that may be without an answer, or not be found exactly once; but one of them may."""
UNANSWERED_NAMED = {"paced-no-sensing": 0.25}
"""Pulses that sense nothing start beats within the T wave of others."""
BRISK_P_S = {"neonate": 0.064}
"""P waves that on a T wave move as fast as the rule's slowest QRS, 7 mV/s, and last so long: a newborn's are as tall as an adult's in two
thirds of the time. One that no beat follows may stand so near a QRS that no 45 ms of quiet is left; that beat does not count when the
rule has no answer (see the end of global_qrs.py's first words)."""
MISREAD = 0.05
"""Share of a record's narrow beats that may read wide, but one of them may: f waves that run into a QRS. No wide beat may read narrow."""

CUT_SHORT = {"atrial-fibrillation-pre-excited": 0.03}
"""Share of wide beats that may read up to a tenth below the limit: the interval after them is so short that its QRS cuts them off."""

LOW_AND_BROAD = replace(RULE, slowest_mv_per_s=0.0)
"""For agonal beats, whose waves are slower than the rule's speed of a QRS and follow each other like beats of their own: the level is
the part of the peak alone. There are no P waves, and the T wave is far slower."""


@dataclass(frozen=True)
class Kind:
    """The beats of one kind in one record, ms: as the rule read them and as the truth says; and how many it did not answer."""

    read_ms: np.ndarray
    true_ms: np.ndarray
    unanswered: int

    @property
    def difference_ms(self) -> float:
        return float(np.median(self.read_ms) - np.median(self.true_ms))


def measure(folder: Path, rhythm: str, rate_bpm: float | None = None, body: str = "adult", *settings: str) -> dict[str, Kind]:
    """Renders, reads every QRS by the rule, and sorts what was read into wide, narrow and fused by the truth's codes."""
    target = folder / f"{rhythm}-{rate_bpm}-{body}{'-'.join(settings)}.wav"
    duration_s = 14 if rate_bpm is None or rate_bpm >= 45 else 30
    rate = () if rate_bpm is None else ("--rate", rate_bpm)
    sets = [word for setting in settings for word in ("--set", setting)]
    flags = ("--duration", f"{duration_s}s", "--frame-rate", FRAME_RATE_HZ, "--channels", ",".join(LEADS), "--body", body)
    succeed("render", "--rhythm", rhythm, *rate, *sets, *flags, "-o", target)
    recording = read_wav(target)
    rule: Rule = LOW_AND_BROAD if rhythm == "agonal" else RULE
    found = find_qrs(np.column_stack([recording.values(lead) for lead in LEADS]), FRAME_RATE_HZ, rule)
    beats = read_truth(target, "beats")
    spans = [(float(beat["qrs_onset_s"]) - NEAR_S, float(beat["qrs_end_s"]) + NEAR_S) for beat in beats]
    inner = [qrs.steepest_s for qrs in found if EDGE_S <= qrs.steepest_s <= duration_s - EDGE_S]
    strays = [t for t in inner if not any(start <= t <= stop for start, stop in spans)]
    assert not strays, f"{rhythm} at {rate_bpm} bpm, {body}: QRS where there are none, {strays}"
    brisk = [(p, p + BRISK_P_S[body]) for p in (float(row["time_s"]) for row in read_truth(target, "atrial"))] if body in BRISK_P_S else []
    return sort_by_kind(found, beats, duration_s, rhythm, brisk)


def sort_by_kind(
    found: list[Qrs], beats: list[dict[str, str]], duration_s: float, rhythm: str, brisk_p: list[tuple[float, float]] = ()
) -> dict[str, Kind]:
    """The QRS found within each beat of the truth, by the beat's kind; a beat with none, two or an unanswered one counts as unanswered."""
    quiet_s = 0.001 * RULE.quiet_ms
    kinds: dict[str, tuple[list, list, list]] = {}
    for beat in beats:
        onset, end, code = float(beat["qrs_onset_s"]), float(beat["qrs_end_s"]), beat["code"]
        if onset < EDGE_S or end > duration_s - EDGE_S:
            continue
        wide = code in WIDE_CODES or rhythm in WIDE_ALTHOUGH_N
        read, true, lost = kinds.setdefault("fused" if code in FUSED_CODES else "wide" if wide else "narrow", ([], [], []))
        here = [qrs.duration_ms for qrs in found if onset - NEAR_S <= qrs.steepest_s <= end + NEAR_S]
        if len(here) == 1 and here[0] is not None:
            read.append(here[0])
            true.append(1000.0 * (end - onset))
        elif len(here) != 1 or beat["p_onset_s"] or not any(p < end + quiet_s and p_end > onset - quiet_s for p, p_end in brisk_p):
            lost.append(onset)
    return {name: Kind(np.array(read), np.array(true), len(lost)) for name, (read, true, lost) in kinds.items()}


def catalogue() -> dict[str, dict]:
    listed = json.loads(succeed("catalog", "rhythms", "--json").stdout)["rhythms"]
    return {rhythm["id"]: rhythm for rhythm in listed if rhythm["id"] not in NO_BEATS}


CATALOGUE = catalogue()


def fastest_bpm(rhythm: str) -> float:
    for group, rhythms in _GROUPS.items():
        if rhythm in rhythms:
            return FASTEST_BPM[group]
    if any(word in rhythm for word in _EARLY):
        return FASTEST_BPM["early"]
    return FASTEST_BPM["narrow"]


def rates_of(rhythm: str) -> list[float]:
    """The slowest that a rhythm allows, its usual one, and those between and above that the rule can read, bpm."""
    row = CATALOGUE[rhythm]
    slowest, usual = round(row["min_bpm"] + 0.05, 1), round(row["usual_bpm"], 1)
    fastest = min(row["max_bpm"], fastest_bpm(rhythm))
    always = {slowest} if rhythm in _GROUPS["turning"] else {slowest, usual}
    return sorted(always | {rate for rate in RATES_BPM if slowest < rate <= fastest})


def check(kinds: dict[str, Kind], rhythm: str, body: str) -> list[str]:
    """The faults of a record, in words."""
    wrong = []
    for name, kind in kinds.items():
        beats = kind.unanswered + len(kind.read_ms)
        if kind.unanswered > max(1, UNANSWERED_NAMED.get(rhythm, UNANSWERED) * beats) or kind.unanswered == beats:
            wrong.append(f"{name}: {kind.unanswered} of {beats} without answer")
            continue
        if abs(kind.difference_ms) > (FUSED_MS if name == "fused" else MEAN_MS + SD_MS):
            wrong.append(f"{name}: {np.median(kind.read_ms):.0f} ms read, {np.median(kind.true_ms):.0f} by the truth")
        too_narrow = int((kind.read_ms < WIDE_FROM_MS[body]).sum())
        cut_short = max(1, CUT_SHORT[rhythm] * len(kind.read_ms)) if rhythm in CUT_SHORT else 0
        if name == "wide" and (too_narrow > cut_short or kind.read_ms.min() < 0.9 * WIDE_FROM_MS[body]):
            wrong.append(f"a wide beat of {kind.read_ms.min():.0f} ms")
        too_wide = int((kind.read_ms >= WIDE_FROM_MS[body]).sum())
        if name == "narrow" and too_wide > max(1, MISREAD * len(kind.read_ms)):
            wrong.append(f"{too_wide} of {len(kind.read_ms)} narrow beats read up to {kind.read_ms.max():.0f} ms")
    return wrong


@pytest.mark.parametrize("rhythm", CATALOGUE)
def test_adult_beats_are_as_wide_as_they_are_called(rhythm, tmp_path):
    wrong = {}
    for rate in rates_of(rhythm):
        kinds = measure(tmp_path, rhythm, rate)
        assert kinds, f"no beats at {rate} bpm"
        if problems := check(kinds, rhythm, "adult"):
            wrong[rate] = problems
    assert not wrong


@pytest.mark.parametrize("body", ["child", "neonate"])
def test_smaller_bodies_keep_their_own_limits(body, tmp_path):
    wrong = {}
    # Those whose axis turns are faster than this reads in a smaller body.
    for rhythm in (name for name in CATALOGUE if name not in _GROUPS["turning"]):
        kinds = measure(tmp_path, rhythm, None, body)
        if problems := check(kinds, rhythm, body):
            wrong[rhythm] = problems
    assert not wrong


def test_durations_agree_with_the_truth_as_the_standard_asks(tmp_path):
    kinds = [(r, name, kind) for r in CATALOGUE for name, kind in measure(tmp_path, r).items() if name != "fused"]
    differences = np.array([kind.difference_ms for _, _, kind in kinds])
    assert len(differences) > 60
    # Nothing is left out, although the standard drops the four largest of a hundred.
    assert abs(differences.mean()) <= MEAN_MS, differences
    assert differences.std() <= SD_MS, differences


@pytest.mark.parametrize("rhythm", ["ventricular-tachycardia-polymorphic", "torsades"])
def test_where_qrs_touch_no_wide_beat_is_read_as_narrow(rhythm, tmp_path):
    # From 180 bpm on T runs into the next QRS and many beats stay unanswered; the answered ones must be wide.
    kind = measure(tmp_path, rhythm, 200)["wide"]
    assert len(kind.read_ms) >= 3
    assert (kind.read_ms >= WIDE_FROM_MS["adult"]).all(), kind.read_ms


@pytest.mark.parametrize("set_ms", [60, 80, 110, 130, 150])
def test_what_is_set_is_read(set_ms, tmp_path):
    # A sinus beat set to 130 ms is read as wide: the rule judges the samples, not the name.
    kind = measure(tmp_path, "sinus", 60, "adult", f"ecg.qrs_ms={set_ms}")["narrow"]
    assert not kind.unanswered
    assert np.median(kind.read_ms) == pytest.approx(set_ms, abs=MEAN_MS)


if __name__ == "__main__":
    # The figures, one line a record and kind: `python test_wide_beats.py`.
    import tempfile

    usual: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        for body in WIDE_FROM_MS:
            for rhythm in CATALOGUE:
                for rate in rates_of(rhythm) if body == "adult" else [None]:
                    for name, kind in measure(Path(folder), rhythm, rate, body).items():
                        if body == "adult" and rate in (None, round(CATALOGUE[rhythm]["usual_bpm"], 1)) and name != "fused":
                            usual.append(kind.difference_ms)
                        read = f"{np.median(kind.read_ms):.0f} ({kind.read_ms.min():.0f} to {kind.read_ms.max():.0f})" if len(kind.read_ms) else "nothing"
                        true = f"{np.median(kind.true_ms):.0f}" if len(kind.true_ms) else "-"
                        print(f"{body} {rhythm} {rate or 'usual'} {name}: {len(kind.read_ms)} read, {kind.unanswered} unanswered, {read} ms, truth {true}")
    print(f"adults at usual rates: {len(usual)} kinds, read less true {np.mean(usual):.1f} ms, standard deviation {np.std(usual):.1f} ms")
