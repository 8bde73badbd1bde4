"""Recordings as steps, read from the samples: the leads are the recording's by scipy's resamplers, the truth is its annotations,
and detectors and the waveform database's comparator find in them what they find in the recording itself."""

from __future__ import annotations

import csv
import json
import shutil

import numpy as np
import pytest
import wfdb
from detectors import DETECTORS
from matching import BEAT_CODES
from program import ROOT, assert_refused, run, streamed_live, succeed
from scipy import signal as dsp
from scipy.io import wavfile
from test_one_expectation import Page, stated
from wfdb.processing import compare_annotations

RECORDINGS = ROOT / "tests" / "data" / "recordings"
HZ = 360
# So long the record is rendered at other rates, s.
LONG_S = 120


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with record 100, as a script's folder."""
    folder = tmp_path_factory.mktemp("recordings")
    for ending in ("atr", "hea", "dat"):
        shutil.copy(RECORDINGS / f"100.{ending}", folder)
    return folder


@pytest.fixture(scope="module")
def record_100():
    """Samples of MLII and V5 in mV, and annotated beats: times and codes."""
    marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    beats = [(s / HZ, code) for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]
    return wfdb.rdrecord(str(RECORDINGS / "100")).p_signal, beats


def render(folder, name, steps, *words):
    """A record of these steps at 24 bits: its samples, and the path without an ending."""
    script = folder / f"{name}.json"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}))
    succeed("render", script, "-o", folder / f"{name}.hea", "--bits", 24, "--force", *words)
    return wfdb.rdrecord(str(folder / name)).p_signal, folder / name


def beats_of(path):
    with open(f"{path}.beats.csv", newline="") as file:
        return list(csv.DictReader(file))


def test_the_whole_record_at_its_own_rate_is_the_record(folder, record_100):
    samples, beats = record_100
    step = {"duration_s": 1805.55, "recording": "100.hea"}
    played, path = render(folder, "same", [step], "--channels", "II,V5,I,III", "--frame-rate", HZ)
    assert np.abs(played[:, :2] - samples[: len(played)]).max() < 1e-5
    assert np.abs(played[:, 2]).max() == 0 and np.abs(played[:, 3] - played[:, 0]).max() < 1e-5
    notes = json.loads((folder / "same.channels.json").read_text())["notes"]
    assert any("without I:" in note for note in notes), notes
    rows = beats_of(path)
    assert len(rows) == len(beats) == 2273
    assert [row["code"] for row in rows] == [code for _, code in beats]
    assert max(abs(float(row["time_s"]) - at) for row, (at, _) in zip(rows, beats, strict=True)) < 1e-6
    assert all(row[cell] == "" for row in rows for cell in ("p_onset_s", "qrs_onset_s", "qrs_end_s", "t_end_s"))
    # The waveform database's comparator, on the annotation file of the render.
    ours, theirs = wfdb.rdann(str(path), "atr"), wfdb.rdann(str(RECORDINGS / "100"), "atr")
    of = lambda marks: np.array([s for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES])
    compared = compare_annotations(of(theirs), of(ours), 1)
    assert (compared.tp, compared.fn, compared.fp) == (2273, 0, 0)


