"""Patients drawn by seed and number: their distributions by scipy, their signals by NumPy, wfdb and a general detector."""

from __future__ import annotations

import hashlib
import io
import json
import time

import numpy as np
import pandas as pd
import pyarrow
import pyarrow.parquet
import pytest
import soundfile
import wfdb
from detectors import DETECTORS
from matching import BEAT_CODES, match
from program import PROGRAM, assert_refused, files_below, measure_each, run, start, succeed
from scipy import signal, stats
from test_noise_ratio import noise_power, signal_power

DRAW = {
    "person.age_years": {"uniform": [18, 90]},
    "ecg.axis_deg": {"normal": {"mean": 20, "sd": 40, "min": -60, "max": 50}},
    "ecg.qtc_ms": {"normal": {"mean": 405, "sd": 20}},
    "ecg.gain": {"log_normal": {"median": 1, "sigma": 0.3, "max": 1.6}},
    "arterial.systolic_mmhg": {"normal": {"mean": 122, "sd": 12, "follows": {"person.age_years": {"slope": 0.4, "from": 50}}}},
    "arterial.diastolic_mmhg": {"normal": {"mean": 76, "sd": 8}},
    "artefact.mains_mv": {"choice": [[0, 3], [0.05, 1]]},
}
PEOPLE = {
    "seed": 7,
    "groups": [
        {"name": "sinus", "weight": 3, "rhythm": "sinus", "draw": {"rate_bpm": {"normal": {"mean": 72, "sd": 9, "min": 55, "max": 95}}}},
        {"name": "fibrillation", "rhythm": "atrial-fibrillation"},
    ],
    "draw": DRAW,
    "correlation": [
        {
            "of": ["arterial.systolic_mmhg", "arterial.diastolic_mmhg", "ecg.qtc_ms"],
            "matrix": [[1, 0.7, 0], [0.7, 1, -0.4], [0, -0.4, 1]],
        }
    ],
}
PLAN = {"version": 1, "duration_s": 10, "channels": ["II", "V5", "arterial"], "people": PEOPLE}


@pytest.fixture
def write_plan(tmp_path):
    def write(name="people.json", **changes):
        path = tmp_path / name
        path.write_text(json.dumps({**PLAN, **changes}), encoding="utf-8")
        return path

    return write


def index(plan, patients):
    return pd.read_csv(io.BytesIO(succeed("cohort", plan, "-n", patients, "--list").stdout))


def packed(folder):
    """Every record of a cohort, in the order of the patients."""
    names = sorted(folder.glob("pack-*.npy"))
    return np.concatenate([np.load(name, mmap_mode="r") for name in names])


def test_drawn_values_have_their_distributions(write_plan):
    drawn = index(write_plan(), 8000)
    assert list(drawn.patient) == list(range(8000))
    assert drawn.seed.is_unique
    n = len(drawn)
    # Conditions on the drawn pressures exclude a few patients, who are drawn again; the other columns hardly feel it.
    assert (drawn.redraws > 0).mean() < 0.01
    log_sigma, top = 0.3, np.log(1.6)
    expected = {
        "person.age_years": stats.uniform(18, 72),
        "ecg.axis_deg": stats.truncnorm(-2, 0.75, 20, 40),
        "ecg.qtc_ms": stats.norm(405, 20),
        "arterial.diastolic_mmhg": stats.norm(76, 8),
    }
    for name, distribution in expected.items():
        assert stats.kstest(drawn[name], distribution.cdf).pvalue > 1e-4, name
    assert stats.kstest(np.log(drawn["ecg.gain"]), stats.truncnorm(-np.inf, top / log_sigma, 0, log_sigma).cdf).pvalue > 1e-4
    in_sinus = drawn[drawn.group == "sinus"]
    assert stats.kstest(in_sinus.rate_bpm, stats.truncnorm(-17 / 9, 23 / 9, 72, 9).cdf).pvalue > 1e-4
    assert drawn[drawn.group != "sinus"].rate_bpm.isna().all()
    for count, share in [(len(in_sinus), 0.75), ((drawn["artefact.mains_mv"] == 0).sum(), 0.75)]:
        assert stats.binomtest(int(count), n, share).pvalue > 1e-4
    rest = drawn["arterial.systolic_mmhg"] - 122 - 0.4 * (drawn["person.age_years"] - 50)
    assert stats.kstest(rest, stats.norm(0, 12).cdf).pvalue > 1e-4
    for one, other, r in [(rest, drawn["arterial.diastolic_mmhg"], 0.7), (drawn["arterial.diastolic_mmhg"], drawn["ecg.qtc_ms"], -0.4), (rest, drawn["ecg.qtc_ms"], 0)]:
        found = stats.pearsonr(one, other).confidence_interval(0.9999)
        assert found.low < r < found.high
    # Variables without a matrix are independent.
    assert abs(stats.spearmanr(drawn["person.age_years"], drawn["ecg.gain"]).statistic) < 4 / np.sqrt(n)


