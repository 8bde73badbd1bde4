"""The package against the program: the same values, the same beats, the same figures; and the first steps of a user, mistakes included."""

from __future__ import annotations

import csv
import json
import statistics
import subprocess
import time
from pathlib import Path

import numpy as np
import pulsewright
import pytest
from scipy.io import wavfile

ROOT = Path(__file__).resolve().parents[3]
ROUND = ROOT / "examples" / "ward-round.json"
SINUS = {"version": 1, "seed": 5, "steps": [{"duration_s": 10, "rhythm": "sinus", "rate_bpm": 72}]}
CHANNELS = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V6", "respiration", "arterial", "electrode-RA", "cuff"]


def program(*words: object) -> subprocess.CompletedProcess:
    """The program that the wheel carries."""
    return subprocess.run(["pulsewright", *map(str, words)], check=True, capture_output=True, text=True)


@pytest.mark.parametrize("rate", [250, 500])
def test_values_are_those_of_the_files_to_the_bit(rate, tmp_path):
    target = tmp_path / "round.wav"
    program("render", ROUND, "-o", target, "--frame-rate", rate, "--bits", "float", "--channels", ",".join(CHANNELS))
    _, stored = wavfile.read(target)
    signals = pulsewright.render(ROUND, frame_rate_hz=rate, channels=CHANNELS)
    assert signals.samples.dtype == np.float32 and signals.samples.shape == stored.T.shape
    assert np.array_equal(signals.samples.view(np.uint32), np.ascontiguousarray(stored.T).view(np.uint32))
    assert np.shares_memory(signals["V6"], signals.samples), "a channel is a view"


