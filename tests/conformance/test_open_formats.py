"""Records, EDF+ and RF64 as general readers see them: the very numbers of the CSV, and the annotations of the truth.

The readers are not ours: wfdb for records, pyedflib and edfio (two codebases) for EDF+, soundfile (libsndfile)
and scipy for RF64. None of them shares a line with the writers.
"""

from __future__ import annotations

import csv
import json
import os
import struct
import subprocess

import edfio
import numpy as np
import pyedflib
import pytest
import scripts
import soundfile
import wfdb
from program import PROGRAM, assert_refused, files_below, render, rendered, run, succeed
from reading import beside, read_beats, read_channels, read_csv, read_steps, read_wav
from scipy.io import wavfile
from wfdb.processing import Comparitor


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """Beats of many codes, fibrillation, pacing without capture, names of steps, a length that fills no whole second."""
    return scripts.write(
        tmp_path_factory.mktemp("open") / "mixed.json",
        scripts.step(8, rate_bpm=80, name="rest, seated"),
        scripts.step(10, "ventricular-bigeminy", rate_bpm=90),
        scripts.step(6, "ventricular-fibrillation", name="arrest"),
        scripts.step(8, "paced-no-capture", name="no answer"),
        scripts.step(7.25, "atrial-fibrillation", rate_bpm=130),
    )


@pytest.mark.parametrize(("bits", "number"), [("12", "212"), ("16", "16"), ("24", "24")])
@pytest.mark.parametrize("channels", ["usual", "V3,respiration,arterial"])
def test_wfdb_reads_the_numbers_of_the_csv(source, bits, number, channels):
    name = f"record_{bits}_{len(channels)}"
    target = rendered(source, source.parent / f"{name}.hea", bits=bits, channels=channels)
    record = wfdb.rdrecord(str(target.with_suffix("")))
    assert set(record.fmt) == {number}
    _, values, units = read_csv(rendered(source, source.parent / f"{name}.text.csv", bits=bits, channels=channels))
    assert (record.sig_name, record.units) == (list(values), list(units.values()))
    assert (record.fs, record.sig_len) == (500, 19_625)
    for i, (channel, column) in enumerate(values.items()):
        # Not nearly: the same 64 bits.
        assert np.array_equal(record.p_signal[:, i], column), channel


def test_wfdb_reads_the_codes_of_the_wav(source):
    for bits in ("16", "24"):
        record = wfdb.rdrecord(str(rendered(source, source.parent / f"codes{bits}.hea", bits=bits).with_suffix("")), physical=False)
        wav = read_wav(_wav(source, bits))
        for i, stored in enumerate(wav.stored.values()):
            assert np.array_equal(record.d_signal[:, i], stored), bits


def _wav(source, bits):
    target = source.parent / f"wav{bits}.wav"
    return target if target.exists() else rendered(source, target, bits=bits)


@pytest.mark.parametrize("bits", ["12", "16", "24"])
def test_header_sums_and_first_samples(source, bits):
    """header(5): the checksum is the 16-bit sum of all samples, the initial value the first one."""
    target = rendered(source, source.parent / f"sums{bits}.hea", bits=bits, channels="V3,respiration,arterial")
    record = wfdb.rdrecord(str(target.with_suffix("")), physical=False)
    sums = record.d_signal.astype(np.int64).sum(axis=0)
    assert [c % 65_536 for c in record.checksum] == [int(s) % 65_536 for s in sums]
    assert record.init_value == record.d_signal[0].tolist()
    assert record.calc_checksum() == [int(s) % 65_536 for s in sums]


@pytest.fixture(scope="module")
def record(source):
    """A record with its truth."""
    return rendered(source, source.parent / "truth.hea")


def test_wfdb_comparator_scores_our_annotations_all_right(record):
    """The annotation file as heard beats, the truth CSV as reference; the comparator's own window of 150 ms, then of one frame."""
    marks = wfdb.rdann(str(record.with_suffix("")), "atr")
    heard = [(s, c) for s, c in zip(marks.sample, marks.symbol, strict=True) if c not in '+"[]^']
    truth = read_beats(record)
    reference = np.array([beat.frame for beat in truth])
    assert len(reference) > 30
    for window in (75, 1):
        comparitor = Comparitor(reference, np.array([s for s, _ in heard]), window)
        comparitor.compare()
        assert (comparitor.tp, comparitor.fn, comparitor.fp) == (len(reference), 0, 0)
        assert (comparitor.sensitivity, comparitor.positive_predictivity) == (1.0, 1.0)
    assert [code for _, code in heard] == [beat.code for beat in truth]
    assert {"N", "V"} <= {beat.code for beat in truth}


