"""Scripts as records of a suite, and noise of recordings beside its records: the signals are those of `render`, the figures those of
`score`, runs resume and join. Noise is invented."""

from __future__ import annotations

import json
import re
import shutil

import numpy as np
import pytest
import wfdb
from program import ROOT, succeed
from scipy import signal as dsp
from scipy.io import wavfile
from test_noise_ratio import noise_power, signal_power

RECORDINGS = ROOT / "tests" / "data" / "recordings"
SCRIPTS = {
    "series": {"steps": [{"duration_s": 12, "series": {"rr_s": [0.8, 0.7, 0.45, 1.2], "codes": "NNVN"}}, {"duration_s": 6, "life": "lively"}]},
    "recorded": {"steps": [{"duration_s": 3}, {"duration_s": 20, "recording": {"file": "100.hea", "start_s": 30}}]},
    "own": {
        "bodies": {"tall": {"version": 1, "extends": "adult", "resting_bpm": 55}},
        "rhythms": {"fast": {"version": 1, "extends": "ventricular-bigeminy"}},
        "steps": [{"duration_s": 15, "body": "tall", "rhythm": "fast"}],
    },
    "night/noisy": {"steps": [{"duration_s": 10, "rate_bpm": 90}, {"repeat": 2, "steps": [{"duration_s": 5, "noise": {"file": "hum.csv", "snr_db": 0}}, {"duration_s": 4}]}]},
}
NOISE_HZ = 200


@pytest.fixture
def plan(tmp_path, write_plan):
    """Scripts with the files that they name, and noise beside the plan."""
    rng = np.random.default_rng(8)
    (tmp_path / "night").mkdir()
    for name, script in SCRIPTS.items():
        (tmp_path / f"{name}.json").write_text(json.dumps({"version": 1, "notes": "Invented data.", "seed": 11, **script}))
    for ending in ("atr", "dat", "hea"):
        shutil.copy(RECORDINGS / f"100.{ending}", tmp_path)
    band = dsp.butter(2, (1, 12), "bandpass", fs=NOISE_HZ, output="sos")
    noise = dsp.sosfiltfilt(band, rng.normal(size=(40 * NOISE_HZ, 2)), axis=0)
    wfdb.wrsamp("cable", fs=NOISE_HZ, units=["mV"] * 2, sig_name=["a", "b"], p_signal=noise, fmt=["16"] * 2, write_dir=str(tmp_path))
    rows = np.column_stack([np.arange(len(noise)) / NOISE_HZ, noise[:, 0]])
    np.savetxt(tmp_path / "night" / "hum.csv", rows, delimiter=",", header="time_s,a", comments="", fmt="%.5f")
    return write_plan


ALL = {"scripts": [f"{name}.json" for name in SCRIPTS], "frame_rate_hz": [250]}


def test_a_script_has_the_samples_of_its_render_and_the_figures_of_score(suite, plan, slope_detector, tmp_path):
    done = suite(plan([ALL]), "-o", "out", "--keep-signals", "--format", "json", command=[slope_detector])
    assert done.returncode == 0, done.stderr
    records = {one["record"]: one["detection"] for one in json.loads(done.stdout)["score"]["records"]}
    assert len(records) == 4
    for name in SCRIPTS:
        stem = name.rsplit("/", 1)[-1]
        record = next(one for one in records if f"-script-{stem}-250hz-seed11" in one)
        kept, alone = tmp_path / "out" / "signals" / f"{record}.csv", tmp_path / "alone.csv"
        succeed("render", tmp_path / f"{name}.json", "-o", alone, "--channels", "II", "--frame-rate", 250, "--bits", 16, "--force")
        rows = lambda path: [line for line in path.read_text().splitlines() if not line.startswith("#")]
        assert rows(kept) == rows(alone) and len(rows(kept)) > 3000
        answer = next((tmp_path / "out" / "answers").glob(f"{record}.*"))
        scored = succeed("score", tmp_path / "alone.beats.csv", answer, "--format", "json", "--learning-s", 0)
        assert json.loads(scored.stdout)["records"][0]["detection"] == records[record]


def test_runs_resume_join_and_notice_another_file(suite, plan, slope_detector, tmp_path):
    seeds = {**ALL, "seed": [1, 2, 3], "scripts": ["series.json", "night/noisy.json"]}
    path = plan([seeds])
    whole = suite(path, "-o", "whole", "--format", "json", command=[slope_detector])
    assert whole.returncode == 0, whole.stderr
    for shard in ("1/2", "2/2"):
        part = suite(path, "-o", f"part{shard[0]}", "--shard", shard, command=[slope_detector])
        assert part.returncode == 0, part.stderr
    joined = suite(path, "-o", "joined", "--merge", "part1", "--merge", "part2", "--format", "json")
    assert joined.returncode == 0, joined.stderr
    assert json.loads(joined.stdout)["score"] == json.loads(whole.stdout)["score"]
    # What is missing is done again, and nothing else.
    answers = sorted((tmp_path / "whole" / "answers").iterdir())
    before = {one.name: one.read_bytes() for one in answers}
    answers[0].unlink()
    stamps = {one.name: one.stat().st_mtime_ns for one in answers[1:]}
    again = suite(path, "-o", "whole", "--format", "json", command=[slope_detector])
    assert json.loads(again.stdout)["score"] == json.loads(whole.stdout)["score"]
    assert {one.name: one.read_bytes() for one in (tmp_path / "whole" / "answers").iterdir()} == before
    assert all((tmp_path / "whole" / "answers" / name).stat().st_mtime_ns == stamp for name, stamp in stamps.items())
    hum = tmp_path / "night" / "hum.csv"
    hum.write_text(re.sub(r"\n0.00500,\S+", "\n0.00500,0.5", hum.read_text()))
    other = suite(path, "-o", "whole", command=[slope_detector])
    assert other.returncode == 2 and "answers of another plan" in other.stderr


