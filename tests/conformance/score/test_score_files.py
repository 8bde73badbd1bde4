"""Every form of input gives the same figures, every form of report shows them, every bad input is reported."""

from __future__ import annotations

import csv
import io
import json
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
import wfdb

ALL = ("--learning-s", 0)
FOLDERS = (*ALL, "--test-rate-hz", 360, "--reference-suffix", ".atr")


@pytest.fixture
def worse(record_100):
    """Frames of a detector with misses, extra beats and jitter."""
    random = np.random.default_rng(3)
    frames = record_100.beats[random.random(len(record_100.beats)) > 0.02]
    frames = frames + random.integers(-20, 21, len(frames))
    return np.unique(np.r_[frames, random.integers(0, 650_000, 30)])


def forms(frames):
    """The same detections as files: name, text, flags."""
    s, ms = frames / 360, frames / 0.36
    lines = lambda head, rows: head + "".join(row + "\n" for row in rows)  # noqa: E731
    rate = ("--test-rate-hz", 360)
    yield "frames.csv", lines("sample\n", map(str, frames)), rate
    yield "bare.txt", lines("", map(str, frames)), (*rate, "--test-unit", "frame")
    yield "seconds.csv", lines("# one line of comment\ntime_s,amplitude\n", [f"{t:.6f},1.0" for t in s]), ()
    yield "comma.csv", lines("Time_s;note\n", [f"{t:.6f};x".replace(".", ",") for t in s]), ()
    yield "milli.tsv", lines("index\ttime_ms\n", [f"{i}\t{t:.4f}" for i, t in enumerate(ms)]), ("--test-unit", "ms")
    yield "spaced.txt", lines("when what\n", [f"{t:.6f}   N" for t in s]), ("--time-column", "when", "--test-unit", "s")
    yield "unsorted.csv", lines("frame\n", map(str, frames[::-1])), rate
    yield "numbers.json", json.dumps(frames.tolist()), (*rate, "--test-unit", "frame")
    yield "objects.json", json.dumps([{"time_s": t} for t in s]), ()
    yield "columns.json", json.dumps({"sample": frames.tolist(), "made_by": "test"}), rate
    yield "nested.json", json.dumps({"version": 1, "beats": [{"time_ms": t} for t in ms]}), ()


def test_all_forms_of_detections_give_the_same_figures(score, record_100, worse, tmp_path):
    wfdb.wrann("seen", "qrs", worse, symbol=["N"] * len(worse), write_dir=str(tmp_path))
    reference = score(record_100.reference, tmp_path / "seen.qrs", *ALL, "--test-rate-hz", 360)
    assert reference.code == 0, reference.err
    assert min(reference.counts()) > 20
    seen = 0
    for name, text, flags in forms(worse):
        path = tmp_path / name
        path.write_text(text)
        scored = score(record_100.reference, path, *ALL, *flags)
        assert scored.code == 0, (name, scored.err)
        assert scored.counts() == reference.counts(), name
        assert scored.beats(360) == reference.beats(360), name
        seen += 1
    assert seen == 11


def test_truth_csv_as_reference(score, record_100, worse, write_frames, tmp_path):
    rr = np.r_[0, np.diff(record_100.beats)] / 360
    rows = zip(record_100.beats, record_100.codes, rr, strict=True)
    truth = tmp_path / "truth.csv"
    truth.write_text(
        "# truth\ntime_s,frame,code,rr_s,cycle\n" + "".join(f"{f / 360:.9f},{f},{c},{r:.6f},0\n" for f, c, r in rows)
    )
    by_truth = score(truth, write_frames(worse), *ALL, "--test-rate-hz", 360)
    by_annotations = score(record_100.reference, write_frames(worse), *ALL, "--test-rate-hz", 360)
    assert by_truth.code == 0, by_truth.err
    assert by_truth.beats(360) == by_annotations.beats(360)
    assert by_truth.record["matrix"] == by_annotations.record["matrix"]


def test_forms_of_report_agree(score, record_100, worse, write_frames):
    arguments = (record_100.reference, write_frames(worse), *ALL, "--test-rate-hz", 360)
    gate = ("--min", "se=99.9", "--max", "rr_intact_rms_ms=500")
    found = score(*arguments, *gate)
    assert found.code == 1
    detection = found.record["detection"]
    rows = list(csv.DictReader(io.StringIO(score(*arguments, form="csv").out)))
    assert [row["record"] for row in rows] == ["detector", "gross", "average"]
    assert float(rows[0]["se"]) == detection["sensitivity"]["percent"]
    assert int(rows[0]["missed"]) == detection["missed"]
    suite = ElementTree.fromstring(score(*arguments, *gate, form="junit").out).find("testsuite")
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")
    failed = [case for case in suite if case.find("failure") is not None]
    assert [case.get("name") for case in failed] == ["se min"]
    text = score(*arguments, *gate, form="text").out
    line = next(line for line in text.splitlines() if line.startswith("detector")).split()
    assert [int(cell) for cell in line[1:4]] == [detection[key] for key in ("matched", "missed", "extra")]
    assert "FAIL  gross: se >= 99.9" in text
    assert "pass  gross: rr_intact_rms_ms <= 500" in text


