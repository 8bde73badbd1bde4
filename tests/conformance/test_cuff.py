"""A cuff measurement is read back by an oscillometric estimator, and inflates, leaks and vents as the script says."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from oscillometry import read_cuff, readings
from program import rendered
from reading import read_csv, read_truth, read_wav
from scipy.signal import find_peaks

FRAME_RATE_HZ = 250
CHANNELS = "arterial,cuff,cuff-oscillation"
READING_MMHG = 3.0


def measurement(folder, *steps: dict, extension: str = "wav", **options):
    """Renders; gives the target, the cuff's pressure and its oscillation."""
    script = scripts.write(folder / "cuff.json", *steps)
    options = {"frame_rate_hz": FRAME_RATE_HZ, "channels": CHANNELS, **options}
    target = rendered(script, folder / f"cuff.{extension}", **options)
    if extension == "csv":
        _, values, _ = read_csv(target)
        return target, values["cuff"], values["cuff-oscillation"]
    recording = read_wav(target)
    return target, recording.values("cuff"), recording.values("cuff-oscillation")


def phases_of(target) -> list[dict]:
    """The truth about the cuff, without the reading."""
    return [row for row in read_truth(target, "cuff") if row["phase"] != "reading"]


def reading_of(target) -> dict[str, float]:
    """The reading that the truth gives, of which there is one."""
    (row,) = (row for row in read_truth(target, "cuff") if row["phase"] == "reading")
    return {name: float(value) for name, value in row.items() if name.endswith("mmhg") and value}


PATIENTS = [
    # body, rate bpm, systolic, diastolic mmHg
    ("adult", 75, 60, 30),
    ("adult", 110, 80, 50),
    ("adult", 60, 120, 80),
    ("adult", 72, 145, 60),
    ("adult", 100, 160, 100),
    ("adult", 80, 200, 150),
    ("child", 95, 104, 62),
    ("neonate", 130, 60, 30),
    ("neonate", 150, 80, 50),
    ("neonate", 120, 95, 65),
]
DEFLATIONS = [
    # mmHg/s, step mmHg: lines of 2 to 3 mmHg/s, steps of 5 to 8 mmHg (Liu 2014; common practice)
    (2, 0),
    (3, 0),
    (4, 8),
    (2.5, 5),
]


@pytest.mark.parametrize(("deflation", "step"), DEFLATIONS)
@pytest.mark.parametrize(("body", "rate", "high", "low"), PATIENTS)
def test_an_estimator_reads_what_the_script_sets(tmp_path, body, rate, high, low, deflation, step):
    top = high + 40
    cuff = {"inflate_mmhg": top, "deflation_mmhg_per_s": deflation, "step_mmhg": step, "vent_mmhg": 10}
    patient = {"body": body, "rate_bpm": rate, "arterial": {"systolic_mmhg": high, "diastolic_mmhg": low}}
    steps = scripts.step(2, **patient), scripts.step((top - 10) / deflation + 20, cuff=cuff)
    target, pressure, _ = measurement(tmp_path, *steps)
    reading = read_cuff(pressure, FRAME_RATE_HZ, 0.5, 0.8)
    assert reading.systolic_mmhg == pytest.approx(high, abs=READING_MMHG)
    assert reading.diastolic_mmhg == pytest.approx(low, abs=READING_MMHG)
    assert [row["phase"] for row in read_truth(target, "cuff")] == ["inflating", "deflating", "reading", "vented"]
    given = reading_of(target)
    assert (given["systolic_mmhg"], given["diastolic_mmhg"]) == pytest.approx((high, low), abs=0.05)
    assert reading.mean_mmhg == pytest.approx(given["mean_mmhg"], abs=READING_MMHG)
    # The mean of the reading is the arterial channel's own.
    arterial = read_wav(target).values("arterial")
    whole = round(60 / rate * FRAME_RATE_HZ * 40)
    assert arterial[-whole:].mean() == pytest.approx(given["mean_mmhg"], abs=0.3)
    assert all(row["systolic_mmhg"] == "" for row in phases_of(target))


