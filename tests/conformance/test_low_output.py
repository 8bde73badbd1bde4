"""Shock, compressions and obstructed breathing in the pressures and the impedance, measured in the samples with numpy and scipy.

Limits that name no source are common practice, no source; sources of the scripts' values are in their notes.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from program import succeed
from reading import read_truth, read_wav
from scipy.signal import butter, cont2discrete, find_peaks, lfilter, lfilter_zi, sosfiltfilt
from test_ecg_content import example
from test_seen_on_strips import OF_FRONTS, RATE_HZ, likest, played, qrs_at, steep_places

SITES = ("arterial", "venous", "pulmonary", "wedge")


def pulses(trace: np.ndarray, least_mmhg: float = 4.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, s, and heights of the tops of a trace, and the lowest values between them."""
    tops, _ = find_peaks(trace, prominence=least_mmhg, distance=int(0.3 * RATE_HZ))
    feet = np.array([trace[a:b].min() for a, b in zip(tops, tops[1:], strict=False)])
    return tops / RATE_HZ, trace[tops], feet


def swing(trace: np.ndarray) -> float:
    """What breathing does to a trace, highest less lowest, slow parts and heartbeats left out."""
    slow = sosfiltfilt(butter(2, (0.15, 0.6), "band", fs=RATE_HZ, output="sos"), trace)[5 * RATE_HZ : -5 * RATE_HZ]
    return float(np.diff(np.percentile(slow, (5, 95)))[0])


@pytest.fixture(scope="module")
def low_output(tmp_path_factory):
    return example(tmp_path_factory.mktemp("low"), "low-output", ("II", *SITES))


def test_shock_is_low_fast_and_narrow_but_for_slack_vessels(low_output):
    before, volume, pump, slack, tamponade, *_ = low_output
    over, mean, wedge = {}, {}, {}
    for name, step in (("before", before), ("volume", volume), ("pump", pump), ("slack", slack), ("tamponade", tamponade)):
        times, tops, feet = pulses(step["arterial"][8 * RATE_HZ :])
        bpm = 60 / np.diff(times).mean()
        systolic = np.median(tops)
        # Each pulse from its foot to its top, over a quarter of the top, mmHg.
        over[name] = np.median(tops[1:] - feet - tops[1:] / 4)
        mean[name] = step["arterial"][8 * RATE_HZ :].mean()
        wedge[name] = step["wedge"][8 * RATE_HZ :].mean()
        if name != "before":
            # The heart rate over the systolic pressure is above 0.9 in shock (shock index, from memory).
            assert systolic < 90 and bpm / systolic > 0.9, (name, bpm, systolic)
    # A pulse pressure of a quarter of the systolic or less is narrow (texts of heart failure, from memory); monitors show whole mmHg.
    assert over["volume"] < 1 and over["pump"] < 1, over
    # At rest it is about 40 mmHg of 120, 10 over the quarter, and in slack vessels it is wider (common practice, no source).
    assert over["slack"] > over["before"] > 10, over
    assert mean["slack"] < 65
    assert wedge["pump"] > 15 > 10 > wedge["volume"]
    venous = tamponade["venous"][8 * RATE_HZ :].mean()
    assert wedge["tamponade"] == pytest.approx(venous, abs=3)
    assert swing(tamponade["arterial"]) > 10 > swing(slack["arterial"])


def test_electrical_activity_has_qrs_and_no_pulse(low_output):
    step = low_output[5]
    beats = steep_places(step["II"][8 * RATE_HZ :])
    assert len(beats) >= 8
    assert np.ptp(step["arterial"][15 * RATE_HZ :]) < 2


def test_compressions_show_in_ecg_and_vessels_at_their_rate(low_output):
    still, pressed, _ = low_output[5:]
    times, tops, feet = pulses(pressed["arterial"], 30)
    assert 60 / np.diff(times).mean() == pytest.approx(110, abs=0.5)
    assert np.median(tops) - np.median(feet) == pytest.approx(60, abs=3)
    for site in ("venous", "pulmonary", "wedge"):
        own_times, own_tops, own_feet = pulses(pressed[site], 20)
        assert np.median(own_tops) - np.median(own_feet) == pytest.approx(48, abs=6), site
        assert 60 / np.diff(own_times).mean() == pytest.approx(110, abs=0.5), site
    assert pressed["II"].std() > 2 * still["II"].std()
    # The tops of both have the same time from each other, compression by compression.
    slow = sosfiltfilt(butter(2, (1.0, 2.6), "band", fs=RATE_HZ, output="sos"), pressed["II"])
    waves = find_peaks(slow, distance=int(0.4 * RATE_HZ), prominence=0.3)[0] / RATE_HZ
    lag = np.array([waves[np.argmin(np.abs(waves - at))] - at for at in times[3:-3]])
    assert lag.std() < 0.05


