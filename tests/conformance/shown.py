"""Readings of a correct monitor from rendered samples: measured with scipy alone, from no truth file and no setting.

The rules are those that docs/script.md states under "Expectations":
- a heart rate is the mean of the last 12 RR intervals without the longest and the shortest, or of the last 4 when three in a row
  exceed 1200 ms (makers' disclosures under EC13 4.1.2.1 d); 4 s without a beat show as 0 (makers' printed defaults);
- a pulse rate is averaged likewise, once over every pulse of 2 mmHg and once over those at least half as high as the highest of
  the last eight (common practice, no source);
- a breathing rate is that of the last 8 breaths of at least 0.1 ohm (common practice, no source);
- a pressure is the highest, the lowest and the mean of each pulse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter
from scipy.signal import butter, find_peaks, peak_prominences, sosfiltfilt

LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")
KEPT, FEW, SLOW_S, SILENCE_S = 12, 4, 1.2, 4.0
BREATHS, SMALLEST_BREATH_OHM, APNOEA_S = 8, 0.1, 20.0
SMALLEST_PULSE_MMHG, WEAK, COMPARED = 2.0, 0.5, 8

Range = tuple[float, float]


@dataclass(frozen=True)
class Band:
    """A reading as shown: for its lowest value, its highest and its mean the range in which each may be reported.

    One beat more or less at the edges of the time watched is no fault, so the ends of a range are measured with and without it.
    """

    low: Range
    high: Range
    mean: Range
    count: int
    edges: tuple[Range, Range] | None = None
    """Of a rate: the lower and the higher of those at its two ends, each with the range of the three intervals there."""

    def __str__(self) -> str:
        return "mean {:.2f} to {:.2f}, low {:.2f} to {:.2f}, high {:.2f} to {:.2f}".format(*self.mean, *self.low, *self.high)


def band(values: list[np.ndarray], means: list[float], count: int, edges: tuple[Range, Range] | None = None) -> Band:
    """A band of what is shown, from the values shown over times that differ at their edges."""
    lows, highs = [of.min() for of in values if len(of)], [of.max() for of in values if len(of)]
    return Band((min(lows), max(lows)), (min(highs), max(highs)), (min(means), max(means)), count, edges)


QRS_MV_PER_S = 10.5
"""Speed of the potentials, over all leads, that a QRS of an ECG of usual size has and a P wave has not."""

SHARE_OF_FASTEST = 0.25
"""Of the fastest QRS within a few seconds: what waves of fibrillating atria do not reach."""

SHARP = 0.25
"""Share of that speed from 12 Hz up: a T wave, tall or not, has less, a wide QRS more."""

ALONE, NEAR_S = 0.51, 0.22
"""A peak of speed beside a faster one is a QRS of its own when the speed falls by this share in between: a wide QRS has two slopes."""


APART_S, APART = 0.15, 0.25
"""Two slopes of one QRS are nearer than this to each other: a peak that is the fastest about it is a QRS when the speed falls by this
share in between."""

AFTER_S, AFTER = 0.3, 0.33
"""So soon after a QRS, a peak slower than this share of it is its T wave, or a P wave on it."""


SEARCHED_BACK, HALF = 1.66, 0.5
"""An RR interval longer than this share of the mean of the eight before is searched again with half the thresholds (Pan and Tompkins,
IEEE Transactions on Biomedical Engineering 1985, from memory)."""


def speed_mv_per_s(leads_mv: np.ndarray, frame_rate_hz: float, band_hz: Range) -> np.ndarray:
    """Speed of the potentials of all leads (one a row) within a band, smoothed over a QRS."""
    within = butter(2, band_hz, btype="bandpass", fs=frame_rate_hz, output="sos")
    moved = np.gradient(sosfiltfilt(within, leads_mv, axis=1), axis=1) * frame_rate_hz
    return np.sqrt(gaussian_filter1d(np.square(moved).sum(axis=0), 0.03 * frame_rate_hz))


def beats_s(leads_mv: list[np.ndarray], frame_rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """QRS complexes, where the potentials of all leads are fast and sharp enough: the middle of each, and where it is fastest.

    The middle is the centre of its power: its largest deflection may be another one from beat to beat.
    """
    # One or two samples are a pacing pulse.
    potentials = np.array([median_filter(lead, 5) for lead in leads_mv])
    speed = speed_mv_per_s(potentials, frame_rate_hz, (3.0, 25.0))
    sharp = maximum_filter1d(speed_mv_per_s(potentials, frame_rate_hz, (12.0, 40.0)), int(0.16 * frame_rate_hz))
    peaks, _ = find_peaks(speed, distance=max(1, int(0.14 * frame_rate_hz)), height=QRS_MV_PER_S)
    falls = peak_prominences(speed, peaks, wlen=int(1.2 * frame_rate_hz))[0] / speed[peaks]

    def is_fastest(within_s: float) -> np.ndarray:
        return speed[peaks] >= maximum_filter1d(speed, int(2 * within_s * frame_rate_hz))[peaks]

    alone = (falls > ALONE) | is_fastest(NEAR_S) | is_fastest(APART_S) & (falls > APART)
    before = [speed[max(0, peak - int(AFTER_S * frame_rate_hz)) : peak].max(initial=0.0) for peak in peaks]
    alone &= speed[peaks] > AFTER * np.array(before)
    fastest = maximum_filter1d(speed, int(8.0 * frame_rate_hz))
    is_sharp = sharp[peaks] > SHARP * speed[peaks]
    kept = alone & (speed[peaks] > SHARE_OF_FASTEST * fastest[peaks]) & is_sharp
    kept = searched_back(peaks, kept, (falls > HALF * ALONE) & is_sharp, speed[peaks])
    quick = sosfiltfilt(butter(2, (1.0, 40.0), btype="bandpass", fs=frame_rate_hz, output="sos"), potentials, axis=1)
    size, around = np.square(quick).sum(axis=0), int(0.06 * frame_rate_hz)
    first = np.maximum(0, peaks[kept] - around)
    powers = [size[a : peak + around] for a, peak in zip(first, peaks[kept], strict=True)]
    middle = [a + np.average(np.arange(len(power)), weights=power) for a, power in zip(first, powers, strict=True)]
    return np.array(middle) / frame_rate_hz, peaks[kept] / frame_rate_hz


def searched_back(peaks: np.ndarray, kept: np.ndarray, may_be: np.ndarray, speeds: np.ndarray) -> np.ndarray:
    """The peaks kept, and in each long RR interval the fastest that may be a QRS, when it is half as fast as the QRS before and after."""
    kept, sure = kept.copy(), np.flatnonzero(kept)
    intervals = np.diff(peaks[sure])
    for i in range(1, len(intervals)):
        inside = np.flatnonzero(may_be[sure[i] + 1 : sure[i + 1]]) + sure[i] + 1
        if not len(inside) or intervals[i] <= SEARCHED_BACK * intervals[max(0, i - 8) : i].mean():
            continue
        best = inside[np.argmax(speeds[inside])]
        kept[best] |= speeds[best] > HALF * max(speeds[sure[i]], speeds[sure[i + 1]])
    return kept


SLOWEST_RISE_MMHG_PER_S = 5.0
"""Of a pulse of 2 mmHg that rises for its usual time, at its steepest."""

LATE_S = ((-0.03, 0.03), (-0.045, 0.03), (-0.14, 0.18))
"""How much sooner or later than usual a pulse follows its beat. The time from QRS to ejection differs by less from beat to beat
(common practice, no source), but a QRS with a pacing pulse in it may be fastest late, and a weak pulse that begins within the
dicrotic wave before it seems to be late. One who looks widely takes some dicrotic waves for pulses."""

SOONEST_S = -0.15
"""A QRS with a pacing pulse in it may be fastest so late; a rise that soon is a pulse when it is steeper than any dicrotic wave."""

LATE_QRS_S, STEEPER = -0.08, 1.5
"""So late the QRS of a pacing device may be fastest, and so much steeper than its dicrotic wave a pulse rises."""

NOTCH_WITHIN_S, NOTCH_STEEPER = 0.008, 1.3
"""A rise as late after its pulse as the dicrotic wave of the others, and no steeper beside it than theirs, is a dicrotic wave: the
valve closes at a nearly constant time after it opened (common practice, no source)."""

PREMATURE = 0.8
"""A beat is premature when it comes earlier than this share of the median interval about it."""


def feet_s(pressure_mmhg: np.ndarray, frame_rate_hz: float, beats: np.ndarray, after_s: float, late_s: Range) -> np.ndarray:
    """Feet of an artery's pulses: of each beat the rise that follows as late as those of its neighbours, and where it turns up."""
    smooth = gaussian_filter1d(np.asarray(pressure_mmhg, dtype=np.float64), 0.008 * frame_rate_hz)
    slope = np.gradient(smooth) * frame_rate_hz
    rises, _ = find_peaks(slope, height=SLOWEST_RISE_MMHG_PER_S, distance=max(1, int(0.03 * frame_rate_hz)))
    times = rises / frame_rate_hz

    def owned_from(after_s: float) -> tuple[list[np.ndarray], list[int | None]]:
        """The rises after each beat, and the steepest of them."""
        owner = np.searchsorted(beats + after_s, times, side="right") - 1
        owned = [np.flatnonzero((owner == i) & (times < beat + 0.5)) for i, beat in enumerate(beats)]
        return owned, [own[np.argmax(slope[rises[own]])] if len(own) else None for own in owned]

    def steepness(firsts: list[int | None]) -> np.ndarray:
        return np.array([np.nan if first is None else slope[rises[first]] for first in firsts])

    owned, firsts = owned_from(after_s)
    # A QRS of a pacing device is fastest late: then only a dicrotic wave may come after, and the pulse before is steeper.
    sooner = owned_from(after_s + LATE_QRS_S)
    usual_steepness, sooner_steepness = steepness(firsts), steepness(sooner[1])
    paced = [around(sooner_steepness, i) > STEEPER * np.nan_to_num(around(usual_steepness, i)) for i in range(len(beats))]
    owned = [early if late_qrs else usual for usual, early, late_qrs in zip(owned, sooner[0], paced, strict=True)]
    firsts = [early if late_qrs else usual for usual, early, late_qrs in zip(firsts, sooner[1], paced, strict=True)]
    steepest = np.array([np.nan if first is None else times[first] - beat for first, beat in zip(firsts, beats, strict=True)])
    waves = [slope[rises[own[times[own] > times[first] + 0.12]]] for own, first in zip(owned, firsts, strict=True) if first is not None]
    steep = 1.3 * np.percentile(np.concatenate([*waves, [0.0]]), 95)
    # Of each pulse how late its dicrotic wave rises, and how steeply beside the pulse.
    notches = np.full((2, len(beats)), np.nan)
    for i, (own, first) in enumerate(zip(owned, firsts, strict=True)):
        after = own[times[own] > times[first] + 0.12] if first is not None else ()
        if len(after):
            wave = after[np.argmax(slope[rises[after]])]
            notches[:, i] = times[wave] - times[first], slope[rises[wave]] / slope[rises[first]]
    feet, pulse = [], None

    def is_notch(rise: int, i: int) -> bool:
        """Whether a rise is the dicrotic wave of the pulse before."""
        if pulse is None:
            return False
        late_s, share = (around(of, i) for of in notches)
        on_time = abs(times[rise] - times[pulse] - late_s) < NOTCH_WITHIN_S
        return on_time and slope[rises[rise]] < NOTCH_STEEPER * share * slope[rises[pulse]]

    for i, beat in enumerate(beats):
        late = times - beat - around(steepest, i)
        near = np.flatnonzero((late > late_s[0]) & (late < late_s[1]))
        if not len(near):
            near = np.flatnonzero((late > SOONEST_S) & (late < late_s[1]) & (slope[rises] > steep))
        # Before the weak pulse of a premature beat there may be the dicrotic wave of the pulse before.
        premature = i > 0 and beat - beats[i - 1] < PREMATURE * np.median(np.diff(beats[max(0, i - 5) : i + 5]))
        if premature:
            near = near[[not is_notch(rise, i) for rise in near]]
        if len(near):
            pulse = near[-1 if premature else np.argmin(np.abs(late[near]))]
            rise = rises[pulse]
            foot = turn(pressure_mmhg, slope, rise, frame_rate_hz)
            if np.max(pressure_mmhg[rise : rise + int(0.25 * frame_rate_hz)]) - pressure_mmhg[foot] >= SMALLEST_PULSE_MMHG:
                feet.append(foot)
    return np.unique(feet) / frame_rate_hz


