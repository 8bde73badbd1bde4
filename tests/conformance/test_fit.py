"""A body fitted to a recording and rendered again, against the recording's own averaged beat: read by wfdb, pydicom and numpy, averaged
and measured by numpy and scipy alone.

One heart vector has three axes, so that up to three leads can be met; of twelve leads of a person it explains a part, and that part is
shown here too.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pydicom
import pytest
import sleepecg
import wfdb
from global_qrs import find_qrs
from numpy.lib.stride_tricks import sliding_window_view
from program import BAD_INPUT, ROOT, run, succeed
from reading import read_wav
from scipy.signal import butter, detrend, find_peaks, sosfiltfilt

RECORDINGS = ROOT / "tests" / "data" / "recordings"
BEFORE_S, AFTER_S = 0.3, 0.42
"""The part of a beat that is compared: from before P to the end of T."""


def steep_places(leads_mv: np.ndarray, hz: float) -> np.ndarray:
    """Samples of the beats: the tops of the energy of the slopes."""
    energy = (np.gradient(leads_mv, axis=0) ** 2).sum(axis=1)
    energy = np.convolve(energy, np.ones(int(0.09 * hz)), "same")
    return find_peaks(energy, height=0.3 * np.percentile(energy, 99.5), distance=int(0.3 * hz))[0]


def averaged(leads_mv: np.ndarray, hz: float, places: np.ndarray) -> np.ndarray:
    """The mean beat, each beat moved to where its QRS fits the mean best; beats unlike it are left out."""
    leads_mv = sosfiltfilt(butter(2, 0.4, "highpass", fs=hz, output="sos"), leads_mv, axis=0)
    before, after, reach = int(BEFORE_S * hz), int(AFTER_S * hz), int(0.05 * hz)
    places = [at for at in places if at > before + reach and at + after + reach < len(leads_mv)]
    cut = lambda at: leads_mv[at - before : at + after]  # noqa: E731
    first, last = int(0.08 * hz), int(0.1 * hz)
    mean = np.median([cut(at) for at in places], axis=0)
    for _ in range(3):
        own = (mean[before - first : before + last] - mean[before - first : before + last].mean()).T
        moved, alike = [], []
        for at in places:
            # A row for each shift, of the leads' QRS.
            rows = sliding_window_view(leads_mv[at - reach - first : at + reach + last], first + last, axis=0)
            rows = rows - rows.mean(axis=(1, 2), keepdims=True)
            likeness = (rows * own).sum(axis=(1, 2)) / np.sqrt((rows**2).sum(axis=(1, 2)) * (own**2).sum())
            moved.append(at + int(np.argmax(likeness)) - reach)
            alike.append(likeness.max() > 0.95)
        mean = np.mean([cut(at) for at, good in zip(moved, alike, strict=True) if good], axis=0)
        places = [min(max(at, before + reach), len(leads_mv) - after - reach) for at in moved]
    return mean - np.median(mean[: int(0.03 * hz)], axis=0)


def rendered(tmp_path: Path, document: Path, leads: list[str], hz: int) -> np.ndarray:
    """Half a minute of the body at rest, mV."""
    script, out = tmp_path / "again.json", tmp_path / "again.wav"
    script.write_text(json.dumps({
        "version": 1, "bodies": {"person": document.name}, "steps": [{"duration_s": 30, "rhythm": "sinus", "body": "person"}],
    }))
    succeed("render", str(script), "-o", str(out), "--channels", ",".join(leads), "--bits", "float", "--frame-rate", str(hz))
    recording = read_wav(out)
    return np.column_stack([recording.values(lead) for lead in leads])


def alike(own: np.ndarray, again: np.ndarray, hz: float) -> dict:
    """How near two averaged beats are: lead by lead, and their intervals in ms."""
    reach = int(0.04 * hz)
    inner = slice(reach, len(own) - reach)
    at = lambda shift: again[reach + shift : len(own) - reach + shift]  # noqa: E731
    shift = max(range(-reach, reach + 1), key=lambda shift: np.corrcoef(own[inner].ravel(), at(shift).ravel())[0, 1])
    own, again = own[inner], at(shift)
    own, again = own - own.mean(axis=0), again - again.mean(axis=0)
    r = int(BEFORE_S * hz) - reach
    qrs = slice(r - int(0.07 * hz), r + int(0.09 * hz))
    largest = lambda beat: beat[qrs][np.argmax(np.abs(own[qrs]), axis=0), range(own.shape[1])]  # noqa: E731

    def later_ms(part: slice) -> float:
        """How much later a part of the beat comes when it is rendered: the shift at which it is most like the recorded one."""
        most = int(0.03 * hz)
        part = slice(max(part.start, most), min(part.stop, len(own) - most))
        moved = lambda shift: detrend(again[part.start + shift : part.stop + shift], axis=0).ravel()  # noqa: E731
        return 1000 * max(range(-most, most + 1), key=lambda shift: np.corrcoef(detrend(own[part], axis=0).ravel(), moved(shift))[0, 1]) / hz

    size = np.linalg.norm
    return {
        "correlation": np.array([np.corrcoef(own[:, lead], again[:, lead])[0, 1] for lead in range(own.shape[1])]),
        "largest_mv": largest(own),
        "larger_mv": largest(again) - largest(own),
        "left": size(own - again, axis=0) / size(own, axis=0),
        "p_later_ms": later_ms(slice(0, r - int(0.08 * hz))),
        "t_later_ms": later_ms(slice(r + int(0.14 * hz), len(own))),
    }


def record_100():
    record = wfdb.rdrecord(str(RECORDINGS / "100"))
    beats = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    normal = beats.sample[np.array(beats.symbol) == "N"]
    return record.p_signal, ["II", "V5"], 360, normal[::4]


def record_s0010(leads):
    record = wfdb.rdrecord(str(RECORDINGS / "s0010_re"))
    names = [name.lower() for name in record.sig_name]
    chosen = record.p_signal[:, [names.index(lead.lower()) for lead in leads]]
    return chosen, leads, 1000, steep_places(record.p_signal, 1000)


def as_csv(path: Path, hz: float, names: list[str], leads_mv: np.ndarray) -> Path:
    time = np.arange(len(leads_mv)) / hz
    np.savetxt(path, np.column_stack([time, leads_mv]), delimiter=",", header="time_s," + ",".join(names), comments="", fmt="%.6g")
    return path


def fitted(tmp_path: Path, recording: Path, *more: str) -> Path:
    document = tmp_path / "person.json"
    outcome = succeed("fit", str(recording), "-o", str(document), *more)
    print(outcome.stdout.decode())
    return document


def compare(tmp_path, document, leads_mv, leads, hz, places):
    again = rendered(tmp_path, document, leads, int(hz))
    result = alike(averaged(leads_mv, hz, places), averaged(again, hz, steep_places(again, hz)), hz)
    print(leads, {key: np.round(value, 4) for key, value in result.items()})
    return result


def near(result) -> None:
    assert result["correlation"].min() >= 0.99, result
    # R within 2 %; low R, and S where it is larger, within 25 uV or 5 % (the tolerances of IEC 60601-2-51 for amplitudes, from memory).
    size = np.abs(result["largest_mv"])
    allowed = np.where(result["largest_mv"] > 0.5, 0.02 * size, np.maximum(0.025, 0.05 * size))
    assert (np.abs(result["larger_mv"]) <= allowed).all(), result
    assert abs(result["p_later_ms"]) <= 10 and abs(result["t_later_ms"]) <= 10, result


def test_two_leads_of_a_person_are_met(tmp_path):
    near(compare(tmp_path, fitted(tmp_path, RECORDINGS / "100.hea"), *record_100()))


def test_three_leads_of_a_patient_with_a_wide_qrs_are_met(tmp_path):
    leads = ["II", "V2", "V5"]
    document = fitted(tmp_path, RECORDINGS / "s0010_re.hea", "--leads", ",".join(leads))
    near(compare(tmp_path, document, *record_s0010(leads)))
    # The QRS lasts as long as an outsider says (global onset and end in all leads of the recording).
    found = find_qrs(wfdb.rdrecord(str(RECORDINGS / "s0010_re")).p_signal[:, :12], 1000)
    lasts_ms = np.median([qrs.duration_ms for qrs in found if qrs.duration_ms])
    assert abs(json.loads(document.read_text())["settings"]["ecg"]["qrs_ms"] - lasts_ms) < 15, lasts_ms


def test_of_twelve_leads_what_a_vector_leaves_over_is_printed(tmp_path):
    """The lead matrix is that of an average chest (Dower 1980): the report must say how far this person's differs."""
    document = tmp_path / "person.json"
    report = succeed("fit", str(RECORDINGS / "s0010_re.hea"), "-o", str(document)).stdout.decode()
    leads = ["I", "II", "V1", "V2", "V3", "V4", "V5", "V6"]
    leads_mv, _, hz, places = record_s0010(leads)
    result = compare(tmp_path, document, leads_mv, leads, hz, places)
    for lead, correlation in zip(leads, result["correlation"], strict=True):
        printed = float(re.search(rf"^normal .*? {lead} +\d+ +(-?[\d.]+)", report, re.M).group(1))
        assert abs(printed - correlation) < 0.05, (lead, printed, correlation)
    assert np.median(result["correlation"]) > 0.85, result


