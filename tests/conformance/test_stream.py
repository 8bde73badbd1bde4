"""`stream`: the bytes of a render, at the clock's pace, whatever the reader and the commands do."""

from __future__ import annotations

import fcntl
import json
import os
import re
import select
import signal
import subprocess
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from program import PROGRAM, ROOT, run, succeed

SCRIPT = ROOT / "examples" / "ward-round.json"
HZ = 1000
CHANNELS = "II,arterial,respiration"
FRAME_BYTES = 3 * 2
PATIENCE_S = 120
"""For work that takes no time on an idle machine: only a program that hangs takes as long."""


def stream(*flags: object, stdin=subprocess.DEVNULL, **options) -> subprocess.Popen:
    command = [str(PROGRAM), "stream", *map(str, flags)]
    return subprocess.Popen(command, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)


def wav_data(path: Path) -> bytes:
    """The frames of a WAV file, by its own header."""
    content = path.read_bytes()
    at = content.index(b"data")
    size = int.from_bytes(content[at + 4 : at + 8], "little")
    return content[at + 8 : at + 8 + size]


def rendered(script: Path, folder: Path, *flags: object) -> bytes:
    target = folder / "rendered.wav"
    succeed("render", script, "-o", target, "--frame-rate", HZ, "--channels", CHANNELS, "--no-truth", *flags)
    return wav_data(target)


def whole(process: subprocess.Popen, within_s: float = 300) -> tuple[bytes, str]:
    out, err = process.communicate(timeout=within_s)
    assert process.returncode == 0, err
    return out, err.decode()


@pytest.mark.parametrize("bits", ["16", "24", "32", "float"])
def test_the_bytes_are_those_of_a_render(bits, tmp_path):
    expected = rendered(SCRIPT, tmp_path, "--bits", bits)
    out, _ = whole(stream(SCRIPT, "--fast", "--frame-rate", HZ, "--channels", CHANNELS, "--bits", bits))
    assert out == expected


def test_the_header_says_what_follows(tmp_path):
    out, _ = whole(stream(SCRIPT, "--fast", "--frame-rate", HZ, "--channels", CHANNELS, "--header", "--duration", "5s"))
    line, _, data = out.partition(b"\n")
    header = json.loads(line)
    assert (header["frame_rate_hz"], header["sample"], header["byte_order"]) == (HZ, "i16", "little")
    assert [channel["name"] for channel in header["channels"]] == CHANNELS.split(",")
    assert len(data) == 5 * HZ * FRAME_BYTES
    samples = np.frombuffer(data, "<i2").reshape(-1, 3)
    arterial = samples[:, 1] * header["channels"][1]["scale"] + header["channels"][1]["offset"]
    assert 70 < arterial.min() < arterial.max() < 140


def read_frames(process: subprocess.Popen, n_frames: int) -> bytes:
    """The first bytes of a stream: at least so many frames of [`CHANNELS`]."""
    got = b""
    while len(got) < n_frames * FRAME_BYTES:
        chunk = os.read(process.stdout.fileno(), n_frames * FRAME_BYTES - len(got))
        assert chunk, "the stream ended early"
        got += chunk
    return got


def wait_until_full(writing: int, process: subprocess.Popen) -> None:
    """Until a pipe takes no more."""
    deadline = time.monotonic() + PATIENCE_S
    while select.select([], [writing], [], 0)[1]:
        assert process.poll() is None and time.monotonic() < deadline, "the pipe was never full"
        time.sleep(0.01)