def around(values: np.ndarray, i: int) -> float:
    """Median of the values about one, NaN where there are none."""
    known = values[max(0, i - 7) : i + 8]
    known = known[~np.isnan(known)]
    return float(np.median(known)) if len(known) else np.nan


def turn(pressure: np.ndarray, slope: np.ndarray, rise: int, frame_rate_hz: float) -> int:
    """Where the rise whose steepest sample is given begins: the lowest sample about the last one that hardly rises."""
    begin = max(0, rise - int(0.25 * frame_rate_hz))
    calm = slope[begin:rise] <= 0.05 * slope[rise]
    # A pulse that begins within a dicrotic wave begins where the wave is least steep.
    calm[1:] |= (slope[begin : rise - 1] > slope[begin + 1 : rise]) & (slope[begin + 1 : rise] <= slope[begin + 2 : rise + 1]) & (slope[begin + 1 : rise] < 0.5 * slope[rise])
    calm = np.flatnonzero(calm)
    about = begin + (int(calm[-1]) if len(calm) else 0)
    first = max(0, about - int(0.008 * frame_rate_hz))
    return first + int(np.argmin(pressure[first : min(rise, about + int(0.025 * frame_rate_hz)) + 1]))


def averaged(intervals: np.ndarray, slow_s: float) -> float:
    """The rate that a monitor shows after these intervals, the newest last; those above `slow_s` are slow."""
    last = intervals[-KEPT:]
    if len(last) >= 3 and np.all(last[-3:] > slow_s):
        kept = last[-FEW:]
    elif len(last) > 4:
        kept = np.sort(last)[1:-1]
    else:
        kept = last
    return 60.0 / float(kept.mean())


