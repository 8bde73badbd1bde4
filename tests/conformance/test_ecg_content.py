"""Blocks, devices, disturbances and patterns that a script can name, each measured in the samples with numpy and scipy.

Criteria are those of textbooks (from memory) and AHA/ACCF/HRS part III (2009, from memory) where no other source is named.
"""

from __future__ import annotations

import numpy as np
import pytest
from global_qrs import find_qrs
from program import ROOT, succeed
from reading import read_steps, read_wav
from scipy.signal import butter, find_peaks, sosfiltfilt, welch
from test_seen_on_strips import BOTH_SIDES, RATE_HZ, played, steep_places

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")


def example(folder, name: str, channels=TWELVE) -> list[dict[str, np.ndarray]]:
    """Channels of each step of an example."""
    target = folder / f"{name}.wav"
    flags = ("--frame-rate", RATE_HZ, "--bits", 24, "--channels", ",".join(channels), "-o", target)
    succeed("render", ROOT / "examples" / f"{name}.json", *flags)
    recording = read_wav(target)
    starts = [round(float(step["start_s"]) * RATE_HZ) for step in read_steps(target)]
    edges = zip(starts, [*starts[1:], recording.n_frames], strict=True)
    return [{channel: recording.values(channel)[a:b] for channel in channels} for a, b in edges]


def qrs_of(channels: dict[str, np.ndarray], which: int = 4) -> slice:
    found = find_qrs(np.column_stack([channels[name] for name in BOTH_SIDES]), RATE_HZ)
    return slice(round(found[which].onset_s * RATE_HZ), round(found[which].end_s * RATE_HZ))


def net(lead: np.ndarray) -> float:
    base = lead[0]
    return float(lead.max() + lead.min() - 2 * base)


@pytest.mark.parametrize(("body", "least_ms"), [("adult", 120), ("child", 100), ("neonate", 90)])
def test_bifascicular_block_is_both_of_its_blocks(tmp_path, body, least_ms):
    channels = played(tmp_path, "bifascicular-block", channels=TWELVE, words=("--body", body))
    qrs = qrs_of(channels)
    assert 1000 * (qrs.stop - qrs.start) / RATE_HZ >= least_ms
    beat = {name: lead[qrs] - lead[qrs.start] for name, lead in channels.items()}
    late = int(0.6 * (qrs.stop - qrs.start))
    assert beat["V1"][late:].max() > 0.3 and beat["V1"].min() < -0.2, "rsR'"
    for lead in ("I", "V6"):
        assert beat[lead][late:].min() < -0.15, f"a broad S in {lead}"
    axis_deg = np.degrees(np.arctan2(net(beat["aVF"]) * 2 / np.sqrt(3), net(beat["I"])))
    assert -90 <= axis_deg <= -45
    for lead in ("II", "III", "aVF"):
        assert beat[lead].max() > 0.1 and -beat[lead].min() > beat[lead].max(), f"rS in {lead}"


def test_biventricular_pacing_is_narrower_and_turns_the_axis(tmp_path):
    wide = played(tmp_path, "paced-tracking", channels=TWELVE)
    narrow = played(tmp_path, "paced-biventricular", channels=TWELVE)
    lengths, beats = [], []
    for channels in (wide, narrow):
        qrs = qrs_of(channels)
        lengths.append(1000 * (qrs.stop - qrs.start) / RATE_HZ)
        beats.append({name: lead[qrs.start + 3 : qrs.stop] - lead[qrs.start + 3] for name, lead in channels.items()})
    assert lengths[1] < lengths[0] - 20, lengths
    assert beats[1]["V1"].max() > 0.3 > beats[0]["V1"].max(), "R in V1"
    assert np.argmin(beats[1]["I"]) < np.argmax(beats[1]["I"]) and beats[1]["I"].min() < -0.15, "Q in I"
    beats_at = steep_places(narrow["V2"])
    assert 60 * RATE_HZ / np.diff(beats_at).mean() == pytest.approx(70, abs=0.5)


