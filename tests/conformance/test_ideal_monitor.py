"""A monitor without faults passes every item of the ready plans, and one with a fault fails the items that the fault touches."""

from __future__ import annotations

import copy
import csv
import json
import os
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from ideal_alarms import PRIORITIES, Alarm
from ideal_monitor import Signals
from ideal_readings import Monitor, without_flat_beats
from ideal_session import attend
from program import ROOT, run, succeed

ALL = os.environ.get("PULSEWRIGHT_EXPECT") == "all"
"""Each alarm of each plan is deafened, and a session of each plan is attended by each monitor."""
FRAME_RATE_HZ = 1000
"""Pacing pulses of 2 ms need it."""
CHANNELS = "I,II,V1,V5,respiration,arterial,venous,cuff"
CATEGORY = {"adult": 0, "neonatal": 2, "transport": 0}
HOLD_S, CUFF_HOLD_S = 60, 180
"""So long a step that holds is played here; a cuff needs longer."""


@dataclass
class Bench:
    """A ready plan, the signals that it plays, and a monitor without faults."""

    name: str
    folder: Path
    plan: dict
    steps: list[dict]
    monitor: Monitor
    kinds: dict[str, str]
    """Words of alarms by their names."""

    def items(self, part: str) -> list[tuple[dict, dict, dict]]:
        """Items of the plan: the step, its times, and the item."""
        steps = zip(self.plan["steps"], self.steps, strict=True)
        return [(step, times, item) for step, times in steps for item in step[part]]


def table(page: str, name: str) -> list[list[str]]:
    """A table of a page of the documentation."""
    rows = re.search(rf"<!-- table of {name} -->\n(.*?)<!-- end -->", page, re.S)[1].splitlines()[2:]
    return [[cell.strip().strip("`") for cell in row.strip("|").split("|")] for row in rows]


def limits_of(document: dict, category: int) -> dict[str, float]:
    """The limits that the monitor is set to: those of the plan, else the usual ones that the documentation prints."""
    page = (ROOT / "docs" / "script.md").read_text("utf-8")
    number = lambda word: np.nan if word in ("off", "") else float(word)  # noqa: E731
    limits = {row[0]: number(row[3].split(", ")[category]) for row in table(page, "alarm limits")}
    limits |= {word: number(str(given["value"])) for word, given in document.get("alarm_limits", {}).items()}
    parts = [f"arterial_{part}_{side}_mmhg" for part in ("systolic", "diastolic", "mean") for side in ("low", "high")]
    return {part: np.nan for part in parts} | limits


def bounded(document: dict) -> dict:
    """The plan with an end to every step."""
    inflate, document = 0.0, copy.deepcopy(document)
    for step in document["steps"]:
        inflate = step.get("cuff", {}).get("inflate_mmhg", inflate)
        if step["duration_s"] == "hold":
            step["duration_s"] = CUFF_HOLD_S if inflate > 0 else HOLD_S
    return document


@pytest.fixture(scope="module", params=[pytest.param(name, marks=pytest.mark.xdist_group(f"{name} monitor")) for name in CATEGORY])
def bench(request, tmp_path_factory) -> Bench:
    """In one process for all tests of a plan, as it takes as long as they do."""
    name, folder = request.param, tmp_path_factory.mktemp(request.param)
    source = ROOT / "examples" / f"plan-{name}-monitor.json"
    document = json.loads(source.read_text("utf-8"))
    (folder / "bounded.json").write_text(json.dumps(bounded(document)), "utf-8")
    succeed("render", folder / "bounded.json", "-o", folder / "played.wav", "--channels", CHANNELS, "--bits", "float",
            "--frame-rate", FRAME_RATE_HZ, "--lead-truth", "II,III,V5")
    samples, rate_hz = soundfile.read(folder / "played.wav", dtype="float32")
    assert rate_hz == FRAME_RATE_HZ
    signals = Signals(rate_hz, samples[:, :4].astype(np.float64), *samples[:, 4:].T)
    succeed("worksheet", source, "-o", folder / "page.html")
    page = (folder / "page.html").read_text("utf-8")
    plan = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])["plan"]
    alarms = table((ROOT / "docs" / "script.md").read_text("utf-8"), "alarms")
    monitor = Monitor.connected(signals, limits_of(document, CATEGORY[name]))
    steps = list(csv.DictReader((folder / "played.steps.csv").open()))
    return Bench(name, folder, plan, steps, monitor, {row[1]: row[0] for row in alarms})