def edged(times: np.ndarray, from_s: float, end_s: float) -> list[tuple[int, int]]:
    """First and last of the times within a span, each with one more or less at its edge."""
    first, last = int(np.searchsorted(times, from_s)), int(np.searchsorted(times, end_s)) - 1
    firsts = {max(first - 1, 0), first, first + 1}
    return [(a, b) for a in firsts for b in (last - 1, last, last + 1) if b < len(times) and b > a]


def shown_rates(times: np.ndarray, begin_s: float, from_s: float, end_s: float) -> Band | None:
    """Heart rate that a monitor shows for beats at these times, from `from_s` on, having started to average at `begin_s`."""
    times = times[(times >= begin_s) & (times < end_s + SILENCE_S)]
    inside = times[(times >= from_s) & (times < end_s)]
    if len(inside) < 2:
        return None
    intervals = np.diff(times)
    values, means = [], []
    # Intervals of just 1200 ms are slow or not by a fraction of a frame.
    for slow_s in (SLOW_S - 0.005, SLOW_S + 0.005):
        shown = np.array([averaged(intervals[: i + 1], slow_s) if i + 1 >= FEW else np.nan for i in range(len(intervals))])
        for first, last in edged(times, from_s, end_s):
            mean = 60.0 * (last - first) / (times[last] - times[first])
            of = shown[max(first - 1, 0) : last]
            means.append(mean)
            values.append(np.append(of[~np.isnan(of)], mean))
    pauses = np.diff(np.concatenate(([from_s], inside, [end_s])))
    pauses[0] = inside[1] - inside[0]
    if pauses.max() >= SILENCE_S + 0.05:
        values = [np.append(of, 0.0) for of in values]
    elif pauses.max() >= SILENCE_S - 0.05:
        # Whether a pause of 4 s shows as 0 is decided by milliseconds.
        values = [*values, np.append(values[0], 0.0)]
    # The interval that is under way when the watch begins is one of the first.
    return band(values, means, len(inside) - 1, at_ends(times[max(int(np.searchsorted(times, from_s)) - 1, 0) :][: len(inside) + 1]))


