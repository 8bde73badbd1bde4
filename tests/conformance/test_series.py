"""Series of beats, read from the samples: beats, waves and pulses come at the times of the list and at no others."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pandas as pd
import pytest
import wfdb
from detectors import DETECTORS
from matching import BEAT_CODES
from program import ROOT, succeed
from scipy.signal import find_peaks
from test_lead_truth import DOWER

RECORDINGS = ROOT / "tests" / "data" / "recordings"
EIGHT = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")


def render(folder, steps, *words, name="out"):
    """A record of these steps."""
    script = folder / f"{name}.json"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}))
    succeed("render", script, "-o", folder / f"{name}.hea", *words)
    return wfdb.rdrecord(str(folder / name))


def tops(trace, hz, near_s, within_s=0.06):
    """Where the trace is highest near each time, s, by a parabola through the three highest samples."""
    found = []
    for at in near_s:
        first = max(round((at - within_s) * hz), 1)
        middle = first + int(np.argmax(trace[first : round((at + within_s) * hz)]))
        before, here, after = trace[middle - 1 : middle + 2]
        bend = before - 2 * here + after
        found.append((middle + (0.5 * (before - after) / bend if bend else 0)) / hz)
    return np.array(found)


@pytest.fixture(scope="module")
def record_100_played(tmp_path_factory):
    """Record 100's beats as a series: annotated times and codes, and the record that is made of them."""
    folder = tmp_path_factory.mktemp("series")
    for ending in ("atr", "hea"):
        shutil.copy(RECORDINGS / f"100.{ending}", folder)
    record = render(folder, [{"duration_s": 1805.55, "series": "100.atr"}], "--channels", ",".join(EIGHT))
    marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    beats = [(s / 360, code) for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]
    return np.array([at for at, _ in beats]), [code for _, code in beats], record, folder


def test_a_detector_finds_every_beat_of_record_100_at_its_annotation(record_100_played):
    times, _, record, _ = record_100_played
    assert len(times) == 2273
    lead = record.p_signal[:, EIGHT.index("II")]
    detector = next(one for one in DETECTORS if one.name == "sleepecg")
    heard = detector.beats_s(lead, record.fs)
    assert len(heard) == len(times)
    # The detector marks a place of its own within the QRS; annotations mark its peak. The peak of all leads is that of the
    # heart vector, by least squares over Dower's matrix.
    vector = np.linalg.lstsq(DOWER, record.p_signal.T, rcond=None)[0]
    found = tops(np.linalg.norm(vector, axis=0), record.fs, heard)
    assert np.abs(found - times).max() < 0.002, np.abs(found - times).max()


def test_annotations_of_the_render_are_those_of_record_100(record_100_played):
    times, codes, record, folder = record_100_played
    marks = wfdb.rdann(str(folder / "out"), "atr")
    beats = [(s / record.fs, code) for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]
    assert [code for _, code in beats] == codes
    assert np.abs(np.array([at for at, _ in beats]) - times).max() < 0.002


def test_a_pulse_follows_every_beat_and_is_smaller_after_a_short_interval(tmp_path):
    steps = [{"duration_s": 32, "series": {"rr_s": [0.8, 0.8, 0.45, 1.15], "codes": "NNVN"}, "arterial": {"systolic_mmhg": 120, "diastolic_mmhg": 80}}]
    record = render(tmp_path, steps, "--channels", "II,arterial")
    pressure = record.p_signal[:, 1]
    peaks, _ = find_peaks(pressure, prominence=3, distance=int(0.3 * record.fs))
    beats = np.concatenate([3.2 * turn + np.array([0.8, 1.6, 2.05, 3.2]) for turn in range(10)])
    delays = [min((p / record.fs - at for p in peaks if p / record.fs > at), default=np.inf) for at in beats[:-1]]
    # A pulse is under way as the signal begins; from the first beat of the list on, each has one and there are no others.
    after = np.sum(peaks / record.fs > beats[0])
    assert after == len(beats) - 1 and max(delays) < 0.45, (after, max(delays))
    heights = np.array([pressure[round(at * record.fs) : round((at + 0.45) * record.fs)].max() for at in beats[4:36]])
    premature, after = heights[2::4], heights[3::4]
    assert premature.max() < after.min() - 5


def test_every_form_of_a_list_gives_the_same_samples(tmp_path):
    times = np.round(np.cumsum(np.random.default_rng(4).uniform(0.4, 1.3, 30)), 3)
    codes = "NNVAN" * 6
    (tmp_path / "list.csv").write_text("at_s,code\n" + "".join(f"{at},{code}\n" for at, code in zip(times, codes, strict=True)))
    marks = np.round(times * 1000).astype(int)
    wfdb.wrann("list", "atr", marks, symbol=list(codes), fs=1000, write_dir=str(tmp_path))
    forms = [{"at_s": times.tolist(), "codes": codes}, "list.csv", {"file": "list.atr", "hz": 1000}, "list.atr"]
    first, *others = [render(tmp_path, [{"duration_s": 25, "series": form}], name=f"form{i}") for i, form in enumerate(forms)]
    assert np.ptp(first.p_signal, axis=0).max() > 1
    for other in others:
        assert np.array_equal(first.p_signal, other.p_signal, equal_nan=True)


def test_a_first_beat_that_is_left_out_is_reported(tmp_path):
    """The last QRS of sinus rhythm at 60 bpm begins shortly before the series: `check` and the truth name the beat that does not come."""
    first = render(tmp_path, [{"duration_s": 20, "rate_bpm": 60}], "--channels", "II", name="first")
    last_s = pd.read_csv(tmp_path / "first.beats.csv", comment="#").qrs_onset_s.to_numpy()[-3]
    steps = [{"duration_s": round(last_s + 0.05, 3), "rate_bpm": 60}, {"duration_s": 5, "series": {"at_s": [0.06, 1.0, 2.0], "length_s": 3}}]
    record = render(tmp_path, steps, "--channels", "II", name="late")
    refused = pd.read_csv(tmp_path / "late.refused.csv", comment="#")
    assert refused[["site", "why"]].values.tolist() == [["atrial", "refractory"]]
    assert refused.time_s[0] == pytest.approx(steps[0]["duration_s"] + 0.06, abs=1e-3)
    assert "1 beat that was asked for does not come" in succeed("check", tmp_path / "late.json").stdout.decode()
    # From the samples: no QRS between the last of sinus rhythm and the second of the list.
    lead = record.p_signal[:, 0]
    peaks, _ = find_peaks(lead, height=0.6 * first.p_signal[:, 0].max(), distance=int(0.05 * record.fs))
    within = [at for at in peaks / record.fs if last_s - 0.02 < at < steps[0]["duration_s"] + 1.5]
    assert len(within) == 2 and within[1] - within[0] == pytest.approx(1.0, abs=0.1), within


def test_a_renders_own_table_of_beats_plays_the_same_beats(tmp_path):
    first = render(tmp_path, [{"duration_s": 60, "rhythm": "atrial-fibrillation"}], "--channels", "II", name="own")
    again = render(tmp_path, [{"duration_s": 60, "rhythm": "atrial-fibrillation", "series": "own.beats.csv"}], "--channels", "II", name="again")
    marks = [wfdb.rdann(str(tmp_path / name), "atr") for name in ("own", "again")]
    beats = [[s for s, code in zip(one.sample, one.symbol, strict=True) if code in BEAT_CODES] for one in marks]
    assert len(beats[0]) > 50 and np.abs(np.array(beats[0]) - np.array(beats[1])).max() <= 1
    assert first.fs == again.fs
