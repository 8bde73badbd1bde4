"""A suite gives the same report however it was run, and the right one."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

FORMS = ("report.json", "report.csv", "report.xml", "report.txt")


def block(count=4, **more):
    return {"rhythm": ["sinus"], "rate_bpm": [75], "frame_rate_hz": [250], "seed": {"from": 1, "count": count}, **more}


def reports(folder):
    return [(folder / form).read_bytes() for form in FORMS]


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
    assert sorted(path.name for path in (tmp_path / "killed").iterdir()) == ["answers", "suite.json"]
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
        assert mine["rates"]["offset_ms"] == theirs["rates"]["offset_ms"]
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
        "    signal, beats, rate = line.rstrip('\\n').split('\\t')\n"
        "    assert rate == '250'\n"
        "    subprocess.run([sys.argv[1], signal, beats], check=True)\n"
        "    print('ok', flush=True)\n",
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
        "    signal, beats, rate = line.rstrip('\\n').split('\\t')\n"
        "    seed = [row for row in open(signal) if 'seed' in row][-1].split()[-1]\n"
        "    if seed == '2':\n"
        "        print('cannot cope', file=sys.stderr)\n"
        "        sys.exit(3)\n"
        "    open(beats, 'w').write('time_s\\n')\n"
        "    print('no thanks' if seed == '4' else 'ok', flush=True)\n",
    )
    done = suite(plan, "-o", "out", "--stay", "--jobs", "1", "--format", "json", command=command)
    assert done.returncode == 1
    failures = json.loads(done.stdout)["failures"]
    assert [failure["record"][-5:] for failure in failures] == ["seed2", "seed4"]
    assert failures[0]["why"] == "ended with exit status: 3 before its answer: cannot cope"
    assert failures[1]["why"] == "no thanks"


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


def test_combinations_that_exclude_each_other_are_told(suite, write_plan, slope_detector):
    plan = write_plan([block(1, rhythm=["sinus", "ventricular-tachycardia"], rate_bpm=[70, 170])])
    done = suite(plan, "-o", "out", command=[slope_detector])
    assert "combinations exclude each other" in done.stderr
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