def rounded(quantity: str, value: float) -> float:
    """As a display shows it."""
    step = 0.01 if quantity.startswith("st-") else 0.1 if quantity == "cuff-leak" else 1
    return round(value / step) * step


def answers(bench: Bench, monitor: Monitor, alarms: list[Alarm]) -> dict[str, tuple[str, str]]:
    """A record as written by a person: of each item a value and a priority; "no" for an alarm that is not heard."""
    written = {}
    for _, times, item in bench.items("readings"):
        start_s, end_s = float(times["start_s"]), float(times["end_s"])
        shown = monitor.shows(item["quantity"], start_s, end_s - 0.1)
        written[item["id"]] = (f"{rounded(item['quantity'], shown):g}", "")
    for _, times, item in bench.items("alarms"):
        start_s, end_s = float(times["start_s"]), float(times["end_s"])
        kind = bench.kinds[item["name"]]
        heard = [of for of in alarms if of.kind == kind and of.time_s < end_s and of.end_s >= start_s]
        first = min(heard, key=lambda of: of.time_s, default=None)
        written[item["id"]] = ("no", "") if first is None else (f"{max(first.time_s - start_s, 0):.1f}", PRIORITIES[first.kind])
    return written


def verdicts(bench: Bench, written: dict[str, tuple[str, str]]) -> dict[str, str]:
    """The verdict of the program on each item, of a record written by hand."""
    lines = ["item;value;priority;heard", "about.asset;INV-1;;", "signed.done;A. Invented;;"]
    for item, (value, priority) in written.items():
        lines.append(f"{item};;;no" if value == "no" else f"{item};{value};{priority};")
    lines += [f"kit.{i + 1};back;;" for i in range(len(bench.plan["kit"]))]
    prepare = [("0", bench.plan["prepare"]), *((step["id"], step["prepare"]) for step in bench.plan["steps"])]
    lines += [f"{step}.prepare-{i + 1};yes;;" for step, ticks in prepare for i in range(len(ticks))]
    (bench.folder / "record.csv").write_text("\n".join(lines), "utf-8")
    source = ROOT / "examples" / f"plan-{bench.name}-monitor.json"
    report = bench.folder / "report.json"
    outcome = run("report", bench.folder / "record.csv", "--script", source, "-o", report, "--force")
    assert outcome.code in (0, 1), outcome
    judged = json.loads(report.read_text("utf-8"))
    assert judged["missing"] == []
    found = {item["id"]: item["verdict"] for item in judged["items"]}
    assert (outcome.code == 0) == (set(found.values()) == {"pass"})
    return found


def failed(bench: Bench, monitor: Monitor, alarms: list[Alarm]) -> set[str]:
    """Items that do not pass."""
    return {item for item, verdict in verdicts(bench, answers(bench, monitor, alarms)).items() if verdict != "pass"}


def test_it_passes_every_item(bench):
    written = answers(bench, bench.monitor, bench.monitor.alarms())
    found = verdicts(bench, written)
    wrong = {item: (written[item], verdict) for item, verdict in found.items() if verdict != "pass"}
    n_items = len(bench.items("readings")) + len(bench.items("alarms"))
    assert wrong == {} and len(found) == n_items >= 20


EVERY_S = 5.0
"""A log of readings has a line so often."""


def log_of_readings(bench: Bench, monitor: Monitor, quantities: set[str]) -> Path:
    """A monitor's log of readings, as rows of time, reading and value."""
    lines = ["time_s,reading,value"]
    for times in bench.steps:
        start_s, end_s = float(times["start_s"]), float(times["end_s"])
        for at_s in np.arange(start_s + EVERY_S, end_s, EVERY_S):
            shown = {quantity: monitor.shows(quantity, start_s, at_s) for quantity in quantities}
            lines += [f"{at_s},{quantity},{rounded(quantity, value):g}" for quantity, value in shown.items() if value == value]
    (bench.folder / "readings.log.csv").write_text("\n".join(lines), "utf-8")
    return bench.folder / "readings.log.csv"