def test_limits_from_a_file_and_for_each_record(score, record_100, worse, tmp_path):
    for folder in ("reference", "test"):
        (tmp_path / folder).mkdir()
    for name, frames in (("good", record_100.beats), ("bad", worse)):
        wfdb.wrann(name, "atr", record_100.beats, symbol=record_100.codes, fs=360, write_dir=str(tmp_path / "reference"))
        (tmp_path / "test" / f"{name}.csv").write_text("frame\n" + "".join(f"{f}\n" for f in frames))
    limits = tmp_path / "limits.json"
    limits.write_text('{"gross": {"min": {"se": 98}}, "average": {"min": {"se": 98}}, "each": {"min": {"se": 99.9}}}')
    scored = score(tmp_path / "reference", tmp_path / "test", *FOLDERS, "--limits", limits)
    verdicts = {(v["subject"], v["metric"]): v["passed"] for v in scored.report["verdicts"]}
    assert verdicts == {("gross", "se"): True, ("average", "se"): True, ("bad", "se"): False, ("good", "se"): True}
    assert scored.code == 1
    (tmp_path / "test" / "bad.csv").unlink()
    silent = score(tmp_path / "reference", tmp_path / "test", *FOLDERS)
    assert silent.code == 2
    assert "bad.csv" in silent.err


def check_refused(scored, *parts):
    assert scored.code == 2, (scored.out[:200], scored.err)
    assert "panicked" not in scored.err
    assert scored.out == ""
    for part in parts:
        assert part in scored.err, scored.err


def test_truncated_annotation_files_say_where(score, record_100, tmp_path):
    whole = record_100.reference.read_bytes()
    for cut in [*range(0, 40), *range(41, len(whole) - 1, 211), len(whole) - 1]:
        path = tmp_path / "cut.atr"
        path.write_bytes(whole[:cut])
        scored = score(record_100.reference, path, "--test-rate-hz", 360)
        check_refused(scored, "cut.atr", "byte ")


def test_random_bytes_never_panic(score, record_100, tmp_path):
    random = np.random.default_rng(9)
    for index in range(60):
        path = tmp_path / f"noise.{'atr' if index % 3 else 'csv' if index % 2 else 'json'}"
        path.write_bytes(random.integers(0, 256, random.integers(1, 400), dtype=np.uint8).tobytes())
        scored = score(record_100.reference, path, "--test-rate-hz", 360, "--test-unit", "frame")
        assert scored.code in (0, 2), scored.err
        assert "panicked" not in scored.err


BAD = [
    ("sample\n1\n2\n", (), ["frame rate"]),
    ("1\n2\n", (), ["unit"]),
    ("time_s\n1\nnan\n", (), ["line 3", "nan"]),
    ("time_s\n1\n1e40\n", (), ["line 3", "out of range"]),
    ("time_s,code\n1,N\n2,beat\n", (), ["line 3", "beat"]),
    ("a,b\n1,2\n", (), ["no column of times", "a, b"]),
    ("time_s\n1\n", ("--test-rate-hz", "0"), ["--test-rate-hz"]),
    ("time_s\n1\n", ("--window-ms", "-5"), ["--window-ms"]),
    ("time_s\n1\n", ("--window-ms", "inf"), ["--window-ms"]),
    ("time_s\n1\n", ("--min", "see=99"), ["see", "nearest: se"]),
    ("time_s\n1\n", ("--min", "se=0.99"), ["percent"]),
    ("time_s\n1\n", ("--write", "report.pdf"), [".txt, .json, .csv, .md or .xml"]),
]


@pytest.mark.parametrize(("text", "flags", "parts"), BAD)
def test_bad_input_is_told(score, record_100, tmp_path, text, flags, parts):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    check_refused(score(record_100.reference, path, *flags), *parts)


def test_bad_json_says_line_and_column(score, record_100, tmp_path):
    path = tmp_path / "bad.json"
    path.write_text('[\n 1,\n 2,,\n 3]')
    check_refused(score(record_100.reference, path, "--test-unit", "s"), "line 3, column 4")
    path.write_text("[" * 100_000)
    check_refused(score(record_100.reference, path, "--test-unit", "s"), "column")


def test_missing_files(score, record_100, tmp_path):
    check_refused(score(record_100.reference, tmp_path / "none.csv"), "none.csv")
    check_refused(score(record_100.reference, tmp_path), "both be files or both be folders")


