"""The ready pressure and cuff scripts, measured whole: each step plays the values that it names."""

from __future__ import annotations

import json

import numpy as np
import pytest
from measuring import pressure_pulses
from oscillometry import read_cuff
from program import ROOT, rendered
from reading import read_steps, read_truth, read_wav

FRAME_RATE_HZ = 500


def played(name: str, folder, channels: str):
    script = ROOT / "examples" / name
    target = rendered(script, folder / "out.wav", frame_rate_hz=FRAME_RATE_HZ, channels=channels)
    steps = [(row["name"], float(row["start_s"]), float(row["end_s"])) for row in read_steps(target)]
    return target, read_wav(target), steps, json.loads(script.read_text(encoding="utf-8"))["steps"]


def test_the_ladder_has_its_levels(tmp_path):
    _, recording, steps, _ = played("pressure-ladder.json", tmp_path, "arterial,pulmonary,venous,intracranial")
    levels = []
    for name, start_s, end_s in steps[:-1]:
        level = 0.0 if name.startswith("zero") else float(name.split()[0])
        levels.append(level)
        for values in (recording.values(channel) for channel in recording.channels):
            part = values[round(start_s * FRAME_RATE_HZ) : round(end_s * FRAME_RATE_HZ)]
            assert np.max(np.abs(part - level)) <= 0.5 * 0.02, name
    assert min(levels) < 0 and max(levels) == 300 and levels.count(100) == 2, "up and down again"
    open_again = recording.values("arterial")[round(steps[-1][1] * FRAME_RATE_HZ) :]
    assert np.ptp(open_again) > 30


@pytest.mark.parametrize("body", ["adult", "child", "neonate"])
def test_presets_play_what_they_say(tmp_path, body):
    channels = "arterial,pulmonary,venous,left-ventricle,wedge,intracranial"
    _, recording, steps, written = played(f"pressures-{body}.json", tmp_path, channels)
    names = [name for name, _, _ in steps]
    assert names[:2] == ["usual", "low"] and names[-1] == "high"
    systolic = {}
    for (name, start_s, end_s), step in zip(steps, written, strict=True):
        part = slice(round((start_s + 12) * FRAME_RATE_HZ), round(end_s * FRAME_RATE_HZ))
        for site in ("arterial", "pulmonary"):
            pulses = pressure_pulses(recording.values(site)[part], FRAME_RATE_HZ, step["rate_bpm"])
            assert np.max(np.abs(pulses.systolic_mmhg - step[site]["systolic_mmhg"])) <= 0.5, (name, site)
            assert np.max(np.abs(pulses.diastolic_mmhg - step[site]["diastolic_mmhg"])) <= 0.5, (name, site)
        systolic[name] = step["arterial"]["systolic_mmhg"]
        period = round(60 / step["rate_bpm"] * FRAME_RATE_HZ)
        for channel, group in (("venous", "venous"), ("wedge", "left_atrium"), ("intracranial", "intracranial")):
            values = recording.values(channel)[part]
            mean = values[-len(values) // period * period :].mean()
            assert mean == pytest.approx(step[group]["mean_mmhg"], abs=0.3), (name, channel)
    # PALS 2006: a child of eight years below 86, a newborn below 60 mmHg; adults below 90 (common practice, no source).
    assert systolic["low"] < {"adult": 90, "child": 86, "neonate": 60}[body]


@pytest.mark.parametrize(("body", "limit"), [("adult", 300), ("neonate", 150)])
def test_cuff_scripts_read_leak_and_let_off(tmp_path, body, limit):
    target, recording, steps, _ = played(f"cuff-{body}.json", tmp_path, "cuff,cuff-oscillation")
    cuff = recording.values("cuff")
    assert (cuff - recording.values("cuff-oscillation")).max() == pytest.approx(limit, abs=0.2)
    rows = read_truth(target, "cuff")
    readings = [row for row in rows if row["systolic_mmhg"]]
    assert len(readings) == 4
    assert rows[-1]["phase"] == "over-pressure"
    for row, (name, start_s, end_s) in zip(readings, steps, strict=False):
        assert start_s < float(row["time_s"]) < end_s
        measured = read_cuff(cuff[round(start_s * FRAME_RATE_HZ) : round(end_s * FRAME_RATE_HZ)], FRAME_RATE_HZ, 0.5, 0.8)
        assert f"{float(row['systolic_mmhg']):g}/{float(row['diastolic_mmhg']):g}" in name
        assert measured.systolic_mmhg == pytest.approx(float(row["systolic_mmhg"]), abs=3), name
        assert measured.mean_mmhg == pytest.approx(float(row["mean_mmhg"]), abs=3), name
        assert measured.diastolic_mmhg == pytest.approx(float(row["diastolic_mmhg"]), abs=3), name
    name, _, end_s = steps[4]
    assert name.startswith("leak, 6 mmHg/min")
    held = cuff[round((end_s - 62) * FRAME_RATE_HZ) : round((end_s - 2) * FRAME_RATE_HZ)]
    assert held[0] - held[-1] == pytest.approx(6, rel=0.02)