def chacha8(key: bytes, stream: int) -> int:
    """The first 64 bits of ChaCha with 8 rounds (D. J. Bernstein, "ChaCha, a variant of Salsa20", 2008), block 0."""
    words = [int.from_bytes(key[at : at + 4], "little") for at in range(0, 32, 4)]
    start = [0x61707865, 0x3320646E, 0x79622D32, 0x6B206574, *words, 0, 0, stream & 0xFFFFFFFF, stream >> 32]
    state = list(start)

    def add_and_turn(a, b, d, turn):
        state[a] = (state[a] + state[b]) & 0xFFFFFFFF
        turned = state[d] ^ state[a]
        state[d] = ((turned << turn) | (turned >> (32 - turn))) & 0xFFFFFFFF

    def quarter(a, b, c, d):
        add_and_turn(a, b, d, 16)
        add_and_turn(c, d, b, 12)
        add_and_turn(a, b, d, 8)
        add_and_turn(c, d, b, 7)

    for _ in range(4):
        for place in range(4):
            quarter(place, 4 + place, 8 + place, 12 + place)
        for place in range(4):
            quarter(place, 4 + (place + 1) % 4, 8 + (place + 2) % 4, 12 + (place + 3) % 4)
    low, high = [(state[at] + start[at]) & 0xFFFFFFFF for at in (0, 1)]
    return low | high << 32


def test_draws_are_those_of_the_published_generator(write_plan):
    """Each value from SHA-256, ChaCha and scipy: the key of a name, the stream of a patient, the inverse of the distribution."""
    drawn = index(write_plan(), 40)
    drawn = drawn[drawn.redraws == 0]

    def share(name, patient):
        key = hashlib.sha256(b"pulsewright patient 1\0" + (7).to_bytes(8, "little") + name.encode()).digest()
        return ((chacha8(key, patient) >> 12) + 0.5) / 2**52

    for row in drawn.to_dict("records"):
        n = row["patient"]
        assert row["person.age_years"] == pytest.approx(18 + 72 * share("person.age_years", n), rel=1e-6)
        bell = stats.truncnorm(-2, 0.75, 20, 40)
        assert row["ecg.axis_deg"] == pytest.approx(bell.ppf(share("ecg.axis_deg", n)), rel=1e-5, abs=1e-4)
        assert (row["group"] == "sinus") == (share("group", n) < 0.75)
        score = stats.norm.ppf([share(name, n) for name in PEOPLE["correlation"][0]["of"]])
        score = np.linalg.cholesky(PEOPLE["correlation"][0]["matrix"]) @ score
        assert row["arterial.diastolic_mmhg"] == pytest.approx(76 + 8 * score[1], rel=1e-5)
        assert row["ecg.qtc_ms"] == pytest.approx(405 + 20 * score[2], rel=1e-5)


def test_packs_change_no_bit_and_a_patient_alone_is_the_same(write_plan, tmp_path):
    plan = write_plan()
    for packs in (1, 2, 7):
        succeed("cohort", plan, "-n", 23, "-o", tmp_path / f"in-{packs}", "--packs", packs)
    whole = packed(tmp_path / "in-1")
    assert whole.shape == (23, 3, 5000) and whole.dtype == np.float32
    assert np.isfinite(whole).all() and np.ptp(whole[:, 0], axis=1).min() > 0.1
    for packs in (2, 7):
        assert np.array_equal(packed(tmp_path / f"in-{packs}").view(np.uint32), whole.view(np.uint32))
        assert (tmp_path / f"in-{packs}" / "beats.csv").read_bytes() == (tmp_path / "in-1" / "beats.csv").read_bytes()
    # The last patient by itself, and among more patients.
    succeed("cohort", plan, "-n", 23, "-o", tmp_path / "alone", "--shard", "23/23")
    alone = np.load(tmp_path / "alone" / "pack-23-of-23.npy")
    assert np.array_equal(alone[0].view(np.uint32), whole[22].view(np.uint32))
    assert len({record.tobytes() for record in whole}) == 23
    table = pd.read_csv(tmp_path / "in-7" / "patients.csv")
    assert list(table.columns) == list(index(plan, 23).columns)
    for row in table.itertuples():
        assert np.array_equal(np.load(tmp_path / "in-7" / row.pack)[row.row], whole[row.patient])
    manifest = json.loads((tmp_path / "in-1" / "pack-1-of-1.manifest.json").read_text())
    digest = hashlib.sha256((tmp_path / "in-1" / "pack-1-of-1.npy").read_bytes()).hexdigest()
    assert manifest["files"][0]["sha256"] == digest


