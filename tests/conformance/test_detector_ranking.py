"""General detectors ranked on drawn patients with noise, and on a person's recording with noise.

The recording is record 100 of the MIT-BIH Arrhythmia Database, the only annotated one here: n is one person and five detectors. The
rank correlation is printed for people; the check asks only that it is positive, which it is by chance in nearly half of all cases.
Both have the same noise, electrodes that shift, so that the detectors differ by the beats alone.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import wfdb
from detectors import DETECTORS
from matching import BEAT_CODES, match
from program import succeed
from scipy import stats

RECORDINGS = Path(__file__).resolve().parents[1] / "data" / "recordings"
FIVE = [one for one in DETECTORS if one.name != "wfdb xqrs"]
NOISE_MV = 0.6
PATIENTS, SECONDS = 24, 20


def plan(noise_mv):
    people = {
        "seed": 21,
        "groups": [
            {"weight": 4, "rhythm": "sinus", "draw": {"rate_bpm": {"normal": {"mean": 75, "sd": 10, "min": 55, "max": 100}}}},
            {"weight": 1, "rhythm": "atrial-premature", "draw": {"rate_bpm": {"uniform": [60, 90]}}},
        ],
        "draw": {
            "life": {"choice": [["resting", 1]]},
            "ecg.gain": {"log_normal": {"median": 1, "sigma": 0.15}},
            "ecg.axis_deg": {"normal": {"mean": 0, "sd": 15}},
            "artefact.electrode_mv": noise_mv,
        },
    }
    return {"version": 1, "duration_s": SECONDS, "channels": ["II"], "people": people}


def f_score(pieces, detector):
    """Twice the found beats over the beats of both sides, pooled over pieces of (lead, rate, beats)."""
    found = of_both = 0
    for lead, rate, beats in pieces:
        agreement = match(beats, detector.beats_s(lead, rate))
        found += 2 * len(agreement.pairs)
        of_both += 2 * len(agreement.pairs) + len(agreement.missed_s) + len(agreement.extra_s)
    return found / of_both


@pytest.fixture(scope="module")
def patients(tmp_path_factory):
    def make(noise_mv):
        folder = tmp_path_factory.mktemp("ranking")
        (folder / "plan.json").write_text(json.dumps(plan(noise_mv)), encoding="utf-8")
        succeed("cohort", folder / "plan.json", "-n", PATIENTS, "-o", folder / "c")
        beats = pd.read_csv(folder / "c" / "beats.csv")
        records = np.load(folder / "c" / "pack-1-of-1.npy")
        return [(record[0], 500, beats[beats.patient == n].time_s.to_numpy()) for n, record in enumerate(records)]

    return make


def person(noise_mv, folder):
    """Pieces of record 100, each with noise of its own: that of a heart that stands still."""
    record = wfdb.rdrecord(str(RECORDINGS / "100"))
    marks = wfdb.rdann(str(RECORDINGS / "100"), "atr")
    times = np.array([s for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]) / record.fs
    words = ("--rhythm", "asystole", "--set", f"artefact.electrode_mv={noise_mv}", "--frame-rate", record.fs, "--channels", "II")
    succeed("render", *words, "--duration", f"{PATIENTS * SECONDS}s", "--format", "raw", "--bits", "float", "-o", folder / "noise.raw")
    noise = np.fromfile(folder / "noise.raw", dtype=np.float32).reshape(PATIENTS, -1)
    assert noise.std() == pytest.approx(noise_mv, rel=0.1)
    for piece in range(PATIENTS):
        start = piece * 37.0
        frames = slice(int(start * record.fs), int((start + SECONDS) * record.fs))
        lead = record.p_signal[frames, 0]
        within = times[(times >= start) & (times < start + SECONDS)] - start
        yield lead + noise[piece], record.fs, within


def test_ranks_of_five_detectors_on_drawn_patients_and_on_a_person_agree_in_sign(patients, capsys, tmp_path):
    drawn, real = patients(NOISE_MV), list(person(NOISE_MV, tmp_path))
    clean = patients(0)[:12]
    scores = {one.name: (f_score(drawn, one), f_score(real, one), f_score(clean, one)) for one in FIVE}
    drawn_scores, real_scores, clean_scores = (np.array(column) for column in zip(*scores.values(), strict=True))
    rank = stats.spearmanr(drawn_scores, real_scores).statistic
    order = stats.kendalltau(drawn_scores, real_scores).statistic
    with capsys.disabled():
        print(f"\nfive detectors, {PATIENTS} patients and {PATIENTS} pieces of record 100, {SECONDS} s each, noise {NOISE_MV} mV RMS:")
        for name, (ours, theirs, without) in scores.items():
            print(f"  {name:28} F {100 * ours:6.2f} % on patients, {100 * theirs:6.2f} % on record 100; without noise {100 * without:6.2f} %")
        print(f"  rank correlation {rank:+.2f} (Spearman), {order:+.2f} (Kendall), n = {len(FIVE)} detectors")
    assert clean_scores.min() > 0.95, "beats at the edges of short pieces alone are lost"
    assert (drawn_scores < clean_scores - 0.01).all(), "the noise is heard"
    assert np.ptp(drawn_scores) > 0.02, "there is something to rank"
    assert rank > 0
