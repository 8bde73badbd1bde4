"""A suite gives the same report however it was run, and the right one."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

FORMS = ("report.json", "report.csv", "report.xml", "report.txt", "report.md")


def block(count=4, **more):
    return {"rhythm": ["sinus"], "rate_bpm": [75], "frame_rate_hz": [250], "seed": {"from": 1, "count": count}, **more}


def reports(folder):
    """Every form of the report; the times in JUnit are those of a run."""
    return [re.sub(rb' time="[0-9.]+"', b"", (folder / form).read_bytes()) for form in FORMS]


def written(folder):
    folder.mkdir()
    return [word for form in FORMS for word in ("--write", folder / form)]


def gross(done):
    return json.loads(done.stdout)["score"]["gross"]["detection"]


def python(tmp_path, text):
    """A detector in a few lines of Python, as the words of a command."""
    path = tmp_path / "detector_under_test.py"
    path.write_text(text)
    return [sys.executable, path]


@pytest.mark.xdist_group("suite of thousands")
def test_killed_and_resumed_and_merged_give_the_undisturbed_report(suite, write_plan, program, slope_detector, tmp_path):
    plan = write_plan(
        [
            block(192, rhythm=["sinus", "atrial-fibrillation"], rate_bpm=[55, 75, 95, 115]),
            block(128, set={"ecg.gain": [0.5, 2], "artefact.muscle_mv": [0, 0.02]}),
        ]
    )
    total = 2 * 4 * 192 + 2 * 2 * 128
    assert total >= 2000
    command = [slope_detector]
    limits = ["--min", "se=99", "--min-each", "se=50"]

    whole = suite(plan, "-o", "whole", *limits, *written(tmp_path / "whole-report"), command=command)
    assert whole.returncode == 0, whole.stderr
    undisturbed = reports(tmp_path / "whole-report")
    assert json.loads(undisturbed[0])["records"] == total

    words = [program, "suite", plan, "-o", "killed", *limits, "--", slope_detector]
    answers = tmp_path / "killed" / "answers"
    process = subprocess.Popen(list(map(str, words)), cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not answers.is_dir() or sum(1 for _ in answers.glob("*.csv")) < total // 4:
        assert process.poll() is None, "it ended before it was killed"
        time.sleep(0.005)
    process.send_signal(signal.SIGKILL)
    process.wait()
    done_before = {path.name: path.stat().st_mtime_ns for path in answers.glob("*.csv")}
    assert total // 4 <= len(done_before) < total
    resumed = suite(plan, "-o", "killed", *limits, *written(tmp_path / "killed-report"), command=command)
    assert resumed.returncode == 0, resumed.stderr
    assert {name: (answers / name).stat().st_mtime_ns for name in done_before} == done_before, "nothing is done twice"
    assert reports(tmp_path / "killed-report") == undisturbed
    assert sorted(path.name for path in (tmp_path / "killed").iterdir()) == ["answers", "suite.json", "times.csv"]
    assert len(list(answers.iterdir())) == total, "what the killed run left half done is gone"

    for part in (1, 2):
        done = suite(plan, "-o", f"part-{part}", "--shard", f"{part}/2", "--jobs", part, command=command)
        assert done.returncode == 0, done.stderr
        assert len(list((tmp_path / f"part-{part}" / "answers").iterdir())) == total // 2
    shards = ["--merge", "part-2", "--merge", "part-1"]
    merged = suite(plan, "-o", "merged", *shards, *limits, *written(tmp_path / "merged-report"))
    assert merged.returncode == 0, merged.stderr
    assert reports(tmp_path / "merged-report") == undisturbed
    assert merged.stdout == whole.stdout


def test_the_figures_are_those_of_score_over_rendered_files(suite, write_plan, program, slope_detector, tmp_path):
    plan = write_plan([block(3, rhythm=["sinus", "ventricular-bigeminy"])], score={"learning_s": 2})
    done = suite(plan, "-o", "out", "--keep-signals", "--format", "json", command=[slope_detector])
    words = [program, "score", "out/signals", "out/answers", "--learning-s", "2", "--format", "json"]
    scored = subprocess.run(words, capture_output=True, text=True, check=True, cwd=tmp_path)
    scored = json.loads(scored.stdout)
    ours = json.loads(done.stdout)["score"]
    assert [record["record"] for record in ours["records"]] == [record["record"] for record in scored["records"]]
    for mine, theirs in zip(ours["records"], scored["records"], strict=True):
        assert mine["detection"] == theirs["detection"]
        # The tables of the truth have microseconds, the suite has the instants themselves.
        assert mine["rates"]["offset_ms"] == pytest.approx(theirs["rates"]["offset_ms"], abs=1e-3)
    # The kept signal is the one that the detector heard: it answers the same to it.
    name = ours["records"][0]["record"]
    again = subprocess.run([slope_detector, f"out/signals/{name}.csv"], capture_output=True, check=True, cwd=tmp_path)
    assert again.stdout == (tmp_path / "out" / "answers" / f"{name}.csv").read_bytes()


@pytest.fixture
def good(suite, write_plan, slope_detector):
    """A run of a good detector: plan, gross figures and how many beats it heard in each record."""
    plan = write_plan([block(3, rhythm=["sinus"], rate_bpm=[60, 90])])
    done = suite(plan, "-o", "good", "--format", "json", "--min", "se=100", "--min", "ppv=100", command=[slope_detector])
    assert done.returncode == 0, done.stdout
    heard = [record["detection"]["matched"] for record in json.loads(done.stdout)["score"]["records"]]
    return plan, gross(done), heard


def test_junit_has_the_times_of_the_detector_and_failures_are_shown(suite, write_plan, tmp_path):
    plan = write_plan([block(3)])
    command = python(
        tmp_path,
        "import sys, time\n"
        "for line in sys.stdin:\n"
        "    record, signal, beats, rate = line.rstrip('\\n').split('\\t')\n"
        "    time.sleep(0.4 if record.endswith('seed2') else 0)\n"
        "    open(beats, 'w').write('time_s\\n')\n"
        "    print(record, 'no: 50 %, I give up' if record.endswith('seed3') else 'ok', sep='\\t', flush=True)\n",
    )
    words = ["-o", "out", "--stay", "--jobs", "1", "--min", "se=90", "--min-each", "se=0", "--write", "r.xml", "--write", "r.md", "--annotate"]
    done = suite(plan, *words, command=command)
    assert done.returncode == 1
    root = ElementTree.parse(tmp_path / "r.xml").getroot()
    cases = {(case.get("classname").rpartition("seed")[2] or "gross", case.get("name")): case for case in root.iter("testcase")}
    answers = [case for case in root.iter("testcase") if case.get("name") == "answer"]
    times = [float(case.get("time")) for case in answers]
    assert len(answers) == 3 and 0.4 <= times[1] < 60 and float(root.get("time")) == pytest.approx(sum(times), abs=0.01)
    assert (root.get("tests"), root.get("failures")) == ("7", "2"), cases
    errors = [line for line in done.stderr.splitlines() if line.startswith("::error ")]
    assert len(errors) == 2
    assert errors[0].startswith("::error title=pulsewright.suite.beats%3A 0003-sinus") and errors[0].endswith("::no: 50 %25, I give up")
    assert errors[1].endswith("::gross: se >= 90: 0.000")
    page = (tmp_path / "r.md").read_text()
    assert page.startswith("## Suite: FAILED\n") and "- FAIL gross: se &gt;= 90: 0.000\n" in page
    tables = [line for line in page.splitlines() if line.startswith("|---")]
    assert len(tables) == 3
    again = suite(plan, *words[:-1], "--force", command=command)
    assert (again.returncode, again.stderr) == (1, "")
    assert ElementTree.tostring(ElementTree.parse(tmp_path / "r.xml").getroot()) == ElementTree.tostring(root), "a run that does nothing keeps the times"


def test_limits_look_at_the_values_of_a_dimension_and_at_an_earlier_report(suite, write_plan, slope_detector, tmp_path):
    plan = write_plan([block(2, rhythm=["sinus", "atrial-fibrillation"], rate_bpm=[70, 110])])
    good = suite(plan, "-o", "good", "--write", "good.json", command=[slope_detector])
    assert good.returncode == 0, good.stderr
    losing = [slope_detector, "--lose-every", "10"]

    def limited(limits, *flags):
        (tmp_path / "limits.json").write_text(json.dumps(limits))
        return suite(plan, "-o", "losing", "--limits", "limits.json", "--format", "json", *flags, command=losing)

    by = {"rhythm": {"sinus": {"min": {"se": 95}}, "atrial-fibrillation": {"min": {"se": 50}}}, "rate_bpm": {"*": {"max": {"extra": 100}}}}
    done = limited({"by": by})
    assert done.returncode == 1, done.stderr
    verdicts = {(one["subject"], one["metric"]): one for one in json.loads(done.stdout)["score"]["verdicts"]}
    assert {subject: one["passed"] for (subject, _), one in verdicts.items()} == {
        "rhythm=sinus": False,
        "rhythm=atrial-fibrillation": True,
        "rate_bpm=70": True,
        "rate_bpm=110": True,
    }
    of_sinus = [one for one in json.loads(done.stdout)["score"]["records"] if "-sinus-" in one["record"]]
    matched, missed = (sum(one["detection"][key] for one in of_sinus) for key in ("matched", "missed"))
    assert verdicts[("rhythm=sinus", "se")]["value"] == pytest.approx(100 * matched / (matched + missed))
    lost = limited({"loss": {"se": 5}}, "--against", "good.json")
    assert lost.returncode == 1
    assert json.loads(lost.stdout)["score"]["against"]["figures"][0]["verdict"] == "worse"
    refused(limited({"by": {"rythm": {"sinus": {"min": {"se": 50}}}}}), "limits, by.rythm: there is no dimension 'rythm'; did you mean 'rhythm'?")
    refused(limited({"by": {"rhythm": {"sinsu": {"min": {"se": 50}}}}}), "there is no value 'sinsu'; did you mean 'sinus'?")
    refused(limited({"loss": {"se": 5}}), "add --against")


def worse(suite, plan, detector, *how):
    done = suite(plan, "-o", "worse", "--format", "json", "--min", "se=99", "--min", "ppv=99", command=[detector, *how])
    assert done.returncode == 1, done.stdout
    return gross(done)


def test_lost_beats_turn_the_gate_red(good, suite, slope_detector):
    plan, _, heard = good
    lost = sum(count // 5 for count in heard)
    figures = worse(suite, plan, slope_detector, "--lose-every", "5")
    assert lost > 0
    assert (figures["matched"], figures["missed"], figures["extra"]) == (sum(heard) - lost, lost, 0)


def test_late_beats_turn_the_gate_red(good, suite, slope_detector):
    plan, _, heard = good
    # 160 ms less the few by which the detector is early: still beyond the window of 150 ms.
    figures = worse(suite, plan, slope_detector, "--late-ms", "160")
    assert (figures["matched"], figures["missed"]) == (0, sum(heard))
    assert figures["extra"] > 0


def test_doubled_beats_turn_the_gate_red(good, suite, slope_detector, tmp_path):
    plan, _, heard = good
    figures = worse(suite, plan, slope_detector, "--double-after-ms", "300")
    answers = (tmp_path / "worse" / "answers").glob("*.csv")
    times = [float(line) for path in answers for line in path.read_text().split()[1:]]
    within = sum(time <= 10 for time in times)
    assert (figures["matched"], figures["missed"], figures["extra"]) == (sum(heard), 0, within - sum(heard))


def test_a_detector_that_stays_gives_the_same_report(suite, write_plan, slope_detector, tmp_path):
    plan = write_plan([block(12)])
    once = suite(plan, "-o", "once", "--format", "json", command=[slope_detector, "{signal}", "{beats-out}"])
    assert once.returncode == 0, once.stderr
    command = python(
        tmp_path,
        "import os, subprocess, sys\n"
        "print('started', os.getpid(), file=open(sys.argv[2], 'a'))\n"
        "for line in sys.stdin:\n"
        "    record, signal, beats, rate = line.rstrip('\\n').split('\\t')\n"
        "    assert rate == '250'\n"
        "    subprocess.run([sys.argv[1], signal, beats], check=True)\n"
        "    print(record, 'ok', sep='\\t', flush=True)\n",
    )
    stays = suite(
        plan, "-o", "stays", "--stay", "--jobs", "2", "--format", "json", command=[*command, slope_detector, tmp_path / "starts"]
    )
    assert stays.returncode == 0, stays.stderr
    assert stays.stdout == once.stdout
    # One for the first record, one for each job.
    assert len((tmp_path / "starts").read_text().splitlines()) <= 3


def test_a_detector_that_dies_or_refuses_costs_only_its_record(suite, write_plan, tmp_path):
    plan = write_plan([block(6)])
    command = python(
        tmp_path,
        "import sys\n"
        "for line in sys.stdin:\n"
        "    record, signal, beats, rate = line.rstrip('\\n').split('\\t')\n"
        "    seed = [row for row in open(signal) if 'seed' in row][-1].split()[-1]\n"
        "    if seed == '2':\n"
        "        print('cannot cope', file=sys.stderr)\n"
        "        sys.exit(3)\n"
        "    open(beats, 'w').write('time_s\\n')\n"
        "    print(record, 'no thanks' if seed == '4' else 'ok', sep='\\t', flush=True)\n",
    )
    done = suite(plan, "-o", "out", "--stay", "--jobs", "1", "--format", "json", command=command)
    assert done.returncode == 1
    failures = json.loads(done.stdout)["failures"]
    assert [failure["record"][-5:] for failure in failures] == ["seed2", "seed4"]
    assert failures[0]["why"] == "ended with exit status: 3 before its answer: cannot cope"
    assert failures[1]["why"] == "no thanks"


# A detector that stays and finds as many beats as the seed says, all before 1 s; `BEFORE` and `AFTER` stand around an answer.
COUNTING = """
import sys
starts = open(sys.argv[1], "a")
print("start", file=starts, flush=True)
BANNER
for number, line in enumerate(sys.stdin):
    record, signal, beats, rate = line.rstrip("\\n").split("\\t")
    seed = int(record.rpartition("seed")[2])
    BEFORE
    with open(beats, "w") as file:
        print("time_s", *(0.01 * beat for beat in range(seed)), sep="\\n", file=file)
    print(record, "ok", sep="\\t", flush=True)
    AFTER
