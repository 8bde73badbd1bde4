"""`stream`: the bytes of a render, at the clock's pace, whatever the reader and whoever leads it do."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from program import PROGRAM, ROOT, run, succeed

SCRIPT = ROOT / "examples" / "ward-round.json"
HZ = 1000
CHANNELS = "II,arterial,respiration"
FRAME_BYTES = 3 * 2


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


def whole(process: subprocess.Popen, within_s: float = 60) -> tuple[bytes, str]:
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


def test_the_pace_is_the_clocks(tmp_path):
    """Over 20 s, each block against its due time. A busy machine delays single blocks; it must not add up."""
    process = stream("--rhythm", "sinus", "--duration", "20s", "--frame-rate", HZ, "--channels", "II", bufsize=0)
    seen: list[tuple[float, int]] = []
    total = 0
    while chunk := os.read(process.stdout.fileno(), 65536):
        total += len(chunk)
        seen.append((time.monotonic(), total // 2))
    assert process.wait() == 0
    assert total == 2 * 20 * HZ
    late = np.array([at - frames / HZ for at, frames in seen])
    late -= np.percentile(late, 5)
    assert len(seen) > 15_000, "a block a millisecond, give or take what a reader takes at once"
    # Reading and stamping on a machine that does other work takes time too, so the bulk and the trend count.
    assert np.percentile(late, 50) < 0.001
    first, last = np.median(late[: len(late) // 4]), np.median(late[-len(late) // 4 :])
    assert abs(last - first) < 0.001, "no drift"


def test_a_reader_that_pauses_loses_nothing(tmp_path):
    expected = rendered(SCRIPT, tmp_path, "--duration", "8s")
    process = stream(SCRIPT, "--frame-rate", HZ, "--channels", CHANNELS, "--duration", "8s", bufsize=0)
    # Smaller than what would be written in the pause, so that the writer has to wait.
    import fcntl

    fcntl.fcntl(process.stdout.fileno(), 1031, 4096)
    got = os.read(process.stdout.fileno(), 600)
    time.sleep(3)
    rest, err = process.communicate(timeout=30)
    assert process.returncode == 0
    assert got + rest == expected
    assert "behind the clock" in err.decode() and "no frame was left out" in err.decode()


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(sign, tmp_path):
    log = tmp_path / "log.json"
    process = stream(SCRIPT, "--frame-rate", HZ, "--channels", CHANNELS, "--log", log, bufsize=0)
    first = os.read(process.stdout.fileno(), 6)
    time.sleep(0.7)
    process.send_signal(sign)
    rest, err = process.communicate(timeout=10)
    assert process.returncode == 0, err
    data = first + rest
    assert len(data) % FRAME_BYTES == 0
    assert f"{len(data) // FRAME_BYTES} frames" in err.decode()
    assert rendered(log, tmp_path) == data


def test_a_stuck_reader_does_not_keep_a_signal_from_ending_it():
    process = stream("--rhythm", "sinus", "--frame-rate", 48000, "--channels", "leads")
    time.sleep(1.5)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=10) == 0
    assert b"not taken" in process.stderr.read()


def test_a_reader_that_leaves_is_no_failure():
    process = stream("--rhythm", "sinus", "--frame-rate", HZ, "--channels", "II", bufsize=0)
    os.read(process.stdout.fileno(), 100)
    process.stdout.close()
    assert process.wait(timeout=10) == 0


COMMANDS = [
    (0.6, "rate 96"),
    (0.9, "pressure 90/60"),
    (0.1, "set ecg.gain=1.5"),
    (1.0, "rhythm ventricular-fibrillation"),
    (1.2, "rhythm sinsu"),
    (0.1, "next"),
    (1.4, "hold"),
    (0.5, "beat left-ventricular"),
    (0.9, "next"),
    (1.2, "breaths 0"),
    (0.7, "stop"),
]


def lead(process: subprocess.Popen, commands) -> tuple[bytes, str]:
    import threading

    def type_them():
        for pause, command in commands:
            time.sleep(pause)
            process.stdin.write(command.encode() + b"\n")
            process.stdin.flush()

    typist = threading.Thread(target=type_them)
    typist.start()
    out = process.stdout.read()
    typist.join()
    err = process.stderr.read().decode()
    assert process.wait(timeout=10) == 0, err
    return out, err


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
    out, _ = lead(stream(*flags, "--bits", "float", stdin=subprocess.PIPE), [(1.0, "body neonate"), (2.0, "stop")])
    assert rendered(log, tmp_path, "--bits", "float") == out
    (tmp_path / "rendered.wav").unlink()
    out, err = lead(stream(*flags, "--force", stdin=subprocess.PIPE), [(1.0, "body neonate"), (2.0, "stop")])
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
    # What is held is where the ramp was cut off, which carries over.
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