def test_the_comparator_catches_a_beat_that_is_not_there(record):
    truth = np.array([beat.frame for beat in read_beats(record)])
    comparitor = Comparitor(truth, np.delete(truth, 5), 75)
    comparitor.compare()
    assert (comparitor.fn, comparitor.sensitivity < 1) == (1, True)


def test_steps_and_fibrillation_are_annotated(record):
    marks = wfdb.rdann(str(record.with_suffix("")), "atr")
    named = [(s, c, a.rstrip("\0")) for s, c, a in zip(marks.sample, marks.symbol, marks.aux_note, strict=True)]
    starts = [round(float(step["start_s"]) * 500) for step in read_steps(record)]
    assert [(s, a) for s, c, a in named if c == "+"] == list(zip(starts, ["(N", "(B", "(VFIB", "(P", "(AFIB"], strict=True))
    notes = [(s, a) for s, c, a in named if c == '"']
    # At frame 0 this reader takes a note for a definition: the first stands at frame 1.
    assert notes == list(zip([1, *starts[1:]], [step["name"] for step in read_steps(record)], strict=True))
    assert [a for _, a in notes][:3] == ["rest, seated", "Ventricular bigeminy", "arrest"]
    with beside(record, "episodes.csv").open(encoding="utf-8") as file:
        episodes = {row["episode"]: row for row in csv.DictReader(file)}
    fibrillation = [round(float(episodes["ventricular-fibrillation"][end]) * 500) for end in ("start_s", "end_s")]
    assert [s for s, c, _ in named if c in "[]"] == fibrillation
    with beside(record, "pacing.csv").open(encoding="utf-8") as file:
        unanswered = [int(row["frame"]) for row in csv.DictReader(file) if row["captures"] == "no"]
    assert unanswered
    assert [s for s, c, _ in named if c == "^"] == unanswered


def test_a_day_of_annotations_keeps_its_times(tmp_path):
    """Asystole for hours between beats: times farther apart than 10 bits, 16 bits of frames."""
    source = scripts.write(
        tmp_path / "long.json", scripts.step(3, rate_bpm=70), scripts.step(20_000, "asystole"), scripts.step(3, rate_bpm=70)
    )
    target = rendered(source, tmp_path / "long.hea", channels="II", frame_rate_hz=1000)
    marks = wfdb.rdann(str(tmp_path / "long"), "atr")
    frames = [beat.frame for beat in read_beats(target)]
    assert frames[-1] > 20_000_000
    assert [s for s, c in zip(marks.sample, marks.symbol, strict=True) if c == "N"] == frames


def test_our_scorer_reads_our_annotations(record):
    """Both ways: as reference and as what was heard; every beat and every class right."""
    atr, truth = record.with_suffix(".atr"), beside(record, "beats.csv")
    for reference, test in ((atr, truth), (truth, atr)):
        outcome = succeed("score", reference, test, "--learning-s", 0, "--format", "json", "--min", "se=100", "--min", "ppv=100", "--min", "veb_se=100", "--min", "veb_ppv=100")
        report = json.loads(outcome.stdout)
        assert report


def annotations(target):
    """Annotations of an EDF+ file by pyedflib, and the same by edfio."""
    with pyedflib.EdfReader(str(target)) as file:
        onsets, durations, texts = file.readAnnotations()
    first = [(float(o), None if float(d) < 0 else float(d), str(t)) for o, d, t in zip(onsets, durations, texts, strict=True)]
    second = [(a.onset, a.duration, a.text) for a in edfio.read_edf(str(target)).annotations]
    assert [o for o, _, _ in first] == sorted(o for o, _, _ in first), "not in order of time"
    order = lambda annotation: (annotation[0], annotation[2])
    for one, other in zip(sorted(first, key=order), sorted(second, key=order), strict=True):
        # pyedflib gives times to 0.1 us.
        assert one == (pytest.approx(other[0], abs=2e-7), other[1] and pytest.approx(other[1], abs=2e-7), other[2])
    return second


def signals(target):
    """Stored numbers of an EDF+ file by two readers that must agree, and the values of one."""
    with pyedflib.EdfReader(str(target)) as file:
        count = file.signals_in_file
        stored = np.array([file.readSignal(i, digital=True) for i in range(count)])
        values = np.array([file.readSignal(i) for i in range(count)])
        labels, units = file.getSignalLabels(), [file.getPhysicalDimension(i) for i in range(count)]
        rates = set(file.getSampleFrequencies())
    other = np.array([s.digital for s in edfio.read_edf(str(target)).signals])
    assert np.array_equal(stored, other), "two readers of one EDF+ file disagree"
    return labels, units, rates, stored, values


