"""Pressures measured from the samples by independent peak finding are the script's, and the truth's integral is theirs."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from measuring import end_diastolic, pressure_pulses
from program import assert_refused, render, rendered, succeed
from reading import read_channels, read_csv, read_steps, read_truth, read_wav

FRAME_RATE_HZ = 1000
RATES_BPM = (30, 60, 80, 120, 200)
STEP_S = 30
SETTLING_S = 8
"""After a change of step the old pressure must have run off, and some cycles of the atria have passed."""

PEAKS_MMHG = 0.5
MEAN_MMHG = 0.2

# Systolic and diastolic, or mean and pulse, mmHg: none is a body's own value, so every measured value was set.
BODIES = {
    "adult": {
        "arterial": (132, 71),
        "femoral": (140, 70),
        "pulmonary": (31, 12),
        "left-ventricle": (132, 9),
        "right-ventricle": (31, 5),
        "intracranial": (11, 4),
        "venous": 4,
        "left-atrium": 9,
    },
    "child": {
        "arterial": (108, 58),
        "femoral": (112, 57),
        "pulmonary": (24, 10),
        "left-ventricle": (108, 8),
        "right-ventricle": (24, 5),
        "intracranial": (6, 3),
        "venous": 4,
        "left-atrium": 8,
    },
    "neonate": {
        "arterial": (66, 41),
        "femoral": (64, 40),
        "pulmonary": (34, 17),
        "left-ventricle": (66, 7),
        "right-ventricle": (34, 5),
        "intracranial": (5, 2.5),
        "venous": 4,
        "left-atrium": 6,
    },
}
ARTERIES = ("arterial", "femoral", "pulmonary")
VENTRICLES = ("left-ventricle", "right-ventricle")
ATRIA = {"venous": "venous", "right-atrium": "venous", "left-atrium": "left-atrium", "wedge": "left-atrium"}
CHANNELS = ("arterial,femoral,pulmonary,left-ventricle,right-ventricle,intracranial", "arterial," + ",".join(ATRIA))


def step(body: str, rate_bpm: float, **more) -> dict:
    values = BODIES[body]
    pair = {site: {"systolic_mmhg": values[site][0], "diastolic_mmhg": values[site][1]} for site in ARTERIES}
    return scripts.step(
        STEP_S,
        body=body,
        rate_bpm=rate_bpm,
        left_ventricle={"end_diastolic_mmhg": values["left-ventricle"][1]},
        right_ventricle={"end_diastolic_mmhg": values["right-ventricle"][1]},
        intracranial={"mean_mmhg": values["intracranial"][0], "pulse_mmhg": values["intracranial"][1]},
        venous={"mean_mmhg": values["venous"]},
        left_atrium={"mean_mmhg": values["left-atrium"]},
        **pair,
        **more,
    )


@pytest.fixture(scope="module", params=[(body, channels) for body in BODIES for channels in CHANNELS], ids=str)
def ladder(request, tmp_path_factory):
    """A body's pressures at every rate, one step each: values by channel, and the truth of pulses and steps."""
    body, channels = request.param
    folder = tmp_path_factory.mktemp("pressures")
    script = scripts.write(folder / "pressures.json", *(step(body, rate) for rate in RATES_BPM))
    target = rendered(script, folder / "out.wav", frame_rate_hz=FRAME_RATE_HZ, channels=channels)
    recording = read_wav(target)
    return body, {name: recording.values(name) for name in recording.channels}, read_truth(target, "pulses"), read_steps(target)


def piece(values: np.ndarray, index: int) -> np.ndarray:
    return values[(STEP_S * index + SETTLING_S) * FRAME_RATE_HZ : STEP_S * (index + 1) * FRAME_RATE_HZ]