def test_compressions_leave_closed_transducers_alone_and_never_jump(tmp_path):
    press = {"compression_mmhg": 60, "compressions_per_min": 107}
    steps = [
        {"duration_s": 5.3, "rhythm": "asystole"},
        {"duration_s": 7.7, "artefact": press, "venous": {"closed": 1, "level_mmhg": 30}},
        {"duration_s": 5.0, "artefact": {"compression_mmhg": 0}},
    ]
    script, target = tmp_path / "press.json", tmp_path / "press.wav"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}), encoding="utf-8")
    succeed("render", script, "--frame-rate", RATE_HZ, "--channels", "arterial,venous", "--bits", 24, "-o", target)
    recording = read_wav(target)
    arterial, venous = recording.values("arterial"), recording.values("venous")
    inside = slice(int(5.4 * RATE_HZ), int(12.9 * RATE_HZ))
    assert np.ptp(arterial[inside]) > 55
    assert np.ptp(venous[int(7 * RATE_HZ) : inside.stop]) < 0.1
    # A squared sine of 60 mmHg at 107 a minute is nowhere steeper than 2 pi 60 107 / 60 mmHg/s.
    steepest = np.abs(np.diff(arterial)).max() * RATE_HZ
    assert steepest < 1.02 * 2 * np.pi * 60 * 107 / 60
    assert np.ptp(arterial[int(13.2 * RATE_HZ) :]) < 1


@pytest.mark.parametrize("per_min", (80, 100, 150))
def test_no_compression_is_lost_between_steps(per_min, tmp_path):
    """Every step lasts a whole number of compressions: they go on as if there were one step."""
    press = {"compression_mmhg": 60, "compressions_per_min": per_min}
    steps = [{"duration_s": 6, "rhythm": "asystole", "artefact": press}] * 6
    script, target = tmp_path / "press.json", tmp_path / "press.wav"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}), encoding="utf-8")
    succeed("render", script, "--frame-rate", RATE_HZ, "--channels", "arterial", "--bits", 24, "-o", target)
    tops, _ = find_peaks(read_wav(target).values("arterial"), prominence=30)
    assert len(tops) == 36 * per_min // 60
    assert np.diff(tops) == pytest.approx(60 * RATE_HZ / per_min, abs=3)


def pressed(folder, **arterial) -> np.ndarray:
    """Compressions of a heart that beats, then of one that stands still, their rise ramped, and half a minute after them."""
    press = {"compression_mmhg": {"from": 0, "to": 90}, "compressions_per_min": 113}
    steps = [
        {"duration_s": 4.1, "rhythm": "agonal", "arterial": arterial},
        {"duration_s": 6.7, "artefact": press},
        {"duration_s": 4.4, "rhythm": "asystole", "artefact": {"compression_mmhg": 60, "compressions_per_min": 100}},
        {"duration_s": 6.0, "artefact": {"compression_mmhg": 0}},
    ]
    script, target = folder / "line.json", folder / "line.wav"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}), encoding="utf-8")
    succeed("render", script, "--frame-rate", RATE_HZ, "--channels", "arterial", "--bits", 24, "-o", target, "--force")
    return read_wav(target).values("arterial")