@pytest.mark.parametrize(("systolic_percent", "diastolic_percent"), [(55, 82), (50, 70), (44, 85)])
def test_other_ratios(tmp_path, systolic_percent, diastolic_percent):
    """An algorithm with ratios of its own is served by the same ratios; with others it reads something else."""
    ratios = {"systolic_percent": systolic_percent, "diastolic_percent": diastolic_percent}
    cuff = {"inflate_mmhg": 165, "deflation_mmhg_per_s": 3, "vent_mmhg": 10, **ratios}
    _, pressure, _ = measurement(tmp_path, scripts.step(75, rate_bpm=72, cuff=cuff))
    reading = read_cuff(pressure, FRAME_RATE_HZ, systolic_percent / 100, diastolic_percent / 100)
    assert reading.systolic_mmhg == pytest.approx(120, abs=READING_MMHG)
    assert reading.diastolic_mmhg == pytest.approx(80, abs=READING_MMHG)
    other = read_cuff(pressure, FRAME_RATE_HZ, systolic_percent / 100 + 0.25, diastolic_percent / 100)
    assert other.systolic_mmhg < 120 - READING_MMHG


def test_the_envelope_is_as_published(tmp_path):
    """Largest 3.0 +- 0.8 mmHg; 57 +- 11 mmHg wide at half of it, 89 +- 12 at 30 %; normotensive adults, deflating (Liu 2014)."""
    cuff = {"inflate_mmhg": 180, "deflation_mmhg_per_s": 2.5, "vent_mmhg": 10}
    _, pressure, oscillation = measurement(tmp_path, scripts.step(90, rate_bpm=72, cuff=cuff))
    height = np.array([oscillation[i : i + 210].max() for i in range(1500, len(oscillation) - 2500, 210)])
    under = np.array([pressure[i] for i in range(1500, len(oscillation) - 2500, 210)])
    assert height.max() == pytest.approx(3.0, abs=0.8)
    for share, width, spread in ((0.5, 57, 11), (0.3, 89, 12)):
        assert np.ptp(under[height >= share * height.max()]) == pytest.approx(width, abs=spread), share


@pytest.mark.parametrize("start", [250, 150, 50])
@pytest.mark.parametrize("leak", [2, 6, 30])
def test_a_leak_is_recovered(tmp_path, start, leak):
    """On a rigid volume, after 5 s to settle, over 60 s, from 250, 150 and 50 mmHg (OIML R 16-2; national rules)."""
    cuff = {"inflate_mmhg": start, "deflation_mmhg_per_s": 0, "leak_mmhg_per_min": leak, "oscillation_mmhg": 0}
    target, pressure, oscillation = measurement(tmp_path, scripts.step(90, cuff={**cuff, "vent_mmhg": 5}))
    assert np.all(oscillation == 0)
    begin_s = float(read_truth(target, "cuff")[1]["time_s"]) + 5
    part = pressure[round(begin_s * FRAME_RATE_HZ) : round((begin_s + 60) * FRAME_RATE_HZ)]
    slope = np.polyfit(np.arange(len(part)) / FRAME_RATE_HZ, part, 1)[0]
    assert -60 * slope == pytest.approx(leak, rel=0.02)
    assert part[0] - part[-1] == pytest.approx(leak, rel=0.02, abs=0.02)


def test_a_leak_is_recovered_on_a_patient(tmp_path):
    cuff = {"inflate_mmhg": 180, "deflation_mmhg_per_s": 0, "leak_mmhg_per_min": 12}
    _, pressure, _ = measurement(tmp_path, scripts.step(90, rate_bpm=60, cuff=cuff))
    part = pressure[15 * FRAME_RATE_HZ : 75 * FRAME_RATE_HZ]
    slope = np.polyfit(np.arange(len(part)) / FRAME_RATE_HZ, part, 1)[0]
    assert -60 * slope == pytest.approx(12, rel=0.02)


