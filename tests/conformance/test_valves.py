"""Ventricles, valves and vessels obey each other in every rhythm, body and change of rhythm, measured from the samples.

What is measured, and how, is in `hearts.py`. Of the gradients that are allowed, a tenth is the rounding of knots.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
import scripts
from hearts import CHANNELS, FRAME_RATE_HZ, Findings, against_the_flow
from program import rendered, succeed
from reading import read_wav

AGAINST_MMHG = 0.3
"""What a pressure downstream may be above the one upstream while blood flows."""

RISE_MMHG_PER_S = 2000
"""Fastest upstroke of a radial artery: means of 1000 to 1200 mmHg/s, up to 2000 with inotropes (Vaquer 2019, from memory)."""

FALL_MMHG_PER_S = 450
"""Fastest fall towards the notch of a pulse of 40 mmHg at 200 bpm: twice that of one at rest (common practice, no source)."""

JUMP_MMHG = {"left-ventricle": 5.0, "right-ventricle": 2.0, "left-atrium": 0.6, "right-atrium": 0.6, "venous": 0.6, "wedge": 0.6}
"""From one millisecond to the next; a left ventricle falls by 3000 mmHg/s and more when it relaxes at high rates."""


def rhythms() -> list[str]:
    lines = succeed("catalog", "rhythms").stdout.decode().splitlines()
    return [line.split()[0] for line in lines if line[:1].islower() and not line.startswith("rhythm ")]


def measured(folder, *steps: dict, seed: int = 1) -> tuple[dict[str, np.ndarray], Findings]:
    script = scripts.write(folder / "hearts.json", *steps, seed=seed)
    target = rendered(script, folder / f"{seed}.wav", frame_rate_hz=FRAME_RATE_HZ, bits=24, channels=CHANNELS)
    recording = read_wav(target)
    channels = {name: recording.values(name) for name in recording.channels}
    target.unlink()
    return channels, against_the_flow(channels)


def obeys(findings: Findings, where: object, *, slopes: float = 1.0) -> None:
    """Holds the findings against the limits; `slopes` is by how much pulses are higher than 40 mmHg."""
    for name, (worst, at_s) in findings.worst.items():
        if " over " in name:
            assert worst <= AGAINST_MMHG, (where, name, worst, at_s)
        elif name == "arterial rises":
            assert worst <= RISE_MMHG_PER_S * slopes, (where, name, worst, at_s)
        elif name == "arterial falls":
            assert worst <= FALL_MMHG_PER_S * slopes, (where, name, worst, at_s)
        elif name.endswith(" jumps") and name.removesuffix(" jumps") in JUMP_MMHG:
            assert worst <= JUMP_MMHG[name.removesuffix(" jumps")] * max(slopes, 1), (where, name, worst, at_s)


@pytest.mark.parametrize("body", ["adult", "child", "neonate"])
def test_every_rhythm_obeys_its_valves(tmp_path, body):
    ejected = 0
    for index, rhythm in enumerate(rhythms()):
        _, findings = measured(tmp_path, scripts.step(30, rhythm, body=body), seed=index)
        obeys(findings, (body, rhythm))
        ejected += "arterial over left-ventricle" in findings.worst
    assert ejected > 50, "hardly a rhythm ejects"


def random_step(chance: random.Random, names: list[str], body: str) -> dict:
    """A step of any rhythm at its usual rate, with pressures that a patient can have."""
    diastolic = chance.uniform(35, 95)
    lung = chance.uniform(6, 25)
    step = {
        "arterial": {"systolic_mmhg": diastolic + chance.uniform(20, 80), "diastolic_mmhg": diastolic},
        "pulmonary": {"systolic_mmhg": lung + chance.uniform(8, 40), "diastolic_mmhg": lung},
        "left_atrium": {"mean_mmhg": chance.uniform(4, 20), "wave_mmhg": chance.uniform(2, 8)},
        "venous": {"mean_mmhg": chance.uniform(1, 14), "wave_mmhg": chance.uniform(2, 6)},
        "left_ventricle": {"end_diastolic_mmhg": chance.uniform(4, 20)},
        "right_ventricle": {"end_diastolic_mmhg": chance.uniform(2, 12)},
    }
    if chance.random() < 0.2:
        step["arterial"]["alternans_mmhg"] = chance.uniform(0, 30)
    if chance.random() < 0.2:
        step["arterial"]["breathing_mmhg"] = chance.uniform(0, 20)
    if chance.random() < 0.2:
        step["chest"] = {"breathing_mmhg": chance.uniform(-5, 8)}
    if chance.random() < 0.2:
        step["arterial"]["systolic_mmhg"] = {"from": diastolic + 30, "to": diastolic + 60}
    return scripts.step(chance.uniform(4, 12), chance.choice(names), body=body, **step)


@pytest.mark.parametrize("part", range(6))
def test_random_scripts_obey_their_valves(tmp_path, part):
    """Fifty a part: up to five steps of any rhythms, so that rhythms change at any moment of a beat."""
    names = rhythms()
    for seed in range(50 * part, 50 * part + 50):
        chance = random.Random(seed)
        body = chance.choice(["adult", "child", "neonate"])
        steps = [random_step(chance, names, body) for _ in range(chance.randint(2, 5))]
        _, findings = measured(tmp_path, *steps, seed=seed)
        # Pulses of up to 80 mmHg, a third more after a pause, from whatever was before.
        obeys(findings, (seed, [step["rhythm"] for step in steps]), slopes=3.0)