def at_ends(times: np.ndarray) -> tuple[Range, Range]:
    """The lower and the higher of the rates at both ends, as one of three intervals has each: a last beat is marked less exactly."""
    rates = 60.0 / np.diff(times)
    (least, most) = zip(*((of.min(), of.max()) for of in (rates[:3], rates[-3:])), strict=True)
    return (float(min(least)), float(min(most))), (float(max(least)), float(max(most)))


def joined(*bands: Band | None) -> Band | None:
    """The band that holds several: what one or another monitor shows. The mean is that of any of them."""
    known = [one for one in bands if one]
    if not known:
        return None
    lows, highs = [one.low for one in known], [one.high for one in known]
    return Band(
        (min(low[0] for low in lows), min(low[1] for low in lows)),
        (max(high[0] for high in highs), max(high[1] for high in highs)),
        known[0].mean,
        known[0].count,
        known[0].edges,
    )


def shown_pulses(pressure_mmhg: np.ndarray, frame_rate_hz: float, feet: np.ndarray, begin_s: float, from_s: float, end_s: float) -> Band | None:
    """Pulse rates of two monitors: one that counts every pulse, and one that misses the weak ones."""
    own = feet[feet >= begin_s]
    ends = np.append(own[1:], own[-1:] + 0.5)
    heights = np.array(
        [np.max(pressure_mmhg[round(a * frame_rate_hz) : round(b * frame_rate_hz)]) - pressure_mmhg[round(a * frame_rate_hz)] for a, b in zip(own, ends, strict=True)]
    )
    own, heights = own[heights >= SMALLEST_PULSE_MMHG], heights[heights >= SMALLEST_PULSE_MMHG]
    every = shown_rates(own, begin_s, from_s, end_s)
    # A pulse at the edge of what is weak may count or not.
    strong = [
        shown_rates(own[[h >= share * heights[max(0, i + 1 - COMPARED) : i + 1].max() for i, h in enumerate(heights)]], begin_s, from_s, end_s)
        if len(own)
        else None
        for share in (0.95 * WEAK, WEAK, 1.05 * WEAK)
    ]
    bands = [joined(every, one if one and one.low[0] > 0.0 else None) for one in strong]
    if None in bands:
        return every
    return Band(
        (min(one.low[0] for one in bands), max(one.low[1] for one in bands)),
        (min(one.high[0] for one in bands), max(one.high[1] for one in bands)),
        every.mean,
        every.count,
        every.edges,
    )