@pytest.mark.parametrize("channels", ["usual", "electrodes,pressures"])
def test_edf_holds_the_numbers_of_csv_and_wav(source, channels):
    name = channels.split(",")[0]
    target = rendered(source, source.parent / f"{name}.edf", channels=channels)
    labels, units, rates, stored, values = signals(target)
    csv_target = rendered(source, source.parent / f"{name}.edf-text.csv", channels=channels)
    _, expected, expected_units = read_csv(csv_target)
    scales = {c.name: c for c in read_channels(target)[1]}
    frames = 19_625
    assert [label.removeprefix("ECG ").replace("Resp", "respiration") for label in labels] == list(expected)
    assert (units, rates) == (list(expected_units.values()), {500.0})
    for i, (channel, column) in enumerate(expected.items()):
        codes = np.round((column - scales[channel].offset) / scales[channel].scale).astype(np.int64)
        assert np.array_equal(stored[i][:frames], codes), channel
        # The reader works the value out of four limits, in floating point: a few units of its last place.
        assert np.abs(values[i][:frames] - column).max() <= 1e-12 * max(1.0, np.abs(column).max()) * 100, channel
        # Records are whole: frames beyond the end repeat the last value.
        assert set(stored[i][frames:]) == {stored[i][frames - 1]}
        assert len(stored[i]) == 20_000


def test_edf_annotations_are_the_truth(source):
    target = rendered(source, source.parent / "noted.edf")
    found = annotations(target)
    beats = [(o, t) for o, _, t in found if t.startswith("beat ")]
    assert beats == [(pytest.approx(b.time_s, abs=1e-6), f"beat {b.code}") for b in read_beats(target)]
    steps = [(o, t) for o, _, t in found if t.startswith("step")]
    assert steps == [(pytest.approx(float(s["start_s"])), f"step {s['name']}: {s['rhythm']}") for s in read_steps(target)]
    assert steps[0][1] == "step rest, seated: sinus"
    with beside(target, "breaths.csv").open(encoding="utf-8") as file:
        expected = [(float(r["time_s"]), float(r["end_s"]) - float(r["time_s"])) for r in csv.DictReader(file)]
    assert len(expected) > 5
    breaths = [(o, d) for o, d, t in found if t == "breath"]
    assert breaths == [(pytest.approx(o, abs=1e-6), pytest.approx(d, abs=3e-6)) for o, d in expected]
    assert [t for _, _, t in found if "fibrillation starts" in t] == ["ventricular-fibrillation starts", "atrial-fibrillation starts"]


@pytest.mark.parametrize("frame_rate_hz", [100, 128, 360, 1000, 47_999, 48_000])
def test_edf_of_any_frame_rate(source, frame_rate_hz):
    target = rendered(source, source.parent / f"at{frame_rate_hz}.edf", frame_rate_hz=frame_rate_hz, channels="II,arterial")
    wav = read_wav(rendered(source, source.parent / f"edf-at{frame_rate_hz}.wav", frame_rate_hz=frame_rate_hz, channels="II,arterial"))
    _, _, rates, stored, _ = signals(target)
    assert rates == {float(frame_rate_hz)}
    for i, codes in enumerate(wav.stored.values()):
        assert np.array_equal(stored[i][: len(codes)], codes)
    assert len([1 for _, _, t in annotations(target) if t.startswith("beat")]) == len(read_beats(target))


def test_edf_in_several_files(source):
    outcome = render(source, source.parent / "parts.edf", channels="II,V1")
    assert outcome.code == 0, outcome
    whole = signals(source.parent / "parts.edf")[3]
    succeed("render", source, "-o", source.parent / "cut.edf", "--channels", "II,V1", "--split", "10500ms")
    joined, beats = [], []
    for i, (first, count) in enumerate([(0, 5250), (5250, 5250), (10_500, 5250), (15_750, 3875)], 1):
        part = source.parent / f"cut.{i:03}.edf"
        joined.append(signals(part)[3][:, :count])
        beats += [first / 500 + o for o, _, t in annotations(part) if t.startswith("beat")]
    assert np.array_equal(np.concatenate(joined, axis=1), whole[:, :19_625])
    assert beats == [pytest.approx(b.time_s, abs=2e-6) for b in read_beats(source.parent / "cut.edf")]