@pytest.mark.parametrize("table", ["beats", "atrial", "pulses", "breaths", "pacing", "episodes"])
def test_the_truth_is_that_of_the_files(table, tmp_path):
    target = tmp_path / "tour.csv"
    tour = ROOT / "examples" / "tour.json"
    program("render", tour, "-o", target, "--frame-rate", 250, "--channels", "II,arterial")
    with open(tmp_path / f"tour.{table}.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = getattr(pulsewright.render(tour, frame_rate_hz=250, channels=["II", "arterial"]), table)
    for name, values in columns.items():
        if rows and name not in rows[0]:
            continue
        assert len(values) == len(rows), name
        for value, row in zip(values, rows):
            if isinstance(value, str):
                assert value == row[name]
            elif np.isnan(value):
                assert row[name] == ""
            else:
                # Files round times to a microsecond and values to three decimals or two.
                assert value == pytest.approx(float(row[name]), abs=6e-3 if name.endswith(("_mmhg", "_ohm")) else 2e-6)


def test_blocks_and_skips_give_the_same_samples():
    whole = pulsewright.render(ROUND, channels=["II", "arterial"]).samples
    blocks = list(pulsewright.stream(ROUND, frames=333, channels=["II", "arterial"]))
    assert np.array_equal(np.concatenate(blocks, axis=1), whole)
    player = pulsewright.Player(ROUND, channels=["II", "arterial"])
    assert player.skip(20_000) == 20_000 and player.position == 20_000
    assert np.array_equal(player.fill(100), whole[:, 20_000:20_100])
    held = {"version": 1, "steps": [{"rhythm": "sinus", "duration_s": "hold"}, {"rhythm": "asystole", "duration_s": 2}]}
    player = pulsewright.Player(held, channels=["II"])
    player.skip(5000)
    player.next_step()
    assert np.ptp(player.fill(1000)[0, 500:]) < 0.01, "the heart stands still"


def test_scripts_as_mapping_text_bytes_and_path(tmp_path):
    path = tmp_path / "s.json"
    path.write_text(json.dumps(SINUS), encoding="utf-8")
    of = [pulsewright.render(script) for script in (SINUS, json.dumps(SINUS), json.dumps(SINUS).encode(), path, str(path))]
    assert all(np.array_equal(of[0].samples, other.samples) for other in of[1:])
    assert of[0].channels == pulsewright.LEADS and of[0].units["II"] == "mV" and of[0].seed == 5
    assert len(of[0]) == 5000 and of[0].time_s[-1] == pytest.approx(9.998)
    assert len(pulsewright.render(SINUS, duration_s=2.5)) == 1250
    assert pulsewright.render(SINUS, seed=6).seed == 6


def test_every_problem_of_a_script_is_named():
    wrong = {"version": 1, "steps": [{"duration_s": -5, "rhythm": "snius"}]}
    with pytest.raises(pulsewright.ScriptError) as caught:
        pulsewright.render(wrong)
    assert "duration_s" in str(caught.value) and '"sinus"' in str(caught.value)
    for options, word in [
        ({"channels": ["X9"]}, "X9"),
        ({"channels": []}, "no channel"),
        ({"channels": ["II", "II"]}, "twice"),
        ({"frame_rate_hz": 7}, "100"),
        ({"duration_s": float("nan")}, "NaN"),
    ]:
        with pytest.raises(pulsewright.ScriptError, match=word):
            pulsewright.render(SINUS, **{"frame_rate_hz": 500, **options})
    with pytest.raises(KeyError, match="V9"):
        pulsewright.render(SINUS)["V9"]
    with pytest.raises(FileNotFoundError):
        pulsewright.render("nowhere.json")


def test_scores_are_those_of_the_program(tmp_path):
    beats = pulsewright.render(ROUND, channels=["II"]).beats
    times = np.array(beats["time_s"])
    found = np.delete(times, [3, 40]) + 0.004
    (tmp_path / "found.csv").write_text("time_s\n" + "\n".join(f"{t:.6f}" for t in found), encoding="utf-8")
    program("render", ROUND, "-o", tmp_path / "round.wav", "--channels", "II")
    ours = json.loads(program("score", tmp_path / "round.beats.csv", tmp_path / "found.csv", "--learning-s", "0", "--format", "json").stdout)
    report = pulsewright.score(times, found, reference_codes=beats["code"], learning_s=0)
    assert report["gross"]["detection"] == ours["gross"]["detection"]
    assert report["gross"]["detection"]["missed"] == 2
    with pytest.raises(pulsewright.ScriptError, match="codes"):
        pulsewright.score([1.0, 2.0], [1.0], reference_codes="N")


PLAN = {
    "version": 1,
    "duration_s": 12,
    "channels": ["II"],
    "score": {"learning_s": 2},
    "blocks": [{"rhythm": ["sinus", "atrial-fibrillation", "ventricular-bigeminy"], "frame_rate_hz": [250, 500], "seed": {"from": 1, "count": 2}}],
}


def test_a_suite_with_a_function_counts_as_the_program_does(tmp_path):
    def detector(signals: pulsewright.Signals) -> np.ndarray:
        return np.array(signals.beats["time_s"])[1:]

    report = pulsewright.suite(PLAN, detector, jobs=2)
    assert len(report["records"]) == 12
    detection = report["gross"]["detection"]
    assert detection["missed"] == 0 and detection["extra"] == 0 and detection["matched"] > 100
    suite = pulsewright.Suite(PLAN)
    last = suite[11].render()
    assert np.array_equal(last.samples, suite[-1].render().samples)
    assert suite[0].dimensions["rhythm"] == "sinus"
    with pytest.raises(IndexError):
        suite[12]
    with pytest.raises(ZeroDivisionError):
        pulsewright.suite(PLAN, lambda signals: 1 / 0)


def test_a_plan_in_a_file_plays_scripts_and_noise_beside_it(tmp_path):
    for name in ("plan.json", "stress.json", "invented.hea", "invented.dat"):
        (tmp_path / name).write_bytes((ROOT / "examples" / "noise" / name).read_bytes())
    program("suite", tmp_path / "plan.json", "-o", tmp_path / "out", "--keep-signals", "--", "echo", "time_s")
    suite = pulsewright.Suite(tmp_path / "plan.json")
    kept = sorted((tmp_path / "out" / "signals").glob("*.csv"))
    kept = [path for path in kept if path.stem in {case.name for case in suite}]
    assert len(kept) == len(suite) and any("script" in case.dimensions for case in suite)
    for path, case in zip(kept, suite):
        rows = [line for line in path.read_text(encoding="utf-8").splitlines() if line[0].isdigit()]
        stored = np.array([float(row.split(",")[-1]) for row in rows])
        # Files hold 16 bits.
        assert np.abs(case.render()["II"] - stored).max() < 0.01, case


def test_a_plan_of_recordings_counts_as_the_program_does(tmp_path):
    """The samples are those of the record's own file, read here by its format; the figures are the program's."""
    recorded = {**PLAN, "blocks": [{"recordings": [{"record": "100.hea", "channels": {"II": "MLII"}}]}]}
    for path in (ROOT / "tests" / "data" / "recordings").glob("100.*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "plan.json").write_text(json.dumps(recorded), encoding="utf-8")
    suite = pulsewright.Suite(tmp_path / "plan.json")
    signals = suite[0].render()
    # 12 bits of two signals in three bytes (format 212), 200 units a millivolt around 1024: the header's own figures.
    bytes_ = np.frombuffer((tmp_path / "100.dat").read_bytes(), np.uint8).reshape(-1, 3).astype(int)
    units = bytes_[:, 0] | (bytes_[:, 1] & 15) << 8
    units[units > 2047] -= 4096
    assert list(signals.channels) == ["II"] and signals.frame_rate_hz == 360
    assert np.allclose(signals["II"], (units - 1024) / 200, rtol=0, atol=1e-6)
    beats = signals.beats
    assert len(beats["time_s"]) == len(beats["code"]) and set(beats["code"]) >= {"N", "A"}
    # R waves are the peaks of their surroundings.
    for frame in beats["frame"][1:-1:50].astype(int):
        around = signals["II"][frame - 60 : frame + 60]
        assert around[45:75].max() == around.max()
    with pytest.raises(pulsewright.ScriptError, match="a recording has no readings"):
        signals.readings
    ours = suite[0].score(beats["time_s"][::2])
    found = "\n".join(["time_s", *map(repr, beats["time_s"][::2].tolist())])
    (tmp_path / "found.csv").write_text(found + "\n", encoding="utf-8")
    program("suite", tmp_path / "plan.json", "-o", tmp_path / "out", "--write", tmp_path / "r.json", "--", "cat", tmp_path / "found.csv")
    theirs = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))["score"]
    assert ours["records"] == theirs["records"] and ours["records"][0]["detection"]["missed"] > 200