"""


@pytest.fixture
def counted(suite, write_plan, tmp_path):
    """Runs the counting detector with faults built in; gives the answers' beat counts by seed, the failures and the starts."""

    def run(records=10, **faults):
        text = COUNTING
        for place in ("BANNER", "BEFORE", "AFTER"):
            text = text.replace(place, faults.get(place.lower(), "pass"))
        plan = write_plan([block(records, rhythm=["atrial-fibrillation"])])
        command = [*python(tmp_path, text), tmp_path / "starts"]
        done = suite(plan, "-o", "out", "--stay", "--jobs", "1", "--timeout", "5s", "--format", "json", command=command)
        assert done.returncode in (0, 1), done.stderr
        report = json.loads(done.stdout)
        heard = {}
        for record in report["score"]["records"]:
            answer = tmp_path / "out" / "answers" / f"{record['record']}.csv"
            if answer.exists():
                heard[int(record["record"].rpartition("seed")[2])] = len(answer.read_text().split()) - 1
        failures = {int(failure["record"].rpartition("seed")[2]): failure["why"] for failure in report["failures"]}
        return heard, failures, len((tmp_path / "starts").read_text().splitlines())

    return run


def check_own_beats(heard, failures, records=10):
    """No record has the beats of another; each has its own or is a failure."""
    assert heard == {seed: seed for seed in range(1, records + 1) if seed not in failures}


