"""Reported readings are those that are played: each is measured from the samples alone.

A reading is a mean and a band, from the lowest to the highest value that a correct monitor shows. Each of the three must be what
`shown` measures: rates within 1 bpm or 1 %, breathing within 0.3 a minute, pressures within 1 mmHg. The
band may be neither narrower nor wider. Readings that these means can't measure are left out by the script that was written,
never by the report; of a step of 30 s or more at least six are compared. A departure counts when it shows in each of the three
windows after a beat, `LATE_S`, in which a pulse is looked for.

The readings of a cuff are held by `test_cuff_readings.py`.

`PULSEWRIGHT_EXPECT=all` plays 300 s of every rhythm, also of the young, 300 random scripts, and the plans with their holds at 300 s;
without it 120 s, 20 of the scripts, and the shorter two of the plans with their holds at 60 s.
"""

from __future__ import annotations

import json
import os
import random
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from ideal_alarms import breathing_alarms
from ideal_monitor import find_breaths
from program import ROOT, succeed
from reading import Recording, read_steps, read_truth, read_wav
from scripts import document, step
from shown import LATE_S, LEADS, Band, shown

ALL = os.environ.get("PULSEWRIGHT_EXPECT") == "all"
FRAME_RATE_HZ = 500
SITES = ("arterial", "femoral", "pulmonary", "venous", "wedge", "intracranial")
CHANNELS = ",".join((*LEADS, "respiration", *SITES))
CATALOGUE = json.loads(succeed("catalog", "rhythms", "--json").stdout)["rhythms"]
RHYTHMS = [rhythm["id"] for rhythm in CATALOGUE]
FIBRILLATION = ("ventricular-flutter", "ventricular-fibrillation", "ventricular-fibrillation-fine")
"""No QRS to count, and any number on the screen."""

BY_PULSE = ("arterial", "femoral", "pulmonary")
"""Sites whose pulses have a foot to be found; of the others the mean is compared."""

SHORTEST_S, FEWEST = 8.0, 6
"""Of the settled part of a step, and of the beats in it, so that there is something to average."""

LONG_S, FEWEST_ROWS = 30.0, 6
"""Of a step so long at least so many readings are compared."""

OF_A_BREATH = 2.5
"""So much a breathing rate that is moved may change by one breath more or less at an end, per minute."""

STEADY = ("sinus", "sinus-bradycardia", "sinus-tachycardia", "supraventricular-tachycardia")
"""Rhythms with beats of one strength."""


@dataclass(frozen=True)
class Played:
    """Settings of a step as the script has them, and those at the end of the step before."""

    now: dict
    before: dict

    @property
    def rhythm(self) -> str:
        return self.now["rhythm"]

    @property
    def breathing(self) -> dict:
        return self.now.get("breathing", {})

    def moves(self, word: str) -> bool:
        """Whether the step moves what a rate counts."""
        return isinstance(self.breathing.get("rate_per_min") if word == "respiration-rate" else self.now.get("rate_bpm"), dict)

    @property
    def weak_pulses(self) -> bool:
        """Whether some pulses are weaker than others."""
        arterial = self.now.get("arterial", {})
        differ = arterial.get("alternans_mmhg", 0) or arterial.get("variation_percent", 0) or self.now.get("life", "none") != "none"
        return bool(differ) or self.rhythm not in STEADY

    @property
    def other_breaths_before(self) -> bool:
        return bool(self.before) and self.breathing != self.before.get("breathing", {})


def in_force(steps: list[dict]) -> list[Played]:
    """Settings of each step: those that it leaves out are those of the step before, and a ramp ends at its target."""

    def over(old: dict, new: dict) -> dict:
        return old | {key: over(old.get(key, {}), value) if isinstance(value, dict) and "to" not in value else value for key, value in new.items()}

    def ended(settings: dict) -> dict:
        return {key: value["to"] if isinstance(value, dict) and "to" in value else ended(value) if isinstance(value, dict) else value for key, value in settings.items()}

    found, before = [], {}
    for one in steps:
        assert "steps" not in one, "a group of steps is not followed here"
        found.append(Played(over(before, one), before))
        before = ended(found[-1].now)
    return found


def tolerance(word: str, value: float) -> float:
    """How far a reported value may be from a measured one."""
    if word in ("heart-rate", "pulse-rate"):
        return max(1.0, 0.01 * value)
    return 0.3 if word == "respiration-rate" else 1.0


