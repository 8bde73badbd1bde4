"""What an experienced eye once found drawn on the strips, each held by a measurement of the samples with numpy and scipy.

Limits that name no source are common practice, no source, or keep the present state where the test says so; figures of textbooks are
from memory.
"""

from __future__ import annotations

import os
import re

import numpy as np
import pytest
from global_qrs import find_qrs
from program import succeed
from reading import read_wav
from scipy.signal import butter, find_peaks, sosfiltfilt

RATE_HZ = 1000
LEADS = ("I", "II", "III", "aVL", "V1", "V2", "V3", "V5", "V6")
BOTH_SIDES = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")


def played(folder, rhythm: str, *settings: str, duration: str = "12s", channels=LEADS, words=()) -> dict[str, np.ndarray]:
    target = folder / "strip.wav"
    sets = [word for setting in settings for word in ("--set", setting)]
    flags = ("--duration", duration, "--frame-rate", RATE_HZ, "--channels", ",".join(channels), "--bits", 24, "-o", target, "--force")
    succeed("render", "--rhythm", rhythm, *sets, *words, *flags)
    recording = read_wav(target)
    return {name: recording.values(name) for name in channels}


def steep_places(*leads: np.ndarray, apart_s: float = 0.18) -> np.ndarray:
    """Middles of the beats, by the energy of all these leads from 5 to 25 Hz."""
    fast = [sosfiltfilt(butter(2, (5, 25), "band", fs=RATE_HZ, output="sos"), lead) for lead in leads]
    energy = np.convolve(np.square(fast).sum(axis=0), np.ones(80) / 80, "same")
    return find_peaks(energy, height=0.25 * np.quantile(energy, 0.99), distance=int(apart_s * RATE_HZ))[0]


def onsets_and_ends(channels: dict[str, np.ndarray]) -> list[tuple[int, int]]:
    found = find_qrs(np.column_stack([channels[name] for name in BOTH_SIDES]), RATE_HZ)
    known = [qrs for qrs in found if qrs.onset_s is not None and qrs.end_s is not None]
    return [(round(qrs.onset_s * RATE_HZ), round(qrs.end_s * RATE_HZ)) for qrs in known]


@pytest.mark.parametrize(
    ("body", "rhythm", "bpm"),
    [("adult", "sinus", 200), ("neonate", "supraventricular-tachycardia", 300), ("neonate", "ventricular-tachycardia", 230), ("adult", "sinus", 60)],
)
def test_t_ends_before_the_next_beat(tmp_path, body, rhythm, bpm):
    """The T wave alone is a render less the same one without T. It ends by 0.9 of RR, but for the tail of the last 5 %."""
    words = ("--body", body, "--rate", bpm)
    leads = ("V2", "V5")
    whole = played(tmp_path, rhythm, channels=leads, words=words)
    bare = played(tmp_path, rhythm, "ecg.t_percent=0", channels=leads, words=words)
    t = np.abs(np.column_stack([whole[name] - bare[name] for name in leads])).max(axis=1)
    beat_s = 60 / bpm
    beats = steep_places(bare["V5"], apart_s=0.6 * beat_s)
    assert 60 / np.mean(np.diff(beats[1:-1])) * RATE_HZ == pytest.approx(bpm, rel=0.01)
    frames = int(beat_s * RATE_HZ)
    middle = len(beats) // 2
    folded = np.median([t[at : at + frames] for at in beats[middle - 2 : middle + 3]], axis=0)
    assert folded.max() > 0.02
    level = 0.06 * folded.max()
    # The middle of a QRS lies up to 60 ms after its onset.
    assert (folded[int((0.93 * beat_s - 0.03) * RATE_HZ) :] < level + 0.002).all()


MEANT_TO_BE_ON_T = re.compile("r-on-t|no-sensing")
"""Rhythms with beats that come on T, or with a device that paces on T."""