def test_a_stray_line_costs_one_record_and_gives_none_the_beats_of_another(counted):
    heard, failures, starts = counted(before="if seed == 5: print('loaded the model', flush=True)")
    check_own_beats(heard, failures)
    assert list(failures) == [5]
    assert "said 'loaded the model' in place of" in failures[5]
    # One for the first record, one for the others, one after the failure.
    assert starts == 3


def test_a_bare_ok_more_is_no_answer_to_the_next_record(counted):
    heard, failures, _ = counted(after="if seed == 5: print('ok', flush=True)")
    check_own_beats(heard, failures)
    assert list(failures) == [6]


def test_a_banner_is_no_answer(counted):
    heard, failures, _ = counted(banner="print('ok', flush=True)")
    assert heard == {}
    assert len(failures) == 10
    assert "messages belong on standard error" in failures[1]


def test_the_name_of_another_record_is_no_answer(counted):
    wrong = "if seed == 5: print(record.replace('seed5', 'seed4'), 'ok', sep='\\t', flush=True)"
    heard, failures, _ = counted(before=wrong)
    check_own_beats(heard, failures)
    assert list(failures) == [5]


def test_silence_and_a_line_without_end_cost_one_record(counted):
    heard, failures, _ = counted(before="\n    if seed == 4: import time; time.sleep(3600)\n    if seed == 7: print('x' * 100000, end='', flush=True)")
    check_own_beats(heard, failures)
    assert list(failures) == [4, 7]
    assert failures[4] == "gave no answer within 5 s"
    assert len(failures[7]) < 400


