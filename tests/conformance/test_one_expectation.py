"""One expectation, stated alike everywhere: tables, check, worksheet, session, report, stream and score, value by value."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import pytest

from program import run, succeed
from reading import read_steps, read_truth

QUANTITIES = ["heart-rate", "respiration-rate", "arterial-systolic", "arterial-diastolic", "arterial-mean", "venous-mean"]
PULSELESS = ["heart-rate", "arterial-mean", "venous-mean"]


def step(name: str, duration_s: float = 60, readings: list[str] = QUANTITIES, alarms: object = None, **settings) -> dict:
    """A step that asks for readings, and for the alarm that its signal raises where there is one."""
    asked = {"readings": readings} | ({"alarms": alarms} if alarms else {})
    return {"name": name, "duration_s": duration_s, "rhythm": "sinus", **settings, "expect": asked}


PLAN = {
    "version": 1,
    "title": "Invented plan",
    "notes": "Invented data.",
    "seed": 3,
    "steps": [
        step("steady"),
        step("ramp", rate_bpm={"to": 110}),
        step("blocked beats", rhythm="av-block-2-type-1", rate_bpm=70),
        step("slow line", arterial={"line_hz": 4, "line_damping": 1.2}),
        step("swinging", arterial={"line_hz": 0, "breathing_mmhg": 20}, chest={"breathing_mmhg": 8}),
        step("pauses", 120, breathing={"rate_per_min": 18, "pause_s": 10, "pause_every_s": 30}),
        step("offset", arterial={"breathing_mmhg": 0, "level_mmhg": 12}, breathing={"pause_s": 0}),
        step("arrest", readings=PULSELESS, alarms="usual", rhythm="asystole"),
        step("cuff", 100, readings=["cuff-systolic", "cuff-mean", "cuff-diastolic"], cuff={"inflate_mmhg": 170}),
    ],
}
TOLERANCE = {quantity: {"tolerance": 5, "source": "invented"} for quantity in (*QUANTITIES, "cuff-systolic", "cuff-mean", "cuff-diastolic")}


@dataclass(frozen=True)
class Listed:
    """A reading as a place states it: mean, lowest and highest value, rounded as that place does."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Bench:
    folder: Path
    script: Path
    rows: dict[str, dict[str, str]]
    """Rows of the table of readings that the plan asks for, by the number of the step and the quantity."""

    def listed(self, item: str, digits: int = 1) -> Listed:
        row = self.rows[item]
        return Listed(*(round(float(row[key]) + 1e-9, digits) for key in ("expected", "low", "high")))


def near(stated: float, listed: float, step_of: float) -> bool:
    """Whether two roundings of one value agree: tables have hundredths, the other places tenths or units."""
    return abs(stated - listed) <= 0.5 * step_of + 0.0051


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Bench:
    folder = tmp_path_factory.mktemp("bench")
    script = folder / "plan.json"
    script.write_text(json.dumps(PLAN | {"limits": TOLERANCE}), encoding="utf-8")
    succeed("render", script, "-o", folder / "out.wav", "--channels", "arterial,venous,cuff")
    asked = {f"{i}.{quantity}" for i, one in enumerate(PLAN["steps"], 1) for quantity in one["expect"]["readings"]}
    rows = {f"{row['step']}.{row['reading']}": row for row in read_truth(folder / "out.wav", "readings")}
    assert asked <= rows.keys()
    return Bench(folder, script, {item: rows[item] for item in asked})


def test_the_steps_table_states_the_readings(bench):
    columns = {"rate_bpm": "heart-rate", "breaths_per_min": "respiration-rate"}
    compared = 0
    for number, row in enumerate(read_steps(bench.folder / "out.wav"), 1):
        for column, quantity in columns.items():
            if (listed := bench.rows.get(f"{number}.{quantity}")) and row.get(column):
                assert near(float(row[column]), float(listed["expected"]), 0.01), (number, column)
                compared += 1
    assert compared >= 8