def fault(word: str, row: dict[str, str], measured: dict[str, Band | None], played: Played) -> str | None:
    """How a reported reading departs from the measured one, in words."""
    site, found = word.rpartition("-")[0], measured[word]
    if row["expected"] == "":
        if played.now.get(site, {}).get("closed"):
            return f"{word}: none reported behind a closed transducer, which reads its level"
        seen = found if word.endswith("-rate") else measured[f"{site}-pulses"]
        return f"{word}: none reported ({row['why']}), measured {seen}" if seen else None
    mean, low, high = (float(row[key]) for key in ("expected", "low", "high"))
    reported = f"{word}: reported {mean} ({low} to {high}; {row['why']})"
    if found is None:
        return None if mean == 0.0 and word.endswith("-rate") else f"{reported}, measured none"
    within = tolerance(word, found.mean[0])
    lows, highs = found.low, found.high
    if played.moves(word) and found.edges:
        # A monitor that averages few beats shows more of a rate that is moved: up to its first and its last intervals.
        slowest, fastest = found.edges
        # The edge of the time watched may hold a breath more or less, each of which is seconds apart.
        more = OF_A_BREATH if word == "respiration-rate" else 0.0
        least, most = min(lows[0], slowest[0]) - more, max(highs[1], fastest[1]) + more
        if word == "pulse-rate" and played.weak_pulses:
            lows, highs = (least, lows[1]), (highs[0], most)
        else:
            lows, highs = (least, min(lows[1], slowest[1]) + more), (max(highs[0], fastest[0]) - more, most)
    means = found.mean
    rate = measured["heart-rate"]
    if word == "pulse-rate" and rate and played.weak_pulses:
        # A pulse too weak for these means may count, one for each beat.
        means, highs = (means[0], max(means[1], rate.mean[1])), (highs[0], max(highs[1], rate.high[1]))
    only_mean = word.endswith("-mean") and (site not in BY_PULSE or has_no_feet(site, played))
    # A monitor that averages fewer breaths shows none of the step before.
    only_mean = only_mean or word == "respiration-rate" and played.other_breaths_before
    pairs = ((mean, means),) if only_mean else ((mean, means), (low, lows), (high, highs))
    wrong = any(not bottom - within <= value <= top + within for value, (bottom, top) in pairs)
    return f"{reported}, measured {found}" if wrong else None


UNEVEN = ("atrial-fibrillation", "sinus-arrest")
"""Rhythms whose soonest beats give pulmonary pulses without a foot that these means find: one in some hundreds of pulses."""


def has_no_feet(site: str, played: Played) -> bool:
    """Whether some pulses have no foot that these means find; in an agonal child most pulmonary pulses have 1.5 to 1.9 mmHg, which is
    less than a pulse that counts."""
    is_faint = played.rhythm == "agonal" and played.now.get("body") == "child"
    return site == "pulmonary" and (is_faint or played.rhythm in UNEVEN)


def is_measured(word: str, played: Played, beats: int) -> bool:
    """Whether these means can measure a reading in a step where so many beats are found."""
    site = word.rpartition("-")[0]
    if word == "respiration-rate":
        return True
    if word.startswith("cuff") or site not in BY_PULSE and word.endswith("tolic"):
        return False
    if has_no_feet(site, played) and word.endswith("diastolic" if played.rhythm in UNEVEN else "tolic"):
        return False
    return not 0 < beats < FEWEST


def plain_mean(samples: np.ndarray, span: tuple[float, float, float]) -> Band:
    """Mean of the settled part of a step, as far as a beat more or less at its edges moves it."""
    a, b = (round(at_s * FRAME_RATE_HZ) for at_s in span[1:])
    means = [float(samples[first:last].mean()) for first in (a, a + FRAME_RATE_HZ) for last in (b - FRAME_RATE_HZ, b)]
    ends = min(means), max(means)
    return Band(ends, ends, ends, 1)


def faults(script: Path, target: Path, unmeasured: dict[str, tuple[str, ...]] | None = None) -> list[str]:
    """Plays a script and measures it: each reported reading that the samples do not show. Cuffs: see `test_cuff`."""
    succeed("render", script, "-o", target, "--bits", "float", "--channels", CHANNELS, "--frame-rate", FRAME_RATE_HZ, "--force")
    recording = read_wav(target)
    rows = read_truth(target, "readings")
    steps = {row["step"]: played for row, played in zip(read_steps(target), in_force(json.loads(script.read_text("utf-8"))["steps"]), strict=True)}
    spans = list({span_of(row): None for row in rows if span_of(row)[2] - span_of(row)[1] >= SHORTEST_S})
    found, compared = departures(recording, rows, steps, spans, unmeasured or {}, LATE_S[0])
    for late_s in LATE_S[1:]:
        if found:
            widely, _ = departures(recording, rows, steps, spans, unmeasured or {}, late_s)
            found = {key: words for key, words in found.items() if key in widely}
    few = {row["step"] for row in rows if float(row["end_s"]) - float(row["start_s"]) >= LONG_S and compared[row["step"]] < FEWEST_ROWS}
    assert not few, f"nearly nothing is compared in the steps {few}: {compared}"
    assert len(rows) >= 9 * len(steps), "readings are missing"
    return list(found.values())