def test_noise_is_an_axis_of_ratios(suite, plan, tmp_path):
    keep = tmp_path / "keep.py"
    keep.write_text("import shutil, sys\nshutil.copy(sys.argv[1], sys.argv[3] + sys.argv[4] + '.wav')\nopen(sys.argv[2], 'w').write('time_s\\n1\\n')\n")
    (tmp_path / "signals").mkdir()
    noise = {"file": ["cable.hea"], "snr_db": [12, 0]}
    blocks = [{"rhythm": ["sinus"], "frame_rate_hz": [500]}, {"rhythm": ["sinus", "asystole"], "frame_rate_hz": [500], "noise": noise}, {"scripts": ["night/noisy.json"], "noise": noise}]
    path = plan(blocks, duration_s=40, signal="wav")
    done = suite(path, "-o", "out", "--format", "json", command=["python3", keep, "{signal}", "{beats-out}", tmp_path / "signals", "/{record}"])
    assert done.returncode == 0 and "2 combinations" in done.stderr, done.stderr
    names = sorted(one.name for one in (tmp_path / "signals").iterdir())
    assert names == [
        "0001-sinus-adult-500hz-seed0.wav",
        "0002-sinus-adult-noise=cable-snr_db=12-500hz-seed0.wav",
        "0003-sinus-adult-noise=cable-snr_db=0-500hz-seed0.wav",
        "0004-script-noisy-noise=cable-snr_db=12-500hz-seed11.wav",
        "0005-script-noisy-noise=cable-snr_db=0-500hz-seed11.wav",
    ]
    signals = [np.asarray(wavfile.read(tmp_path / "signals" / name)[1], dtype=float) for name in names]
    clean, *loud = signals[:3]
    for db, lead in zip((12, 0), loud, strict=True):
        measured = 10 * np.log10(signal_power(clean) / noise_power(lead - clean))
        assert abs(measured - db) < 0.2, (db, measured)
    # The script's own noise stays: 10 s after the start both have that of the script, before it that of the plan.
    strong, weak = signals[4], signals[3]
    assert np.abs(strong - weak)[: 10 * 500].std() > 0.02
    assert np.abs(strong - weak)[int(10.6 * 500) : 15 * 500].max() == 0
    text = suite(path, "-o", "out", command=["python3", keep, "{signal}", "{beats-out}", tmp_path / "signals", "/{record}"]).stdout
    assert "noise.snr_db" in text and "cable" in text


def test_files_of_one_name_in_two_folders_are_two(suite, plan, slope_detector, tmp_path):
    (tmp_path / "ward").mkdir()
    for name in ("series.json", "cable.hea", "cable.dat"):
        shutil.copy(tmp_path / name, tmp_path / "ward")
    noise = {"file": ["cable.hea", "ward/cable.hea"], "snr_db": [6]}
    blocks = [{"scripts": ["series.json", "ward/series.json"]}, {"rhythm": ["sinus"], "noise": noise}]
    done = suite(plan(blocks, duration_s=20), "-o", "out", "--format", "json", command=[slope_detector])
    assert done.returncode == 0, done.stderr
    groups = {(one["dimension"], one["value"]): one["records"] for one in json.loads(done.stdout)["groups"]}
    for dimension, file in (("script", "series.json"), ("noise", "cable.hea")):
        assert groups[dimension, file] == groups[dimension, f"ward/{file}"] == 1, groups


def test_scripts_that_can_be_no_records_are_refused(suite, plan, tmp_path):
    def refused(block, words, **more):
        done = suite(plan([block], **more), "--list")
        assert done.returncode == 2 and words in done.stderr, done.stderr

    (tmp_path / "hold.json").write_text('{"version": 1, "steps": [{"duration_s": "hold"}]}')
    (tmp_path / "wrong.json").write_text('{"version": 1, "steps": [{"duration_s": 9,\n "rhythm": "sinsu"}]}')
    refused({"scripts": ["nix.json"]}, "nix.json")
    refused({"scripts": ["../x.json"]}, "no file below the folder of the plan")
    refused({"scripts": ["hold.json"]}, "a step holds")
    refused({"scripts": ["wrong.json"]}, 'line 2, column 12: unknown rhythm "sinsu"')
    refused({"scripts": ["own.json"], "set": {"ecg.gain": [2]}}, "frame_rate_hz, seed and noise alone")
    refused({"scripts": ["series.json"]}, "learning period", duration_s=60, score={"learning_s": 30})
    refused({"scripts": ["own.json"], "noise": {"file": ["nix.hea"], "snr_db": [3]}}, "noise.file")
    # Places are those of the plan: the text of a record with noise is not the user's.
    still = {"rhythm": ["asystole"], "noise": {"file": ["cable.hea"], "snr_db": [3]}}
    refused({"rhythm": ["sinus"], "noise": {"file": ["cable.hea"], "snr_db": [300]}}, "sinus, adult: noise of cable.hea at 300 dB: snr_db can't be 300")
    refused(still, "asystole, adult: noise of cable.hea at 3 dB: no beats in lead II")
    short = {"file": ["night/hum.csv"], "snr_db": [3], "loop": "none", "end_s": 11}
    refused({"scripts": ["series.json"], "noise": short}, "series.json: noise of night/hum.csv at 3 dB: steps[0]: the step is longer than the 11.000 s that are left of night/hum.csv")