@pytest.mark.parametrize(("hz", "damping"), [(12.0, 0.2), (3.7, 0.05), (24.0, 0.65), (6.0, 1.4)])
def test_compressions_pass_the_line_as_a_filter_has_it(tmp_path, hz, damping):
    """The second-order system of Gardner 1981, exactly discretised by scipy for straight lines between the samples."""
    offset_mmhg = 7
    vessel = pressed(tmp_path)
    shown = pressed(tmp_path, line_hz=hz, line_damping=damping, level_mmhg=offset_mmhg)
    omega = 2 * np.pi * hz
    system = ([omega**2], [1, 2 * damping * omega, omega**2])
    numerator, denominator, _ = cont2discrete(system, 1 / RATE_HZ, method="foh")
    start = lfilter_zi(numerator.ravel(), denominator) * vessel[0]
    filtered, _ = lfilter(numerator.ravel(), denominator, vessel, zi=start)
    # What rings at the start has died away.
    settled = slice(int(2.5 * RATE_HZ), None)
    assert np.ptp(vessel[settled]) > 80
    assert np.abs(filtered - vessel)[settled].max() > 1, "the line does something"
    assert shown[settled] == pytest.approx(filtered[settled] + offset_mmhg, abs=0.1)


def test_a_line_rings_down_however_long_the_heart_has_stood_still(tmp_path):
    flush = {"line_hz": 12, "line_damping": 0.2, "closed": 1, "level_mmhg": 200}
    steps = [
        {"duration_s": 300, "rhythm": "asystole", "arterial": {"line_hz": 12, "line_damping": 0.2}},
        {"duration_s": 3, "arterial": flush},
        {"duration_s": 3, "arterial": {"closed": 0, "level_mmhg": 0}},
    ]
    script, target = tmp_path / "still.json", tmp_path / "still.wav"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "steps": steps}), encoding="utf-8")
    succeed("render", script, "--frame-rate", 200, "--channels", "arterial", "--bits", 24, "-o", target)
    shown = read_wav(target).values("arterial")
    before, flushed, after = shown[299 * 200 : 300 * 200].mean(), shown[302 * 200 : 303 * 200], shown[305 * 200 :]
    assert flushed == pytest.approx(np.full(len(flushed), 200), abs=0.1)
    assert after == pytest.approx(np.full(len(after), before), abs=0.1)


def test_an_obstructed_chest_moves_by_less_than_half_and_pulls_at_the_vessels(tmp_path):
    asleep, obstructed, open_again, again, _, central = example(
        tmp_path, "obstructive-apnoea", ("respiration", "venous", "left-atrium", "arterial", "II")
    )
    depth = {name: np.diff(np.percentile(step["respiration"][8 * RATE_HZ :], (3, 97)))[0] for name, step in (("asleep", asleep), ("obstructed", obstructed), ("again", again), ("central", central))}
    for name in ("obstructed", "again"):
        assert 0.2 < depth[name] / depth["asleep"] < 0.5, depth
    assert depth["central"] < 0.05 * depth["asleep"]
    for site in ("venous", "left-atrium"):
        assert swing(obstructed[site]) > 2.5 * swing(asleep[site]) > 10 * swing(central[site][10 * RATE_HZ :]), site
    assert swing(obstructed["arterial"]) > 2 * swing(asleep["arterial"])
    slow, fast = (60 * RATE_HZ / np.diff(steep_places(step["II"])).mean() for step in (obstructed, open_again))
    assert fast > slow + 20


def movements_a_minute(trace: np.ndarray) -> float:
    """Movements of the chest in an impedance, whichever way; heartbeats left out."""
    slow = sosfiltfilt(butter(2, 0.7, "low", fs=RATE_HZ, output="sos"), trace)[4 * RATE_HZ :]
    turns = find_peaks(slow, prominence=0.12)[0]
    return 60 * RATE_HZ / np.diff(turns).mean()


