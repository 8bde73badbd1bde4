"""A session in the terminal: asked, timed, cut off, taken up again; what it played against a render of the same script."""

from __future__ import annotations

import hashlib
import json
import os
import select
import signal as signals
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import find_peaks

from console_bench import Rig, rendered
from program import PROGRAM, ROOT, run, succeed

PLAN = {
    "version": 1, "title": "Invented plan", "notes": "Invented data.", "seed": 3, "kit": ["cable"], "prepare": ["no person"],
    "steps": [
        {"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate", "arterial-mean"]}},
        {"name": "pause", "duration_s": 0.5, "rate_bpm": {"to": 90}},
        {"name": "arrest", "duration_s": "hold", "rhythm": "asystole", "expect": {"alarms": [{"within_s": 600, "source": "invented"}]}},
        {"name": "flutter", "duration_s": 2, "rhythm": "ventricular-flutter", "ecg": {"gain": {"to": 2}},
         "expect": {"alarms": [{"within_s": 0.2, "source": "invented"}]}},
    ],
}
RATE_HZ = 500
BLOCK_FRAMES = RATE_HZ // 50
"""A command takes effect with a block."""
N_CHANNELS = 14
FRAME_BYTES = 4 * N_CHANNELS
BEFORE = ["INV-7", "type", "serial", "1.0", "place", "WO-3", "R-1", "2099-01-31", "", "", "", ""]
"""Equipment, a rig and no other instrument, kit, preparation."""
SAFE = ["", ""]
"""Asked only when a signal leaves the program: no person is connected, the output was verified."""
AFTER = ["", "A. Invented"]


@pytest.fixture
def plan(tmp_path) -> Path:
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(PLAN), "utf-8")
    return path


def session(plan: Path, *more: object) -> subprocess.Popen:
    command = [str(PROGRAM), "session", str(plan), "-o", str(plan.parent / "record.json"), *map(str, more)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1)


def answer(process: subprocess.Popen, *lines: str, after_s: float = 0.0) -> None:
    """Types lines, after at least so long."""
    time.sleep(after_s)
    process.stdin.write("".join(f"{line}\n" for line in lines))
    process.stdin.flush()


def until(process: subprocess.Popen, words: str | tuple[str, ...]) -> str:
    """Reads what the session says up to these words, or up to one of them; questions end without a line's end."""
    said = ""
    while not said.endswith(words):
        letter = process.stdout.read(1)
        assert letter, f"the session ended without '{words}'\n{said}\n{process.stderr.read()}"
        said += letter
    return said


def end(process: subprocess.Popen) -> tuple[int, str, str]:
    output, errors = process.communicate(timeout=300)
    return process.returncode, output, errors