def test_every_pulse_has_the_pressures_of_the_script(ladder):
    body, channels, _, steps = ladder
    for index, rate in enumerate(RATES_BPM):
        for name, values in channels.items():
            if name in ATRIA:
                continue
            pulses = pressure_pulses(piece(values, index), FRAME_RATE_HZ, rate)
            where = (body, rate, name)
            assert len(pulses.peak_s) == pytest.approx((STEP_S - SETTLING_S) * rate / 60, abs=1.5), where
            systolic, diastolic = pulses.systolic_mmhg, pulses.diastolic_mmhg
            if name in VENTRICLES:
                diastolic = end_diastolic(piece(values, index), FRAME_RATE_HZ, pulses.peak_s)
            high, low = BODIES[body][name]
            if name == "intracranial":
                # The script sets mean and pulse here.
                assert np.max(np.abs(systolic[1:] - diastolic - low)) <= PEAKS_MMHG, where
                assert np.max(np.abs(pulses.mean_mmhg - high)) <= MEAN_MMHG, where
                continue
            # Every pulse, not the mean of them.
            assert np.max(np.abs(systolic - high)) <= PEAKS_MMHG, (where, systolic)
            assert np.max(np.abs(diastolic - low)) <= PEAKS_MMHG, (where, diastolic)
            if name == "arterial":
                # A step's readings count from when it has settled; each is inside the step's band.
                found = {"systolic": systolic, "diastolic": diastolic, "mean": pulses.mean_mmhg}
                for reading, values in found.items():
                    low_mmhg, high_mmhg = (float(steps[index][f"{reading}_{end}_mmhg"]) for end in ("low", "high"))
                    within = MEAN_MMHG if reading == "mean" else PEAKS_MMHG
                    assert np.all(values >= low_mmhg - within), (where, reading, low_mmhg)
                    assert np.all(values <= high_mmhg + within), (where, reading, high_mmhg)


def test_the_truth_of_every_pulse_is_that_of_its_samples(ladder):
    body, channels, pulses, _ = ladder
    assert {row["channel"] for row in pulses} == set(channels)
    for row in pulses:
        foot, end = (round(float(row[of]) * FRAME_RATE_HZ) for of in ("time_s", "end_s"))
        if end > len(channels[row["channel"]]) - 2:
            # Cut off by the end.
            continue
        samples = channels[row["channel"]][foot : end + 1]
        assert samples[:-1].mean() == pytest.approx(float(row["mean_mmhg"]), abs=MEAN_MMHG), (body, row)
        assert samples.max() == pytest.approx(float(row["systolic_mmhg"]), abs=PEAKS_MMHG), (body, row)
        assert samples.min() == pytest.approx(float(row["lowest_mmhg"]), abs=PEAKS_MMHG), (body, row)
        assert samples[0] == pytest.approx(float(row["foot_mmhg"]), abs=PEAKS_MMHG), (body, row)


