"""How well general classifiers separate our resting adults from recorded persons.

Recordings: lead II and V5 of record 100 (MIT-BIH Arrhythmia Database), eight leads of record s0010_re (PTB Diagnostic ECG Database, a
patient after an infarction) and eight leads of the 12-lead recording that the package pydicom ships as test data.
Ours: `life` resting with seeds and rates from 60 to 95 bpm, nothing else set.
Both sides are resampled to 250 Hz and pass the same filter. Each model is trained without one person and a third of our scripts, and
tried on those. 0.5 is a guess, and the mean is to be 0.75 or less. Three persons are few: the area differs by 0.1 from one choice of
seeds to the next, so it is averaged over three choices.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pydicom
import pytest
import wfdb
from discriminator import judged, separating, stretches, weighed
from program import ROOT, succeed
from reading import read_wav

LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")
RECORDINGS = ROOT / "tests" / "data" / "recordings"
SCRIPTS = 24
FIRST_SEEDS = (0, 1000, 2000)
TARGET = 0.75
MOST_AREA = {"logistic": 0.65, "kernel": 0.80, "trees": 0.85}
"""Of each kind, the mean over choices of seeds and persons: 0.56, 0.74 and 0.77 at the last change of our signal."""


def recorded():
    found = []
    record = wfdb.rdrecord(str(RECORDINGS / "100"))
    for lead, column in zip(("II", "V5"), record.p_signal.T, strict=True):
        found += stretches("100", lead, column, 360, 40)
    record = wfdb.rdrecord(str(RECORDINGS / "s0010_re"))
    for name, column in zip(record.sig_name, record.p_signal.T, strict=True):
        if name.upper() in LEADS:
            found += stretches("s0010_re", name.upper(), column, 1000, 3)
    path = Path(pydicom.__file__).parent / "data" / "test_files" / "waveform_ecg.dcm"
    waveform = pydicom.dcmread(path).waveform_array(0)
    names = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
    for name, column in zip(names, waveform.T, strict=True):
        if name in LEADS:
            found += stretches("pydicom", name, column / 1000, 1000, 2)
    return found


def played(folder: Path, *settings: str, scripts: int = SCRIPTS, first_seed: int = 0):
    found = []
    rates = np.random.default_rng(first_seed).uniform(60, 95, scripts)
    for seed, rate in enumerate(rates, first_seed):
        target = folder / f"{seed}.wav"
        flags = [word for setting in settings for word in ("--set", setting)]
        succeed(
            "render", "--rhythm", "sinus", "--rate", f"{rate:.1f}", "--seed", seed, "--duration", "30s", *flags,
            "--frame-rate", 500, "--channels", ",".join(LEADS), "-o", target,
        )
        recording = read_wav(target)
        for lead in LEADS:
            found += stretches(f"seed {seed}", lead, recording.values(lead), 500, 4)
    return found


@pytest.fixture(scope="module")
def people():
    return recorded()


def test_resting_adults_are_hard_to_separate_from_persons(people, tmp_path, capsys):
    choices = []
    for first_seed in FIRST_SEEDS:
        folder = tmp_path / str(first_seed)
        folder.mkdir()
        ours = played(folder, "life=resting", first_seed=first_seed)
        choices.append(judged(people, ours))
    found = {name: float(np.mean([choice[name] for choice in choices])) for name in MOST_AREA}
    with capsys.disabled():
        print(f"\n  area under the curve {np.mean(list(found.values())):.2f} (target {TARGET})")
        for name, value in found.items():
            print(f"    {name}: {value:.2f} of " + ", ".join(f"{choice[name]:.2f}" for choice in choices))
        for name, alone, of_persons, of_ours in separating(people, ours)[:8]:
            print(f"    separates: {name}, alone {alone:.2f}; recorded {of_persons:.2f}, ours {of_ours:.2f}")
        print("    trees go by: " + ", ".join(f"{name} {share:.2f}" for name, share in weighed(people, ours)[:6]))
    assert np.mean(list(found.values())) <= TARGET
    for name, most in MOST_AREA.items():
        assert found[name] <= most, name


def test_equal_beats_are_separated_by_each_kind(people, tmp_path):
    """The classifiers are no blunt tool: without life they know ours at once."""
    found = judged(people, played(tmp_path, scripts=9))
    for name in MOST_AREA:
        assert found[name] > 0.95, name
