"""No channel clips at any setting: each field at both ends of its range, alone and with others, in files of 16 bits.

The same script is rendered as integers and as floats, and general readers read both. Codes away from the float by more than half
a step would be clipped ones; none may lie at the end of its range either.
"""

from __future__ import annotations

import json
import random
import shutil

import numpy as np
import pyedflib
import pytest
import wfdb
from program import ROOT, assert_refused, render, rendered, run
from reading import read_channels, read_wav
from scripts import document, step

RATE_HZ = 500
PRESSURES = ("arterial,femoral,pulmonary,venous,right-atrium,right-ventricle,left-ventricle,intracranial", "left-atrium,wedge")
LEADS = "I,II,III,aVR,aVL,aVF,V1,V2,V3,V4,V5,V6,electrode-RA,electrode-LA,electrode-LL,electrode-V1,electrode-V6"

# Settings that a field needs, beside its own value, to show in the signal.
NEEDS = {
    "pacing": {"rhythm": "paced-vvi", "pacing": {"amplitude_mv": 700, "width_ms": 2}},
    "cuff": {"cuff": {"inflate_mmhg": 180}},
    "test": {"rhythm": "asystole", "test": {"signal": "square", "hz": 2}},
}


def fields() -> list[tuple[str, str | None, float, float]]:
    """Group, key, lowest and highest value of each field of the schema that is a number."""
    schema = json.loads(run("schema").stdout)
    found = []

    def bounds(node: dict) -> tuple[float, float] | None:
        if "minimum" in node and "maximum" in node:
            return node["minimum"], node["maximum"]
        for choice in node.get("anyOf", node.get("oneOf", [])):
            if (inner := bounds(choice)) is not None:
                return inner
        return None

    for group, node in schema["$defs"]["step"]["properties"].items():
        if group in ("duration_s", "beats", "expect", "noise"):
            continue
        for key, inner in node.get("properties", {}).items():
            if (ends := bounds(inner)) is not None:
                found.append((group, key, *ends))
        if "properties" not in node and (ends := bounds(node)) is not None:
            found.append((group, None, *ends))
    return found


FIELDS = fields()
RHYTHMS = [rhythm["id"] for rhythm in json.loads(run("catalog", "rhythms", "--json").stdout)["rhythms"]]


def merged(settings: dict, group: str, key: str | None, value: float) -> dict:
    """The settings with one more."""
    if key is None:
        return {**settings, group: value}
    return {**settings, group: {**settings.get(group, {}), key: value}}


def extreme(group: str, key: str | None, value: float) -> dict:
    """Settings under which one field shows at one end of its range."""
    settings = merged(dict(NEEDS.get(group, {})), group, key, value)
    if (key or "").endswith(("damping", "whip_mmhg")):
        settings = merged(settings, group, "line_hz", 6)
    if key == "systolic_mmhg" and value < 100 and "ventricle" not in group:
        settings = merged(settings, group, "diastolic_mmhg", 1 if group == "pulmonary" else 5)
    if key == "diastolic_mmhg" and value > 70:
        settings = merged(settings, group, "systolic_mmhg", 150 if group == "pulmonary" else 320)
    if key == "end_diastolic_mmhg":
        settings = merged(settings, group, "systolic_mmhg", 120)
    if key == "pause_s" and group == "breathing":
        settings = merged(settings, group, "rate_per_min", 20)
    return settings


def assert_holds(script, tmp_path, channels: str, rate_hz: int = RATE_HZ) -> None:
    """Integers are the floats to half a step, and touch no end."""
    for path in [*tmp_path.glob("f.*"), *tmp_path.glob("i.*")]:
        path.unlink()
    floats = read_wav(rendered(script, tmp_path / "f.wav", bits="float", channels=channels, frame_rate_hz=rate_hz))
    codes = read_wav(rendered(script, tmp_path / "i.wav", bits="16", channels=channels, frame_rate_hz=rate_hz))
    for name, channel in codes.channels.items():
        stored = codes.stored[name]
        assert -32768 < stored.min() and stored.max() < 32767, f"{name} touches the end of its range"
        exact = np.asarray(floats.stored[name], dtype=np.float64)
        # A float of hundreds of units has 24 bits itself.
        slack = 2.0**-23 * np.max(np.abs(exact))
        off = np.max(np.abs(codes.values(name) - exact))
        assert off <= 0.5 * channel.scale + slack, f"{name} is off by {off} {channel.unit}, a step is {channel.scale}"


@pytest.mark.parametrize("end", (0, 1), ids=("lowest", "highest"))
@pytest.mark.parametrize("group", sorted({field[0] for field in FIELDS}))
def test_each_field_at_its_ends(group, end, tmp_path):
    """One script a field, jumping there and back, over the channels that the field can move."""
    for name, key, lowest, highest in FIELDS:
        if name != group or name in ("rate_bpm", "heart"):
            continue
        # How fast a test signal goes does not matter here, and 1000 Hz needs other frame rates.
        value = 50 if group == "test" and end and key.endswith("hz") and highest > 50 else (lowest, highest)[end]
        rest = NEEDS.get(group, {})
        steps = [step(2, **rest), step(6, **{**rest, **extreme(name, key, value)}), step(3, **rest)]
        steps = [{**one, "rhythm": one.get("rhythm", "sinus")} for one in steps]
        script = tmp_path / "script.json"
        script.write_text(json.dumps(document(*steps)), encoding="utf-8")
        outcome = run("check", script)
        if key.endswith("_snr_db") and end == 0:
            # Noise 40 dB above the QRS needs a larger amplitude than the artefact allows. Amplitudes are tried at their own ends.
            assert_refused(outcome, "would have to be")
            continue
        assert outcome.code == 0, f"{name}.{key} = {value}: {outcome}"
        if name in ("artefact", "ecg", "st", "q", "test", "pacing", "variability"):
            channels = [LEADS]
        elif name == "breathing":
            channels = [LEADS + ",respiration"]
        elif name == "cuff":
            channels = ["cuff,cuff-oscillation"]
        else:
            channels = PRESSURES
        for some in channels:
            assert_holds(script, tmp_path, some, 2000 if name == "pacing" else RATE_HZ)