def departures(recording: Recording, rows: list[dict], steps: dict[str, Played], spans: list[tuple], unmeasured: dict, late_s: tuple) -> tuple[dict, Counter]:
    """Readings that the samples do not show, in words by step and reading, and how many were compared of each step."""
    measured = dict(zip(spans, shown(recording.values, SITES, FRAME_RATE_HZ, spans, late_s), strict=True))
    found, compared = {}, Counter()
    for row in rows:
        word, key, span = row["reading"], row["step"], span_of(row)
        if span not in measured:
            continue
        played, readings = steps[key], measured[span]
        rate = None if played.rhythm in FIBRILLATION else readings["heart-rate"]
        if not is_measured(word, played, rate.count if rate else 0) or word in unmeasured.get(key, ()):
            continue
        compared[key] += 1
        if word in ("heart-rate", "pulse-rate") and played.rhythm in FIBRILLATION:
            if row["expected"] not in ("", "0.00"):
                found[key, word] = f"step {key}: {word} of {played.rhythm} is reported as {row['expected']}"
            continue
        site = word.rpartition("-")[0]
        if word.endswith("-mean") and has_no_feet(site, played):
            readings = {**readings, word: plain_mean(recording.values(site), span)}
        if (words := fault(word, row, readings, played)) is not None:
            found[key, word] = f"step {key} ({played.rhythm}): {words}"
    return found, compared


def span_of(row: dict[str, str]) -> tuple[float, float, float]:
    """Start of a row's step, from when on the reading counts, and the step's end, s."""
    start_s = float(row["start_s"])
    return start_s, start_s + float(row["settle_s"]), float(row["end_s"])


def test_a_wrong_report_is_seen(tmp_path):
    """The law from the other side: a reading moved by more than its tolerance, or a band that holds anything, is a fault."""
    assert not played(tmp_path, step(60), seed=1)
    rows = read_truth(tmp_path / "out.wav", "readings")
    recording = read_wav(tmp_path / "out.wav")
    [measured] = shown(recording.values, SITES, FRAME_RATE_HZ, [(0.0, 20.0, 60.0)])
    [sinus] = in_force([step(60)])
    compared = [row for row in rows if is_measured(row["reading"], sinus, 40) and row["expected"]]
    assert len(compared) >= 12
    for row in compared:
        assert fault(row["reading"], row, measured, sinus) is None
        value = float(row["expected"])
        moved = 2.2 * tolerance(row["reading"], value)
        for wrong in ({"expected": str(value + moved)}, {"expected": str(value - moved)}, {"expected": ""}):
            # A missing mean is seen where the pressure has pulses.
            if wrong["expected"] or measured.get(f"{row['reading'].rpartition('-')[0]}-pulses") or row["reading"].endswith("rate"):
                assert fault(row["reading"], {**row, **wrong}, measured, sinus), (row, wrong)
        if not row["reading"].endswith("-mean"):
            assert fault(row["reading"], {**row, "low": "0", "high": "300"}, measured, sinus), row


def played(folder: Path, *steps: dict, seed: int) -> list[str]:
    """Faults of a script of these steps."""
    script = folder / "script.json"
    script.write_text(json.dumps(document(*steps, seed=seed)), encoding="utf-8")
    return faults(script, folder / "out.wav")


@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_every_rhythm(rhythm, tmp_path):
    found = played(tmp_path, step(300 if ALL else 120, rhythm), seed=5)
    assert not found, "\n".join(found)


BODIES = [
    (body, rhythm)
    for body in ("child", "neonate")
    for rhythm in RHYTHMS
    if ALL or rhythm in ("sinus", "supraventricular-tachycardia", "av-block-2-type-1", "asystole", "ventricular-r-on-t")
]


@pytest.mark.parametrize(("body", "rhythm"), BODIES)
def test_every_body(body, rhythm, tmp_path):
    found = played(tmp_path, step(300 if ALL else 120, rhythm, body=body), seed=6)
    assert not found, "\n".join(found)