def test_parquet_has_the_values_of_the_arrays(write_plan, tmp_path):
    """Read by pyarrow and pandas: each sample bit for bit, the index as in CSV, the same rows in any packs."""
    people = {**PEOPLE, "groups": [*PEOPLE["groups"], {"name": "silent, \u2665", "rhythm": "asystole"}]}
    plan = write_plan(channels=["leads", "arterial"], people=people)
    succeed("cohort", plan, "-n", 41, "-o", tmp_path / "npy", "--packs", 1)
    whole = packed(tmp_path / "npy")
    for packs in (1, 2, 7):
        folder = tmp_path / f"in-{packs}"
        succeed("cohort", plan, "-n", 41, "-o", folder, "--packs", packs, "--format", "parquet")
        names = sorted(path.name for path in folder.glob("pack-*.parquet"))
        tables = [pyarrow.parquet.read_table(folder / name) for name in names]
        assert len(tables) == packs
        table = pyarrow.concat_tables(tables)
        assert table.column_names == ["patient", "frame", "I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6", "arterial"]
        assert np.array_equal(table["patient"].to_numpy(), np.repeat(np.arange(41), 5000))
        assert np.array_equal(table["frame"].to_numpy(), np.tile(np.arange(5000), 41))
        for number, name in enumerate(table.column_names[2:]):
            column = table[name].to_numpy().reshape(41, 5000)
            assert column.dtype == np.float32
            assert np.array_equal(column.view(np.uint32), whole[:, number].view(np.uint32)), name
        assert (folder / "beats.csv").read_bytes() == (tmp_path / "npy" / "beats.csv").read_bytes()
        read, drawn = pd.read_parquet(folder / "patients.parquet"), index(plan, 41)
        assert list(read.columns) == list(drawn.columns)
        for name in drawn.columns.drop(["pack", "row"]):
            # A column of numbers that are whole has no point in CSV.
            there = drawn[name].astype(np.float32) if read[name].dtype == np.float32 else drawn[name]
            pd.testing.assert_series_equal(read[name], there, check_exact=True)
        assert read.seed.dtype == np.uint64 and read["rate_bpm"].isna().any()
        for row in read.itertuples():
            place = pyarrow.parquet.read_table(folder / row.pack, filters=[("patient", "==", row.patient)], columns=["frame", "V5"])
            assert np.array_equal(place["V5"].to_numpy(), whole[row.patient, 10])
            assert tables[names.index(row.pack)]["patient"][5000 * row.row].as_py() == row.patient
    file = pyarrow.parquet.ParquetFile(tmp_path / "in-1" / "pack-1-of-1.parquet")
    about = {key.decode(): value.decode() for key, value in file.metadata.metadata.items()}
    assert (about["frame_rate_hz"], about["frames"]) == ("500", "5000")
    assert json.loads(about["units"]) == {name: "mV" for name in table.column_names[2:-1]} | {"arterial": "mmHg"}
    assert json.loads(about["plan"]) == json.loads(plan.read_text())
    assert file.metadata.created_by.startswith("pulsewright ")
    groups = [file.metadata.row_group(number).column(0).statistics for number in range(file.num_row_groups)]
    assert len(groups) > 2 and [group.min for group in groups[1:]] == [group.max + 1 for group in groups[:-1]]
    manifest = json.loads((tmp_path / "in-1" / "pack-1-of-1.manifest.json").read_text())
    assert manifest["files"][0]["sha256"] == hashlib.sha256((tmp_path / "in-1" / "pack-1-of-1.parquet").read_bytes()).hexdigest()
    assert b"everything was there" in succeed("cohort", plan, "-n", 41, "-o", tmp_path / "in-7", "--packs", 7, "--format", "parquet").stdout


def test_groups_of_channels_stand_for_their_channels(write_plan, tmp_path):
    leads = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6"]
    for name, channels in (("group", ["arterial", "LEADS"]), ("each", ["arterial", *leads])):
        succeed("cohort", write_plan(channels=channels, duration_s=2), "-n", 2, "-o", tmp_path / name)
    assert np.array_equal(packed(tmp_path / "group"), packed(tmp_path / "each"))
    refused = run("cohort", write_plan(channels=["leads", "V2"]), "-n", 2, "-o", tmp_path / "twice")
    assert_refused(refused, "channels[1]: V2 is named twice")