def rhythms_without_beats_on_t() -> list[str]:
    words = [line.split()[0] for line in succeed("catalog", "rhythms").stdout.decode().splitlines() if line[:1].islower()]
    return [word for word in words if word != "rhythm" and not MEANT_TO_BE_ON_T.search(word)]


SOME = [
    ("adult", "torsades"),
    ("child", "atrial-tachycardia"),
    ("neonate", "atrial-flutter-varying"),
    ("neonate", "sinus-tachycardia"),
    ("child", "ventricular-bigeminy"),
    ("neonate", "junctional-premature"),
    ("neonate", "atrial-premature"),
]


def every_rhythm() -> list[tuple[str, str]]:
    """Some of them; all rhythms of all bodies with PULSEWRIGHT_LIFE=all."""
    if os.environ.get("PULSEWRIGHT_LIFE") != "all":
        return SOME
    return [(body, rhythm) for body in ("adult", "child", "neonate") for rhythm in rhythms_without_beats_on_t()]


@pytest.mark.parametrize(("body", "rhythm"), every_rhythm())
def test_no_t_wave_takes_more_than_nine_tenths_of_an_interval(tmp_path, body, rhythm):
    """By a render less the same one without T, beat by beat; 0.06 of the interval is for what a T wave's tail and the middle of a QRS,
    from where it counts, leave uncertain. Where intervals differ by chance, one of 25 beats may come sooner."""
    leads, words = ("I", "II", "V2", "V5"), ("--body", body)
    whole, bare = (
        played(tmp_path, rhythm, "pacing.amplitude_mv=0", *more, channels=leads, words=words, duration="20s") for more in ((), ("ecg.t_percent=0",))
    )
    t = np.abs(np.column_stack([whole[name] - bare[name] for name in leads])).max(axis=1)
    # The QRS of a dying heart is as long as a newborn's interval.
    apart_s = 0.35 if rhythm == "agonal" else 0.16
    beats = steep_places(*bare.values(), apart_s=apart_s)[1:-1] if t.max() > 0.02 else []
    shares = []
    for at, following in zip(beats[:-1], beats[1:], strict=True):
        folded = t[at:following]
        top = int(np.argmax(folded[: int(0.95 * len(folded))]))
        gone = np.flatnonzero(folded[top:] < 0.06 * folded.max() + 0.002)
        end = top + int(gone[0]) if len(gone) else len(folded)
        # The middle of a QRS lies some 40 ms after its onset; the point of 6 % some 13 ms after the end by its tangent.
        shares.append((end + 0.027 * RATE_HZ) / (following - at))
    assert (np.array(shares) > 0.96).sum() <= len(shares) / 25, sorted(shares)[-5:]


