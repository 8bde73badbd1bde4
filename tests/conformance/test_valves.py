"""Ventricles, valves and vessels obey each other in every rhythm, body and change of rhythm, measured from the samples.

`hearts.py` has the measurements.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
import scripts
from hearts import CHANNELS, FRAME_RATE_HZ, Findings, against_the_flow
from program import rendered, succeed
from reading import read_wav
from scipy.signal import find_peaks

AGAINST_MMHG = 0.6
"""Most that a pressure downstream may be above the one upstream while blood flows, mmHg."""

RISE_MMHG_PER_S = 2000
"""Fastest upstroke of a radial artery: means of 1000 to 1200 mmHg/s, up to 2000 with inotropes (Vaquer 2019, from memory)."""

FALL_MMHG_PER_S = 450
"""Fastest fall towards the notch of a pulse of 40 mmHg at 200 bpm: twice that of one at rest (common practice, no source)."""

JUMP_MMHG = {"left-ventricle": 5.0, "right-ventricle": 2.5, "left-atrium": 0.6, "right-atrium": 0.6, "venous": 0.6, "wedge": 0.6}
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
            assert worst <= RISE_MMHG_PER_S, (where, name, worst, at_s)
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
    # No vessel is so full that it would fill another against its valve.
    step = {
        "arterial": {"systolic_mmhg": diastolic + chance.uniform(20, 80), "diastolic_mmhg": diastolic},
        "pulmonary": {"systolic_mmhg": lung + chance.uniform(8, 40), "diastolic_mmhg": lung},
        "left_atrium": {"mean_mmhg": chance.uniform(4, 20), "wave_mmhg": chance.uniform(2, 8)},
        "venous": {"mean_mmhg": chance.uniform(1, 0.6 * lung), "wave_mmhg": chance.uniform(2, 6)},
        "left_ventricle": {"end_diastolic_mmhg": chance.uniform(4, 20)},
        "right_ventricle": {"end_diastolic_mmhg": chance.uniform(2, 0.6 * lung)},
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
    """Fifty a part: up to five steps of any rhythms, so that rhythms change at any moment of a beat, some in a chest that breathes."""
    over = []
    # Its beats contract by less than the 4 mmHg by which a contraction is found here.
    names = [name for name in rhythms() if name != "pulseless-electrical-activity"]
    for seed in range(50 * part, 50 * part + 50):
        chance = random.Random(seed)
        body = chance.choice(["adult", "child", "neonate"])
        steps = [random_step(chance, names, body) for _ in range(chance.randint(2, 5))]
        _, findings = measured(tmp_path, *steps, seed=seed)
        try:
            # Pulses of up to 80 mmHg, a third more after a pause, from any pressure before.
            obeys(findings, (seed, [step["rhythm"] for step in steps]), slopes=3.0)
        except AssertionError as found:
            over.append(str(found))
    assert not over, "\n".join(over)


LOW = ("pulmonary", "left-ventricle", "right-ventricle", "left-atrium", "right-atrium", "venous", "wedge")


@pytest.mark.parametrize("body", ["adult", "child", "neonate"])
@pytest.mark.parametrize("arrest", ["asystole", "ventricular-fibrillation"])
def test_an_arrest_ends_at_one_pressure_whatever_went_before(tmp_path, body, arrest):
    """All vessels meet at the mean filling pressure, 3.5 mmHg over the venous one (Schipke 2003); arteries stay above it."""
    ends = []
    before = (
        (),
        ("sinus",),
        ("atrial-fibrillation",),
        ("ventricular-tachycardia", "agonal"),
        ("av-block-3-ventricular",),
        ("ventricular-premature", "supraventricular-tachycardia"),
    )
    pressures = {"venous": {"mean_mmhg": 4}, "arterial": {"systolic_mmhg": 96, "diastolic_mmhg": 60}}
    for seed, names in enumerate(before):
        steps = [scripts.step(12, name, body=body, **pressures) for name in names]
        channels, _ = measured(tmp_path, *steps, scripts.step(45, arrest, body=body, **pressures), seed=seed)
        ends.append({name: values[-1000:].mean() for name, values in channels.items()})
    for name in LOW:
        assert [end[name] for end in ends] == pytest.approx([7.5] * len(ends), abs=0.1), name
    arterial = [end["arterial"] for end in ends]
    assert np.ptp(arterial) < 0.2
    # 24.2 +- 5.3 mmHg (Schipke 2003).
    assert arterial[0] == pytest.approx(24.2, abs=5.3)


def test_low_arteries_do_not_end_under_the_veins(tmp_path):
    pressures = {"venous": {"mean_mmhg": 12}, "arterial": {"systolic_mmhg": 45, "diastolic_mmhg": 20}}
    steps = (scripts.step(10, **pressures), scripts.step(40, "asystole"))
    channels, _ = measured(tmp_path, *steps)
    assert np.all(channels["arterial"][11_000:] >= channels["venous"][11_000:] - 0.01)


HIGH = {"systolic_mmhg": 190, "diastolic_mmhg": 120}
LOW_ARTERIAL = {"systolic_mmhg": 70, "diastolic_mmhg": 40}
RUN_OFF_TO_MMHG = 16.0
"""40 % of a low diastolic pressure, as documented."""


@pytest.mark.parametrize(
    ("first", "then"),
    [
        (scripts.step(12, "av-block-3-ventricular"), scripts.step(25, "agonal")),
        (scripts.step(12), scripts.step(25, "ventricular-tachycardia")),
        (scripts.step(12, arterial=HIGH), scripts.step(25, arterial=LOW_ARTERIAL)),
        (scripts.step(12, arterial=HIGH), scripts.step(25, "torsades", arterial=LOW_ARTERIAL)),
    ],
)
def test_pressures_run_down_to_lower_ones(tmp_path, first, then):
    """No faster than an artery empties: half of the difference from its end value in half a second (a time constant of 0.7 s)."""
    channels, _ = measured(tmp_path, first, then)
    arterial = channels["arterial"]
    lowest = np.array([arterial[i : i + 500].min() for i in range(8000, len(arterial) - 1000, 50)])
    later = np.array([arterial[i + 500 : i + 1000].min() for i in range(8000, len(arterial) - 1000, 50)])
    assert np.all(later - RUN_OFF_TO_MMHG >= (lowest - RUN_OFF_TO_MMHG) * np.exp(-1.0 / 0.7) - 1.0)
    # Without that, a step to 70/40 mmHg falls by 78.
    assert np.max(lowest - later) < (72 if then["rhythm"] == "sinus" else 90)


def test_atria_raise_the_pulse_of_a_tachycardia_that_they_happen_to_fill(tmp_path):
    """Dissociated atria: a P wave just before a ventricular beat makes a stronger pulse (teaching texts)."""
    channels, _ = measured(tmp_path, scripts.step(60, "ventricular-tachycardia", rate_bpm=150))
    arterial = channels["arterial"][10_000:]
    tops = arterial[find_peaks(arterial, prominence=10, distance=250)[0]]
    assert 0.1 < np.mean(tops > np.median(tops) + 1.5) < 0.5
    assert 2 < np.percentile(tops, 95) - np.percentile(tops, 5) < 10


def test_atria_that_a_device_follows_do_not_raise_the_pulse_beyond_what_is_set(tmp_path):
    channels, _ = measured(tmp_path, scripts.step(30, "paced-biventricular", arterial={"systolic_mmhg": 120, "diastolic_mmhg": 80}))
    arterial = channels["arterial"][10_000:-1000]
    tops, feet = (find_peaks(sign * arterial, prominence=20, distance=400)[0] for sign in (1, -1))
    assert arterial[tops] == pytest.approx(np.full(len(tops), 120), abs=0.5)
    assert arterial[feet] == pytest.approx(np.full(len(feet), 80), abs=0.5)


BREATHES = {"venous": 1.0, "pulmonary": 1.0, "wedge": 1.0, "right-ventricle": 1.0, "intracranial": 0.5, "arterial": 0.0}
"""Share of the fall of the pressure in the chest that a site has, as documented."""


@pytest.mark.parametrize(("fall_mmhg", "ventilated"), [(18, 0), (-15, 1)])
def test_vessels_in_the_chest_go_with_the_lungs_whatever_the_heart_does(tmp_path, fall_mmhg, ventilated):
    """Against the same heart in a chest that is still: the difference has the course of the impedance, with beats and without."""
    breathing = {"rate_per_min": 14, "depth_ohm": 1, "cardiac_ohm": 0, "ventilated": ventilated}
    names = ",".join([*BREATHES, "respiration"])
    played = []
    for fall in (0, fall_mmhg):
        chest = {"breathing_mmhg": fall}
        steps = [scripts.step(20, rhythm, breathing=breathing, chest=chest) for rhythm in ("sinus", "asystole")]
        script = scripts.write(tmp_path / f"{fall}.json", *steps)
        target = rendered(script, tmp_path / f"{fall}.wav", frame_rate_hz=250, bits=24, channels=names)
        recording = read_wav(target)
        played.append({name: recording.values(name) for name in names.split(",")})
    lungs = played[0]["respiration"] - played[0]["respiration"].min()
    assert np.ptp(lungs) == pytest.approx(1, abs=0.01)
    for name, share in BREATHES.items():
        moved = played[1][name] - played[0][name]
        assert moved == pytest.approx(-share * fall_mmhg * lungs, abs=0.02), name


@pytest.mark.parametrize("rhythm", ["sinus", "atrial-fibrillation", "ventricular-tachycardia"])
@pytest.mark.parametrize(("fall_mmhg", "ventilated"), [(18, 0), (-15, 1)])
def test_a_heart_in_a_chest_that_breathes_obeys_its_valves(tmp_path, rhythm, fall_mmhg, ventilated):
    """The left side, whose ventricle moves with the chest and whose arteries do not; both of the right side move alike."""
    breathing = {"rate_per_min": 20, "ventilated": ventilated}
    step = scripts.step(20, rhythm, breathing=breathing, chest={"breathing_mmhg": fall_mmhg})
    channels, findings = measured(tmp_path, step)
    left = {name: found for name, found in findings.worst.items() if "left" in name}
    assert "arterial over left-ventricle" in left and "left-ventricle over left-atrium" in left
    obeys(Findings(left), (rhythm, fall_mmhg))
    assert np.ptp(channels["venous"]) > abs(fall_mmhg)


@pytest.mark.parametrize(("rate_bpm", "pulse_mmhg"), [(60, 190), (120, 130), (180, 90), (220, 70)])
def test_a_high_pulse_rises_no_faster_than_an_artery_does(tmp_path, rate_bpm, pulse_mmhg):
    pressures = {"systolic_mmhg": 50 + pulse_mmhg, "diastolic_mmhg": 50}
    channels, findings = measured(tmp_path, scripts.step(12, rate_bpm=rate_bpm, arterial=pressures))
    assert 0.5 * RISE_MMHG_PER_S < findings["arterial rises"] <= RISE_MMHG_PER_S
    assert channels["arterial"][6000:].max() == pytest.approx(50 + pulse_mmhg, abs=0.5)
    obeys(findings, (rate_bpm, pulse_mmhg), slopes=3.0)


@pytest.mark.parametrize(("rhythm", "notched"), [("sinus", True), ("ventricular-tachycardia", True), ("torsades", False)])
def test_only_pulses_with_flow_have_a_notch(tmp_path, rhythm, notched):
    """The notch is the valve closing against flow: hardly any, no notch (teaching texts)."""
    channels, _ = measured(tmp_path, scripts.step(30, rhythm))
    arterial = channels["arterial"][10_000:]
    beats = find_peaks(arterial, prominence=0.5 * (np.percentile(arterial, 95) - np.percentile(arterial, 5)))[0]
    waves = find_peaks(arterial, prominence=0.25)[0]
    # Each beat of its own, and a small one now and then.
    share = len(waves) / len(beats)
    assert share > 1.9 if notched else share < 1.25


@pytest.mark.parametrize("rhythm", ["supraventricular-tachycardia", "atrial-tachycardia", "ventricular-tachycardia", "sinus"])
@pytest.mark.parametrize("body", ["adult", "neonate"])
def test_a_rhythm_starts_with_its_pressures(tmp_path, body, rhythm):
    channels, _ = measured(tmp_path, scripts.step(20, rhythm, body=body))
    arterial = channels["arterial"]
    settled = arterial[10_000:]
    assert arterial[:1000].min() > settled.min() - 0.25 * np.ptp(settled)
    assert arterial[:2000].max() == pytest.approx(settled.max(), abs=0.25 * np.ptp(settled))


def test_an_upstroke_has_no_bend(tmp_path):
    """Its curvature does not jump: the slope rises once to its greatest and falls once to nothing."""
    channels, _ = measured(tmp_path, scripts.step(10, rate_bpm=75))
    arterial = channels["arterial"]
    for top in find_peaks(arterial, prominence=20)[0][2:]:
        foot = top - 118
        curvature = np.diff(arterial[foot:top], 2)
        # In mmHg/s per ms; the whole upstroke goes from nothing to 700 and back in 120 ms.
        assert np.max(np.abs(np.diff(curvature))) * 1000 < 6, top