def test_an_answer_ahead_of_its_question_is_none(counted):
    ahead = "if seed == 5: print(record, 'ok', sep='\\t', flush=True)"
    heard, failures, _ = counted(after=ahead)
    check_own_beats(heard, failures)
    assert list(failures) == [6]


def test_records_with_the_same_signal_are_counted_and_named(suite, write_plan, slope_detector):
    twice = block(1, rate_bpm=[60, 60])
    seeds = block(3, rate_bpm=[90])
    plan = write_plan([twice, seeds, block(3, rhythm=["atrial-fibrillation"])])
    done = suite(plan, "-o", "out", "--format", "json", "--write", "report.txt", command=[slope_detector])
    report = json.loads(done.stdout)
    names = [record["record"] for record in report["score"]["records"]]
    assert [(names.index(one["record"]), names.index(one["of"])) for one in report["repeats"]] == [(1, 0), (3, 2), (4, 2)]
    listed = suite(plan, "--list").stdout
    assert listed.count("same signal: ") == 3
    assert f"same signal: {names[1]} is {names[0]}" in listed


def test_a_suite_that_is_killed_takes_its_detectors_with_it(write_plan, program, tmp_path):
    plan = write_plan([block(1)])
    # The signal comes once the watcher has the detector's group.
    hangs = f"head -c1 > /dev/null; sleep 3600 & echo $! > {tmp_path / 'child'}; wait"
    words = [program, "suite", plan, "-o", "out", "--", "sh", "-c", hangs]
    process = subprocess.Popen(list(map(str, words)), cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    child = tmp_path / "child"
    while not (child.is_file() and child.read_text().endswith("\n")):
        assert process.poll() is None, "it ended before it was killed"
        time.sleep(0.005)
    process.kill()
    process.wait()
    end = time.monotonic() + 60
    while runs(int(child.read_text())) and time.monotonic() < end:
        time.sleep(0.01)
    assert not runs(int(child.read_text()))


def test_failures_are_scored_as_nothing_found_and_stay_until_taken_away(suite, write_plan, slope_detector, tmp_path):
    plan = write_plan([block(3)])
    flag = tmp_path / "broken"
    flag.touch()
    command = python(
        tmp_path,
        "import os, subprocess, sys\n"
        "if os.path.exists(sys.argv[2]) and sys.argv[3].endswith('seed2'):\n"
        "    print('first\\nout of \\x1b[31mtune', file=sys.stderr)\n"
        "    sys.exit(1)\n"
        "sys.exit(subprocess.run([sys.argv[1]]).returncode)\n",
    )
    command = [*command, slope_detector, flag, "{record}"]
    done = suite(plan, "-o", "out", "--format", "json", "--write", "r.xml", command=command)
    assert done.returncode == 1
    report = json.loads(done.stdout)
    [failure] = report["failures"]
    assert failure["why"] == "ended with exit status: 1: out of  [31mtune"
    [record] = [record for record in report["score"]["records"] if record["record"] == failure["record"]]
    assert record["detection"]["matched"] == 0
    assert record["detection"]["missed"] > 10
    cases = ElementTree.parse(tmp_path / "r.xml").getroot()
    assert (cases.get("tests"), cases.get("failures")) == ("3", "1")
    flag.unlink()
    again = suite(plan, "-o", "out", "--format", "json", command=command)
    assert (again.returncode, again.stdout) == (1, done.stdout), "a failure is an answer too"
    (tmp_path / "out" / "answers" / f"{failure['record']}.failure.txt").unlink()
    assert suite(plan, "-o", "out", command=command).returncode == 0


def test_a_detector_that_hangs_is_ended_with_all_it_started(suite, write_plan, tmp_path):
    plan = write_plan([block(1)])
    # The shell's child holds the pipes: ending the shell alone would wait for it.
    # It hangs for longer than a test may take; the time it is given is enough to start it on a busy machine.
    hangs = f"sleep 3600 & echo $! > {tmp_path / 'child'}; wait"
    done = suite(plan, "-o", "out", "--timeout", "10s", "--format", "json", command=["sh", "-c", hangs])
    assert done.returncode == 1
    assert json.loads(done.stdout)["failures"][0]["why"] == "gave no answer within 10 s"
    child = int((tmp_path / "child").read_text())
    # The kernel ends it when it next comes to it.
    end = time.monotonic() + 60
    while runs(child) and time.monotonic() < end:
        time.sleep(0.01)
    assert not runs(child)


def runs(process):
    """Whether a process is there and not merely waiting to be buried."""
    try:
        stat = Path(f"/proc/{process}/stat").read_text()
    except FileNotFoundError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


def test_a_detector_that_does_not_listen_is_scored_by_what_it_says(suite, write_plan):
    plan = write_plan([block(2)], duration_s=600)
    done = suite(plan, "-o", "out", "--format", "json", command=["echo", "time_s"])
    assert done.returncode == 0, done.stderr
    assert gross(done)["matched"] == 0


def test_answers_of_any_form_that_score_reads(suite, write_plan, tmp_path):
    plan = write_plan([block(1)])
    command = python(tmp_path, "print('peak;label'); print('125;N'); print('325;N')")
    first = suite(plan, "-o", "csv", "--format", "json", command=command)
    command = python(tmp_path, "print('[{\"ms\": 500}, {\"ms\": 1300}]')")
    second = suite(plan, "-o", "json", "--test-suffix", ".json", "--format", "json", command=command)
    assert gross(first)["extra"] + gross(first)["matched"] == 2, first.stderr
    assert gross(second) == gross(first)


def test_combinations_that_exclude_each_other_are_reported(suite, write_plan, slope_detector):
    plan = write_plan([block(1, rhythm=["sinus", "ventricular-tachycardia"], rate_bpm=[70, 170])])
    done = suite(plan, "-o", "out", command=[slope_detector])
    assert "the settings exclude each other" in done.stderr
    listed = suite(plan, "--list")
    assert listed.returncode == 0
    assert "left out: ventricular-tachycardia at 70 bpm" in listed.stdout
    records = [line for line in listed.stdout.splitlines() if not line.startswith("left out")]
    assert done.stdout.startswith(f"{len(records)} records, ")


def refused(done, *parts):
    assert done.returncode == 2, done.stdout
    assert done.stdout == ""
    assert done.stderr.startswith("error: ")
    for part in parts:
        assert part in done.stderr, done.stderr


def test_an_answer_that_cannot_be_read_shows_before_the_long_run(suite, write_plan, tmp_path):
    plan = write_plan([block(50)])
    command = python(tmp_path, "print('when,what'); print('1,2')")
    refused(suite(plan, "-o", "out", command=command), "no column of times", "no further record was tried")
    assert list((tmp_path / "out" / "answers").iterdir()) == []
    # The right command may go on in the same folder.
    command = python(tmp_path, "import sys; print('time_s')")
    assert suite(plan, "-o", "out", command=[*command, "right"]).returncode == 0


def test_answers_to_something_else_are_not_taken(suite, write_plan, slope_detector, tmp_path):
    plan = write_plan([block(2)])
    assert suite(plan, "-o", "out", command=[slope_detector]).returncode == 0
    refused(suite(plan, "-o", "out", command=[slope_detector, "--late-ms", "9"]), "another command")
    other = write_plan([block(3)], name="other.json")
    refused(suite(other, "-o", "out", command=[slope_detector]), "another plan")
    refused(suite(plan, "-o", "out", "--shard", "1/2", command=[slope_detector]), "another shard")
    full = tmp_path / "full"
    full.mkdir()
    (full / "precious").touch()
    refused(suite(plan, "-o", "full", command=[slope_detector]), "not empty")


def test_shards_that_do_not_make_a_whole_are_refused(suite, write_plan, slope_detector, tmp_path):
    plan = write_plan([block(5)])
    suite(plan, "-o", "part-1", "--shard", "1/2", command=[slope_detector])
    refused(suite(plan, "-o", "all", "--merge", "part-1"), "2 of 5 records")
    suite(plan, "-o", "part-2", "--shard", "2/2", command=[slope_detector, "--late-ms", "9"])
    refused(suite(plan, "-o", "all2", "--merge", "part-1", "--merge", "part-2"), "another command")
    refused(suite(plan, "-o", "all3", "--merge", "nowhere"), "holds no suite")