def test_pr_shortens_as_the_rate_rises(tmp_path):
    """About 160 ms at 70 bpm and 130 ms at 150 (exercise, textbooks). Without T, P stands alone before each QRS."""
    found = {}
    for bpm in (70, 100, 150, 200):
        channels = played(tmp_path, "sinus", "ecg.t_percent=0", channels=BOTH_SIDES, words=("--rate", bpm))
        onset = onsets_and_ends(channels)[6][0]
        lead = channels["II"]
        # From after the QRS before to just before this one.
        before = lead[onset - min(240, 60_000 // bpm - 115) : onset - 12]
        above = np.flatnonzero(before - before[0] > 0.08 * (before.max() - before[0]))
        found[bpm] = int(len(before) + 12 - above[0])
    assert found[70] == pytest.approx(160, abs=16), found
    assert found[150] == pytest.approx(127, abs=16), found
    assert found[70] > found[100] > found[150] > found[200], found


@pytest.mark.parametrize(
    ("rhythm", "least", "most"),
    [
        ("atrial-flutter", 90, 140),  # 4:1 of 360 to 560 a minute (from memory)
        ("av-block-2-1", 55, 95),
        ("av-block-3-ventricular", 40, 70),  # congenital block: 50 to 80 (from memory)
        ("av-block-3-junctional", 50, 85),
        ("idioventricular-accelerated", 100, 180),
        ("sinus-tachycardia", 165, 215),
    ],
)
def test_newborns_have_rates_of_their_own(tmp_path, rhythm, least, most):
    lead = played(tmp_path, rhythm, channels=("II", "V1"), words=("--body", "neonate"))
    beats = steep_places(lead["V1"] if rhythm == "idioventricular-accelerated" else lead["II"], apart_s=0.22)
    assert least <= 60 * RATE_HZ / np.median(np.diff(beats)) <= most


def test_coarse_fibrillation_is_rough(tmp_path):
    """Its waves differ in height and in width."""
    ii = played(tmp_path, "ventricular-fibrillation", channels=("II",), duration="60s")["II"]
    tops, _ = find_peaks(ii, prominence=0.2)
    heights, widths = ii[tops], np.diff(tops) / RATE_HZ
    assert heights.std() / heights.mean() > 0.3
    assert widths.std() / widths.mean() > 0.15


def test_bidirectional_beats_are_no_mirror_images(tmp_path):
    channels = played(tmp_path, "ventricular-tachycardia-bidirectional", channels=("II", "V1", "V5"))
    beats = steep_places(channels["II"])[3:7]
    one, other = (np.concatenate([channels[name][at - 80 : at + 120] for name in ("II", "V1", "V5")]) for at in beats[:2])
    assert -0.99 < np.corrcoef(one, other)[0, 1] < -0.3


def test_potassium_widens_and_merges(tmp_path):
    """Hyperkalaemia: T starts near J, is at least 160 ms wide at its base, and P flattens."""
    settings = ("ecg.t_tenting_percent=100", "ecg.t_percent=220")
    tall, usual = (played(tmp_path, "sinus", *chosen, channels=BOTH_SIDES) for chosen in (settings, ()))
    onset, end = onsets_and_ends(usual)[5]
    t = tall["V3"][end : end + 420]
    wide = np.flatnonzero(t > 0.1 * t.max())
    assert wide[-1] - wide[0] >= 160
    assert wide[0] < 30, "no level ST segment"
    p_tall, p_usual = (np.ptp(channels["II"][onset - 160 : onset - 20]) for channels in (tall, usual))
    assert p_tall < 0.5 * p_usual


def test_inferior_elevation_is_a_right_coronarys(tmp_path):
    """III over II, I and aVL depressed (AHA/ACCF/HRS part VI, 2009, from memory); a dome, no shelf with a corner."""
    raised, usual = (played(tmp_path, "sinus", *chosen) for chosen in (("st.inferior_mv=0.2",), ()))
    onset, end = onsets_and_ends(played(tmp_path, "sinus", channels=BOTH_SIDES))[5]
    change = {name: raised[name] - usual[name] for name in LEADS}
    at = end + 80
    assert change["III"][at] > 1.2 * change["II"][at] > 0.1
    assert change["I"][at] < -0.03 and change["aVL"][at] < -0.08
    bend = np.abs(np.diff(change["III"][onset : end + 400], 2)).max() * RATE_HZ**2
    # A flank of 50 ms without a corner bends by 530 mV/s2; an edge from level to 2 mV/s within a frame by 2000.
    assert bend < 1000


@pytest.mark.parametrize(("wall", "inverted", "upright"), [("anterior", "V2", "II"), ("inferior", "III", "V3"), ("lateral", "V6", "V2")])
def test_t_is_inverted_over_one_wall(tmp_path, wall, inverted, upright):
    channels = played(tmp_path, "sinus", f"t.{wall}_mv=-0.5")
    onset, _ = onsets_and_ends(played(tmp_path, "sinus", channels=BOTH_SIDES))[5]
    t = {name: channels[name][onset + 200 : onset + 400] for name in (inverted, upright)}
    assert t[inverted].min() < -0.15 and t[upright].max() > 0.15


def test_retrograde_p_ends_the_qrs_of_a_reentry(tmp_path):
    """Pseudo-r' in V1 and pseudo-S in II (textbooks), against the same beats without P."""
    with_p = played(tmp_path, "supraventricular-tachycardia", channels=("II", "V1"))
    without = played(tmp_path, "atrial-fibrillation-complete-block", channels=("II", "V1"), words=("--rate", 45), duration="10s")
    for name, sign in (("V1", 1), ("II", -1)):
        beat = with_p[name][steep_places(with_p["II"])[8] :]
        other = without[name][steep_places(without["II"])[3] :]
        window = slice(55, 150)
        extra = sign * (beat[window] - np.median(other[window]))
        assert 0.04 < extra.max() < 0.3, name


def test_fascicular_and_pre_excited_beats_have_one_clean_r(tmp_path):
    for rhythm, lead in (("left-posterior-fascicular-block", "III"), ("left-posterior-fascicular-block", "II"), ("pre-excitation", "II")):
        channels = played(tmp_path, rhythm, channels=(*BOTH_SIDES, "III"))
        onset, end = onsets_and_ends(channels)[4]
        tops, _ = find_peaks(channels[lead][onset:end], prominence=0.05 * np.ptp(channels[lead][onset:end]))
        assert len(tops) == 1, (rhythm, lead)
    delta = played(tmp_path, "pre-excitation", channels=("II", "aVL", "V5"))
    onset = onsets_and_ends(played(tmp_path, "pre-excitation", channels=BOTH_SIDES))[4][0]
    slope = np.diff(delta["II"][onset : onset + 70])
    bends = np.abs(np.diff(slope)).max() * RATE_HZ**2
    assert bends < 6000, "no kink where delta meets R"
    rising = np.diff(delta["II"][onset : onset + 90])
    # A delta wave: a start of 40 ms that is not half as steep as R, and no small wave (textbooks).
    assert rising[:40].max() < 0.5 * rising.max() and delta["II"][onset + 40] - delta["II"][onset] > 0.1
    assert np.abs(delta["aVL"][onset : onset + 60]).max() > 0.03, "aVL is not silent"


def test_short_qt_has_no_level_st(tmp_path):
    channels = played(tmp_path, "short-qt", channels=BOTH_SIDES)
    _, end = onsets_and_ends(channels)[5]
    rising = np.diff(channels["V3"][end + 10 : end + 90])
    assert (rising > 0).mean() > 0.95


OF_FRONTS = ("II", "V1", "V5")


def qrs_at(channels: dict[str, np.ndarray], at: int) -> np.ndarray:
    return np.concatenate([channels[name][at - 90 : at + 110] for name in OF_FRONTS])


def likest(channels: dict[str, np.ndarray], at: int, model: np.ndarray) -> float:
    """Largest correlation with a QRS, wherever within 40 ms it lies."""
    return max(np.corrcoef(qrs_at(channels, at + lag), model)[0, 1] for lag in range(-40, 41, 4))


def test_a_slow_tachycardia_has_captures_and_fusions_of_degrees(tmp_path):
    """Captures and fusion beats prove the ventricles' origin (textbooks): a fused QRS is anything between a beat of each front, with no
    spike of its own beside them, and not one like the next."""
    channels = played(tmp_path, "ventricular-tachycardia", channels=OF_FRONTS, words=("--rate", 110), duration="150s")
    narrow = played(tmp_path, "sinus", channels=OF_FRONTS)
    beats = [int(at) for at in steep_places(*channels.values())[2:-2]]
    wide_qrs = np.median([qrs_at(channels, at) for at in beats], axis=0)
    narrow_qrs = np.median([qrs_at(narrow, at) for at in steep_places(*narrow.values())[2:-2]], axis=0)
    wide = np.array([likest(channels, at, wide_qrs) for at in beats])
    captured = np.array([likest(channels, at, narrow_qrs) for at in beats]) > 0.95
    fused = ~captured & (wide < 0.95)
    assert captured.sum() >= 3 and fused.sum() >= 5 and (wide > 0.95).mean() > 0.6
    among = [at for at, of_both in zip(beats, fused, strict=True) if of_both]
    # Alike to the wide beat from hardly to nearly.
    assert np.ptp(wide[fused]) > 0.15, wide[fused]
    for at in among:
        for name in OF_FRONTS:
            qrs = channels[name][at - 90 : at + 110]
            turns = [top for sign in (1, -1) for top in find_peaks(sign * qrs, prominence=0.12 * np.ptp(qrs))[0]]
            assert len(turns) <= 3, (at, name)
    # Not every third beat, in step.
    beyond = np.diff(np.flatnonzero(captured | fused))
    assert beyond.std() / beyond.mean() > 0.3


def couplings_ms(folder, *settings: str) -> np.ndarray:
    """From each beat to the premature one after it: intervals below 0.75 of the median."""
    channels = played(folder, "ventricular-premature", *settings, channels=("II",), duration="300s")
    rr = np.diff(steep_places(channels["II"]))
    return rr[rr < 0.75 * np.median(rr)] * 1000 / RATE_HZ


def test_premature_beats_come_as_set_and_not_all_alike(tmp_path):
    alike = couplings_ms(tmp_path)
    assert alike.std() < 4 and len(alike) / 5 == pytest.approx(6, abs=1.5)
    living = couplings_ms(tmp_path, "life=resting")
    # By quartiles: some wait for the end of T.
    assert 8 < np.subtract(*np.percentile(living, [75, 25])) / 1.35 < 25
    later = couplings_ms(tmp_path, "heart.coupling_ms=580", "heart.premature_per_min=12")
    assert np.median(later) - np.median(alike) == pytest.approx(580 - 0.6 * 60_000 / 70, abs=12)
    assert len(later) / 5 == pytest.approx(12, abs=2.5)


def test_sinus_pauses_differ_and_the_long_ones_end_with_an_escape(tmp_path):
    channels = played(tmp_path, "sinus-arrest", "life=resting", channels=("II",), duration="300s", words=("--seed", 3))
    ii = channels["II"]
    beats = steep_places(ii)
    pauses = np.diff(beats) / RATE_HZ
    long = pauses[pauses > 1.9]
    assert long.std() / long.mean() > 0.15 and long.max() < 4.0
    with_p = [np.ptp(ii[at - 190 : at - 60]) > 0.07 for at in beats[1:][pauses > 1.9]]
    # A sinus beat ends some, an escape of the junction without P the others.
    assert 0.1 < np.mean(with_p) < 0.95


def test_an_interpolated_beat_lengthens_the_next_pr(tmp_path):
    """Concealed conduction (textbooks). QRS by QRS: the sinus beat after it comes late by as much, the next one on time."""
    channels = played(tmp_path, "ventricular-interpolated", channels=("II",), duration="120s")
    beats = steep_places(channels["II"])
    rr = np.diff(beats) * 1000 / RATE_HZ
    usual = np.median(rr)
    early = np.flatnonzero(rr < 0.6 * usual)
    early = early[(early > 2) & (early < len(rr) - 4)]
    pairs = [k for k in early if rr[k + 1] < 0.9 * usual]
    assert len(pairs) >= 4
    around = np.array([rr[k] + rr[k + 1] - usual for k in pairs])
    assert (around > 15).all() and (around < 120).all(), around
    after = np.array([rr[k + 2] - usual for k in pairs])
    assert after + around == pytest.approx(np.zeros(len(pairs)), abs=12)


def test_multifocal_beats_have_more_than_two_shapes(tmp_path):
    channels = played(tmp_path, "ventricular-multifocal", channels=("I", "II", "V1", "V5"), duration="200s")
    beats = steep_places(*channels.values())
    rr = np.diff(beats)
    premature = beats[1:][rr < 0.75 * np.median(rr)]
    shapes = [np.concatenate([channels[name][at - 80 : at + 120] for name in channels]) for at in premature]
    kinds: list[np.ndarray] = []
    for shape in shapes:
        if all(np.corrcoef(shape, kind)[0, 1] < 0.9 for kind in kinds):
            kinds.append(shape)
    assert 3 <= len(kinds) <= 5, len(kinds)


def test_breathing_of_the_chest_shows_in_the_intracranial_pressure(tmp_path):
    """Half of the chest's swing shows in the intracranial pressure (documented)."""
    channels = played(tmp_path, "sinus", "chest.breathing_mmhg=6", channels=("intracranial",), duration="40s")
    slow = sosfiltfilt(butter(2, 0.5, "low", fs=RATE_HZ, output="sos"), channels["intracranial"])[5000:-5000]
    assert 2.0 < np.ptp(slow) < 4.0


@pytest.mark.parametrize(("rhythm", "pr"), [("sinus", True), ("ventricular-bigeminy", False)])
@pytest.mark.parametrize("length_s", [9, 10])
def test_the_intervals_on_a_strip_are_those_of_its_samples(tmp_path, rhythm, pr, length_s):
    """RR of an irregular strip, with an even and an odd number of intervals, and QRS: medians of what scipy finds in the samples. In
    bigeminy an even number has its median between the short and the long one."""
    words = ("--rate", 66, "--seed", 5)
    settings = ("variability.breathing_ms=120",) if pr else ()
    channels = played(tmp_path, rhythm, *settings, channels=BOTH_SIDES, duration=f"{length_s}s", words=words)
    beats = steep_places(*channels.values(), apart_s=0.3)
    rr_ms = np.median(np.diff(beats)) * 1000 / RATE_HZ
    svg = tmp_path / "strip.svg"
    sets = [word for setting in settings for word in ("--set", setting)]
    succeed("plot", "--rhythm", rhythm, *words, *sets, "--duration", f"{length_s}s", "-o", svg, "--force")
    line = re.search(r"RR (\d+) .*?QRS (\d+) ", svg.read_text(encoding="utf-8"))
    # A narrow and a wide QRS have their steepest places at different times after their onsets.
    assert float(line[1]) == pytest.approx(rr_ms, abs=12 if pr else 25)
    if pr:
        qrs_ms = np.median([end - onset for onset, end in onsets_and_ends(channels)]) * 1000 / RATE_HZ
        assert float(line[2]) == pytest.approx(qrs_ms, abs=10)


def level_share(lead: np.ndarray, length_s: float = 0.06, mv: float = 0.03) -> float:
    """Share of the time in which a lead stays within so many mV for so long."""
    n = int(length_s * RATE_HZ)
    windows = np.lib.stride_tricks.sliding_window_view(lead, n)[:: n // 6]
    return float((np.ptp(windows, axis=1) < mv).mean())


@pytest.mark.parametrize(("rhythm", "most"), [("torsades", 0.015), ("ventricular-tachycardia-polymorphic", 0.042)])
def test_turning_tachycardias_leave_hardly_a_level_line(tmp_path, rhythm, most):
    """The shares keep the present state."""
    ii = played(tmp_path, rhythm, channels=("II",), duration="30s")["II"]
    assert level_share(ii[RATE_HZ:]) < most


@pytest.mark.parametrize(("rhythm", "most_mv_per_s"), [("idioventricular", 34), ("agonal", 22)])
def test_slow_ventricular_beats_rise_in_one_sweep(tmp_path, rhythm, most_mv_per_s):
    """No edge at the start and no step on the way: the slope of II up to R falls from its one top without a second rise of a third of it.
    The steepest slopes keep the present state."""
    ii = played(tmp_path, rhythm, channels=("II",), duration="30s")["II"]
    top = int(np.argmax(ii[2000:-1000])) + 2000
    onset = top - int(np.argmax(ii[top - 150 : top][::-1] < 0.02 * ii[top]))
    slope = np.diff(ii[onset : top + 1]) * RATE_HZ
    assert slope.max() < most_mv_per_s
    steepest = int(slope.argmax())
    after = slope[steepest:]
    assert (after - np.minimum.accumulate(after)).max() < slope.max() / 3