@pytest.mark.parametrize("rate", [5, 20, 40, 120])
def test_inflation_and_deflation_have_their_rates(tmp_path, rate):
    cuff = {"inflate_mmhg": 240, "inflation_mmhg_per_s": rate, "deflation_mmhg_per_s": 6, "oscillation_mmhg": 0}
    target, pressure, _ = measurement(tmp_path, scripts.step(240 / rate + 50, cuff={**cuff, "vent_mmhg": 20}))
    inflating, deflating, vented = phases_of(target)
    top_s, end_s = float(deflating["time_s"]), float(vented["time_s"])
    assert top_s - float(inflating["time_s"]) == pytest.approx(240 / rate, abs=0.01)
    assert end_s - top_s == pytest.approx(220 / 6, abs=0.01)
    assert pressure.max() == pytest.approx(240, abs=rate / FRAME_RATE_HZ + 0.05)
    up = pressure[: int(top_s * FRAME_RATE_HZ)]
    down = pressure[int(top_s * FRAME_RATE_HZ) + 2 : int(end_s * FRAME_RATE_HZ) - 2]
    for part, expected in ((up, rate), (down, -6)):
        assert np.polyfit(np.arange(len(part)) / FRAME_RATE_HZ, part, 1)[0] == pytest.approx(expected, rel=0.01)


def test_stepped_deflation_has_its_steps(tmp_path):
    cuff = {"inflate_mmhg": 160, "deflation_mmhg_per_s": 4, "step_mmhg": 8, "oscillation_mmhg": 0, "vent_mmhg": 20}
    target, pressure, _ = measurement(tmp_path, scripts.step(60, cuff=cuff))
    begin_s, end_s = (float(row["time_s"]) for row in phases_of(target)[1:])
    part = pressure[round(begin_s * FRAME_RATE_HZ) + 1 : round(end_s * FRAME_RATE_HZ) - 1]
    levels, lengths = np.unique(np.round(part, 1), return_counts=True)
    held = levels[lengths > FRAME_RATE_HZ]
    assert np.all(np.diff(held) == pytest.approx(8, abs=0.05)), held
    assert held[-1] == pytest.approx(160, abs=0.05)


@pytest.mark.parametrize(("body", "from_mmhg", "to_mmhg", "within_s"), [("adult", 260, 15, 10), ("neonate", 150, 5, 5)])
def test_the_valve_empties_in_time(tmp_path, body, from_mmhg, to_mmhg, within_s):
    """260 to 15 mmHg in 10 s, newborn 150 to 5 mmHg in 5 s (OIML R 16-2; the latter from memory)."""
    up = {"inflate_mmhg": from_mmhg, "deflation_mmhg_per_s": 0, "oscillation_mmhg": 0}
    steps = (scripts.step(10, body=body, cuff=up), scripts.step(15, cuff={"vent": 1, "inflate_mmhg": 0}))
    target, pressure, _ = measurement(tmp_path, *steps)
    assert pressure[10 * FRAME_RATE_HZ - 1] == pytest.approx(from_mmhg, abs=0.05)
    assert pressure[round((10 + within_s) * FRAME_RATE_HZ)] <= to_mmhg
    vented = read_truth(target, "cuff")[-1]
    assert (vented["phase"], float(vented["time_s"])) == ("vented", 10)


