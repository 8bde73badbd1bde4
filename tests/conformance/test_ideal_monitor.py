"""A monitor without faults passes every item of the ready plans, and one with a fault fails the items that the fault touches."""

from __future__ import annotations

import copy
import csv
import json
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from ideal_alarms import Alarm
from ideal_monitor import Signals
from ideal_readings import Monitor, without_flat_beats
from program import ROOT, run, succeed

FRAME_RATE_HZ = 1000
"""Pacing pulses of 2 ms need it."""
CHANNELS = "I,II,V1,V5,respiration,arterial,venous,cuff"
CATEGORY = {"adult": 0, "neonatal": 2, "transport": 0}
HOLD_S, CUFF_HOLD_S = 60, 180
"""So long a step that holds is played here; a cuff needs longer."""
RESOLUTION = {"cuff-leak": 0.1}
"""Of a reading, in its unit; of the others 1."""


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
    priorities: dict[str, str]
    """Priorities of alarms by their words."""

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


@pytest.fixture(scope="module", params=CATEGORY)
def bench(request, tmp_path_factory) -> Bench:
    name, folder = request.param, tmp_path_factory.mktemp(request.param)
    source = ROOT / "examples" / f"plan-{name}-monitor.json"
    document = json.loads(source.read_text("utf-8"))
    (folder / "bounded.json").write_text(json.dumps(bounded(document)), "utf-8")
    succeed("render", folder / "bounded.json", "-o", folder / "played.wav", "--channels", CHANNELS, "--bits", "float",
            "--frame-rate", FRAME_RATE_HZ)
    samples, rate_hz = soundfile.read(folder / "played.wav", dtype="float32")
    assert rate_hz == FRAME_RATE_HZ
    signals = Signals(rate_hz, samples[:, :4].astype(np.float64), *samples[:, 4:].T)
    succeed("worksheet", source, "-o", folder / "page.html")
    page = (folder / "page.html").read_text("utf-8")
    plan = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])["plan"]
    alarms = table((ROOT / "docs" / "script.md").read_text("utf-8"), "alarms")
    monitor = Monitor.connected(signals, limits_of(document, CATEGORY[name]))
    steps = list(csv.DictReader((folder / "played.steps.csv").open()))
    words = {row[1]: row[0] for row in alarms}
    return Bench(name, folder, plan, steps, monitor, words, {row[0]: row[2] for row in alarms})


def rounded(quantity: str, value: float) -> float:
    """As a display shows it."""
    step = RESOLUTION.get(quantity, 1)
    return round(value / step) * step


def answers(bench: Bench, monitor: Monitor, alarms: list[Alarm]) -> dict[str, tuple[str, str]]:
    """What a person writes down: of each item a value and a priority; "no" for an alarm that is not heard."""
    written = {}
    for _, times, item in bench.items("readings"):
        start_s, end_s = float(times["start_s"]), float(times["end_s"])
        shown = monitor.shows(item["quantity"], start_s, end_s - 0.1)
        written[item["id"]] = (f"{rounded(item['quantity'], shown):g}", "")
    for _, times, item in bench.items("alarms"):
        start_s, end_s = float(times["start_s"]), float(times["end_s"])
        kind = bench.kinds.get(item["name"])
        heard = [of for of in alarms if of.time_s < end_s and of.end_s >= start_s]
        # An alarm with a name of the plan's own is known by its priority.
        alike = [of for of in heard if (of.kind == kind if kind else bench.priorities[of.kind] == item["priority"])]
        first = min(alike, key=lambda of: of.time_s, default=None)
        written[item["id"]] = ("no", "") if first is None else (f"{max(first.time_s - start_s, 0):.1f}", bench.priorities[first.kind])
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
    assert len(rows) > 10
    return [row for row in rows if row["passed"] != "true"]


def test_its_log_of_readings_passes(bench):
    items = (item for _, _, item in bench.items("readings"))
    tolerances = {item["quantity"]: item for item in items if not item["quantity"].startswith(("cuff", "respiration"))}
    reference = [
        row | {key: tolerances[row["reading"]][key] for key in ("tolerance", "tolerance_percent")}
        for row in csv.DictReader((bench.folder / "played.readings.csv").open())
        if row["reading"] in tolerances
    ]
    log = log_of_readings(bench, bench.monitor, set(tolerances))
    assert scored(bench, "readings", reference, log) == []


def log_of_alarms(bench: Bench, alarms: list[Alarm], kinds: set[str]) -> Path:
    """A monitor's log of alarms, each with its end."""
    lines = ["time_s,alarm,priority,end_s"]
    for alarm in alarms:
        end = "" if alarm.end_s == np.inf else f"{alarm.end_s:.3f}"
        if alarm.kind in kinds:
            lines.append(f"{alarm.time_s:.3f},{alarm.kind},{bench.priorities[alarm.kind]},{end}")
    (bench.folder / "alarms.log.csv").write_text("\n".join(lines), "utf-8")
    return bench.folder / "alarms.log.csv"


def asked(bench: Bench) -> set[str]:
    """The alarms that the plan asks about."""
    return {bench.kinds[item["name"]] for _, _, item in bench.items("alarms") if item["name"] in bench.kinds}


def test_its_log_of_alarms_passes(bench):
    """Over the whole play, not only where the plan asks; each alarm ends within 30 s of its condition."""
    rows = csv.DictReader((bench.folder / "played.alarms.csv").open())
    reference = [row | {"clear_within_s": 30} for row in rows if row["alarm"] in asked(bench)]
    log = log_of_alarms(bench, bench.monitor.alarms(), asked(bench))
    assert scored(bench, "alarms", reference, log) == []