def test_readings_alarms_cuff_and_refused_beats_are_those_of_the_files(tmp_path):
    script = {
        "version": 1,
        "steps": [
            {"duration_s": 60, "rhythm": "sinus", "cuff": {"inflate_mmhg": 160}},
            {"duration_s": 20, "rhythm": "ventricular-fibrillation", "beats": [{"at_s": 3, "site": "left-ventricular"}]},
        ],
    }
    path = tmp_path / "s.json"
    path.write_text(json.dumps(script), encoding="utf-8")
    program("render", path, "-o", tmp_path / "s.wav", "--channels", "II,arterial,cuff")
    signals = pulsewright.render(script, channels=["II", "arterial", "cuff"])
    for table in ("readings", "alarms", "cuff", "refused"):
        with open(tmp_path / f"s.{table}.csv", newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        columns = getattr(signals, table)
        assert rows, table
        for name, values in columns.items():
            cells = [row[name] for row in rows]
            if isinstance(values, list):
                assert values == cells, name
            else:
                assert [float(cell) if cell else -1 for cell in cells] == [-1 if np.isnan(value) else value for value in values], name
    assert "ventricular-fibrillation" in signals.alarms["alarm"] and isinstance(signals.readings["expected"], np.ndarray)


def test_settings_while_it_plays_are_logged_and_play_again():
    held = {"version": 1, "seed": 4, "steps": [{"rhythm": "sinus", "rate_bpm": 60, "duration_s": "hold"}]}
    live = pulsewright.LivePlayer(held, channels=["II", "arterial"])
    parts = [live.fill(3000)]
    at = live.set({"rate_bpm": 120, "ecg.gain": 0.5})
    assert 6 <= at <= 7.1
    parts.append(live.fill(3000))
    assert live.set({"rhythm": "asystole"}) >= 12
    parts.append(live.fill(3000))
    assert live.position == 9000
    played = np.concatenate(parts, axis=1)
    heights = [np.ptp(played[0, frames]) for frames in (slice(0, 3000), slice(4000, 6000), slice(7500, 9000))]
    assert heights[1] == pytest.approx(heights[0] / 2, rel=0.15) and heights[2] < 0.05
    again = pulsewright.render(live.log(), channels=["II", "arterial"])
    assert np.array_equal(again.samples.view(np.uint32), played.view(np.uint32))
    for mistake in ({"ecg.gain": 99}, {"ecg.gian": 1}, {"rhythm": "snius"}):
        with pytest.raises(pulsewright.ScriptError):
            live.set(mistake)
    with pytest.raises(pulsewright.ScriptError):
        live.command("stop")


def test_rhythms_of_ones_own_are_dictionaries_or_files_beside_the_script(tmp_path):
    catalogue = json.loads(program("catalog", "rhythms", "--json").stdout)["rhythms"]
    flutter = next(one["document"] for one in catalogue if one["id"] == "atrial-flutter")
    script = {"version": 1, "seed": 2, "rhythms": {"my-flutter": flutter}, "steps": [{"duration_s": 10, "rhythm": "my-flutter"}]}
    own = pulsewright.render(script)
    built_in = pulsewright.render({"version": 1, "seed": 2, "steps": [{"duration_s": 10, "rhythm": "atrial-flutter"}]})
    assert np.array_equal(own.samples, built_in.samples)
    (tmp_path / "f.json").write_text(json.dumps({"version": 1, **flutter}), encoding="utf-8")
    (tmp_path / "s.json").write_text(json.dumps({**script, "rhythms": {"my-flutter": "f.json"}}), encoding="utf-8")
    assert np.array_equal(pulsewright.render(tmp_path / "s.json").samples, built_in.samples)
    with pytest.raises(pulsewright.ScriptError, match="not read from a file"):
        pulsewright.render({**script, "rhythms": {"my-flutter": "f.json"}})


def test_patients_are_those_of_the_program(tmp_path):
    plan = ROOT / "examples" / "cohort" / "people.json"
    program("cohort", plan, "-n", "12", "-o", tmp_path / "c", "--packs", "1")
    packed = np.load(tmp_path / "c" / "pack-1-of-1.npy")
    cohort = pulsewright.Cohort(plan, 12)
    assert len(cohort) == 12 and len(list(cohort)) == 12
    with open(tmp_path / "c" / "patients.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    table = cohort.table()
    for number in (11, 0, 5):
        patient, row = cohort[number], rows[number]
        assert np.array_equal(patient.render().samples.view(np.uint32), packed[number].view(np.uint32))
        assert (patient.group, patient.rhythm, patient.body, patient.seed) == (row["group"], row["rhythm"], row["body"], int(row["seed"]))
        for name, value in patient.values.items():
            assert np.float32(row[name]) == np.float32(value) == table[name][number]
    assert cohort[-1].seed == cohort[11].seed == table["seed"][11]
    with pytest.raises(IndexError):
        cohort[12]
    with pytest.raises(pulsewright.ScriptError, match="sinus"):
        pulsewright.Cohort({"version": 1, "duration_s": 10, "people": {"groups": [{"rhythm": "snius"}]}}, 5)
    far = pulsewright.Cohort(plan, 2**40)
    assert far[2**40 - 1].render()["II"].shape == (5000,)


def test_the_pytest_helper_passes_and_fails_by_the_limits(tmp_path):
    (tmp_path / "plan.json").write_text(json.dumps(PLAN), encoding="utf-8")
    (tmp_path / "test_detector.py").write_text(
        "from pulsewright.pytest_cases import cases\n"
        "@cases('plan.json', limits={'gross': {'min': {'se': 99}}})\n"
        "def test_all(case, check):\n"
        "    check(case.render().beats['time_s'])\n"
        "@cases('plan.json', limits={'gross': {'min': {'se': 99}}})\n"
        "def test_every_second(case, check):\n"
        "    check(case.render().beats['time_s'][::2])\n",
        encoding="utf-8",
    )
    words = ["python", "-m", "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", str(tmp_path)]
    ended = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "12 failed, 12 passed" in ended.stdout, ended.stdout
    assert "se is" in ended.stdout


def test_the_example_is_typed_strictly_and_runs():
    example = ROOT / "examples" / "python" / "slope_detector.py"
    subprocess.run(["python", "-m", "mypy", "--strict", str(example)], check=True)
    ended = subprocess.run(["python", str(example)], check=True, capture_output=True, text=True)
    assert "sensitivity" in ended.stdout


def test_times_are_printed(capsys, tmp_path):
    """Ten seconds of twelve leads, in this process and by a program started for it; a time for people, no limit."""

    def median_s(job) -> float:
        times = []
        for _ in range(25):
            began = time.perf_counter()
            job()
            times.append(time.perf_counter() - began)
        return statistics.median(times)

    text = json.dumps(SINUS)
    (tmp_path / "s.json").write_text(text, encoding="utf-8")
    here = median_s(lambda: pulsewright.render(text))
    binary = str(Path(pulsewright.__file__).parent / "bin" / "pulsewright")
    words = [binary, "render", str(tmp_path / "s.json"), "-o", "-", "--format", "raw", "--bits", "float"]
    started = median_s(lambda: subprocess.run(words, check=True, capture_output=True))
    with capsys.disabled():
        print(f"\nten seconds of twelve leads: {here * 1e6:.0f} us in this process, {started * 1e6:.0f} us by a program: {started / here:.0f} times")
    assert here > 0