@pytest.mark.parametrize(("body", "limit"), [("adult", 300), ("child", 300), ("neonate", 150)])
def test_over_pressure_opens_the_valve_at_the_body_s_limit(tmp_path, body, limit):
    """300 mmHg for adults, 150 for newborns (IEC 80601-2-30, from memory), and no reading."""
    steps = (scripts.step(25, body=body, cuff={"inflate_mmhg": 350, "inflation_mmhg_per_s": 30}),)
    target, pressure, oscillation = measurement(tmp_path, *steps)
    assert (pressure - oscillation).max() == pytest.approx(limit, abs=30 / FRAME_RATE_HZ + 0.05)
    rows = read_truth(target, "cuff")
    assert [row["phase"] for row in rows] == ["inflating", "over-pressure"]
    assert float(rows[1]["cuff_mmhg"]) == pytest.approx(limit, abs=0.01)
    assert rows[1]["systolic_mmhg"] == ""
    # IEC 80601-2-30, from memory: not above the limit for more than 15 s; here it falls at once.
    after = pressure[round(float(rows[1]["time_s"]) * FRAME_RATE_HZ) + FRAME_RATE_HZ :]
    assert after[0] < 0.6 * limit and after[-1] < 1


def test_there_is_nothing_to_read_without_pulses(tmp_path):
    cuff = {"inflate_mmhg": 160, "deflation_mmhg_per_s": 5, "vent_mmhg": 20}
    steps = (scripts.step(5), scripts.step(60, "ventricular-fibrillation", cuff=cuff))
    target, _, oscillation = measurement(tmp_path, *steps)
    assert np.all(oscillation[8 * FRAME_RATE_HZ :] == 0)
    assert all(row["systolic_mmhg"] == "" for row in read_truth(target, "cuff"))