def scored(bench: Bench, what: str, reference: list[dict], log: Path) -> list[dict]:
    """The rows of `score` that do not pass."""
    with (bench.folder / "reference.csv").open("w") as file:
        writer = csv.DictWriter(file, list(reference[0]))
        writer.writeheader()
        writer.writerows(reference)
    outcome = run("score", bench.folder / "reference.csv", log, "--what", what, "--format", "csv")
    assert outcome.code in (0, 1), outcome
    rows = list(csv.DictReader(outcome.stdout.decode().splitlines()))
    assert len(rows) >= 5
    return [row for row in rows if row["passed"] != "true"]


def has_st(bench: Bench, step: str) -> bool:
    """Whether QRS onset and ST stand clear of other waves: P and T run into them in fast and in ectopic rhythms."""
    times = bench.steps[int(step) - 1]
    return times["rhythm"].startswith("sinus") and float(times["rate_bpm"] or 0) <= 120


def test_its_log_of_readings_passes(bench):
    items = (item for _, _, item in bench.items("readings"))
    tolerances = {item["quantity"]: item for item in items if not item["quantity"].startswith("cuff")}
    reference = [
        row | {key: tolerances[row["reading"]][key] for key in ("tolerance", "tolerance_percent")}
        for row in csv.DictReader((bench.folder / "played.readings.csv").open())
        if row["reading"] in tolerances and (not row["reading"].startswith("st-") or has_st(bench, row["step"]))
    ]
    log = log_of_readings(bench, bench.monitor, set(tolerances))
    assert scored(bench, "readings", reference, log) == []


def log_of_alarms(bench: Bench, alarms: list[Alarm], kinds: set[str]) -> Path:
    """A monitor's log of alarms, each with its end."""
    lines = ["time_s,alarm,priority,end_s"]
    for alarm in alarms:
        end = "" if alarm.end_s == np.inf else f"{alarm.end_s:.3f}"
        if alarm.kind in kinds:
            lines.append(f"{alarm.time_s:.3f},{alarm.kind},{PRIORITIES[alarm.kind]},{end}")
    (bench.folder / "alarms.log.csv").write_text("\n".join(lines), "utf-8")
    return bench.folder / "alarms.log.csv"


def asked(bench: Bench) -> set[str]:
    """The alarms that the plan asks about."""
    return {bench.kinds[item["name"]] for _, _, item in bench.items("alarms")}


def test_its_log_of_alarms_passes(bench):
    """Over the whole play, not only where the plan asks; each alarm ends within 30 s of its condition."""
    rows = csv.DictReader((bench.folder / "played.alarms.csv").open())
    reference = [row | {"clear_within_s": 30} for row in rows if row["alarm"] in asked(bench)]
    log = log_of_alarms(bench, bench.monitor.alarms(), asked(bench))
    assert scored(bench, "alarms", reference, log) == []


OF_A_DELAY = {"asystole": 1.5, "pause": 1.5, "apnoea": 1.5, "ventricular-fibrillation": 1.5, "arterial-low": 2.5, "arterial-high": 2.5}
"""Alarms whose limit is itself a delay, so that their time is one, and how near to each other, in s, that time is reported and found:
a QRS is wide; a pressure is read of each pulse or second."""


def test_each_limit_is_reached_when_the_samples_reach_it(bench):
    found = bench.monitor.alarms()
    rows = [row for row in csv.DictReader((bench.folder / "played.alarms.csv").open()) if row["alarm"] in OF_A_DELAY]
    off = []
    for row in rows:
        times = [alarm.time_s for alarm in found if alarm.kind == row["alarm"]]
        near = min((abs(float(row["time_s"]) - time_s) for time_s in times), default=np.inf)
        if near > OF_A_DELAY[row["alarm"]]:
            off.append((row["alarm"], row["time_s"], near))
    assert len(rows) >= 3 and not off, off


def of_pressures(bench: Bench, change) -> Monitor:
    """The same monitor with an error in every pressure channel."""
    signals = bench.monitor.signals
    channels = ("arterial_mmhg", "venous_mmhg", "cuff_mmhg")
    changed = replace(signals, **{channel: change(getattr(signals, channel)) for channel in channels})
    return Monitor(changed, bench.monitor.limits, bench.monitor.heart)