def test_a_clinical_record_of_a_python_package_is_met_in_three_leads(tmp_path):
    """The twelve leads that pydicom ships as a test file."""
    data = pydicom.dcmread(Path(pydicom.__file__).parent / "data" / "test_files" / "waveform_ecg.dcm")
    group = data.WaveformSequence[0]
    microvolts = data.waveform_array(0)
    names = [one.ChannelSourceSequence[0].CodeMeaning.split()[1] for one in group.ChannelDefinitionSequence]
    hz = float(group.SamplingFrequency)
    leads = ["I", "V1", "V4"]
    leads_mv = 0.001 * microvolts[:, [names.index(lead) for lead in leads]]
    document = fitted(tmp_path, as_csv(tmp_path / "clinic.csv", hz, leads, leads_mv))
    near(compare(tmp_path, document, leads_mv, leads, hz, steep_places(leads_mv, hz)))


def test_one_lead_with_premature_beats_is_met(tmp_path):
    """Five minutes of one lead that sleepecg ships, 360 samples a second; among its beats are many premature ones."""
    mv = np.load(Path(sleepecg.__file__).parent / "data" / "ecg.npz")["ecg"][:, None]
    document = fitted(tmp_path, as_csv(tmp_path / "lead.csv", 360, ["II"], mv))
    near(compare(tmp_path, document, mv, ["II"], 360, steep_places(mv, 360)))