def shown_breaths(impedance_ohm: np.ndarray, frame_rate_hz: float, begin_s: float, from_s: float, end_s: float) -> Band | None:
    """Breathing rate that a monitor shows: that of the last eight breaths."""
    slow = sosfiltfilt(butter(3, 4.0, fs=frame_rate_hz, output="sos"), impedance_ohm)
    tops, _ = find_peaks(slow, prominence=SMALLEST_BREATH_OHM, distance=max(1, int(0.2 * frame_rate_hz)))
    # A breath counts from its start, as breaths of other lengths have their tops elsewhere.
    starts = []
    for before, top in zip(np.append(0, tops)[:-1], tops, strict=True):
        low = before + int(np.argmin(slow[before : top + 1]))
        rising = np.flatnonzero(slow[low:top] < slow[low] + 0.05 * (slow[top] - slow[low]))
        starts.append(low + int(rising[-1]) if len(rising) else low)
    times = np.array(starts) / frame_rate_hz
    # Of a change of rate the first breath is still the old one, at most six seconds: it may be averaged or not.
    times = times[times < end_s + 6.0]
    inside = times[(times >= from_s) & (times < end_s)]
    if len(inside) < 2:
        return None
    values, means = [], []
    for counted in (times[times >= min(begin_s + 6.0, from_s)], times[times >= begin_s]):
        for first, last in edged(counted, from_s, end_s):
            mean = 60.0 * (last - first) / (counted[last] - counted[first])
            means.append(mean)
            eights = [60.0 * BREATHS / (counted[i] - counted[i - BREATHS]) for i in range(max(first, BREATHS), last + 1)]
            # Before eight have come a monitor may show the rate of fewer.
            fewer = [60.0 * min(i, BREATHS) / (counted[i] - counted[i - min(i, BREATHS)]) for i in range(max(first, 1), last + 1)]
            values += [np.array([*eights, mean]), np.array([*fewer, mean])]
    if np.diff(np.append(inside, end_s)).max() >= APNOEA_S:
        values = [np.append(of, 0.0) for of in values]
    return band(values, means, len(inside) - 1, at_ends(inside))


@dataclass(frozen=True)
class Shown:
    """Readings of a pressure, and whether it has pulses."""

    parts: tuple[Band, Band, Band]
    pulses: bool


