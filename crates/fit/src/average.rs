//! Beats of one kind aligned on each other, outliers left out, and their mean.

use crate::correlation::correlation;
use crate::recording::LeadRecording;

/// Before and after R, share of the interval, and at most, s.
const BEFORE: (f64, f64) = (0.38, 0.34);
const AFTER: (f64, f64) = (0.60, 0.62);
/// Phase of the knots that a line is drawn through, before R, s; slow wander lies on it.
const KNOT_S: [f64; 2] = [0.1, 0.08];
/// Part of a beat that alignment looks at, around R, s, and how far it moves a beat.
const ALIGNED_S: (f64, f64) = (0.09, 0.12);
const MOVED_S: f64 = 0.04;
/// Least likeness of a beat to the mean: below it a beat is left out.
const ALIKE: f64 = 0.9;
/// Most samples that are averaged, of all beats and leads: 200 MB.
const MOST_SAMPLES: usize = 25_000_000;
/// Ends of the window that are at rest, s.
const REST_S: f64 = 0.02;

/// The mean beat of a kind.
#[derive(Clone, Debug)]
pub(crate) struct AverageBeat {
    /// Samples a second.
    pub hz: f64,
    /// Each lead, mV, level at both ends.
    pub leads: Vec<Vec<f64>>,
    /// The sample of R.
    pub r: usize,
    /// Beats averaged.
    pub used: usize,
    /// Standard deviation of the beats about their mean, in each lead over all samples, mV.
    pub spread_mv: Vec<f64>,
    /// Median interval to the beat before, s.
    pub interval_s: f64,
}

/// Averages the beats at `chosen`, places in the list of all beats; `None` of too few.
pub(crate) fn average(recording: &LeadRecording, all: &[usize], chosen: &[usize], least: usize) -> Option<AverageBeat> {
    let hz = recording.hz;
    let samples = |s: f64| (s * hz).round() as usize;
    let intervals =
        chosen.iter().filter_map(|place| Some((all.get(*place)? - all.get(place.checked_sub(1)?)?) as f64 / hz));
    let interval_s = median(intervals.collect())?;
    let before = samples((BEFORE.0 * interval_s).min(BEFORE.1));
    let after = samples((AFTER.0 * interval_s).min(AFTER.1));
    let room = before + after + 2 * samples(MOVED_S);
    let most = MOST_SAMPLES / (room * recording.leads.len()).max(1);
    let beats: Vec<Vec<Vec<f64>>> = chosen
        .iter()
        .take(most)
        .filter_map(|place| beat(recording, all, *place, before + samples(MOVED_S), room))
        .collect();
    if beats.len() < least {
        return None;
    }
    let r = before + samples(MOVED_S);
    let part = r.saturating_sub(samples(ALIGNED_S.0))..r + samples(ALIGNED_S.1);
    let moved = samples(MOVED_S) as isize;
    let mut shifts = vec![0_isize; beats.len()];
    let mut taken: Vec<bool> = vec![true; beats.len()];
    for _ in 0..3 {
        let mean = mean(&beats, &shifts, &taken, room);
        for ((beat, shift), taken) in beats.iter().zip(&mut shifts).zip(&mut taken) {
            let best = (-moved..=moved).map(|shift| (shift, likeness(&mean, beat, shift, part.clone())));
            let best = best.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0));
            *shift = best.0;
            *taken = best.1 >= ALIKE;
        }
        if taken.iter().filter(|taken| **taken).count() < least {
            return None;
        }
    }
    let mean = mean(&beats, &shifts, &taken, room);
    let used = taken.iter().filter(|taken| **taken).count();
    let window = samples(MOVED_S)..room - samples(MOVED_S);
    let spread_mv = spread(&beats, &shifts, &taken, &mean, window.clone());
    let leads = mean.iter().map(|lead| level(lead.get(window.clone()).unwrap_or_default(), samples(REST_S).max(1)));
    let leads = leads.collect();
    Some(AverageBeat { hz, leads, r: before, used, spread_mv, interval_s })
}