def test_samples_have_what_the_index_says(write_plan, tmp_path):
    """Rate and pressures are measured from the samples; beats are found by a general detector."""
    plan = write_plan(people={**PEOPLE, "groups": PEOPLE["groups"][:1], "draw": {k: v for k, v in DRAW.items() if "mains" not in k}})
    succeed("cohort", plan, "-n", 40, "-o", tmp_path / "c")
    drawn, records = pd.read_csv(tmp_path / "c" / "patients.csv"), packed(tmp_path / "c")
    beats = pd.read_csv(tmp_path / "c" / "beats.csv")
    [detector] = [one for one in DETECTORS if one.name == "sleepecg"]
    for row, record in zip(drawn.itertuples(), records, strict=True):
        truth = beats[beats.patient == row.patient].time_s.to_numpy()
        heard = detector.beats_s(record[0] / np.ptp(record[0]), 500)
        agreement = match(truth[1:-1], heard[(heard > truth[1] - 0.1) & (heard < truth[-2] + 0.1)])
        assert not len(agreement.missed_s) and not len(agreement.extra_s), row.patient
        assert 60 / np.diff(heard[1:-1]).mean() == pytest.approx(row.rate_bpm, rel=0.08)
        pressure = record[2]
        peaks, _ = signal.find_peaks(pressure, distance=int(0.4 * 500), prominence=15)
        assert np.median(pressure[peaks]) == pytest.approx(getattr(row, "_" + str(drawn.columns.get_loc("arterial.systolic_mmhg") + 1)), abs=6)


def test_a_drawn_ratio_is_that_of_the_samples(write_plan, tmp_path):
    """The noise of a patient is the difference from the same patient without it, as a draw changes no other."""
    draw = {"ecg.gain": {"uniform": [0.5, 1.5]}}
    ratio = {"artefact.electrode_snr_db": {"uniform": [-6, 18]}}
    groups = [{"rhythm": "sinus", "draw": {"rate_bpm": {"uniform": [60, 90]}}}]
    for name, drawn in (("clean", draw), ("loud", {**draw, **ratio})):
        plan = write_plan(duration_s=300, channels=["II"], people={"seed": 7, "groups": groups, "draw": drawn})
        succeed("cohort", plan, "-n", 4, "-o", tmp_path / name)
    asked = pd.read_csv(tmp_path / "loud" / "patients.csv")["artefact.electrode_snr_db"]
    assert np.ptp(asked) > 3
    for db, clean, loud in zip(asked, packed(tmp_path / "clean")[:, 0], packed(tmp_path / "loud")[:, 0], strict=True):
        clean, loud = clean.astype(float), loud.astype(float)
        measured = 10 * np.log10(signal_power(clean) / noise_power(loud - clean))
        assert abs(measured - db) < 0.2, (db, measured)


def test_wfdb_records_hold_the_same_signals(write_plan, tmp_path):
    plan = write_plan()
    succeed("cohort", plan, "-n", 3, "-o", tmp_path / "npy")
    succeed("cohort", plan, "-n", 3, "-o", tmp_path / "wfdb", "--format", "wfdb")
    beats = pd.read_csv(tmp_path / "wfdb" / "beats.csv")
    for patient, record in enumerate(packed(tmp_path / "npy")):
        name = str(tmp_path / "wfdb" / "records" / str(patient))
        read = wfdb.rdrecord(name)
        assert read.sig_name[:2] == ["II", "V5"] and read.fs == 500
        step = [0.001, 0.001, 0.01]
        assert (np.abs(read.p_signal.T - record).max(axis=1) <= np.array(step) * 0.51).all()
        marks = wfdb.rdann(name, "atr")
        frames = [s for s, code in zip(marks.sample, marks.symbol, strict=True) if code in BEAT_CODES]
        assert frames == list(beats[beats.patient == patient].frame)