def test_asked_timed_played_and_judged(plan, tmp_path):
    signal = tmp_path / "signal.f32"
    process = session(plan, "--play", signal, "--folder", tmp_path / "bench")
    answer(process, *BEFORE, *SAFE)
    until(process, "the larger): ")
    # Some beats of the first step.
    while signal.stat().st_size < 1250 * FRAME_BYTES:
        time.sleep(0.01)
    answer(process, "about 80")
    until(process, "the larger): ")
    answer(process, "81")
    until(process, "the larger): ")
    before_pause = time.monotonic()
    answer(process, "s no cable")
    until(process, "s REASON skips: ")
    pause_at_most_s = time.monotonic() - before_pause
    # An asystole is known once the pause has lasted: half of the limit of 4 s from the last QRS. An earlier answer is refused.
    answer(process, "", after_s=0.5)
    until(process, "none]: ")
    answer(process, "h")
    refused = until(process, "s REASON skips: ")
    assert "s is too soon: no monitor can know before" in refused
    answer(process, "", after_s=2.0)
    until(process, "none]: ")
    arrest_at_most_s = time.monotonic() - before_pause
    before_flutter = time.monotonic()
    answer(process, "h")
    until(process, "s REASON skips: ")
    answer(process, "", after_s=2.5)
    until(process, "none]: ")
    flutter_at_most_s = time.monotonic() - before_flutter
    answer(process, "high")
    answer(process, *AFTER)
    code, said, errors = end(process)
    assert code == 1, (said, errors)
    assert "failed: 2 passed, 1 failed, 1 skipped, 0 open" in said

    record = json.loads((tmp_path / "record.json").read_text("utf-8"))
    assert not (tmp_path / "record.json.draft").exists()
    assert record["about"]["software"] == "1.0" and record["about"]["work_order"] == "WO-3"
    assert record["instruments"][0] == {"what": "Rig", "id": "R-1", "due": "2099-01-31"}
    assert record["items"]["1.heart-rate"]["value"] == "81"
    # Alarms are timed from the first frame of their step, to a tenth of a second; longer than it took here they can't be.
    assert 2.4 <= float(record["items"]["3.alarm-1"]["value"]) <= arrest_at_most_s + 0.1
    assert 0.4 <= float(record["items"]["4.alarm-1"]["value"]) <= flutter_at_most_s + 0.1
    played = record["played"]
    assert [step["id"] for step in played["steps"]] == ["1", "2", "3", "4"]
    # The pause has no question: it lasts what the script says, and what a busy machine takes to go on.
    assert pause_at_most_s >= 0.5
    assert 0.5 * RATE_HZ <= played["steps"][1]["frames"] <= pause_at_most_s * RATE_HZ + BLOCK_FRAMES
    assert run("report", tmp_path / "record.json").code == 1

    # The log of the run renders to the bytes that were played: outputs at rest, the steps, outputs at rest.
    (log,) = (tmp_path / "bench").glob("played-*.json")
    assert signal.read_bytes() == rendered(log, tmp_path)
    logged = json.loads(log.read_text("utf-8"))["steps"]
    assert [step.get("name") for step in logged[1:5]] == ["rate", "pause", "arrest", "flutter"]
    samples = np.fromfile(signal, "<f4").reshape(-1, N_CHANNELS)
    ends = np.round(np.cumsum([step["duration_s"] for step in logged[:5]]) * RATE_HZ).astype(int)
    # The step that holds has the rate that the script sets: its R waves by a peak finder of another's.
    peaks, _ = find_peaks(samples[ends[0] : ends[1], 1], height=0.4, distance=RATE_HZ // 4)
    assert len(peaks) >= 2 and abs(60 * RATE_HZ / np.median(np.diff(peaks)) - 80) < 2
    assert not samples[-RATE_HZ // 10 :, :12].any(), "outputs rest at the end"
    # The record names the log beside it.
    kept = tmp_path / played["log"]["name"]
    assert played["log"]["digest"] == "sha256:" + hashlib.sha256(kept.read_bytes()).hexdigest()
    # Durations of the log are rounded.
    assert all(abs(step["frames"] - frames) <= 1 for step, frames in zip(played["steps"], np.diff(ends), strict=True))


def test_cut_off_and_taken_up_again(plan, tmp_path):
    process = session(plan)
    answer(process, *BEFORE, "81")
    until(process, "the larger): ")
    until(process, "the larger): ")
    process.kill()
    process.wait()
    lines = (tmp_path / "record.json.draft").read_text("utf-8").splitlines()
    assert len(lines) >= len(BEFORE), "a line for each answer; number and calibration of an instrument are one"
    draft = json.loads(lines[-1])["record"]
    assert draft["items"]["1.heart-rate"]["value"] == "81" and draft["about"]["asset"] == "INV-7"

    process = session(plan)
    until(process, "Step 1 of 4")
    # The reading that was entered before is not asked for again.
    answer(process, "96", "n")
    until(process, "not heard")
    until(process, "s REASON skips: ")
    answer(process, "q")
    code, _, errors = end(process)
    assert code == 2 and "goes on from here" in errors

    process = session(plan)
    said = until(process, "s REASON skips: ")
    assert "Taking up at step 4 of 4" in said and "Asset number" not in said
    answer(process, "s enough", *AFTER)
    code, said, errors = end(process)
    assert code == 1, (said, errors)
    assert "failed: 2 passed, 1 failed, 1 skipped, 0 open" in said
    record = json.loads((tmp_path / "record.json").read_text("utf-8"))
    # The flutter was left and played once more.
    assert [step["id"] for step in record["played"]["steps"]] == ["1", "2", "3", "4", "4"]


def test_a_rig_is_played_the_codes_of_a_render(plan, tmp_path):
    rig = ROOT / "examples" / "rig" / "bench.json"
    played = tmp_path / "played.raw"
    process = session(plan, "--play", played, "--rig", rig, "--folder", tmp_path / "bench")
    answer(process, *BEFORE, *SAFE)
    until(process, "the larger): ")
    while played.stat().st_size < 20_000:
        time.sleep(0.01)
    answer(process, "q")
    code, _, errors = end(process)
    assert code == 2 and "goes on from here" in errors
    (log,) = (tmp_path / "bench").glob("played-*.json")
    succeed("render", log, "--rig", rig, "-o", tmp_path / "again.raw", "--frame-rate", RATE_HZ)
    assert (tmp_path / "again.raw").read_bytes() == played.read_bytes()


def test_an_interrupted_session_leaves_its_outputs_at_rest(plan, tmp_path):
    played = tmp_path / "signal.f32"
    process = session(plan, "--play", played)
    answer(process, *BEFORE, *SAFE)
    until(process, "the larger): ")
    while played.stat().st_size < 500 * FRAME_BYTES:
        time.sleep(0.01)
    process.send_signal(signals.SIGINT)
    code, _, errors = end(process)
    assert code == 2 and "goes on from here" in errors
    samples = np.fromfile(played, "<f4").reshape(-1, N_CHANNELS)
    assert samples[:500, :12].any() and not samples[-RATE_HZ // 10 :, :12].any()


def test_no_alarm_is_timed_after_the_output_has_ended(plan, tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    process = session(plan, "--play", pipe)
    reader = subprocess.Popen(["cat", str(pipe)], stdout=subprocess.DEVNULL)
    answer(process, *BEFORE, *SAFE)
    until(process, "the larger): ")
    answer(process, "80", "96")
    until(process, "s REASON skips: ")
    reader.kill()
    reader.wait(60)
    answer(process, "", "h", after_s=4.0)
    code, _, errors = end(process)
    assert code == 2, errors
    # The first line has the plan, the others what was entered.
    entries = "".join((tmp_path / "record.json.draft").read_text("utf-8").splitlines()[1:])
    assert "1.heart-rate" in entries and "3.alarm-1" not in entries


def test_no_alarm_is_timed_while_the_output_takes_nothing(plan, tmp_path):
    rig = Rig(tmp_path / "pipe")
    process = session(plan, "--play", rig.path)
    answer(process, *BEFORE, *SAFE)
    until(process, "the larger): ")
    answer(process, "80", "96")
    until(process, "s REASON skips: ")
    rig.stall()
    answer(process, "")
    assert "nothing can be timed now" in until(process, ("none]: ", "s REASON skips: "))
    rig.go_on()
    answer(process, "")
    assert until(process, ("none]: ", "s REASON skips: ")).endswith("none]: ")
    answer(process, "h")
    until(process, "s REASON skips: ")
    answer(process, "q")
    code, _, errors = end(process)
    assert code == 2, errors
    draft = json.loads((tmp_path / "record.json.draft").read_text("utf-8").splitlines()[-1])["record"]
    assert draft["items"]["3.alarm-1"]["priority"] == "high"


def test_a_draft_that_was_changed_is_not_taken_up(plan, tmp_path):
    draft = tmp_path / "record.json.draft"
    assert run("session", plan, "-o", tmp_path / "record.json", stdin=b"INV-7\ntype\n").code == 2
    written = draft.read_text("utf-8")
    assert "INV-7" in written
    draft.write_text(written.replace("INV-7", "INV-8"), "utf-8")
    outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"")
    assert outcome.code == 2 and "line 1 of the draft is not as the session wrote it" in outcome.stderr, outcome
    assert not (tmp_path / "record.json").exists()
    # A line that lost power cut short is left out, and an empty draft is none.
    for left in (written + '{"before', ""):
        draft.write_text(left, "utf-8")
        outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"")
        assert outcome.code == 2 and "left before the end" in outcome.stderr, outcome


@pytest.mark.parametrize("refused", [[*BEFORE[:-1], "n"], [*BEFORE, "n"], [*BEFORE, "", "n"]], ids=["plan", "person", "meter"])
def test_a_refused_preparation_plays_nothing(plan, tmp_path, refused):
    signal = tmp_path / "signal.f32"
    typed = "".join(f"{line}\n" for line in refused).encode()
    outcome = run("session", plan, "-o", tmp_path / "record.json", "--play", signal, stdin=typed)
    assert outcome.code == 2 and "nothing was played, because this is not prepared" in outcome.stderr, outcome
    assert not signal.exists()
    # The same command line asks for it again, and for nothing else.
    outcome = run("session", plan, "-o", tmp_path / "record.json", "--play", signal, stdin=b"")
    assert b"connected to no person?" in outcome.stdout or b"Prepare: no person" in outcome.stdout, outcome
    assert b"Asset number" not in outcome.stdout


def test_a_signal_that_was_played_is_never_written_over(plan, tmp_path):
    """A second and a third start go on in files of their own, and say so; the record names each."""
    signal = tmp_path / "signal.f32"
    record = tmp_path / "record.json"
    before = b""
    for start, flags in enumerate([(), (), ("--force",)], 1):
        process = session(plan, "--play", signal, *flags)
        answer(process, *(BEFORE if start == 1 else []), *SAFE)
        until(process, "the larger): ")
        now = signal.with_name(f"signal-{start}.f32") if start > 1 else signal
        while now.stat().st_size < 50 * FRAME_BYTES:
            time.sleep(0.01)
        answer(process, "q")
        code, _, errors = end(process)
        assert code == 2, errors
        assert (f"the signal goes to {now}" in errors) == (start > 1), errors
        before = before or signal.read_bytes()
        assert signal.read_bytes() == before
    process = session(plan, "--frame-rate", 250)
    code, _, errors = end(process)
    assert code == 2 and "go on with --frame-rate 500" in errors
    process = session(plan)
    answer(process, "80", "96", "s one", "s two", *AFTER)
    code, said, errors = end(process)
    # The meter that verified the rig has no number: the record is not complete.
    assert code == 1 and "incomplete: 2 passed, 0 failed, 2 skipped, 0 open" in said, (said, errors)
    names = [str(signal), *(str(signal.with_name(f"signal-{start}.f32")) for start in (2, 3))]
    assert json.loads(record.read_text("utf-8"))["played"]["output"] == ", ".join(names)


def test_a_script_without_expectations(tmp_path):
    """The rates and pressures that it sets are asked for and judged, and the alarm of its fibrillation."""
    plan = tmp_path / "plan.json"
    steps = [{"name": "rest", "duration_s": 2, "rate_bpm": 72, "arterial": {"systolic_mmhg": 131, "diastolic_mmhg": 71}},
             {"name": "fibrillation", "duration_s": "hold", "rhythm": "ventricular-fibrillation"}]
    plan.write_text(json.dumps({"version": 1, "title": "Invented script", "steps": steps}), "utf-8")
    answers = ["INV-7", *[""] * 9, "72", "15", "131", "71", "s no mean", "n"]
    outcome = run("session", plan, "-o", tmp_path / "record.json", stdin="\n".join([*answers, *["s enough"] * 5, "A. Invented"]).encode())
    assert outcome.code == 1, outcome
    judged = {item: entry["verdict"] for item, entry in json.loads((tmp_path / "record.json").read_text("utf-8"))["items"].items()}
    assert judged.pop("1.arterial-mean") == "skipped" and judged.pop("2.alarm-1") == "fail"
    first = {item: verdict for item, verdict in judged.items() if item.startswith("1.")}
    assert first == dict.fromkeys(["1.heart-rate", "1.respiration-rate", "1.arterial-systolic", "1.arterial-diastolic"], "pass")
    assert run("report", tmp_path / "record.json", "--script", plan).code == 1
    assert b"changed:" not in run("report", tmp_path / "record.json", "--script", plan).stdout


def test_help_and_a_device_that_is_not_there(plan, tmp_path):
    outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"?\nINV-7\n")
    assert b"skips a reading or an alarm" in outcome.stdout and outcome.stdout.count(b"Asset number") == 2
    missing = "/dev/no-such-rig"
    outcome = run("session", plan, "-o", tmp_path / "other.json", "--play", missing, stdin=b"")
    assert outcome.code == 2 and f"there is no device {missing}" in outcome.stderr, outcome
    (tmp_path / "link").symlink_to("/dev")
    for other in ("/dev/../dev/no-such-rig", tmp_path / "link" / "no-such-rig"):
        outcome = run("session", plan, "-o", tmp_path / "other.json", "--play", other, stdin=b"")
        assert outcome.code == 2 and f"there is no device {other}" in outcome.stderr, outcome


def test_two_sessions_do_not_share_a_draft(plan, tmp_path):
    process = session(plan)
    try:
        answer(process, *BEFORE)
        until(process, "the larger): ")
        outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"")
        assert outcome.code == 2 and f"is being written by process {process.pid}" in outcome.stderr, outcome
    finally:
        process.kill()
        process.wait()
    outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"")
    assert "left before the end" in outcome.stderr, outcome