def touched(bench: Bench, change) -> tuple[set[str], set[str]]:
    """Readings of pressures that an error takes out of their limits, by the plan's numbers, and those that it takes to an edge.

    A display rounds. Before that a pressure is read to 0.2 mmHg, and the envelope of a cuff to 2.5.
    """
    out, edge = set(), set()
    for _, _, item in bench.items("readings"):
        if item["unit"] != "mmHg" or item["value"] is None:
            continue
        low, high = item["low"], item["high"]
        width = max(item["tolerance"] or 0, (item["tolerance_percent"] or 0) / 100 * abs(item["value"]))
        read_to = 2.5 if item["quantity"] in ("cuff-systolic", "cuff-diastolic", "cuff-mean") else 0.2
        shown = [round(change(low) - read_to), round(change(high) + read_to)]
        passes = {low - width <= value <= high + width for value in shown}
        if passes == {False}:
            out.add(item["id"])
        elif len(passes) == 2:
            edge.add(item["id"])
    return out, edge


def taken_out(bench: Bench, change) -> set[str]:
    """Readings of pressures that an error takes out of their limits: those that the monitor without it shows of the samples, changed."""
    out = set()
    for _, times, item in bench.items("readings"):
        if item["unit"] != "mmHg" or item["value"] is None:
            continue
        width = max(item["tolerance"] or 0, (item["tolerance_percent"] or 0) / 100 * abs(item["value"]))
        shown = bench.monitor.shows(item["quantity"], float(times["start_s"]), float(times["end_s"]) - 0.1)
        if not item["low"] - width <= rounded(item["quantity"], change(shown)) <= item["high"] + width:
            out.add(item["id"])
    return out


@pytest.mark.parametrize("error", ["gain of 5 %", "zero of 5 mmHg"])
def test_an_error_of_pressure_fails_the_readings_that_it_takes_out(bench, error):
    change = (lambda mmhg: 1.05 * mmhg) if "gain" in error else (lambda mmhg: mmhg + 5)
    out = taken_out(bench, change)
    assert len(out) >= 2
    monitor = of_pressures(bench, change)
    assert failed(bench, monitor, monitor.alarms()) == out


def beats_without_t(document: dict) -> set[int]:
    """Numbers of the steps whose test signal has no T wave; settings carry over."""
    test, found = {}, set()
    for number, step in enumerate(document["steps"], 1):
        test |= step.get("test", {})
        if test.get("signal", "none") == "triangular-qrs" and test.get("t_mv", 0) == 0:
            found.add(number)
    return found


def test_a_filter_that_loses_beats_without_t_fails_their_rates(bench):
    document = json.loads((bench.folder / "bounded.json").read_text("utf-8"))
    rates = {f"{number}.heart-rate" for number in beats_without_t(document)}
    out = {item["id"] for _, _, item in bench.items("readings")} & rates
    assert len(out) == (3 if bench.name == "adult" else 0)
    monitor = without_flat_beats(bench.monitor)
    assert failed(bench, monitor, monitor.alarms()) == out


def items_of(bench: Bench, kind: str) -> set[str]:
    """The items that ask for an alarm."""
    return {item["id"] for _, _, item in bench.items("alarms") if bench.kinds[item["name"]] == kind}


def test_an_alarm_that_never_sounds_fails_its_items(bench):
    """One alarm in three of the everyday run, to save time."""
    alarms = bench.monitor.alarms()
    rows = csv.DictReader((bench.folder / "played.alarms.csv").open())
    reference = [row for row in rows if row["alarm"] in asked(bench)]
    for kind in sorted(asked(bench))[:: 1 if ALL else 3]:
        heard = [alarm for alarm in alarms if alarm.kind != kind]
        assert failed(bench, bench.monitor, heard) == items_of(bench, kind), kind
        missing = scored(bench, "alarms", reference, log_of_alarms(bench, heard, asked(bench)))
        assert {row["alarm"] for row in missing} == {kind} and {row["outcome"] for row in missing} == {"missed"}


LATE_S = 20.0


def test_an_alarm_that_is_slow_fails_its_items(bench):
    """Another one in three of the everyday run."""
    alarms = bench.monitor.alarms()
    for kind in sorted(asked(bench))[0 if ALL else 1 :: 1 if ALL else 3]:
        late = [replace(of, time_s=of.time_s + LATE_S, end_s=max(of.end_s, of.time_s + LATE_S)) for of in alarms]
        heard = [slow if of.kind == kind else of for of, slow in zip(alarms, late, strict=True)]
        assert failed(bench, bench.monitor, heard) == items_of(bench, kind), kind


EVERYDAY_STEPS = 8
"""So many steps of a plan are attended in the everyday run, as each plays in real time."""