def pulse_heights(oscillation: np.ndarray, pressure: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Height of each pulse and the cuff's pressure under it."""
    tops, _ = find_peaks(oscillation, height=0.02, distance=round(0.3 * FRAME_RATE_HZ))
    return oscillation[tops], (pressure - oscillation)[tops]


def test_alternating_pulses_alternate_in_the_cuff(tmp_path):
    """Above the weak pulses' systolic pressure the strong ones oscillate much more: alternans is found with a cuff."""
    arterial = {"systolic_mmhg": 130, "diastolic_mmhg": 80, "alternans_mmhg": 30}
    cuff = {"inflate_mmhg": 170, "deflation_mmhg_per_s": 2, "vent_mmhg": 30}
    step = scripts.step(90, rate_bpm=75, arterial=arterial, cuff=cuff)
    target, pressure, oscillation = measurement(tmp_path, step)
    height, under = pulse_heights(oscillation[round(6 * FRAME_RATE_HZ) :], pressure[round(6 * FRAME_RATE_HZ) :])
    between = (under > 105) & (under < 128)
    pairs = height[between][: np.sum(between) // 2 * 2].reshape(-1, 2)
    assert len(pairs) >= 5
    assert np.min(pairs.max(axis=1) / pairs.min(axis=1)) > 1.5, pairs
    # One who passes over the weak pulses reads the strong ones of the artery; averages of both read more, or less where the weak
    # ones are first seen. The band holds them all, and ends where they end.
    values = read_wav(target).values("arterial")[10 * FRAME_RATE_HZ :]
    strong = np.percentile(values[find_peaks(values, prominence=8)[0]], 90)
    read = {name: of.systolic_mmhg for name, of in readings(pressure, FRAME_RATE_HZ, 0.5, 0.8).items()}
    assert read["highest of 3, outermost, from 0.06"] == pytest.approx(strong, abs=READING_MMHG)
    ends = np.nanmin(list(read.values())), np.nanmax(list(read.values()))
    given = reading_of(target)
    assert (given["systolic_low_mmhg"], given["systolic_high_mmhg"]) == pytest.approx(ends, abs=READING_MMHG)
    assert ends[0] + 5 < strong < ends[1] - 5, ends


def test_every_pulse_of_large_alternans_is_felt_by_the_artery(tmp_path):
    """More alternans than there is pulse pressure leaves a small pulse, not none."""
    arterial = {"systolic_mmhg": 120, "diastolic_mmhg": 80, "alternans_mmhg": 60}
    script = scripts.write(tmp_path / "alternans.json", scripts.step(40, rate_bpm=75, arterial=arterial))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=FRAME_RATE_HZ, channels="arterial")
    values = read_wav(target).values("arterial")[10 * FRAME_RATE_HZ :]
    tops, _ = find_peaks(values, prominence=4)
    assert len(tops) == pytest.approx(30 * 75 / 60, abs=1)
    assert np.median(np.abs(np.diff(values[tops]))) == pytest.approx(0.8 * 40, abs=2)


def test_a_rising_pressure_reaches_the_cuff(tmp_path):
    """The artery rises by 40 mmHg during the deflation: the cuff finds it as it is when the two meet."""
    rise = ({"from": low, "to": low + 40, "over_s": 40} for low in (110, 70))
    arterial = dict(zip(("systolic_mmhg", "diastolic_mmhg"), rise, strict=True))
    cuff = {"inflate_mmhg": 180, "deflation_mmhg_per_s": 3, "vent_mmhg": 30}
    target, pressure, _ = measurement(tmp_path, scripts.step(75, rate_bpm=80, arterial=arterial, cuff=cuff))
    reading = read_cuff(pressure, FRAME_RATE_HZ, 0.5, 0.8)
    # Inflated after 4.5 s; the cuff is at 180 - 3 (t - 4.5), the artery at 110 + t and 70 + t.
    systolic_at_s, diastolic_at_s = (180 + 13.5 - 110) / 4, (180 + 13.5 - 70) / 4
    assert reading.systolic_mmhg == pytest.approx(110 + systolic_at_s, abs=READING_MMHG)
    assert reading.diastolic_mmhg == pytest.approx(70 + diastolic_at_s, abs=READING_MMHG)
    given = reading_of(target)
    assert given["systolic_mmhg"] == pytest.approx(110 + systolic_at_s, abs=1.5)
    assert given["diastolic_mmhg"] == pytest.approx(70 + diastolic_at_s, abs=1.5)


def test_fibrillation_half_way_ends_the_oscillations(tmp_path):
    cuff = {"inflate_mmhg": 160, "deflation_mmhg_per_s": 4, "vent_mmhg": 20}
    steps = (scripts.step(12, cuff=cuff), scripts.step(40, "ventricular-fibrillation", cuff={"inflate_mmhg": 0}))
    target, _, oscillation = measurement(tmp_path, *steps)
    assert all(row["phase"] != "reading" for row in read_truth(target, "cuff")), "the pulses stop on the way"
    assert oscillation[6 * FRAME_RATE_HZ : 11 * FRAME_RATE_HZ].max() > 0.5
    assert np.all(oscillation[14 * FRAME_RATE_HZ :] == 0)


def test_text_and_samples_agree(tmp_path):
    cuff = {"inflate_mmhg": 150, "deflation_mmhg_per_s": 5, "vent_mmhg": 20}
    step = scripts.step(40, cuff=cuff)
    (tmp_path / "text").mkdir()
    _, text, _ = measurement(tmp_path / "text", step, extension="csv")
    _, samples, _ = measurement(tmp_path, step)
    assert text == pytest.approx(samples, abs=1e-9)


def test_the_oscillation_is_part_of_the_cuff_s_pressure(tmp_path):
    """A rig gives the sum on one output, and an algorithm may take it apart: cuff = line + oscillation."""
    cuff = {"inflate_mmhg": 150, "deflation_mmhg_per_s": 3, "vent_mmhg": 20}
    target, pressure, oscillation = measurement(tmp_path, scripts.step(50, cuff=cuff))
    begin_s, end_s = (float(row["time_s"]) for row in phases_of(target)[1:])
    part = slice(round(begin_s * FRAME_RATE_HZ) + 1, round(end_s * FRAME_RATE_HZ) - 1)
    line = (pressure - oscillation)[part]
    seconds = np.arange(part.start, part.stop) / FRAME_RATE_HZ
    assert line == pytest.approx(150 - 3 * (seconds - begin_s), abs=0.03)