@pytest.mark.parametrize("rate_bpm", [105, 125])
def test_fast_pacing(rate_bpm, tmp_path):
    """A paced QRS is fastest so late that the pulse of its beat has begun."""
    found = played(tmp_path, step(40, "paced-tracking", rate_bpm=rate_bpm), seed=1)
    assert not found, "\n".join(found)


def test_fast_pacing_among_other_rhythms(tmp_path):
    """How late a QRS is fastest is that of the beats about it."""
    found = played(tmp_path, step(120), step(40, "paced-loop", rate_bpm=120, pacing={"amplitude_mv": 2, "width_ms": 2}), step(120), seed=1)
    assert not found, "\n".join(found)


def test_breaths_too_small_to_be_seen(tmp_path):
    found = played(tmp_path, step(60, breathing={"depth_ohm": 0.05}), seed=7)
    assert not found, "\n".join(found)
    [row] = [row for row in read_truth(tmp_path / "out.wav", "readings") if row["reading"] == "respiration-rate"]
    assert row["expected"] == "0.00" and "shallow" in row["why"]


def test_a_rate_that_is_moved(tmp_path):
    """The band reaches to both ends of a ramp, for hearts and for breaths."""
    ramps = {"rate_bpm": {"from": 60, "to": 120}, "breathing": {"rate_per_min": {"from": 12, "to": 30}}}
    found = played(tmp_path, step(90, **ramps), {"duration_s": 3}, seed=8)
    assert not found, "\n".join(found)
    rows = {row["reading"]: row for row in read_truth(tmp_path / "out.wav", "readings") if row["step"] == "1"}
    assert float(rows["heart-rate"]["high"]) > 118 and float(rows["respiration-rate"]["high"]) > 28


def test_breaths_that_differ(tmp_path):
    """Averages of fewer breaths would scatter more."""
    found = played(tmp_path, step(240, breathing={"rate_per_min": 24, "irregular_percent": 20}), {"duration_s": 3}, seed=9)
    assert not found, "\n".join(found)
    [row] = [row for row in read_truth(tmp_path / "out.wav", "readings") if row["reading"] == "respiration-rate" and row["step"] == "1"]
    assert float(row["high"]) - float(row["low"]) > 2


@pytest.mark.parametrize("apnoea_s", [20, 12])
def test_an_apnoea_is_known_when_its_limit_is_reached(apnoea_s, tmp_path):
    """From the end of the last breath on, as the impedance shows it; it ends with the next breath."""
    breathing = {"rate_per_min": 20, "pause_s": 28, "pause_every_s": 60}
    limits = {"apnoea_s": {"value": apnoea_s, "source": "invented"}}
    plan = document(step(240, breathing=breathing), step(40, breathing={"pause_s": 0, "rate_per_min": 0}), seed=4, alarm_limits=limits)
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    succeed("render", tmp_path / "plan.json", "-o", tmp_path / "out.wav", "--bits", "float", "--channels", "respiration", "--frame-rate", 250)
    impedance = read_wav(tmp_path / "out.wav").values("respiration")
    measured = breathing_alarms(find_breaths(impedance, 250, 70), {"apnoea_s": apnoea_s}, 280.0)
    rows = [row for row in read_truth(tmp_path / "out.wav", "alarms") if row["alarm"] == "apnoea"]
    assert len(rows) == len(measured) >= 3
    for row, alarm in zip(rows, measured, strict=True):
        assert abs(float(row["time_s"]) - alarm.time_s) < 0.5, (row, alarm)
        if row["end_s"]:
            assert abs(float(row["end_s"]) - alarm.end_s) < 0.5, (row, alarm)
        assert abs(float(row["begin_s"]) + apnoea_s - alarm.time_s) < 0.5, (row, alarm)