def in_a_session(bench: Bench, monitor: Monitor, alarms: list[Alarm], steps: int | None = None) -> set[str]:
    """Items that do not pass in a session attended by one who sees this monitor, read back from its record by `report`."""
    source, record, report = (bench.folder / f"session-{part}.json" for part in ("plan", "record", "report"))
    whole = json.loads((ROOT / "examples" / f"plan-{bench.name}-monitor.json").read_text("utf-8"))
    source.write_text(json.dumps(whole | {"steps": whole["steps"][:steps]}), "utf-8")
    bench = replace(bench, plan=bench.plan | {"steps": bench.plan["steps"][:steps]}, steps=bench.steps[:steps])
    written = answers(bench, monitor, alarms)
    code = attend(source, bench.plan, record, written)
    outcome = run("report", record, "--script", source, "-o", report, "--force")
    judged = json.loads(report.read_text("utf-8"))
    found = {item["id"]: item["verdict"] for item in judged["items"]}
    assert judged["missing"] == [] and set(found) == set(written)
    entered = json.loads(record.read_text("utf-8"))["items"]
    assert all(entered[item["id"]]["value"] == written[item["id"]][0] for _, _, item in bench.items("readings"))
    bad = {item for item, verdict in found.items() if verdict != "pass"}
    assert code == outcome.code == (1 if bad else 0)
    return bad


IN_SESSIONS = ("no fault", "gain of 5 %", "zero of 5 mmHg", "a filter that loses beats", "a deaf alarm")


@pytest.mark.parametrize("monitor", IN_SESSIONS if ALL else IN_SESSIONS[:1])
def test_a_session_fails_the_items_of_a_fault(bench, monitor):
    """In real time. An error of pressure may take a reading to the edge of its limits, where it passes or not."""
    if not ALL and bench.name != "transport":
        pytest.skip("one plan in the everyday run")
    sound, alarms = bench.monitor, bench.monitor.alarms()
    if monitor == "no fault":
        assert in_a_session(bench, sound, alarms, None if ALL else EVERYDAY_STEPS) == set()
    elif monitor == "a deaf alarm":
        kind = sorted(asked(bench))[0]
        assert in_a_session(bench, sound, [alarm for alarm in alarms if alarm.kind != kind]) == items_of(bench, kind) != set()
    elif monitor == "a filter that loses beats":
        document = json.loads((bench.folder / "bounded.json").read_text("utf-8"))
        rates = {f"{number}.heart-rate" for number in beats_without_t(document)}
        lossy = without_flat_beats(sound)
        assert in_a_session(bench, lossy, lossy.alarms()) == {item["id"] for _, _, item in bench.items("readings")} & rates
    else:
        change = (lambda mmhg: 1.05 * mmhg) if "gain" in monitor else (lambda mmhg: mmhg + 5)
        out, edge = touched(bench, change)
        wrong = of_pressures(bench, change)
        assert in_a_session(bench, wrong, wrong.alarms()) - edge == out


@pytest.mark.parametrize(("wall", "rate_bpm"), [("inferior", 60), ("lateral", 95)])
def test_st_levels_are_those_of_the_samples(tmp_path, wall, rate_bpm):
    """Each lead to 0.05 mV: so far the ends of the QRS, where its speed falls to 5 %, move a level that slopes."""
    succeed("render", "--rhythm", "sinus", "--rate", rate_bpm, "--set", f"st.{wall}_mv=-0.2", "--duration", "45s", "-o",
            tmp_path / "out.wav", "--channels", CHANNELS, "--bits", "float", "--frame-rate", FRAME_RATE_HZ,
            "--lead-truth", "I,II,III,V5")
    samples, _ = soundfile.read(tmp_path / "out.wav", dtype="float32")
    signals = Signals(FRAME_RATE_HZ, samples[:, :4].astype(np.float64), *samples[:, 4:].T)
    monitor = Monitor.connected(signals, limits_of({}, 0))
    rows = {row["reading"]: row for row in csv.DictReader((tmp_path / "out.readings.csv").open())}
    for lead in ("I", "II", "III", "V5"):
        row = rows[f"st-{lead}"]
        assert float(row["low"]) - 0.05 <= monitor.shows(f"st-{lead}", 0, 44) <= float(row["high"]) + 0.05, lead
    shifted = {"inferior": ("st-II", "st-III"), "lateral": ("st-I", "st-V5")}[wall]
    assert all(float(rows[name]["expected"]) < -0.05 for name in shifted)