@pytest.mark.parametrize("rate", [250, 500, 1000])
def test_resampled_leads_are_those_of_scipy(folder, record_100, rate):
    samples, _ = record_100
    step = {"duration_s": LONG_S, "recording": {"file": "100.hea", "start_s": 0}}
    played, _ = render(folder, f"at{rate}", [step], "--channels", "II,V5", "--frame-rate", rate)
    # By FFT over the stretch; away from its ends. Of what lies in the transition bands, 0.42 to 0.58 of the lower rate, the two
    # filters let through different parts: they are compared below.
    reference = dsp.resample(samples[: LONG_S * HZ], LONG_S * rate)
    low_pass = dsp.firwin(801, 0.40 * min(rate, HZ), fs=rate, window=("kaiser", 9))
    difference = dsp.fftconvolve(played - reference, low_pass[:, None], mode="same", axes=0)
    middle = slice(5 * rate, -5 * rate)
    # 5 uV is a step of the record's converter.
    assert np.abs(difference[middle]).max() < 0.0005, np.abs(difference[middle]).max()
    assert np.abs((played - reference)[middle]).max() < 0.008
    poly = dsp.resample_poly(samples[: LONG_S * HZ], rate // 10, HZ // 10, window=("kaiser", 9))
    assert np.abs((played - poly)[middle]).max() < 0.006


def test_a_loop_on_beats_has_no_step_and_an_interval_of_the_record(folder, record_100):
    samples, beats = record_100
    step = {"duration_s": 100, "recording": {"file": "100.hea", "start_s": 20, "end_s": 32, "loop": "beats"}}
    played, path = render(folder, "loop", [step], "--channels", "II", "--frame-rate", HZ)
    rows = beats_of(path)
    times = np.array([float(row["time_s"]) for row in rows])
    recorded = np.diff([at for at, _ in beats if 19 < at < 33])
    gaps = np.diff(times)
    assert all(np.abs(recorded - gap).min() < 1e-5 for gap in gaps)
    assert len(times) > 3 * 12 * 1.1
    # At each time of the truth the lead has a QRS: a top within 60 ms that stands out by half a millivolt.
    tops, _ = dsp.find_peaks(played[:, 0], prominence=0.5)
    assert len(tops) == len(times)
    assert np.abs(tops / HZ - times).max() < 0.06
    # No sample jumps further than those of the record do.
    stretch = samples[20 * HZ : 32 * HZ, 0]
    assert np.abs(np.diff(played[:, 0])).max() <= np.abs(np.diff(stretch)).max() + 0.02


def test_a_detector_scores_the_played_record_as_the_record(folder, record_100):
    samples, beats = record_100
    step = {"duration_s": LONG_S, "recording": "100.hea"}
    played, path = render(folder, "scored", [step], "--channels", "II", "--frame-rate", 500)
    detector = next(one for one in DETECTORS if one.name == "sleepecg")
    (folder / "heard.csv").write_text("time_s\n" + "".join(f"{at:.6f}\n" for at in detector.beats_s(played[:, 0], 500)))
    scored = succeed("score", f"{path}.beats.csv", folder / "heard.csv", "--format", "json", "--learning-s", 0, "--window-ms", 150)
    counts = json.loads(scored.stdout)["records"][0]["detection"]
    in_it = [at for at, _ in beats if at < LONG_S]
    heard = detector.beats_s(samples[: LONG_S * HZ, 0], HZ)
    compared = compare_annotations(np.round(np.array(in_it) * HZ).astype(int), np.round(heard * HZ).astype(int), 54)
    assert compared.tp == len(in_it) and compared.fp == 0
    assert (counts["matched"], counts["missed"], counts["extra"]) == (compared.tp, compared.fn, compared.fp)


def test_a_correct_monitor_s_heart_rate_is_that_of_the_annotations(folder, record_100):
    _, beats = record_100
    step = {"duration_s": 120, "recording": "100.hea"}
    _, path = render(folder, "rate", [step], "--channels", "II,arterial", "--frame-rate", 250)
    with open(f"{path}.readings.csv", newline="") as file:
        rate = next(row for row in csv.DictReader(file) if row["reading"] == "heart-rate")
    settled = float(rate["settle_s"])
    times = np.array([at for at, _ in beats if settled <= at < 120])
    assert abs(float(rate["expected"]) - 60 * (len(times) - 1) / (times[-1] - times[0])) < 0.01
    # Twelve intervals without the longest and the shortest, after each beat.
    all_times = np.array([at for at, _ in beats if at < 120])
    shown = [
        60 / np.sort(np.diff(all_times[i - 12 : i + 1]))[1:-1].mean()
        for i in range(12, len(all_times))
        if all_times[i] >= settled
    ]
    assert abs(min(shown) - float(rate["low"])) < 0.02 and abs(max(shown) - float(rate["high"])) < 0.02
    played = wfdb.rdrecord(str(path)).p_signal[:, 1]
    pulses, _ = dsp.find_peaks(played, prominence=15, distance=75)
    assert abs(len(pulses) - len(all_times)) <= 1


def test_a_stream_and_its_log_play_the_frames_of_the_render(folder):
    script, log = folder / "between.json", folder / "log.json"
    recorded = {"duration_s": 4, "recording": {"file": "100.hea", "start_s": 7, "end_s": 10, "loop": "ends"}}
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": [{"duration_s": 2}, recorded, {"duration_s": 2}]}))
    words = ("--channels", "II,V5,arterial", "--frame-rate", 250, "--bits", 24)
    rendered = succeed("render", script, "-o", "-", "--format", "raw", *words).stdout
    streamed = succeed("stream", script, "--fast", "--log", log, "--force", *words).stdout
    assert streamed == rendered and len(rendered) == 8 * 250 * 9
    assert succeed("render", log, "-o", "-", "--format", "raw", *words).stdout == rendered
    # A command within the recording: it goes on with the other setting, and the log renders to the bytes that were sent.
    hold = {"duration_s": "hold", "recording": {"file": "100.hea", "start_s": 7, "end_s": 10, "loop": "beats"}}
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": [hold]}))
    sent = streamed_live(250 * 9, b"set ecg.gain=0.5", script, "--duration", "4s", "--log", log, "--force", *words)
    assert len(sent) == 4 * 250 * 9
    steps = json.loads(log.read_text())["steps"]
    assert [step["recording"]["file"] for step in steps] == ["100.hea", "100.hea"], steps
    assert steps[1]["recording"]["passed_s"] > 0 and steps[1]["ecg"] == {"gain": 0.5}
    assert succeed("render", log, "-o", "-", "--format", "raw", *words).stdout == sent


def test_a_plan_has_the_recording_s_reading(folder, record_100):
    script, page = folder / "plan.json", folder / "plan.html"
    step = {"name": "Record 100", "duration_s": 60, "recording": {"file": "100.hea", "start_s": 10, "end_s": 40, "loop": "beats"}}
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": [step | {"expect": {"readings": ["heart-rate"]}}]}))
    succeed("worksheet", script, "-o", page)
    text = page.read_text()
    assert "100.hea from" in text
    times = [at for at, _ in record_100[1] if 10 <= at < 40]
    rate = 60 * (len(times) - 1) / (times[-1] - times[0])
    # The averages of ten to twelve beats differ from that of the stretch by up to 1.5 bpm.
    values = stated(Page(text).items["1.heart-rate"], "bpm")
    assert values and all(abs(value - rate) < 2 for value in values), (values, rate)


@pytest.mark.parametrize("form", ["edf", "csv", "wav"])
def test_other_files_give_the_leads_of_the_record(folder, record_100, form):
    """Files written by general libraries, from the samples of record 100."""
    samples = record_100[0][: 20 * HZ]
    path = folder / f"other.{form}"
    recording = {"file": path.name, "beats": "100.atr"}
    if form == "edf":
        pyedflib = pytest.importorskip("pyedflib")
        with pyedflib.EdfWriter(str(path), 2, file_type=pyedflib.FILETYPE_EDFPLUS) as writer:
            for place, name in enumerate(("MLII", "V5")):
                low, high = -5000, 5000
                header = {"label": name, "dimension": "uV", "sample_frequency": HZ, "physical_min": low, "physical_max": high, "digital_min": -32768, "digital_max": 32767}
                writer.setSignalHeader(place, header)
            writer.writeSamples([1000 * samples[:, place] for place in range(2)])
    elif form == "csv":
        times = np.arange(len(samples)) / HZ
        np.savetxt(path, np.column_stack([times, samples * 2]), delimiter=",", header="time_s,MLII,V5", comments="", fmt="%.6f")
        recording["scale_mv"] = 0.5
    else:
        wavfile.write(path, HZ, np.round(samples * 1000).astype(np.int16))
        recording |= {"scale_mv": 0.001, "leads": {"II": "1", "V5": "2"}}
    played, _ = render(folder, f"from_{form}", [{"duration_s": 19.9, "recording": recording}], "--channels", "II,V5", "--frame-rate", HZ)
    # Steps of 10 V over 2^16, of a microvolt, and of six decimals.
    assert np.abs(played - samples[: len(played)]).max() < 0.0006


def test_what_can_not_be_is_refused(folder):
    script = folder / "board.json"
    script.write_text(json.dumps({"version": 1, "steps": [{"duration_s": 9, "recording": "100.hea"}]}))
    assert_refused(run("compile", script, "-o", folder / "board.img"), "an image holds no samples")
    assert_refused(run("check", "-", stdin=script.read_bytes()), "on standard input has no folder")
