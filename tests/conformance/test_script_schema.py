"""The schema that `pulsewright schema` prints, judged by an outside validator, and agreeing with `pulsewright check`."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import jsonschema
import pytest

ROOT = Path(__file__).parents[2]
PULSEWRIGHT = os.environ.get("PULSEWRIGHT", "pulsewright")


def run(*arguments: str, text: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run([PULSEWRIGHT, *arguments], input=text, capture_output=True, text=True, timeout=60)


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = json.loads(run("schema").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def document(step: dict, **more) -> dict:
    return {"version": 1, "steps": [{"duration_s": 5, **step}], **more}


GOOD = {
    "least": document({}),
    "hold": document({"duration_s": "hold"}),
    "ramp": document({"rate_bpm": {"from": 60, "to": 90}, "breathing": {"depth_ohm": {"to": 2}}}),
    "all words": document({"name": "é", "rhythm": "asystole", "body": "neonate"}, title="t", notes="n\nm", seed=2**64 - 1),
    "rhythm of one's own": document(
        {"rhythm": "mine"}, rhythms={"mine": {"extends": "atrial-flutter", "usual": {"bpm": 280}, "settings": {"heart": {"av_ratio": 3}}}}
    ),
    "repeats": {"version": 1, "steps": [{"repeat": 2, "steps": [{"repeat": 3, "steps": [{"duration_s": 1}]}]}]},
}

BAD = {
    "list": [],
    "no version": {"steps": [{"duration_s": 1}]},
    "version": document({}) | {"version": 2},
    "no steps": {"version": 1, "steps": []},
    "unknown key": document({}, titel="x"),
    "unknown step key": document({"rate": 72}),
    "unknown group key": document({"arterial": {"systolic": 120}}),
    "no duration": {"version": 1, "steps": [{}]},
    "zero duration": document({"duration_s": 0}),
    "endless duration": document({"duration_s": 1e10}),
    "duration in words": document({"duration_s": "forever"}),
    "rhythm": document({"rhythm": "Sinus rhythm"}),
    "rhythm of one's own": document({}, rhythms={"mine": {"extends": "sinus", "atria": {"hz": 6, "hertz": 6}}}),
    "word of a rhythm": document({}, rhythms={"My rhythm": {}}),
    "ramp of a rhythm": document({}, rhythms={"mine": {"settings": {"ecg": {"gain": {"to": 2}}}}}),
    "rate in a rhythm's settings": document({}, rhythms={"mine": {"settings": {"rate_bpm": 60}}}),
    "life of a rhythm": document({}, rhythms={"mine": {"settings": {"life": 0}}}),
    "parameter out of range": document({}, rhythms={"mine": {"ectopy": {"site": "atrial", "run": 1.5}}}),
    "body": document({"body": "A horse"}),
    "rate": document({"rate_bpm": 10000}),
    "text for a number": document({"rate_bpm": "72"}),
    "ramp without end": document({"rate_bpm": {"from": 60}}),
    "ramp out of range": document({"rate_bpm": {"to": 401}}),
    "ramp of what can't": document({"ecg": {"pr_ms": {"to": 200}}}),
    "scale of a recording": document({"recording": {"file": "x.csv", "scale_mv": 1e-10}}),
    "large scale of a recording": document({"recording": {"file": "x.csv", "scale_mv": 2e6}}),
    "residual out of range": document({}, bodies={"mine": {"residuals": {"t": {"normal": {"at_ms": 0, "step_ms": 10, "leads_uv": {"II": [20000]}}}}}}),
    "start of a wave out of range": document({}, bodies={"mine": {"p_waves": {"sinus-node": [{"at_ms": -9, "rise_ms": 20, "fall_ms": 20, "xyz_mv": [0, 0.1, 0]}]}}}),
    "alarm limit without its source": document({}, alarm_limits={"rate_low_bpm": {"value": 50}}),
    "start of a ramp out of range": document({"rate_bpm": {"from": 401, "to": 60}}),
    "long ramp": document({"rate_bpm": {"to": 60, "over_s": 1e10}}),
    "series of no beats": document({"series": {"rr_s": []}}),
    "seed": document({}, seed=-1),
    "two lines": document({"name": "a\nb"}),
    "long title": document({}, title="t" * 201),
    "repeat of none": {"version": 1, "steps": [{"repeat": 0, "steps": [{"duration_s": 1}]}]},
    "repeat and step": {"version": 1, "steps": [{"repeat": 2, "duration_s": 1, "steps": [{"duration_s": 1}]}]},
}

# Good JSON by the schema, which can't express these rules; only `check` finds them.
BEYOND_THE_SCHEMA = {
    "unknown rhythm": document({"rhythm": "sinsu"}),
    "parameter without its kind": document({}, rhythms={"mine": {"atria": {"hz": 6}}}),
    "rate of the rhythm": document({"rhythm": "ventricular-tachycardia", "rate_bpm": 72}),
    "order of pressures": document({"arterial": {"systolic_mmhg": 70}}),
    "ramp in a hold": document({"duration_s": "hold", "rate_bpm": {"to": 80}}),
}


@pytest.mark.parametrize("path", sorted((ROOT / "examples").glob("*.json")), ids=lambda path: path.name)
def test_examples_are_good_to_both(validator, path):
    validator.validate(json.loads(path.read_text()))
    assert run("check", str(path)).returncode == 0


@pytest.mark.parametrize("name", GOOD)
def test_good_documents_are_good_to_both(validator, name):
    assert validator.is_valid(GOOD[name])
    assert run("check", "-", text=json.dumps(GOOD[name])).returncode == 0


@pytest.mark.parametrize("name", BAD)
def test_bad_documents_are_bad_to_both(validator, name):
    assert not validator.is_valid(BAD[name])
    checked = run("check", "-", text=json.dumps(BAD[name]))
    assert (checked.returncode, checked.stdout) == (2, "")
    assert checked.stderr.startswith("error: ")


@pytest.mark.parametrize("name", BEYOND_THE_SCHEMA)
def test_what_the_schema_cannot_say_is_checked(validator, name):
    assert validator.is_valid(BEYOND_THE_SCHEMA[name])
    assert run("check", "-", text=json.dumps(BEYOND_THE_SCHEMA[name])).returncode == 2


def test_every_range_of_the_catalogue_is_in_the_schema(validator):
    """Just inside each end is good, just outside is bad, for every field that the program lists."""
    fields = json.loads(run("catalog", "fields", "--json").stdout)["fields"]
    assert len(fields) > 10
    for field in fields:
        if field["words"]:
            *groups, leaf = field["path"].split(".")
            for word, good in [(field["words"][0], True), (field["words"][-1], True), ("no such word", False), (0, False)]:
                step = {leaf: word}
                for group in reversed(groups):
                    step = {group: step}
                step = {"duration_s": 1} | step
                assert validator.is_valid({"version": 1, "steps": [step]}) == good, (field["path"], word)
            continue
        for value, good in [(field["min"], True), (field["max"], True), (field["min"] - 1, False), (field["max"] * 1.1, False)]:
            step: dict = {"duration_s": 1}
            place = step
            *groups, leaf = field["path"].split(".")
            for group in groups:
                place = place.setdefault(group, {})
            # The catalogue widens 32-bit numbers; the nearest short decimal is what people write.
            place[leaf] = float(f"{value:.6g}")
            assert validator.is_valid({"version": 1, "steps": [step]}) == good, (field["path"], value)