/// One beat of each lead from `before` its R on, with its wander taken off; `None` at an end of the recording.
fn beat(recording: &LeadRecording, all: &[usize], place: usize, before: usize, length: usize) -> Option<Vec<Vec<f64>>> {
    let at = *all.get(place)?;
    let from = at.checked_sub(before)?;
    let knot = |lead: &[f64], at: usize| {
        let samples = |s: f64| (s * recording.hz).round() as usize;
        let part = lead.get(at.checked_sub(samples(KNOT_S[0]))?..=at.checked_sub(samples(KNOT_S[1]))?)?;
        Some(part.iter().sum::<f64>() / part.len().max(1) as f64)
    };
    // From this beat to the next, or from the one before.
    let (first, second) = match all.get(place + 1) {
        Some(next) => (at, *next),
        None => (*all.get(place.checked_sub(1)?)?, at),
    };
    let one = |lead: &crate::recording::LeadSignal| {
        let (start, end) = (knot(&lead.mv, first)?, knot(&lead.mv, second)?);
        let slope = (end - start) / (second - first).max(1) as f64;
        let line = |sample: usize| start + slope * (sample as f64 - first as f64);
        let part = lead.mv.get(from..from + length)?;
        Some(part.iter().enumerate().map(|(i, mv)| mv - line(from + i)).collect())
    };
    recording.leads.iter().map(one).collect()
}

/// Mean of each lead of the beats taken, each moved by its shift.
fn mean(beats: &[Vec<Vec<f64>>], shifts: &[isize], taken: &[bool], length: usize) -> Vec<Vec<f64>> {
    let leads = beats.first().map_or(0, Vec::len);
    let mut sums = vec![vec![0.0; length]; leads];
    let mut count = 0.0_f64;
    for ((beat, shift), _) in beats.iter().zip(shifts).zip(taken).filter(|(_, taken)| **taken) {
        count += 1.0;
        for (sums, lead) in sums.iter_mut().zip(beat) {
            for (i, sum) in sums.iter_mut().enumerate() {
                *sum += moved(lead, i, *shift);
            }
        }
    }
    sums.iter_mut().flatten().for_each(|sum| *sum /= count.max(1.0));
    sums
}

/// A value of a lead moved by a shift; its ends are held.
fn moved(lead: &[f64], i: usize, shift: isize) -> f64 {
    let place = (i as isize + shift).clamp(0, lead.len() as isize - 1);
    lead.get(place as usize).copied().unwrap_or(0.0)
}

/// Correlation of a moved beat with the mean, over all leads in a part.
fn likeness(mean: &[Vec<f64>], beat: &[Vec<f64>], shift: isize, part: std::ops::Range<usize>) -> f64 {
    let shifted: Vec<Vec<f64>> =
        beat.iter().map(|lead| part.clone().map(|i| moved(lead, i, shift)).collect()).collect();
    let parts = mean.iter().map(|lead| lead.get(part.clone()).unwrap_or_default());
    correlation(parts.zip(shifted.iter().map(Vec::as_slice)))
}

fn spread(
    beats: &[Vec<Vec<f64>>],
    shifts: &[isize],
    taken: &[bool],
    mean: &[Vec<f64>],
    window: std::ops::Range<usize>,
) -> Vec<f64> {
    let mut sums = vec![0.0; mean.len()];
    let mut count = 0.0_f64;
    for ((beat, shift), _) in beats.iter().zip(shifts).zip(taken).filter(|(_, taken)| **taken) {
        count += window.len() as f64;
        for ((sum, lead), mean) in sums.iter_mut().zip(beat).zip(mean) {
            let differences = window.clone().map(|i| moved(lead, i, *shift) - mean.get(i).copied().unwrap_or(0.0));
            *sum += differences.map(|mv| mv * mv).sum::<f64>();
        }
    }
    sums.into_iter().map(|sum| (sum / count.max(1.0)).sqrt()).collect()
}

/// A lead less the line through the means of its ends.
fn level(lead: &[f64], rest: usize) -> Vec<f64> {
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
    let first = mean(lead.get(..rest).unwrap_or(lead));
    let last = mean(lead.get(lead.len().saturating_sub(rest)..).unwrap_or(lead));
    let whole = lead.len().saturating_sub(1).max(1) as f64;
    lead.iter().enumerate().map(|(i, mv)| mv - first - (last - first) * i as f64 / whole).collect()
}

/// The middle of some values; of an even number, the mean of the middle two.
pub(crate) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().saturating_sub(1) / 2)?, values.get(values.len() / 2)?);
    Some(0.5 * (low + high))
}