@pytest.mark.parametrize("bpm", [100, 125, 145])
def test_a_device_in_a_loop_keeps_its_rate_with_p_behind_each_beat(tmp_path, bpm):
    channels = played(tmp_path, "paced-loop", channels=("II", "V1"), words=("--rate", bpm), duration="20s")
    beats = steep_places(channels["V1"])[3:-1]
    rr = np.diff(beats) / RATE_HZ
    assert 60 / rr.mean() == pytest.approx(bpm, abs=0.3) and rr.std() < 0.003
    # A pulse of 1 ms or more before each.
    jumps = np.abs(channels["II"] - np.roll(channels["II"], 1)) > 0.8
    pulses = np.flatnonzero(jumps)
    assert all(((pulses > at - 130) & (pulses < at)).any() for at in beats)
    bare = ("ecg.t_percent=0", "pacing.amplitude_mv=0")
    without = played(tmp_path, "paced-loop", *bare, channels=("II",), words=("--rate", bpm), duration="20s")["II"]
    # Without T and pulses, a P wave is left between the QRS and the next one: it points down in II, and nothing points up.
    between = np.median([without[at + 150 : at + int(RATE_HZ * rr.mean()) - 60] for at in beats[:-1]], axis=0)
    assert between.min() < -0.1 and between.max() < 0.05


def p_waves(lead: np.ndarray, beats: np.ndarray) -> np.ndarray:
    """P waves of a lead without T, QRS left out."""
    rest = lead.copy()
    for at in beats:
        rest[max(at - 60, 0) : at + 80] = 0
    return find_peaks(rest, height=0.06, distance=100)[0]


def test_a_blocked_atrial_beat_leaves_a_p_and_a_pause(tmp_path):
    words = ("--rate", 70)
    channels = played(tmp_path, "atrial-premature-blocked", "ecg.t_percent=0", channels=("II",), words=words, duration="120s")
    ii = channels["II"]
    beats = steep_places(ii)
    rr = np.diff(beats) / RATE_HZ
    usual = np.median(rr)
    assert rr.min() > 0.9 * usual, "no early QRS"
    pauses = np.flatnonzero(rr > 1.2 * usual)
    assert len(pauses) / 2 == pytest.approx(8, abs=3)
    assert rr[pauses] == pytest.approx(np.full(len(pauses), 1.5 * usual), abs=0.03)
    p = p_waves(ii, beats)
    for k in pauses:
        inside = p[(p > beats[k]) & (p < beats[k + 1])]
        assert len(inside) == 2, "the blocked one and that of the next beat"
        assert 0.15 < (inside[0] - beats[k]) / RATE_HZ < 0.4, "on the T wave"


def test_an_aberrant_atrial_beat_is_early_and_wide_with_a_p(tmp_path):
    channels = played(tmp_path, "atrial-premature-aberrant", "ecg.t_percent=0", channels=BOTH_SIDES, duration="60s")
    beats = steep_places(*channels.values())
    rr = np.diff(beats)
    early = beats[1:][rr < 0.7 * np.median(rr)]
    assert len(early) >= 4
    lengths = {round(q.steepest_s * RATE_HZ): q.duration_ms for q in find_qrs(np.column_stack(list(channels.values())), RATE_HZ)}
    for at in early:
        near = min(lengths, key=lambda place: abs(place - at))
        assert lengths[near] >= 120
        assert channels["V1"][at : at + 90].max() > 0.3, "R' in V1"
    p = p_waves(channels["II"], beats)
    assert all(((p > at - 190) & (p < at - 60)).any() for at in early)


def test_the_u_wave_follows_t_and_is_tallest_in_front(tmp_path):
    with_u, without = (played(tmp_path, "sinus", *chosen, channels=TWELVE, words=("--rate", 60)) for chosen in (("ecg.u_mv=0.2",), ()))
    qrs = qrs_of(without)
    u = {name: with_u[name][qrs.start : qrs.start + 800] - without[name][qrs.start : qrs.start + 800] for name in TWELVE}
    assert u["V3"].max() == pytest.approx(0.2, abs=0.01)
    assert u["V2"].max() > 0.8 * u["V3"].max() > 2 * u["II"].max() > 0.05
    # QT 400 ms; the apex some 90 ms after the end of T.
    assert np.argmax(u["V3"]) == pytest.approx(490, abs=30)


def test_electrical_alternans_lowers_every_other_beat(tmp_path):
    channels = played(tmp_path, "sinus", "ecg.alternans_percent=40", channels=("II", "V5"), duration="30s")
    for lead in channels.values():
        tall = np.array([np.ptp(lead[at - 60 : at + 60]) for at in steep_places(channels["V5"])])
        one, other = sorted((np.median(tall[::2]), np.median(tall[1::2])))
        assert one / other == pytest.approx(0.6, abs=0.02)
    low = played(tmp_path, "sinus", channels=("V5",), duration="30s")["V5"]
    heights = [np.ptp(low[at - 60 : at + 60]) for at in steep_places(low)]
    assert max(heights) < 1.02 * min(heights)


