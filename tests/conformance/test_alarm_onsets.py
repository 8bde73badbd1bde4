"""Reported alarms begin and end when the samples say so, by the documented rules and limits: read by `ideal_monitor`, scipy alone.

Each rule is passed slowly or in single beats, so that another limit, or a beat more or less, moves the instant by more than is
allowed here. A silence of a given length shows as no rate.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from ideal_monitor import Signals
from ideal_readings import Monitor
from program import succeed
from reading import read_truth
from scripts import document, step
from test_ideal_monitor import CHANNELS, FRAME_RATE_HZ, limits_of

STEPS = (
    step(15, rate_bpm=80),
    step(60, rate_bpm={"to": 180}),
    step(25, rate_bpm=80),
    step(80, rate_bpm={"to": 30}),
    step(25, rate_bpm=80),
    step(15, "ventricular-tachycardia", rate_bpm=150),
    step(20, rate_bpm=80),
    step(20, "ventricular-tachycardia", rate_bpm=110),
    step(20, rate_bpm=80),
    step(25, "idioventricular"),
    step(20, rate_bpm=80),
    step(15, "asystole"),
    step(20, rate_bpm=80),
    step(15, "ventricular-fibrillation"),
    step(20, rate_bpm=80),
    step(20, rate_bpm=80, arterial={"systolic_mmhg": {"to": 30}, "diastolic_mmhg": {"to": 15}}),
    step(20, rate_bpm=80, arterial={"systolic_mmhg": 120, "diastolic_mmhg": 80}),
    step(15, rate_bpm=80),
)

WITHIN_S = {
    "high-rate": 1.2, "extreme-tachycardia": 1.0, "low-rate": 2.5, "extreme-bradycardia": 2.5,
    "ventricular-tachycardia": 0.6, "ventricular-rhythm": 0.6,
    "asystole": 0.3, "pause": 0.3, "ventricular-fibrillation": 1.5, "arterial-low": 1.2,
}
"""How near to each other an instant is reported and found. A mean of ten intervals passes its limit a beat sooner or later by a
millisecond of each; the first beat of a run may be a fusion; a wide QRS has its middle elsewhere; fibrillation is found in pieces."""


ST_LEADS = ("I", "II", "III", "V1", "V5")


def watched(folder: Path, *steps: dict, seed: int, **more) -> tuple[Monitor, list[dict], list[dict]]:
    """What a monitor finds in the samples of a script, its reported alarms, and its reported readings."""
    (folder / "script.json").write_text(json.dumps(document(*steps, seed=seed, **more)), "utf-8")
    target = folder / "out.wav"
    succeed("render", folder / "script.json", "-o", target, "--channels", CHANNELS, "--bits", "float", "--frame-rate", FRAME_RATE_HZ,
            "--lead-truth", ",".join(ST_LEADS))
    samples, _ = soundfile.read(target, dtype="float32")
    signals = Signals(FRAME_RATE_HZ, samples[:, :4].astype(np.float64), *samples[:, 4:].T)
    return Monitor.connected(signals, limits_of(more, 0)), read_truth(target, "alarms"), read_truth(target, "readings")


def test_each_alarm_begins_and_ends_with_its_samples(tmp_path):
    monitor, rows, _ = watched(tmp_path, *STEPS, seed=3)
    found = monitor.alarms()
    off = []
    for kind, within_s in WITHIN_S.items():
        reported = [row for row in rows if row["alarm"] == kind]
        seen = sorted((alarm for alarm in found if alarm.kind == kind), key=lambda alarm: alarm.time_s)
        assert len(reported) == len(seen) >= 1, (kind, reported, seen)
        for row, alarm in zip(reported, seen, strict=True):
            ends = [float(row["end_s"] or monitor.end_s), min(alarm.end_s, monitor.end_s)]
            if abs(float(row["time_s"]) - alarm.time_s) > within_s or abs(ends[0] - ends[1]) > within_s:
                off.append((kind, row["time_s"], row["end_s"], alarm))
    assert not off, off


@pytest.mark.parametrize("silence_s", [3, 6])
def test_a_silence_shows_as_no_rate(silence_s, tmp_path):
    """A device that takes noise for beats is silent for so long again and again; 4 s without a beat show as 0."""
    steps = step(120, "paced-oversensing", heart={"pause_s": silence_s}), step(3, rate_bpm=80)
    monitor, _, rows = watched(tmp_path, *steps, seed=5)
    qrs_s = monitor.heart.qrs_s
    longest_s = np.max(np.diff(qrs_s[(qrs_s > 20) & (qrs_s < 120)]))
    assert abs(longest_s - silence_s) < 1.0
    lows = {row["reading"]: float(row["low"]) for row in rows if row["step"] == "1" and row["low"]}
    shown = min(monitor.shows("heart-rate", 0, at_s) for at_s in np.arange(20, 120, 0.05))
    assert (lows["heart-rate"] == 0) == (shown == 0) == (longest_s > 4)
    # A monitor that averages longer shows the beats over their time.
    inside = qrs_s[(qrs_s > 20) & (qrs_s < 120)]
    assert lows["heart-rate"] == 0 or abs(lows["heart-rate"] - min(shown, 60 / np.mean(np.diff(inside)))) < 1.5
    pulses_s = monitor.pulses.foot_s[(monitor.pulses.foot_s > 20) & (monitor.pulses.foot_s < 120)]
    assert (lows["pulse-rate"] == 0) == (np.max(np.diff(pulses_s)) > 4)


@pytest.mark.parametrize("off", [(), ("off_v1",), ("off_ra",), ("off_ra", "off_la")])
def test_electrodes_off_leave_no_rate_where_no_lead_moves(off, tmp_path):
    """A monitor counts beats in any lead that shows them; where none does it shows no rate, and raises no alarm of the heart."""
    steps = step(40, rate_bpm=30, artefact=dict.fromkeys(off, 1)), step(20, rate_bpm=30, artefact=dict.fromkeys(off, 0))
    monitor, alarms, rows = watched(tmp_path, *steps, seed=4)
    leads = monitor.signals.leads_mv
    flat = np.max(np.ptp(leads[: 40 * FRAME_RATE_HZ], axis=0)) < 0.1
    assert flat == (len(off) == 2) and np.max(np.ptp(leads[41 * FRAME_RATE_HZ :], axis=0)) > 0.5
    [first, second] = [row["expected"] for row in rows if row["reading"] == "heart-rate"]
    assert (first == "") == flat and float(second) > 0
    of_heart = [alarm["alarm"] for alarm in alarms if float(alarm["time_s"]) < 40 and alarm["alarm"] != "arterial-low"]
    assert (of_heart == []) == flat, of_heart


OFF = [
    # electrodes, whether the impedance is measured between the arms
    ((), 0), (("off_v1",), 0), (("off_ra",), 0), (("off_ll",), 0), (("off_ll",), 1), (("off_la",), 0), (("off_la",), 1),
    (("off_ra", "off_la"), 0), ((), 1),
]


def test_electrodes_off_leave_no_st_and_no_breaths_in_flat_channels(tmp_path):
    """Nothing is reported of a flat lead or of a flat impedance, and no apnoea; what is reported of others is that of the samples."""
    electrodes, step_s = ("off_ra", "off_la", "off_ll", "off_v1"), 30
    steps = [
        step(step_s, breathing={"lead_i": arms}, st={"inferior_mv": 0.2}, artefact={name: int(name in off) for name in electrodes})
        for off, arms in OFF
    ]
    monitor, alarms, rows = watched(tmp_path, *steps, seed=4)
    beats = read_truth(tmp_path / "out.wav", "leads")
    n_flat, n_levels = [], []
    for i, (off, arms) in enumerate(OFF):
        start_s, at_s = i * step_s, (i + 1) * step_s - 1
        signals = monitor.signals.part(start_s, at_s)
        one, two, v1, v5 = signals.leads_mv.T
        leads = {"I": one, "II": two, "III": two - one, "V1": v1, "V5": v5}
        flat = {lead for lead, samples in leads.items() if np.ptp(samples) < 0.01}
        of = {row["reading"]: row for row in rows if row["step"] == str(i + 1)}
        levels = {lead: float(of[f"st-{lead}"]["expected"]) for lead in leads if of[f"st-{lead}"]["expected"]}
        assert not set(levels) & flat, (off, levels)
        for lead, level_mv in levels.items():
            assert abs(level_mv - monitor.shows(f"st-{lead}", 0, at_s)) < 0.05, (off, lead)
        assert all("electrode" in of[f"st-{lead}"]["why"] for lead in flat), off
        assert {row["lead"] for row in beats if start_s + 1 < float(row["time_s"]) < at_s} == set(levels), off
        still = np.ptp(signals.respiration_ohm) < 0.01
        assert still == bool({"off_ra", "off_la" if arms else "off_ll"} & set(off)), off
        breaths = of["respiration-rate"]["expected"]
        assert (breaths == "") == still, off
        assert still or abs(float(breaths) - monitor.shows("respiration-rate", 0, at_s)) < 0.3, off
        n_flat.append(len(flat) + int(still))
        n_levels.append(len(levels))
    assert n_flat == [0, 1, 2, 2, 1, 1, 2, 6, 0] and n_levels == [5, 4, 1, 1, 1, 1, 1, 0, 5]
    assert not [alarm for alarm in alarms if alarm["alarm"] == "apnoea"]