def test_the_pace_is_the_clocks(tmp_path):
    """No frame comes before it is due, and what comes late adds up to nothing. How late single blocks are is for pace.py."""
    seconds = 20
    began = time.monotonic()
    process = stream("--rhythm", "sinus", "--duration", f"{seconds}s", "--frame-rate", HZ, "--channels", "II", bufsize=0)
    seen: list[tuple[float, int]] = []
    total = 0
    while chunk := os.read(process.stdout.fileno(), 65536):
        total += len(chunk)
        seen.append((time.monotonic(), total // 2))
    assert process.wait(timeout=PATIENCE_S) == 0
    assert total == 2 * seconds * HZ
    late = np.array([at - began - (frames - 1) / HZ for at, frames in seen])
    assert late.min() >= 0, "a frame before its time"
    assert np.diff([frames for _, frames in seen]).min() == 1, "a block a millisecond, but for what a reader takes at once"
    # The best of some thousand blocks: a busy machine lets some of them through in time, a clock that is slow by a
    # part in 200, or waits that start where the last one ended, none.
    frames = np.array([frames for _, frames in seen])
    first, last = late[frames <= total // 8].min(), late[frames > 3 * total // 8].min()
    assert last - first < 0.05, "it adds up"


def test_a_reader_that_pauses_loses_nothing(tmp_path):
    expected = rendered(SCRIPT, tmp_path, "--duration", "8s")
    reading, writing = os.pipe()
    # Smaller than what would be written in the pause, so that the writer has to wait.
    fcntl.fcntl(reading, fcntl.F_SETPIPE_SZ, 4096)
    command = [str(PROGRAM), "stream", SCRIPT, "--frame-rate", HZ, "--channels", CHANNELS, "--duration", "8s"]
    process = subprocess.Popen([*map(str, command)], stdin=subprocess.DEVNULL, stdout=writing, stderr=subprocess.PIPE)
    got = os.read(reading, 600)
    wait_until_full(writing, process)
    # The clock goes on, whatever the machine does.
    time.sleep(2)
    os.close(writing)
    while chunk := os.read(reading, 65536):
        got += chunk
    os.close(reading)
    err = process.stderr.read().decode()
    assert process.wait(timeout=PATIENCE_S) == 0, err
    assert got == expected
    assert "behind the clock" in err and "no frame was left out" in err


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(sign, tmp_path):
    log = tmp_path / "log.json"
    process = stream(SCRIPT, "--frame-rate", HZ, "--channels", CHANNELS, "--log", log, bufsize=0)
    first = read_frames(process, 700)
    process.send_signal(sign)
    rest, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, err
    data = first + rest
    assert len(data) % FRAME_BYTES == 0
    assert f"{len(data) // FRAME_BYTES} frames" in err.decode()
    assert rendered(log, tmp_path) == data


def test_a_stuck_reader_does_not_keep_a_signal_from_ending_it():
    reading, writing = os.pipe()
    command = [str(PROGRAM), "stream", "--rhythm", "sinus", "--frame-rate", "48000", "--channels", "leads"]
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=writing, stderr=subprocess.PIPE)
    wait_until_full(writing, process)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=PATIENCE_S) == 0
    assert b"not taken" in process.stderr.read()
    os.close(writing)
    os.close(reading)


def test_a_reader_that_leaves_is_no_failure():
    process = stream("--rhythm", "sinus", "--frame-rate", HZ, "--channels", "II", bufsize=0)
    os.read(process.stdout.fileno(), 100)
    process.stdout.close()
    assert process.wait(timeout=PATIENCE_S) == 0


# Each with the seconds of signal between when the one before it took effect and when it is typed; 0 is right behind it.
COMMANDS = [
    (0.6, "rate 96"),
    (0.9, "pressure 90/60"),
    (0, "set ecg.gain=1.5"),
    (1.0, "rhythm ventricular-fibrillation"),
    (1.2, "rhythm sinsu"),
    (0, "next"),
    (1.4, "hold"),
    (0.5, "beat left-ventricular"),
    (0.9, "next"),
    (1.2, "breaths 0"),
    (0.7, "stop"),
]


def lead(process: subprocess.Popen, commands, frame_bytes: int = FRAME_BYTES) -> tuple[bytes, str]:
    """Types each command once so much signal has come; gives the signal and what was said."""
    out, messages = bytearray(), []
    more = threading.Condition()

    def gather(pipe, take):
        for piece in iter(lambda: os.read(pipe.fileno(), 65536), b""):
            with more:
                take(piece)
                more.notify_all()

    gatherers = [
        threading.Thread(target=gather, args=(process.stdout, out.extend)),
        threading.Thread(target=gather, args=(process.stderr, messages.append)),
    ]
    for thread in gatherers:
        thread.start()

    def said():
        return b"".join(messages).decode()

    def wait(what, reached):
        with more:
            assert more.wait_for(reached, timeout=PATIENCE_S), f"never {what}\n{said()}"

    effect_s = 0.0
    for signal_s, command in commands:
        if signal_s > 0:
            wait(f"came to {command}", lambda: len(out) >= (effect_s + signal_s) * HZ * frame_bytes)
        n_lines = said().count("\n")
        process.stdin.write(command.encode() + b"\n")
        process.stdin.flush()
        if command == "stop":
            break
        wait(f"answered {command}", lambda: said().count("\n") > n_lines)
        if at := re.match(r"([\d.]+) s: ", said().splitlines()[n_lines]):
            effect_s = float(at[1])
        else:
            effect_s = len(out) / HZ / frame_bytes
    for thread in gatherers:
        thread.join(PATIENCE_S)
    assert process.wait(timeout=PATIENCE_S) == 0, said()
    return bytes(out), said()


def test_a_led_stream_is_played_again_bit_for_bit(tmp_path):
    log = tmp_path / "played.json"
    process = stream(SCRIPT, "--live", "--log", log, "--frame-rate", HZ, "--channels", CHANNELS, stdin=subprocess.PIPE)
    out, err = lead(process, COMMANDS)
    assert "did you mean 'sinus'" in err
    played = json.loads(log.read_text(encoding="utf-8"))
    assert len(played["steps"]) >= 9
    assert rendered(log, tmp_path) == out
    succeed("check", log)


def test_another_body_is_played_again_in_the_channels_units(tmp_path):
    # Its base impedance wants another scale of integers, and the stream can't change its own: floats have none.
    log = tmp_path / "played.json"
    flags = (SCRIPT, "--live", "--log", log, "--frame-rate", HZ, "--channels", CHANNELS)
    out, _ = lead(stream(*flags, "--bits", "float", stdin=subprocess.PIPE), [(1.0, "body neonate"), (1.0, "stop")], 3 * 4)
    assert rendered(log, tmp_path, "--bits", "float") == out
    (tmp_path / "rendered.wav").unlink()
    out, err = lead(stream(*flags, "--force", stdin=subprocess.PIPE), [(1.0, "body neonate"), (1.0, "stop")])
    assert "respiration" in err and "--bits float" in err


def test_a_command_takes_effect_just_after_the_next_beat(tmp_path):
    log = tmp_path / "played.json"
    process = stream("--rhythm", "sinus", "--rate", 60, "--live", "--log", log, "--frame-rate", HZ, "--channels", CHANNELS, stdin=subprocess.PIPE)
    lead(process, [(2.3, "rate 120"), (4.0, "stop")])
    target = tmp_path / "beats.wav"
    succeed("render", log, "-o", target, "--frame-rate", HZ)
    rows = (tmp_path / "beats.beats.csv").read_text(encoding="utf-8").splitlines()
    onset = [float(row.split(",")[5]) for row in rows if row[0].isdigit()]
    start = json.loads(log.read_text(encoding="utf-8"))["steps"][0]["duration_s"]
    assert min(abs(start - beat) for beat in onset) < 1e-5
    rr = np.diff([beat for beat in onset if beat >= start - 1e-5])
    # The first RR after the beat is already the new one, but for the breath's own variability.
    assert abs(rr[0] - 0.5) < 0.06 and np.abs(rr - 0.5).max() < 0.06


def test_a_stage_that_ramps_can_be_held(tmp_path):
    script = tmp_path / "ramp.json"
    step = {"name": "climb", "duration_s": 20, "rhythm": "sinus", "rate_bpm": {"from": 60, "to": 160}, "variability": {"breathing_ms": 0}}
    script.write_text(json.dumps({"version": 1, "steps": [step]}), encoding="utf-8")
    log = tmp_path / "played.json"
    process = stream(script, "--live", "--log", log, "--frame-rate", HZ, "--channels", CHANNELS, stdin=subprocess.PIPE)
    out, _ = lead(process, [(2.5, "hold"), (2.0, "stop")])
    assert rendered(log, tmp_path) == out
    first, second = json.loads(log.read_text(encoding="utf-8"))["steps"]
    assert first["rate_bpm"]["over_s"] == 20
    # The value at which the ramp was cut off is held and carries over.
    assert "rate_bpm" not in second and second["duration_s"] > 1


def test_a_rig_is_sent_the_codes_of_a_render(tmp_path):
    rig = ROOT / "examples" / "rig" / "bench.json"
    target = tmp_path / "codes.raw"
    succeed("render", SCRIPT, "--rig", rig, "--clip", "count", "-o", target, "--frame-rate", HZ, "--duration", "20s")
    out, _ = whole(stream(SCRIPT, "--rig", rig, "--fast", "--frame-rate", HZ, "--duration", "20s"))
    assert out == target.read_bytes()


def test_mistakes_are_told(tmp_path):
    outcome = run("stream", "-", "--live", "--rhythm", "sinus")
    assert outcome.code == 2
    there = tmp_path / "log.json"
    there.write_text("{}", encoding="utf-8")
    outcome = run("stream", "--rhythm", "sinus", "--duration", "1s", "--log", there)
    assert outcome.code == 2 and there.read_text(encoding="utf-8") == "{}"