def test_efforts_against_a_closed_throat_are_counted_and_bring_no_air(tmp_path):
    """Paradoxical movement: the impedance goes down from its level where it went up, as often as efforts come; the truth says that no
    air moves, no apnoea alarm comes, and the heart shows in the impedance when nothing else does."""
    names = ("asleep", "obstructed", "open", "again", "after", "central")
    steps = dict(zip(names, example(tmp_path, "obstructive-apnoea", ("respiration", "II")), strict=True))
    target = tmp_path / "obstructive-apnoea.wav"
    breaths = read_truth(target, "breaths")
    starts = dict(zip(names, np.cumsum([0, *(len(step["II"]) for step in steps.values())])[:-1] / RATE_HZ, strict=True))
    for name, air in (("asleep", "yes"), ("obstructed", "no"), ("open", "yes"), ("again", "no")):
        end_s = starts[name] + len(steps[name]["II"]) / RATE_HZ
        listed = [row for row in breaths if starts[name] + 5 <= float(row["time_s"]) and float(row["end_s"]) <= end_s]
        assert {row["air"] for row in listed} == {air}, name
        impedance = steps[name]["respiration"]
        at = lambda time_s: impedance[round((float(time_s) - starts[name]) * RATE_HZ)]  # noqa: B023, E731
        changes = np.array([at(row["peak_s"]) - at(row["time_s"]) for row in listed])
        sizes = np.array([float(row["depth_ohm"]) for row in listed])
        # A heartbeat changes it by 0.06 ohm.
        assert changes == pytest.approx(sizes if air == "yes" else -sizes, abs=0.08), name
        a_minute = 60 / np.diff([float(row["time_s"]) for row in listed]).mean()
        assert movements_a_minute(impedance) == pytest.approx(a_minute, rel=0.08), name
    closed = [row for row in read_truth(target, "episodes") if row["episode"] == "obstruction"]
    assert len(closed) == 2
    for row, name, then in zip(closed, ("obstructed", "again"), ("open", "after"), strict=True):
        # From the first effort to the first breath: within a breath of the steps.
        assert 0 <= float(row["start_s"]) - starts[name] < 5 and 0 <= float(row["end_s"]) - starts[then] < 5
    apnoeas = [float(row["begin_s"]) for row in read_truth(target, "alarms") if row["alarm"] == "apnoea"]
    assert len(apnoeas) == 1 and apnoeas[0] > starts["central"]
    # Nothing but the heart, once a beat.
    still = steps["central"]["respiration"][8 * RATE_HZ :]
    beats = len(steep_places(steps["central"]["II"][8 * RATE_HZ :]))
    assert abs(len(find_peaks(still, prominence=0.02)[0]) - beats) <= 1


def test_a_dual_chamber_device_fuses_by_degrees(tmp_path):
    """A heart that conducts with a PR near the device's AV delay: own, paced and fused beats, and a fused QRS is anything between."""
    target = tmp_path / "competing.wav"
    flags = ("--duration", "120s", "--frame-rate", RATE_HZ, "--channels", ",".join(OF_FRONTS), "--bits", 24)
    succeed("render", "--rhythm", "paced-ddd-competing", "--set", "pacing.amplitude_mv=0", *flags, "-o", target)
    recording = read_wav(target)
    channels = {name: recording.values(name) for name in OF_FRONTS}
    own = played(tmp_path, "sinus", channels=OF_FRONTS)
    paced = played(tmp_path, "paced-tracking", "pacing.amplitude_mv=0", channels=OF_FRONTS)
    fronts = [np.median([qrs_at(of, at) for at in steep_places(*of.values())[2:-2]], axis=0) for of in (own, paced)]
    beats = steep_places(*channels.values())[2:-2]
    like_own, like_paced = (np.array([likest(channels, at, front) for at in beats]) for front in fronts)
    is_own, is_paced = like_own > 0.97, like_paced > 0.97
    fused = ~is_own & ~is_paced
    assert is_own.sum() >= 10 and fused.sum() >= 10, (is_own.sum(), is_paced.sum(), fused.sum())
    assert np.ptp(like_paced[fused]) > 0.07 and np.ptp(like_own[fused]) > 0.1, (like_paced[fused], like_own[fused])
    # The truth: a fused QRS has its code, no own QRS has; an own QRS before the end of the AV delay has no pulse, one just after a
    # pulse has one that did not capture.
    coded = {float(row["time_s"]): row["code"] for row in read_truth(target, "beats")}
    pulses_s = {float(row["time_s"]): row["captures"] for row in read_truth(target, "pacing")}
    with_pulse = 0
    for at, own_one, paced_one in zip(beats / RATE_HZ, is_own, is_paced, strict=True):
        code = coded[min(coded, key=lambda time_s: abs(time_s - at))]
        assert code in ("N" if own_one else "/f" if paced_one else "f"), (at, code)
        near = [captures for time_s, captures in pulses_s.items() if -0.15 < time_s - at < 0.06]
        assert len(near) <= 1 and near != ["yes" if own_one else "no"], (at, near)
        with_pulse += own_one and near == ["no"]
    assert 5 < with_pulse < is_own.sum() - 5, "some own beats inhibit the pulse, in some it falls"