def test_a_killed_run_goes_on_and_nothing_is_made_twice(write_plan, tmp_path):
    plan = write_plan(duration_s=60)
    words = ("cohort", plan, "-n", 300, "-o", tmp_path / "killed", "--packs", 30, "--jobs", 2)
    process = start(*words)
    while len(list((tmp_path / "killed").glob("pack-*.npy"))) < 5:
        assert process.poll() is None, "it ended before it was killed"
        time.sleep(0.002)
    process.kill()
    process.wait()
    done = {path.name: path.stat().st_mtime_ns for path in (tmp_path / "killed").glob("pack-*.npy")}
    assert 5 <= len(done) < 30
    succeed(*words)
    after = {path.name: path.stat().st_mtime_ns for path in (tmp_path / "killed").glob("pack-*.npy")}
    # Of each job's last pack the names may have been given and taken back.
    assert sum(after[name] == time_ns for name, time_ns in done.items()) >= len(done) - 2
    left = [path.name for path in (tmp_path / "killed").iterdir() if path.name.startswith(".")]
    assert len(after) == 30 and not left
    before = files_below(tmp_path / "killed")
    assert b"everything was there" in succeed(*words).stdout
    assert files_below(tmp_path / "killed") == before


def test_memory_stays_flat(write_plan, tmp_path):
    """The peak of a child that makes ten times as many patients: within 4 MB."""

    def peak_bytes(patients):
        words = [str(PROGRAM), "cohort", str(write_plan()), "-n", str(patients), "-o", str(tmp_path / str(patients)), "--jobs", "1"]
        ((code, _, size),) = measure_each([{"words": words, "folder": str(tmp_path)}])
        assert code == 0, (tmp_path / "stderr").read_text()
        return size

    small, large = peak_bytes(100), peak_bytes(1000)
    assert large < small + 4_096_000, (small, large)


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("-n", "5", "-o", "c", "--packs", "6"), ("6 packs for 5 patients",)),
        (("-n", "0", "-o", "c"), ("a whole number from 1 to",)),
        (("-n", "5"), ("--output",)),
        (("-n", "5", "-o", "c", "--shard", "8/7"), ("a shard is part/parts",)),
    ],
)
def test_bad_requests_are_refused(write_plan, tmp_path, flags, words):
    assert_refused(run("cohort", write_plan(), *flags, cwd=tmp_path), *words)


def test_bad_plans_and_foreign_folders_are_refused(write_plan, tmp_path):
    def refused(*words, **changes):
        assert_refused(run("cohort", write_plan(**changes), "-n", 5, "-o", tmp_path / "c"), *words)

    refused("people.groups[0].rhythm: there is no rhythm 'sinsu'", people={"groups": [{"rhythm": "sinsu"}]})
    refused("people.groups[0].draw.ecg.gain", "allowed 0.05 to 5", people={"groups": [{"rhythm": "sinus", "draw": {"ecg.gain": {"uniform": [0, 9]}}}]})
    refused("unknown variant `gauss`", people={"groups": [{"rhythm": "sinus", "draw": {"ecg.gain": {"gauss": 1}}}]})
    refused("channels[0]", channels=["Z9"])
    refused("duration", duration_s=-3)
    refused("version is 2", version=2)
    assert not (tmp_path / "c").exists()
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "precious").touch()
    refused("is not empty and holds no cohort")
    (tmp_path / "c" / "precious").unlink()
    succeed("cohort", write_plan(), "-n", 5, "-o", tmp_path / "c")
    refused("another plan", duration_s=5)
    assert_refused(run("cohort", write_plan(), "-n", 6, "-o", tmp_path / "c"), "another number of patients")


def test_drawn_patients_go_through_a_suite(write_plan, tmp_path):
    """The block of people has the signals of the cohort; its groups are dimensions of the report."""
    suite = {
        "version": 1,
        "duration_s": 10,
        "channels": PLAN["channels"],
        "signal": "wav",
        "score": {"learning_s": 0},
        "blocks": [{"people": PEOPLE, "patients": {"from": 2, "count": 4}}],
    }
    (tmp_path / "suite.json").write_text(json.dumps(suite), encoding="utf-8")
    succeed("cohort", write_plan(), "-n", 6, "-o", tmp_path / "c")
    listed = succeed("suite", tmp_path / "suite.json", "--list").stdout.decode().split()
    assert [name[:5] for name in listed] == ["0001-", "0002-", "0003-", "0004-"]
    assert all(f"-patient{n}-500hz" in name for n, name in enumerate(listed, 2))
    words = ("-o", tmp_path / "out", "--keep-signals", "--format", "json", "--", "echo", "time_s")
    succeed("suite", tmp_path / "suite.json", *words)
    for number, name in enumerate(listed, 2):
        samples, _ = soundfile.read(tmp_path / "out" / "signals" / f"{name}.wav", dtype="float32")
        assert np.array_equal(samples.T, packed(tmp_path / "c")[number])