def test_edf_header_says_no_patient(source):
    head = rendered(source, source.parent / "head.edf", channels="II").read_bytes()[:256].decode("ascii")
    assert head[8:88].split() == ["X", "X", "X", "Synthetic_signal"]
    assert head[88:168].startswith("Startdate X X X pulsewright")
    assert head[192:236].strip() == "EDF+C"


@pytest.mark.parametrize("bits", ["16", "24", "32", "float"])
def test_rf64_holds_the_frames_of_wav(source, bits):
    target = source.parent / f"wide{bits}.wav"
    succeed("render", source, "-o", target, "--bits", bits, "--format", "rf64")
    assert target.read_bytes()[:4] == b"RF64"
    assert soundfile.info(str(target)).format == "RF64"
    wide, plain = read_wav(target), read_wav(_wav(source, bits))
    for channel, stored in plain.stored.items():
        assert np.array_equal(wide.stored[channel], stored)


@pytest.mark.parametrize("bits", ["32", "float"])
def test_a_wav_over_4_gib_is_rf64_that_readers_open(tmp_path, bits):
    """24 h of 14 channels of 4 bytes at 2 kHz are 9.7 GB: its head from a pipe, the rest a hole in a file."""
    source = scripts.write(tmp_path / "day.json", scripts.step(86_400, rate_bpm=70))
    process = subprocess.Popen(
        [str(PROGRAM), "render", str(source), "-o", "-", "--format", "wav", "--bits", bits, "--frame-rate", "2000"],
        stdout=subprocess.PIPE,
    )
    start = process.stdout.read(1 << 20)
    process.stdout.close()
    assert process.wait(60) == 0, "a reader that goes away is no error"
    frames = 86_400 * 2000
    at = start.index(b"data") + 8
    riff, data, count = struct.unpack("<QQQ", start[20:44])
    assert (start[:4], start[12:16]) == (b"RF64", b"ds64")
    assert (riff, data, count) == (at + frames * 56 - 8, frames * 56, frames)
    whole = tmp_path / "day.wav"
    whole.write_bytes(start)
    os.truncate(whole, at + frames * 56)
    info = soundfile.info(str(whole))
    assert (info.frames, info.channels, info.samplerate, info.format) == (frames, 14, 2000, "RF64")
    rate, mapped = wavfile.read(whole, mmap=True)
    assert (rate, mapped.shape) == (2000, (frames, 14))
    known = (len(start) - at) // 56
    read, _ = soundfile.read(str(whole), frames=known, dtype="float32" if bits == "float" else "int32", always_2d=True)
    assert np.array_equal(read, mapped[:known])
    assert np.abs(read).max() > 0


def test_what_a_format_cannot_hold_is_refused(tmp_path):
    source = scripts.write(tmp_path / "s.json", scripts.step(5, rate_bpm=72))
    cases = [
        (("x.edf", "--bits", "24"), "16 bits"),
        (("x.edf", "--bits", "float"), "16 bits"),
        (("x.hea", "--bits", "32"), "12, 16 or 24"),
        (("x.hea", "--bits", "float"), "12, 16 or 24"),
        (("x.hea", "--split", "1s"), "--split"),
        (("x y.hea",), "letters"),
        (("x.1.hea",), "letters"),
        (("x.dat", "--format", "wfdb"), ".hea"),
        (("-", "--format", "wfdb"), "three files"),
        (("x.wav", "--bits", "12"), "12 bits"),
        (("x.wav", "--bits", "12", "--format", "rf64"), "12 bits"),
    ]
    for (name, *flags), word in cases:
        target = name if name == "-" else tmp_path / name
        assert_refused(run("render", source, "-o", target, *flags), word)
    assert set(files_below(tmp_path)) == {"s.json"}


@pytest.mark.parametrize("occupied", ["out.dat", "out.atr", "out.hea", "out.beats.csv"])
def test_no_part_of_a_record_is_overwritten(tmp_path, occupied):
    source = scripts.write(tmp_path / "s.json", scripts.step(5, rate_bpm=72))
    (tmp_path / occupied).write_bytes(b"precious")
    before = files_below(tmp_path)
    assert_refused(render(source, tmp_path / "out.hea"), occupied, "--force")
    assert files_below(tmp_path) == before
    succeed("render", source, "-o", tmp_path / "out.hea", "--force")
    assert (tmp_path / occupied).read_bytes() != b"precious"