def test_check_states_them(bench):
    lines = succeed("check", bench.script).stdout.decode("utf-8").splitlines()
    head = next(line for line in lines if line.startswith("start"))
    starts = [head.index(word) for word in ("bpm", "arterial", "breaths", "alarm", "ramps")]
    shown = [[line[a:b].strip() for a, b in zip(starts[:-1], starts[1:], strict=True)] for line in lines if re.match(r"\d+:\d\d:\d\d", line)]
    assert len(shown) == len(PLAN["steps"])
    compared = 0
    for number, (rate, pressure, breaths, alarm) in enumerate(shown, 1):
        texts = {"heart-rate": rate, "respiration-rate": breaths}
        if " / " in pressure:
            texts |= dict(zip(("arterial-systolic", "arterial-diastolic"), pressure.split(" / "), strict=True))
        for quantity, text in texts.items():
            if f"{number}.{quantity}" not in bench.rows or text == "-":
                continue
            listed, values = bench.listed(f"{number}.{quantity}", 2), [float(value) for value in text.split(" to ")]
            expected = [listed.low, listed.high] if len(values) == 2 else [listed.mean]
            assert all(near(a, b, 1.0) for a, b in zip(values, expected, strict=True)), (number, quantity, text, listed)
            assert (len(values) == 2) == (listed.high - listed.low >= 1.0), (number, quantity)
            compared += 1
        assert alarm.startswith("high, asystole") == (number == 8)
    assert compared >= 26


class Page(HTMLParser):
    """The text of each item of a worksheet, as it stands on the page."""

    def __init__(self, page: str):
        super().__init__()
        self.items: dict[str, str] = {}
        self.item, self.depth = None, 0
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        if tag == "div":
            found = dict(attributes).get("data-item")
            if found:
                self.item, self.depth, self.items[found] = found, 0, ""
            self.depth += 1

    def handle_endtag(self, tag):
        if tag == "div":
            self.depth -= 1
            self.item = self.item if self.depth else None

    def handle_data(self, data):
        if self.item:
            self.items[self.item] += data


def stated(text: str, unit: str) -> list[float] | None:
    """The value or the two ends that a sentence states."""
    unit = re.escape(unit)
    if found := re.search(rf"between (-?[\d.]+) and (-?[\d.]+) {unit}", text):
        return [float(found[1]), float(found[2])]
    found = re.search(rf"(-?[\d.]+) {unit}", text)
    return [float(found[1])] if found else None


def assert_states(bench: Bench, item: str, text: str) -> None:
    """A sentence states the band where it is wider than the tolerance, else the mean."""
    row, listed = bench.rows[item], bench.listed(item, 2)
    values = stated(text, row["unit"])
    assert values, (item, text)
    wide = listed.high - listed.low > TOLERANCE[item.partition(".")[2]]["tolerance"]
    assert values and len(values) == (2 if wide else 1), (item, text, listed)
    expected = [listed.low, listed.high] if wide else [listed.mean]
    assert all(near(a, b, 0.1) for a, b in zip(values, expected, strict=True)), (item, text, listed)


def assert_means(bench: Bench, item: str, values: dict, mean: str) -> None:
    """A document has the mean, the lowest and the highest value."""
    listed = bench.listed(item, 2)
    pairs = ((values[mean], listed.mean), (values["low"], listed.low), (values["high"], listed.high))
    assert all(near(a, b, 0.1) for a, b in pairs), (item, values, listed)


def test_the_worksheet_states_them(bench):
    succeed("worksheet", bench.script, "-o", bench.folder / "sheet.html")
    page = (bench.folder / "sheet.html").read_text("utf-8")
    items = Page(page).items
    assert bench.rows.keys() <= items.keys()
    for item in bench.rows:
        assert_states(bench, item, items[item])
    plan = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S)[1])["plan"]
    for reading in (reading for one in plan["steps"] for reading in one["readings"]):
        assert_means(bench, reading["id"], reading, "value")
        assert reading["why"] == bench.rows[reading["id"]]["why"]