def test_what_is_refused(plan, tmp_path):
    assert run("session", plan, "-o", tmp_path / "record.txt").code == 2
    (tmp_path / "record.json").write_text("precious", "utf-8")
    assert run("session", plan, "-o", tmp_path / "record.json").code == 2
    assert (tmp_path / "record.json").read_text("utf-8") == "precious"
    (tmp_path / "record.json").unlink()
    (tmp_path / "rig.json").write_text("{}", "utf-8")
    played = tmp_path / "played.raw"
    assert run("session", plan, "-o", tmp_path / "record.json", "--play", played, "--rig", tmp_path / "rig.json").code == 2
    assert not played.exists()
    assert run("session", plan, "-o", tmp_path / "record.json", stdin=b"INV-7\n").code == 2
    plan.write_text(json.dumps(PLAN | {"seed": 4}), "utf-8")
    outcome = run("session", plan, "-o", tmp_path / "record.json", stdin=b"")
    assert outcome.code == 2 and "draft of another plan" in outcome.stderr


def test_keys_typed_ahead_at_a_terminal_answer_no_alarm(plan, tmp_path):
    """Enter pressed before an alarm is asked for is no alarm that was heard: at a terminal such keys are thrown away."""
    keyboard, terminal = os.openpty()
    command = [str(PROGRAM), "session", str(plan), "-o", str(tmp_path / "record.json")]
    process = subprocess.Popen(command, stdin=terminal, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    os.close(terminal)

    def typed(line: str, question: str) -> None:
        until(process, question)
        # The question has been written; the session has just begun to wait.
        time.sleep(0.2)
        os.write(keyboard, f"{line}\n".encode())

    for line in BEFORE:
        typed(line, ": ")
    # Two answers to questions that come, and at once the keys for an alarm that has not been heard yet.
    typed("81", "the larger): ")
    typed("s no cable\n\nh", "the larger): ")
    until(process, "s REASON skips: ")
    # The next line is a question only when the keys were taken for an answer.
    said, _, _ = select.select([process.stdout], [], [], 3.0)
    assert not said, "the alarm was answered by keys that were typed before it"
    os.close(keyboard)
    process.kill()
    process.communicate()
    draft = json.loads((tmp_path / "record.json.draft").read_text("utf-8").splitlines()[-1])["record"]
    assert draft["items"]["1.heart-rate"]["value"] == "81"
    assert draft["items"].get("3.alarm-1", {}).get("value", "") == ""