def test_interchanged_arms_are_as_the_wires_say(tmp_path):
    """Einthoven: with RA and LA interchanged I is upside down, II and III, aVR and aVL change places, the others stay."""
    settings = ("artefact.muscle_mv=0.02", "artefact.wander_mv=0.1")
    swapped, usual = (played(tmp_path, "sinus", *chosen, channels=TWELVE) for chosen in ((*settings, "artefact.swap_ra_la=1"), settings))
    for name, of, sign in (("I", "I", -1), ("II", "III", 1), ("III", "II", 1), ("aVR", "aVL", 1), ("aVL", "aVR", 1), ("aVF", "aVF", 1), ("V1", "V1", 1), ("V6", "V6", 1)):
        assert swapped[name] == pytest.approx(sign * usual[of], abs=2e-5), name


@pytest.mark.parametrize("hz", [3.5, 5.0, 8.0])
def test_tremor_of_an_arm_spares_one_lead(tmp_path, hz):
    channels = played(tmp_path, "asystole", "artefact.tremor_mv=0.2", f"artefact.tremor_hz={hz}", channels=("I", "II", "III", "V3"), duration="120s")
    rms = {name: lead.std() for name, lead in channels.items()}
    assert rms["I"] == pytest.approx(0.2, rel=0.06) and rms["II"] == pytest.approx(0.2, rel=0.06)
    assert rms["III"] < 1e-4 and rms["V3"] == pytest.approx(0.2 / 3, rel=0.06)
    at, power = welch(channels["II"], RATE_HZ, nperseg=8192)
    assert at[np.argmax(power)] == pytest.approx(hz, abs=0.3)
    assert power[np.abs(at - hz) < 1].sum() > 0.7 * power.sum()


def test_compressions_have_their_rate_and_hide_no_qrs_in_asystole(tmp_path):
    settings = ("artefact.compression_mv=0.5", "artefact.compressions_per_min=110")
    channels = played(tmp_path, "asystole", *settings, channels=("I", "II", "III", "V2"), duration="120s")
    for name, lead in channels.items():
        assert lead.std() == pytest.approx(0.5, rel=0.05), name
    at, power = welch(channels["II"], RATE_HZ, nperseg=32_768)
    assert 60 * at[np.argmax(power)] == pytest.approx(110, abs=2)
    slow = power[at < 8].sum() / power.sum()
    assert slow > 0.99


def test_mains_can_drift_and_have_harmonics(tmp_path):
    settings = ("artefact.mains_mv=0.2", "artefact.mains_hz=50")
    exact = played(tmp_path, "asystole", *settings, channels=("II",), duration="120s")["II"]
    real = played(tmp_path, "asystole", *settings, "artefact.mains_drift_hz=0.3", "artefact.mains_harmonics_percent=40", channels=("II",), duration="120s")["II"]
    assert exact.std() == pytest.approx(0.2, rel=0.01) and real.std() == pytest.approx(0.2, rel=0.01)

    def momentary_hz(lead):
        tone = sosfiltfilt(butter(2, (45, 55), "band", fs=RATE_HZ, output="sos"), lead)
        ups = np.flatnonzero((tone[:-1] < 0) & (tone[1:] >= 0))
        at = ups + tone[ups] / (tone[ups] - tone[ups + 1])
        return 10 * RATE_HZ / (at[10:] - at[:-10])[20:-20]

    assert np.ptp(momentary_hz(exact)) < 0.01
    wandering = momentary_hz(real)
    assert 0.35 < np.ptp(wandering) < 0.65 and abs(wandering.mean() - 50) < 0.03
    hz, power = welch(real, RATE_HZ, nperseg=4096)
    band = lambda middle: power[np.abs(hz - middle) < 4].sum()  # noqa: E731
    assert np.sqrt(band(150) / band(50)) == pytest.approx(0.4, abs=0.02)
    assert np.sqrt(band(250) / band(50)) == pytest.approx(0.2, abs=0.02)