def shown_pressure(pressure_mmhg: np.ndarray, frame_rate_hz: float, feet: np.ndarray, begin_s: float, from_s: float, end_s: float) -> Shown:
    """Systolic, diastolic and mean of the pulses between these feet."""
    # A jump of the level at the edge of a step is no pulse.
    feet = feet[(feet >= begin_s + 0.02) & (feet < end_s + 0.02)]
    if np.count_nonzero(feet >= from_s) < 3:
        # Nothing beats: a second at a time.
        part = pressure_mmhg[round(from_s * frame_rate_hz) : round(end_s * frame_rate_hz)]
        second = round(frame_rate_hz)
        pieces = part[: len(part) // second * second].reshape(-1, second)
        ends = [float(of.mean()) for of in (part, part[second:], part[:-second])]
        highs, lows = pieces.max(axis=1), pieces.min(axis=1)
        # A second may begin elsewhere.
        moved = part[second // 2 :][: (len(part) - second // 2) // second * second].reshape(-1, second)
        means = [pieces.mean(axis=1), moved.mean(axis=1)]
        parts = (band([highs], [float(highs.mean())], len(highs)), band([lows], [float(lows.mean())], len(lows)), band(means, ends, len(highs)))
        return Shown(parts, False)
    highest, lowest, means, lengths = [], [], [], []
    before = None
    for a, b in zip(feet[:-1], feet[1:], strict=True):
        pulse = pressure_mmhg[round(a * frame_rate_hz) : round(b * frame_rate_hz)]
        highest.append(pulse.max())
        # The lowest since the peak before: the runoff's end, or the notch when the next pulse comes early.
        lowest.append(pulse[0] if before is None else before)
        # The upstroke begins a little after the foot as found.
        before = pressure_mmhg[round(a * frame_rate_hz) + int(np.argmax(pulse)) : round((b + 0.03) * frame_rate_hz) + 1].min()
        means.append(pulse.mean())
        lengths.append(len(pulse))
    spans = edged(feet[:-1], from_s, end_s)

    def of(values: list[float], weights: list[float] | None) -> Band:
        array = np.array(values)
        parts = [array[a : b + 1] for a, b in spans]
        averages = [float(np.average(array[a : b + 1], weights=None if weights is None else weights[a : b + 1])) for a, b in spans]
        return band(parts, averages, len(parts[0]))

    return Shown((of(highest, None), of(lowest, None), of(means, lengths)), True)


FIRST_RISE_S = {"arterial": 0.06, "femoral": 0.08, "pulmonary": 0.0}
"""Soonest after a beat that its pulse rises there; common practice, no source."""


def shown(values, sites: tuple[str, ...], frame_rate_hz: float, spans: list[tuple[float, float, float]], late_s: Range = LATE_S[0]) -> list[dict[str, Band | None]]:
    """Readings of each span (start of the step, where it has settled, its end), by the words of the readings.

    `late_s` is one of `LATE_S`.

    `values` gives a channel's samples: the eight leads, `respiration` and the pressures of `sites`, the artery among them.
    A systolic and a diastolic pressure are `None` where nothing pulses.
    """
    beats, fastest = beats_s([values(lead) for lead in LEADS], frame_rate_hz)
    feet = {site: feet_s(values(site), frame_rate_hz, fastest, after, late_s) for site, after in FIRST_RISE_S.items() if site in sites}
    arterial, impedance = values("arterial"), values("respiration")
    readings = []
    for span in spans:
        rate, breaths = shown_rates(beats, *span), shown_breaths(impedance, frame_rate_hz, *span)
        if rate and breaths and abs(rate.mean[0] - breaths.mean[0]) < 0.05 * rate.mean[0] and rate.high[1] < 1.2 * rate.low[0]:
            # Impedance that moves with the heart is its artefact; the deflections of a fibrillation keep no step with it.
            breaths = None
        found = {
            "heart-rate": rate,
            "pulse-rate": shown_pulses(arterial, frame_rate_hz, feet["arterial"], *span),
            "respiration-rate": breaths,
        }
        for site in sites:
            pressure = shown_pressure(values(site), frame_rate_hz, feet.get(site, beats + 0.02), *span)
            found |= {f"{site}-{part}": one for part, one in zip(("systolic", "diastolic", "mean"), pressure.parts, strict=True)}
            found[f"{site}-pulses"] = pressure.parts[0] if pressure.pulses else None
        readings.append(found)
    return readings