def test_every_form_of_a_recording_gives_the_same_body(tmp_path):
    """The adult rendered to each form that is read: its intervals are found again, and the bodies are equal within a step of the samples."""
    found = {}
    for name, bits in (("a.hea", 12), ("b.hea", 16), ("c.hea", 24), ("d.edf", 16), ("e.csv", 24)):
        out = tmp_path / name
        succeed("render", "--rhythm", "sinus", "--duration", "12s", "--channels", "II,V2,V5", "--frame-rate", "250", "--bits", str(bits), "-o", str(out))
        document = json.loads(fitted(tmp_path, out, "--force").read_text())
        found[name] = np.array([document["resting_bpm"], *document["settings"]["ecg"].values()])
        (tmp_path / "person.json").unlink()
    for name, values in found.items():
        assert np.abs(values - found["c.hea"]).max() < 2, (name, values, found["c.hea"])
        assert (np.abs(values - [70, 160, 92, 400]) < [0.3, 12, 6, 15]).all(), (name, values)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time_s,EEG\n0,1\n1,2\n", "no lead of the standard twelve"),
        ("II\n" + "0\n" * 900, "no column time_s"),
        ("time_s,II\n0,1\n0.002,x\n", "line 3: 'x' is not a number"),
        ("time_s,II\n" + "".join(f"{i / 500:.3f},0\n" for i in range(5000)), "beats of the normal kind"),
    ],
)
def test_a_recording_that_can_not_be_fitted_is_refused(tmp_path, text, message):
    recording, document = tmp_path / "bad.csv", tmp_path / "person.json"
    recording.write_text(text)
    outcome = run("fit", str(recording), "-o", str(document))
    assert outcome.code == BAD_INPUT and message in outcome.stderr, outcome
    assert not document.exists()
