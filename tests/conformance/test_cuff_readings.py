"""Reported readings of a cuff are those that sensible methods read of the samples: `readings` of `oscillometry`, by scipy alone.

The reported value lies within 3 mmHg of the band of the methods' readings. Each method's reading lies within 3 mmHg of the reported
band, and that band is wider by at most 4 mmHg than these readings differ. Where methods agree, the band is one value; where they
don't, as of alternating pulses, no single value is right.

Of fibrillating atria no method is right: a review of five studies found that oscillometric monitors read a diastolic pressure
some 3 mmHg too high and a systolic pressure that scatters, and advises to repeat the measurement (Stergiou et al., Journal of
Hypertension 2012, from memory). The widths of the bands here are those of one measurement.

`PULSEWRIGHT_EXPECT=all` plays eighteen measurements of unrelated pulses; without it three.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
from oscillometry import readings
from program import rendered
from reading import read_truth, read_wav
from scripts import document, step

FRAME_RATE_HZ = 500
START_S = 10
"""The measurement begins with its second step."""
RUNNING_S = 0.6
"""So long after the foot of its last pulse a measurement goes on."""
PARTS = ("systolic", "mean", "diastolic")
SEEDS = range(2, 20 if os.environ.get("PULSEWRIGHT_EXPECT") == "all" else 5)
WITHIN_MMHG = 3.0
WIDER_MMHG = 4.0

CASES = {
    "steady": ({},),
    "low": ({"arterial": {"systolic_mmhg": 85, "diastolic_mmhg": 50}},),
    "neonate": ({"body": "neonate", "cuff": {"inflate_mmhg": 120, "deflation_mmhg_per_s": 2.5, "oscillation_mmhg": 1.5}},),
    "rising": ({"arterial": {"systolic_mmhg": {"to": 140}, "diastolic_mmhg": {"to": 95}}},),
    "falling": ({"arterial": {"systolic_mmhg": {"from": 140, "to": 110}, "diastolic_mmhg": {"from": 90, "to": 70}}},),
    "alternans of 12": ({"arterial": {"alternans_mmhg": 12}},),
    "alternans of 30": ({"arterial": {"alternans_mmhg": 30}},),
    "paradoxus": ({"arterial": {"breathing_mmhg": 20}},),
    "variation": ({"arterial": {"variation_percent": 25}},),
    "av-block": ({"rhythm": "av-block-2-type-1"},),
    "sinus-arrest": ({"rhythm": "sinus-arrest"},),
    "bigeminy": ({"rhythm": "ventricular-bigeminy"},),
    "resting life": ({"life": "resting"},),
    "lively": ({"life": "lively"},),
    "lower half way": ({}, {"arterial": {"systolic_mmhg": 100, "diastolic_mmhg": 60}}),
    "higher half way": ({}, {"arterial": {"systolic_mmhg": 140, "diastolic_mmhg": 95}}),
    "faster half way": ({}, {"rate_bpm": 130}),
}
"""Settings of the whole measurement, or of its two halves."""

ONE_VALUE = ("steady", "low", "neonate", "rising", "falling")
"""Methods agree on these, and the band is one value."""


def measured(folder: Path, *settings: dict, seed: int) -> tuple[dict[str, tuple[float, float]], dict[str, dict[str, float]], str]:
    """One measurement: the reported bands, what each method reads of the samples, by part, and the reported cause.

    The reported value of each part is held against the band of the methods.
    """
    first, *rest = settings
    cuff = {"inflate_mmhg": 180, "deflation_mmhg_per_s": 2.5, "oscillation_mmhg": 2.5, **first.get("cuff", {})}
    steps = [step(START_S, **{key: value for key, value in first.items() if key == "body"})]
    steps += [step(30 if rest else 80, **{"rhythm": "sinus", **first, "cuff": cuff})]
    steps += [{"duration_s": 50, **more, "cuff": {"inflate_mmhg": 0}} for more in rest]
    script = folder / f"script-{seed}.json"
    script.write_text(json.dumps(document(*steps, seed=seed)), encoding="utf-8")
    target = rendered(script, folder / f"out-{seed}.wav", frame_rate_hz=FRAME_RATE_HZ, channels="cuff", bits="float")
    [row] = [row for row in read_truth(target, "cuff") if row["systolic_mmhg"]]
    reported = {part: (float(row[f"{part}_low_mmhg"]), float(row[f"{part}_high_mmhg"])) for part in PARTS}
    for part, (low, high) in reported.items():
        assert low <= float(row[f"{part}_mmhg"]) <= high, part
    samples = np.asarray(read_wav(target).values("cuff"))[START_S * FRAME_RATE_HZ :]
    # The valve opens when the reading is reported: later pulses, such as a strong one after a long pause, are in no reading.
    samples[round((float(row["time_s"]) + RUNNING_S - START_S) * FRAME_RATE_HZ) :] = 0.0
    read = readings(samples, FRAME_RATE_HZ, 0.5, 0.8)
    seen = {part: {name: getattr(of, f"{part}_mmhg") for name, of in read.items()} for part in PARTS}
    seen = {part: {name: value for name, value in of.items() if value == value} for part, of in seen.items()}
    for part, of in seen.items():
        value, band = float(row[f"{part}_mmhg"]), (min(of.values()), max(of.values()))
        assert outside(band, value) <= WITHIN_MMHG, (seed, part, value, of)
    [why] = {row["why"] for row in read_truth(target, "readings") if row["reading"] == "cuff-systolic" and row["expected"]}
    return reported, seen, why


def outside(band: tuple[float, float], value: float) -> float:
    """How far a value lies outside a band."""
    return max(band[0] - value, value - band[1], 0.0)


def wider(band: tuple[float, float], values: dict[str, float]) -> float:
    """By how much a band is wider than values differ."""
    return band[1] - band[0] - (max(values.values()) - min(values.values()))


@pytest.mark.parametrize("name", CASES)
def test_the_band_is_that_of_the_methods(name, tmp_path):
    reported, seen, why = measured(tmp_path, *CASES[name], seed=2)
    for part in PARTS:
        assert len(seen[part]) >= 6, part
        off = {method: value for method, value in seen[part].items() if outside(reported[part], value) > WITHIN_MMHG}
        assert not off, (part, reported[part], seen[part])
        assert wider(reported[part], seen[part]) <= WIDER_MMHG, (part, reported[part], seen[part])
    widest = max(high - low for low, high in reported.values())
    assert widest < 1.0 if name in ONE_VALUE else why, (reported, why)


UNRELATED = {
    "atrial-fibrillation": ({"rhythm": "atrial-fibrillation"},),
    "ventricular-premature": ({"rhythm": "ventricular-premature"},),
    "trigeminy": ({"rhythm": "ventricular-trigeminy"},),
    "fibrillation ends half way": ({"rhythm": "atrial-fibrillation"}, {"rhythm": "sinus"}),
    "fibrillation begins half way": ({"rhythm": "sinus"}, {"rhythm": "atrial-fibrillation"}),
}


@pytest.mark.parametrize("name", UNRELATED)
def test_the_band_of_unrelated_pulses(name, tmp_path):
    """One pulse more or less, at the edge of what is seen, moves the readings of single methods: 97 of 100 hold."""
    held, off = 0, []
    for seed in SEEDS:
        first, *rest = UNRELATED[name]
        # Trigeminy has no chance in it: another rate meets the cuff's pressures elsewhere.
        rate = {"rate_bpm": 60 + 20 * (seed - 2) % 54} if name == "trigeminy" else {}
        reported, seen, _ = measured(tmp_path, {**first, **rate}, *rest, seed=seed)
        for part in PARTS:
            assert len(seen[part]) >= 15, part
            held += len(seen[part])
            out = {method: value for method, value in seen[part].items() if outside(reported[part], value) > WITHIN_MMHG}
            off += [(seed, part, reported[part], method, value) for method, value in out.items()]
    assert held > 60 * len(SEEDS)
    assert len(off) <= 0.03 * held, off