def test_atria_and_veins_have_their_mean(ladder):
    body, channels, _, _ = ladder
    for index, rate in enumerate(RATES_BPM):
        for name in ATRIA.keys() & channels.keys():
            # Over whole beats.
            values = piece(channels[name], index)
            period = round(60 / rate * FRAME_RATE_HZ)
            mean = values[-len(values) // period * period :].mean()
            assert mean == pytest.approx(BODIES[body][ATRIA[name]], abs=MEAN_MMHG), (body, rate, name)


@pytest.mark.parametrize(("extension", "frame_rate_hz", "bits"), [("csv", 250, None), ("csv", 1000, 24), ("wav", 250, 24)])
def test_other_formats_and_rates_have_the_same_pressures(tmp_path, extension, frame_rate_hz, bits):
    script = scripts.write(tmp_path / "pressures.json", *(step("adult", rate) for rate in RATES_BPM))
    options = {"frame_rate_hz": frame_rate_hz, "bits": bits, "channels": ",".join(ARTERIES)}
    target = rendered(script, tmp_path / f"out.{extension}", **options)
    channels = read_wav(target).values if extension == "wav" else read_csv(target)[1].__getitem__
    for index, rate in enumerate(RATES_BPM):
        for name in ARTERIES:
            begin, end = ((STEP_S * index + SETTLING_S) * frame_rate_hz, STEP_S * (index + 1) * frame_rate_hz)
            pulses = pressure_pulses(channels(name)[begin:end], frame_rate_hz, rate)
            high, low = BODIES["adult"][name]
            # Between two frames at 250 a second a peak may hide, but less than this of it.
            assert np.max(np.abs(pulses.systolic_mmhg - high)) <= PEAKS_MMHG, (rate, name)
            assert np.max(np.abs(pulses.diastolic_mmhg - low)) <= PEAKS_MMHG, (rate, name)


LEVELS_MMHG = (-50, -10, -0.25, 0, 0.1, 20, 50, 100, 150, 200, 250, 300)
SITES = {
    "arterial": "arterial",
    "femoral": "femoral",
    "pulmonary": "pulmonary",
    "venous": "venous",
    "right-atrium": "right_atrium",
    "right-ventricle": "right_ventricle",
    "left-ventricle": "left_ventricle",
    "left-atrium": "left_atrium",
    "wedge": "wedge",
    "intracranial": "intracranial",
}


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("names", [tuple(SITES)[:8], tuple(SITES)[2:]])
def test_static_levels_are_within_the_quantiser_s_step(tmp_path, names, bits):
    """Zero and linearity, with a beating heart behind the closed stopcock."""
    closed = [{SITES[name]: {"closed": 1, "level_mmhg": level} for name in names} for level in LEVELS_MMHG]
    script = scripts.write(tmp_path / "levels.json", *(scripts.step(2, **settings) for settings in closed))
    target = rendered(script, tmp_path / "out.wav", frame_rate_hz=250, bits=bits, channels=",".join(names))
    recording = read_wav(target)
    assert not read_truth(target, "pulses"), "the truth has a pulse that no transducer sees"
    for name in names:
        for index, level in enumerate(LEVELS_MMHG):
            values = recording.values(name)[500 * index : 500 * (index + 1)]
            scale = recording.channels[name].scale
            assert scale <= 0.02 if bits == 16 else scale <= 0.0001
            assert np.max(np.abs(values - level)) <= 0.5 * scale + 1e-9, (name, level)


def test_zero_is_held_until_told_to_go_on(tmp_path):
    """The zero step of a worksheet: at atmosphere for as long as it takes to zero a monitor, then the patient."""
    zero = {SITES[name]: {"closed": 1, "level_mmhg": 0} for name in ("arterial", "venous", "intracranial")}
    after = {SITES[name]: {"closed": 0} for name in ("arterial", "venous", "intracranial")}
    script = scripts.write(tmp_path / "zero.json", scripts.step("hold", **zero), scripts.step(10, **after))
    options = ("--duration", "600s", "--frame-rate", 100, "--channels", "arterial,venous,intracranial")

    target = tmp_path / "out.wav"
    succeed("render", script, "-o", target, *options)
    recording = read_wav(target)
    assert recording.n_frames == 60_000
    for name in recording.channels:
        assert np.all(recording.values(name) == 0.0), name


def test_offsets_drifts_and_heights_add_to_the_pressure(tmp_path):
    """A zero offset, and a drift as a ramp of it, on an open transducer: a patient's pressure plus exactly that."""
    plain = scripts.step(60, rate_bpm=80)
    moved = scripts.step(60, rate_bpm=80, arterial={"level_mmhg": {"from": 3, "to": -9}})
    both = []
    for name, single in (("plain", plain), ("moved", moved)):
        script = scripts.write(tmp_path / f"{name}.json", single)
        both.append(rendered(script, tmp_path / f"{name}.wav", frame_rate_hz=250, bits=24, channels="arterial"))
    first, second = (read_wav(target).values("arterial") for target in both)
    line = 3 - 12 * np.arange(len(first)) / len(first)
    step = max(read_channels(target)[1][0].scale for target in both)
    assert np.max(np.abs(second - first - line)) <= step + 1e-4


def test_eight_pressures_at_once_and_no_more(tmp_path):

    script = scripts.write(tmp_path / "rest.json", scripts.step(5))
    eight = rendered(script, tmp_path / "eight.wav", channels=",".join(tuple(SITES)[:8]))
    assert len(read_wav(eight).channels) == 8
    assert_refused(render(script, tmp_path / "nine.wav", channels=",".join(tuple(SITES)[:9])), "9 pressures")