def test_nothing_is_overwritten_unasked(score, record_100, write_frames, tmp_path):
    report = tmp_path / "report.json"
    report.write_text("mine")
    arguments = (record_100.reference, write_frames(record_100.beats), "--test-rate-hz", 360, "--write", report)
    check_refused(score(*arguments), "report.json", "--force")
    assert report.read_text() == "mine"
    forced = score(*arguments, "--force")
    assert forced.code == 0
    assert json.loads(report.read_text()) == forced.report
    assert sorted(path.name for path in tmp_path.iterdir() if "tmp" in path.name) == [], "no leftover"


def test_an_empty_detector_misses_everything(score, record_100, write_frames):
    scored = score(record_100.reference, write_frames([]), *ALL, "--test-rate-hz", 360, "--min", "se=99")
    assert (scored.counts(), scored.code) == ((0, 2273, 0), 1)


def test_learning_period_longer_than_the_record_warns_and_passes_no_limit(score, record_100, write_frames):
    arguments = (record_100.reference, write_frames(record_100.beats), "--test-rate-hz", 360, "--learning-s", 4000)
    scored = score(*arguments)
    assert scored.code == 0
    assert "nothing to score" in scored.err
    assert score(*arguments, "--min", "se=99").code == 1


def test_readings_over_time(score, tmp_path):
    expected, shown = tmp_path / "expected.csv", tmp_path / "shown.csv"
    expected.write_text(
        "reading,start_s,end_s,expected,tolerance,tolerance_percent,settle_s\n"
        "heart_rate_bpm,0,30,60,2,,10\nheart_rate_bpm,30,60,120,,5,10\nsystolic_mmhg,0,60,120,4,,15\n"
    )
    rate = [(t, 60 if t < 30 else min(120, 60 + (t - 30) * 5)) for t in range(0, 61, 2)]
    rows = [f"{t},{bpm},{118 if t < 50 else 125}\n" for t, bpm in rate]
    shown.write_text("time_s,heart_rate_bpm,systolic_mmhg\n" + "".join(rows))
    scored = score(expected, shown, "--what", "readings")
    assert scored.code == 1
    first, second, third = scored.report
    assert (first["passed"], first["settled_after_s"], first["readings"]) == (True, 0.0, 11)
    # 60 + 5 (t - 30) comes within 6 of 120 at t = 40.8, the first reading after that is at 42; 10 s are allowed.
    assert (second["passed"], second["settled_after_s"]) == (False, 12.0)
    assert (third["passed"], third["settled_after_s"], third["largest_error"]) == (False, None, 5.0)


def test_alarm_log(score, tmp_path):
    expected, log = tmp_path / "expected.csv", tmp_path / "log.json"
    expected.write_text("alarm,time_s,within_s,end_s,priority\nasystole,60,10,120,high\ntachycardia,200,10,260,medium\n")
    log.write_text(json.dumps([{"time_s": 66.5, "alarm": "Asystole", "priority": "HIGH"}, {"time_s": 90, "alarm": "asystole"}]))
    scored = score(expected, log, "--what", "alarms")
    assert scored.code == 1
    assert [(a["alarm"], a["outcome"], a["delay_s"]) for a in scored.report] == [
        ("asystole", "in-time", 6.5),
        ("tachycardia", "missed", None),
    ]
    log.write_text(json.dumps([{"time_s": 70, "alarm": "asystole", "priority": "high"}, {"time_s": 205, "alarm": "tachycardia", "priority": "medium"}]))
    assert score(expected, log, "--what", "alarms").code == 0


def test_breaths_and_apnoea(score, tmp_path):
    breaths = np.arange(2, 120, 4.0)
    breaths = breaths[(breaths < 50) | (breaths > 75)]
    reference, test = tmp_path / "breaths.csv", tmp_path / "heard.csv"
    reference.write_text("time_s,depth_ohm\n" + "".join(f"{t},1.0\n" for t in breaths))
    test.write_text("time_s\n" + "".join(f"{t + 0.4}\n" for t in [*breaths, 60.0]))
    truth, alarm = tmp_path / "apnoea.csv", tmp_path / "called.csv"
    truth.write_text("kind,start_s,end_s\napnoea,50,75\n")
    alarm.write_text("kind,start_s,end_s\napnoea,60,78\n")
    scored = score(
        reference, test, "--what", "breaths", "--reference-episodes", truth, "--test-episodes", alarm,
    )
    assert scored.code == 0, scored.err
    assert scored.counts() == (len(breaths), 0, 1)
    (apnoea,) = scored.record["episodes"]
    assert (apnoea["kind"], apnoea["common_s"], apnoea["test_s"]) == ("apnoea", 15.0, 18.0)
    narrow = score(reference, test, "--what", "breaths", "--window-ms", 300)
    assert narrow.counts() == (0, len(breaths), len(breaths) + 1)