@pytest.mark.parametrize("rms_mv", (0, 10), ids=("lowest", "highest"))
def test_noise_of_a_recording_at_its_ends(rms_mv, tmp_path):
    """A ratio has no ends of its own: it is refused where it needs more than this RMS."""
    for part in ("hea", "dat"):
        shutil.copy(ROOT / f"examples/noise/invented.{part}", tmp_path)
    steps = [step(2), step(6, noise={"file": "invented.hea", "mv": rms_mv}), step(3)]
    script = tmp_path / "script.json"
    script.write_text(json.dumps(document(*steps)), encoding="utf-8")
    assert_holds(script, tmp_path, LEADS)


@pytest.mark.parametrize("seed", range(12))
def test_several_fields_at_their_ends(seed, tmp_path):
    """Steps of many fields at an end each, drawn by chance."""
    chance = random.Random(seed)
    usable = [f for f in FIELDS if f[0] not in ("rate_bpm", "heart", "test", "life") and f[1] != "inflate_mmhg"]
    steps = []
    while len(steps) < 4:
        settings: dict = {"rhythm": chance.choice(RHYTHMS), "body": chance.choice(["adult", "child", "neonate"])}
        for group, key, lowest, highest in chance.sample(usable, 30):
            settings = merged(settings, group, key, chance.choice((lowest, highest)))
        if chance.random() < 0.5:
            settings = merged(settings, "cuff", "inflate_mmhg", chance.choice((100, 350)))
        script = tmp_path / "script.json"
        script.write_text(json.dumps(document(*steps, {"duration_s": 6, **settings}, seed=seed)), encoding="utf-8")
        # Some ends exclude each other.
        if run("check", script).code == 0:
            steps.append({"duration_s": 6, **settings})
    for channels in (LEADS + ",respiration,cuff,cuff-oscillation", *PRESSURES):
        assert_holds(script, tmp_path, channels)


def test_the_highest_cuff_in_every_format(tmp_path):
    """350 mmHg with the largest oscillations: read from WAV, EDF+ and records of 16 and 12 bits."""
    script = tmp_path / "script.json"
    cuff = {"inflate_mmhg": 350, "limit_mmhg": 350, "inflation_mmhg_per_s": 200, "oscillation_mmhg": 10, "deflation_mmhg_per_s": 5}
    arterial = {"systolic_mmhg": 320, "diastolic_mmhg": 280}
    script.write_text(json.dumps(document(step(20, arterial=arterial, cuff=cuff))), encoding="utf-8")
    exact = read_wav(rendered(script, tmp_path / "f.wav", bits="float", channels="cuff")).stored["cuff"]
    assert exact.max() > 349.0
    for target, bits in (("cuff.wav", "16"), ("edf.edf", "16"), ("wide.hea", "16"), ("narrow.hea", "12")):
        path = rendered(script, tmp_path / target, bits=bits, channels="cuff")
        if target.endswith(".wav"):
            values = read_wav(path).values("cuff")
        elif target.endswith(".edf"):
            with pyedflib.EdfReader(str(path)) as reader:
                values = reader.readSignal(0)[: len(exact)]
        else:
            values = wfdb.rdrecord(str(path.with_suffix(""))).p_signal[:, 0]
        scale = read_channels(path)[1][0].scale
        assert np.max(np.abs(values - exact)) < 0.51 * scale + 1e-4, target
        assert scale <= (0.25 if bits == "12" else 0.025), target


def test_usual_scales_are_as_fine_as_before(tmp_path):
    """A resting adult: 1 uV, 0.01 mmHg and 0.001 ohm at 16 bits, as the formats page says."""
    script = tmp_path / "script.json"
    script.write_text(json.dumps(document(step(2))), encoding="utf-8")
    path = rendered(script, tmp_path / "out.wav", bits="16", channels="II,arterial,venous,respiration,cuff")
    scales = {c.name: c.scale for c in read_channels(path)[1]}
    assert scales == {"II": 0.001, "arterial": 0.01, "venous": 0.01, "respiration": 0.001, "cuff": 0.01}


def test_too_few_bits_are_refused(tmp_path):
    """A channel that 12 bits can't hold in steps of a unit is refused, with its name and the bits."""
    script = tmp_path / "script.json"
    paced = step(5, "paced-vvi", pacing={"amplitude_mv": 700, "overshoot_charge": 1}, ecg={"gain": 5}, test={"offset_mv": 400})
    script.write_text(json.dumps(document(paced)), encoding="utf-8")
    outcome = render(script, tmp_path / "out.hea", bits="12", channels="respiration,V2")
    assert_refused(outcome, "V2", "12 bits", "--bits")
    assert [p.name for p in tmp_path.iterdir()] == ["script.json"]
    rendered(script, tmp_path / "out.hea", bits="16", channels="respiration,V2")