def test_session_states_them_and_report_judges_by_them(bench):
    """The means pass, and so does the alarm at the earliest; the same answers moved by more than the tolerance fail."""
    for moved, code in ((0.0, 0), (9.0, 1)):
        record, report = bench.folder / f"record-{moved}.json", bench.folder / f"report-{moved}.json"
        lines = ["INV-1", "", "", "", "", "", "", "", ""]
        for number, one in enumerate(PLAN["steps"], 1):
            # The alarm takes seconds to wait for, and is asked for elsewhere.
            lines += ["s elsewhere"] * ("alarms" in one["expect"])
            for quantity in one["expect"]["readings"]:
                listed = bench.listed(f"{number}.{quantity}")
                lines.append(str(listed.high + moved if moved else listed.mean))
        lines.append("A. Invented")
        outcome = run("session", bench.script, "-o", record, stdin=("\n".join(lines) + "\n").encode())
        assert outcome.code == code, outcome
        said = " ".join(outcome.stdout.decode("utf-8").split())
        questions = re.findall(r"([A-Z][A-Za-z ]+, [A-Za-z/]+ \([^()]*\)): (\w+)", said)
        items = [f"{number}.{quantity}" for number, one in enumerate(PLAN["steps"], 1) for quantity in one["expect"]["readings"]]
        assert len(questions) == len(items), said
        for item, (question, verdict) in zip(items, questions, strict=True):
            assert_states(bench, item, question.partition("(")[2])
            assert verdict == ("fail" if moved else "pass"), (item, question)
        assert run("report", record, "--script", bench.script, "-o", report).code == code
        judged = {item["id"]: item for item in json.loads(report.read_text("utf-8"))["items"]}
        for item in items:
            assert judged[item]["verdict"] == ("fail" if moved else "pass"), judged[item]
            assert_means(bench, item, judged[item], "expected")


def test_a_stream_states_them(bench):
    log = bench.folder / "log.json"
    succeed("stream", bench.script, "--fast", "--log", log, "--frame-rate", 100, "--channels", "arterial,venous,cuff")
    streamed = {f"{row['step']}.{row['reading']}": row for row in read_truth(log, "readings")}
    assert {item: streamed[item] for item in bench.rows} == bench.rows
    # A stream works out the pressures that it does not send, too.
    rendered, listed = ([tuple(row.values()) for row in read_truth(path, "alarms")] for path in (bench.folder / "out.wav", log))
    assert len(rendered) >= 4 and rendered == [alarm for alarm in listed if not alarm[0].startswith(("pulmonary", "intracranial"))]


@pytest.mark.parametrize(("moved", "passes"), [(0.0, True), (5.5, False)])
def test_score_judges_by_them(bench, moved, passes):
    reference = [row | {"tolerance": 5, "tolerance_percent": ""} for row in bench.rows.values() if not row["reading"].startswith("cuff")]
    with (bench.folder / "reference.csv").open("w", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(reference[0]))
        writer.writeheader()
        writer.writerows(reference)
    lines = ["time_s,reading,value"]
    lines += [f"{float(row['end_s']) - 1},{row['reading']},{float(row['high']) + moved}" for row in reference]
    (bench.folder / "log.csv").write_text("\n".join(lines), encoding="utf-8")
    outcome = run("score", bench.folder / "reference.csv", bench.folder / "log.csv", "--what", "readings", "--format", "csv")
    rows = list(csv.DictReader(outcome.stdout.decode().splitlines()))
    assert len(rows) == len(reference) and {row["passed"] for row in rows} == {str(passes).lower()}, outcome


def test_check_notes_a_value_that_the_signal_contradicts(tmp_path):
    """80 bpm in a step played at 60 is noted, and so is a range; a value within its tolerance, and what moves, is not."""
    own = [
        ("wrong value", {"quantity": "heart-rate", "value": 80}),
        ("right value", {"quantity": "heart-rate", "value": 62}),
        ("wrong range", {"quantity": "arterial-systolic", "min": 130, "max": 140, "source": "invented"}),
        ("left out", {"quantity": "respiration-rate"}),
    ]
    steps = [{"name": name, "duration_s": 60, "rate_bpm": 60, "expect": {"readings": [reading]}} for name, reading in own]
    (tmp_path / "plan.json").write_text(json.dumps({"version": 1, "title": "Invented plan", "steps": steps}), encoding="utf-8")
    notes = [line for line in succeed("check", tmp_path / "plan.json").stdout.decode().splitlines() if "correct monitor" in line]
    assert [re.search('"(.*?)"', note)[1] for note in notes] == ["wrong value", "wrong range"], notes
    assert "80 bpm" in notes[0] and "shows 60 bpm" in notes[0] and "shows 120 mmHg" in notes[1], notes