def some_step(chance: random.Random) -> dict:
    """A step of some settings that make a reading other than what is set."""
    rhythm = chance.choice(("sinus",) * 5 + ("atrial-fibrillation", "av-block-2-type-1", "ventricular-premature", "sinus-arrest", "asystole"))
    systolic = chance.uniform(80, 190)
    arterial: dict = {"systolic_mmhg": systolic, "diastolic_mmhg": systolic - chance.uniform(25, 0.45 * systolic)}
    chosen = {"duration_s": round(chance.uniform(38, 50), 1), "rhythm": rhythm, "arterial": arterial}
    if rhythm == "sinus":
        chosen["rate_bpm"] = chance.choice((chance.uniform(40, 160), {"to": chance.uniform(50, 140)}))
    if chance.random() < 0.3:
        chosen["life"] = chance.choice(("resting", "lively"))
    kind = chance.randrange(9)
    if kind == 0:
        arterial |= {"line_hz": chance.uniform(3, 25), "line_damping": chance.uniform(0.08, 1.6)}
    elif kind == 1:
        arterial["level_mmhg"] = chance.choice((chance.uniform(-30, 60), {"to": chance.uniform(-30, 60)}))
    elif kind == 2:
        site = chance.choice(("arterial", "pulmonary", "venous"))
        closed = {"closed": 1, "level_mmhg": chance.uniform(-20, 250)}
        chosen[site] = {**(arterial if site == "arterial" else {}), **closed}
    elif kind == 3:
        arterial["systolic_mmhg"] = {"from": systolic, "to": systolic + chance.uniform(5, 60)}
    elif kind == 4:
        # A weaker pulse is smaller than the dicrotic wave before it, and one or the other counts.
        arterial["alternans_mmhg"] = min(chance.uniform(3, 30), 0.7 * (systolic - arterial["diastolic_mmhg"]))
    elif kind == 5:
        arterial["breathing_mmhg"] = chance.uniform(3, 30)
    elif kind == 6:
        chosen["duration_s"] = 120
        chosen["breathing"] = {"rate_per_min": 20, "pause_s": chance.uniform(4, 15), "pause_every_s": chance.uniform(20, 40)}
    elif kind == 7:
        chosen["chest"] = {"breathing_mmhg": chance.uniform(-12, 15)}
    else:
        chosen["breathing"] = {"rate_per_min": chance.choice((0, chance.uniform(6, 50)))}
        arterial["variation_percent"] = chance.uniform(5, 40)
    return chosen


CLEAN = {
    "arterial": {"closed": 0, "level_mmhg": 0, "line_hz": 0, "alternans_mmhg": 0, "breathing_mmhg": 0, "variation_percent": 0},
    "pulmonary": {"closed": 0, "level_mmhg": 0},
    "venous": {"closed": 0, "level_mmhg": 0},
    "breathing": {"rate_per_min": 15, "pause_s": 0},
    "chest": {"breathing_mmhg": 0},
    "life": "none",
}


def merged(settings: dict, more: dict) -> dict:
    """Settings with others in their place, group by group."""
    return {
        key: {**settings.get(key, {}), **more[key]} if isinstance(more.get(key), dict) and key in CLEAN else more.get(key, settings.get(key))
        for key in {**settings, **more}
    }


RANDOM, TOGETHER = 300, 10


@pytest.mark.parametrize("first", range(0, RANDOM if ALL else 2 * TOGETHER, TOGETHER))
def test_random_scripts(first, tmp_path):
    found = []
    for seed in range(first, first + TOGETHER):
        chance = random.Random(seed)
        # The last step is there to have beats after the end of the second.
        steps = [*(merged(CLEAN, some_step(chance)) for _ in range(2)), {"duration_s": 3}]
        found += [f"seed {seed}, {words}" for words in played(tmp_path, *steps, seed=seed)]
    assert not found, "\n".join(found)


PLANS = ("plan-adult-monitor.json", "plan-neonatal-monitor.json", "plan-transport-monitor.json")
HOLD_S = 300 if ALL else 60
"""So long a step that holds is played."""
AT_ONCE = 12
"""So many steps of a plan are one script, with the settings that are in force before them."""

TRAPS = {"tall T": ("heart-rate", "pulse-rate"), "apnoea with heartbeats": ("respiration-rate",)}
"""A tall triangular T wave and heartbeats in the impedance are there to be counted by a monitor that is not good enough, and these
means are none. `test_ideal_monitor.py` reads them."""


def held(one: dict) -> dict:
    """A step of a plan without its expectations, which the plan may set, and with an end."""
    return {**one, "expect": {}, "duration_s": HOLD_S if one["duration_s"] == "hold" else one["duration_s"]}


@pytest.mark.parametrize("plan", PLANS if ALL else PLANS[1:])
def test_every_plan(plan, tmp_path):
    written = json.loads((ROOT / "examples" / plan).read_text(encoding="utf-8"))
    steps = [held(one) for one in written["steps"]]
    known, found = in_force(steps), []
    for first in range(0, len(steps), AT_ONCE):
        some = [known[first].now, *steps[first + 1 : first + AT_ONCE]]
        script = tmp_path / "script.json"
        script.write_text(json.dumps({**written, "limits": {}, "steps": some}), encoding="utf-8")
        unmeasured = {str(i): words for i, one in enumerate(some, 1) for trap, words in TRAPS.items() if one.get("name", "").startswith(trap)}
        found += [f"from step {first + 1}: {words}" for words in faults(script, tmp_path / "out.wav", unmeasured)]
    assert not found, "\n".join(found)