def test_wander_has_no_lines(tmp_path):
    """No bin of its spectrum holds more than a twentieth of its power; a sum of five tones has a third in one."""
    lead = played(tmp_path, "asystole", "artefact.wander_mv=0.3", channels=("II",), duration="900s")["II"][::20]
    hz, power = welch(lead, RATE_HZ / 20, nperseg=len(lead) // 2)
    assert power[hz < 0.7].sum() / power.sum() > 0.97
    assert power.max() / power.sum() < 0.05


def test_breaths_differ_as_set_and_keep_their_mean(tmp_path):
    lead = played(tmp_path, "sinus", "breathing.irregular_percent=20", channels=("respiration",), duration="900s")["respiration"][::10]
    full = find_peaks(lead, prominence=0.2, distance=60)[0]
    periods = np.diff(full) * 10 / RATE_HZ
    assert 60 / periods.mean() == pytest.approx(15, abs=0.5)
    # From top to top there are two thirds of a breath and a third of the next.
    assert periods.std() / periods.mean() == pytest.approx(0.2 * np.sqrt(5) / 3, abs=0.03)
    depths = lead[full] - lead.min()
    assert depths.std() / depths.mean() == pytest.approx(0.2, abs=0.04)
    assert abs(np.corrcoef(periods[2:], periods[:-2])[0, 1]) < 0.25


def test_an_arm_that_moves_presses_on_the_cuff(tmp_path):
    settings = ("cuff.inflate_mmhg=160", "rate_bpm=70")
    quiet, moved = (played(tmp_path, "sinus", *settings, *more, channels=("cuff",), duration="60s")["cuff"] for more in ((), ("cuff.motion_mmhg=4",)))
    change = moved - quiet
    moving = np.abs(change) > 0.05
    assert 0.2 < moving[5000:40_000].mean() < 0.8, "in bursts"
    middle = change[5000:40_000][np.abs(change[5000:40_000]) > 0]
    assert 2 < middle.std() < 5
    assert np.abs(change[quiet < 0.5]).max() < 0.2, "an empty cuff is not pressed"


def st_mv(channels: dict[str, np.ndarray], qrs: slice, lead: str) -> float:
    return float(channels[lead][qrs.stop + 60] - channels[lead][qrs.start - 8])


@pytest.fixture(scope="module")
def patterns(tmp_path_factory):
    return example(tmp_path_factory.mktemp("patterns"), "ecg-patterns")


def test_patterns_change_the_leads_that_textbooks_say(patterns):
    usual, inferior, anterior, lateral, old_inferior, old_anterior, ischaemia, pericarditis, potassium, little, thick, effusion, bifascicular, swapped = patterns
    at = qrs_of(usual)
    shift = lambda channels, lead: st_mv(channels, qrs_of(channels), lead) - st_mv(usual, at, lead)  # noqa: E731
    assert shift(inferior, "III") > shift(inferior, "II") > 0.1 and shift(inferior, "aVL") < -0.1
    assert min(shift(anterior, lead) for lead in ("V2", "V3")) > 0.25 and abs(shift(anterior, "aVF")) < 0.1
    assert min(shift(lateral, lead) for lead in ("I", "aVL", "V5", "V6")) > 0.1 and shift(lateral, "III") < -0.05
    assert max(shift(ischaemia, lead) for lead in ("II", "V5", "V6")) < -0.05 and shift(ischaemia, "aVR") > 0.05
    raised = [lead for lead in TWELVE if shift(pericarditis, lead) > 0.05]
    assert {"I", "II", "V3", "V4", "V5", "V6"} <= set(raised) and shift(pericarditis, "aVR") < -0.05
    for channels, lead in ((old_inferior, "III"), (old_inferior, "aVF"), (old_anterior, "V2"), (old_anterior, "V3")):
        qrs = qrs_of(channels)
        early = channels[lead][qrs.start : qrs.start + 60] - channels[lead][qrs.start]
        deep = early < -0.5 * 0.1
        # Fourth universal definition of myocardial infarction (2018): a Q wave of 30 ms and 0.1 mV; here at half its depth.
        assert early.min() < -0.1 and deep.sum() >= 30, lead
    tall = qrs_of(thick)
    s_v1, r_v5 = -np.min(thick["V1"][tall] - thick["V1"][tall.start]), np.max(thick["V5"][tall] - thick["V5"][tall.start])
    # Sokolow and Lyon 1949 (from memory): together over 3.5 mV.
    assert s_v1 + r_v5 > 3.5 > -np.min(usual["V1"][at] - usual["V1"][at.start]) + np.max(usual["V5"][at] - usual["V5"][at.start])
    assert np.min(thick["V6"][tall.stop + 150 : tall.stop + 330]) < -0.1, "strain"
    low = qrs_of(effusion)
    # Low voltage: under 0.5 mV in every limb lead (textbooks).
    assert max(np.ptp(effusion[lead][low]) for lead in TWELVE[:6]) < 0.5
    flat = qrs_of(little)
    t, u = little["V3"][flat.start + 200 : flat.start + 400], little["V3"][flat.start + 430 : flat.start + 540]
    assert u.max() > t.max() > 0, "U over T"
    assert np.median([net(swapped["I"][qrs_of(swapped, k)]) for k in (3, 4, 5)]) < -0.2
    assert net(bifascicular["aVF"][qrs_of(bifascicular)]) < -0.3
    t_high = qrs_of(potassium)
    assert np.max(potassium["V3"][t_high.stop : t_high.stop + 400]) > 1.5 * np.max(usual["V3"][at.stop : at.stop + 400])


def test_onsets_and_ends_come_as_the_example_has_them(tmp_path):
    steps = example(tmp_path, "onsets-and-ends", ("II", "V1", "arterial"))
    before, fibrillation, again, reentry, after, long_qt, torsades, _, arrest = steps
    beats = steep_places(before["II"], before["V1"])
    rr = np.diff(beats) / RATE_HZ
    assert rr[-1] < 0.5 and np.abs(rr[:-1] - 60 / 70).max() < 0.02, "the last is premature, on T"
    hz, power = welch(fibrillation["II"][3000:], RATE_HZ, nperseg=4096)
    assert 3 < hz[np.argmax(power)] < 7
    assert np.ptp(fibrillation["arterial"][-3000:]) < 2
    assert np.diff(steep_places(again["II"]))[-1] / RATE_HZ < 0.7
    fast = np.diff(steep_places(reentry["II"]))[1:] / RATE_HZ
    assert 60 / fast.mean() == pytest.approx(185, abs=1.5) and fast.std() < 0.004, "from its first beat on"
    slow = steep_places(after["II"])
    assert slow[0] / RATE_HZ > 0.45, "a pause"
    assert 60 * RATE_HZ / np.diff(slow)[1:].mean() == pytest.approx(72, abs=1)
    sequence = np.diff(steep_places(long_qt["II"], long_qt["V1"])) / RATE_HZ
    short, long_, last = sequence[-3:]
    assert short < 0.8 and long_ > 1.2 and last < 0.75, "short, long, short"
    envelope = np.abs(torsades["II"])
    tops = envelope[find_peaks(envelope, prominence=0.15, distance=120)[0]]
    assert tops.max() > 2 * tops.min(), "spindles"
    pauses = np.diff(steep_places(arrest["II"])) / RATE_HZ
    assert pauses.max() == pytest.approx(3.75, abs=0.1), "an escape of the junction"


def test_line_faults_show_as_monitors_see_them(tmp_path):
    good, flush, settled, bubble, clot, _, again, apart, low = (step["arterial"] for step in example(tmp_path, "line-faults", ("arterial",)))
    reads = lambda trace: (np.median([w.max() for w in np.split(trace[4000:12_000], 8)]), np.median([w.min() for w in np.split(trace[4000:12_000], 8)]), trace[4000:12_000].mean())  # noqa: E731
    systolic, diastolic, mean = reads(good)
    assert systolic == pytest.approx(120, abs=3) and diastolic == pytest.approx(80, abs=3)
    assert flush.max() == pytest.approx(300, abs=60) and flush[-300:].mean() == pytest.approx(300, abs=2)
    assert reads(settled)[0] == pytest.approx(systolic, abs=1)
    resonant, damped = reads(bubble), reads(clot)
    assert resonant[0] > systolic + 4 and damped[0] < systolic - 8 and damped[1] > diastolic + 3
    assert damped[2] == pytest.approx(mean, abs=1) and resonant[2] == pytest.approx(mean, abs=1)
    assert reads(again)[0] == pytest.approx(systolic, abs=1)
    assert np.abs(apart[3000:]).max() < 0.5
    assert reads(low)[2] == pytest.approx(mean + 10, abs=1)
