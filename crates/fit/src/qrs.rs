//! A finder of QRS complexes: where the leads are steep together.
//!
//! Energy of the slope over a QRS's length, against a threshold that follows the last peaks; the usual parts of a detector by slopes
//! (common practice, no source).

use crate::average::median;
use crate::recording::LeadRecording;

/// Length of a slope and of the sum of its energy, s.
const SLOPE_S: f64 = 0.012;
const SUM_S: f64 = 0.09;
/// Shortest interval between two beats, s.
const APART_S: f64 = 0.25;
/// Share of the usual peak that counts as a beat.
const SHARE: f64 = 0.3;
/// Stretch in which the usual peak is looked for, s.
const STRETCH_S: f64 = 3.0;

/// Samples of the largest deflection of each QRS.
pub(crate) fn find(recording: &LeadRecording) -> Vec<usize> {
    let samples = |s: f64| ((s * recording.hz).round() as usize).max(1);
    let count = recording.samples();
    let (step, sum) = (samples(SLOPE_S), samples(SUM_S));
    let mut energy = vec![0.0; count];
    for lead in &recording.leads {
        for (i, pair) in lead.mv.windows(step + 1).enumerate() {
            let (Some(from), Some(to)) = (pair.first(), pair.last()) else { continue };
            if let Some(energy) = energy.get_mut(i + step / 2) {
                *energy += (to - from).powi(2);
            }
        }
    }
    let summed = centred_mean(&energy, sum);
    // The usual peak around each place: the median of the largest of the stretches near it.
    let stretch = samples(STRETCH_S);
    let tops: Vec<f64> = summed.chunks(stretch).map(|part| part.iter().copied().fold(0.0, f64::max)).collect();
    let usual = |at: usize| {
        let place = at / stretch;
        let near = tops.get(place.saturating_sub(2)..(place + 3).min(tops.len())).unwrap_or_default();
        median(near.to_vec()).unwrap_or(0.0)
    };
    let apart = samples(APART_S);
    let mut found: Vec<usize> = Vec::new();
    for (at, value) in summed.iter().enumerate() {
        let near = summed.get(at.saturating_sub(apart)..(at + apart).min(count)).unwrap_or_default();
        let largest = near.iter().all(|other| other <= value);
        if *value > 0.0 && *value > SHARE * usual(at) && largest && found.last().is_none_or(|last| at - last >= apart) {
            found.push(at);
        }
    }
    found.into_iter().map(|at| largest_deflection(recording, at, samples(0.06))).collect()
}

/// Mean of `length` values around each.
pub(crate) fn centred_mean(values: &[f64], length: usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0;
    sums.push(sum);
    for value in values {
        sum += value;
        sums.push(sum);
    }
    let half = length / 2;
    let mean = |at: usize| {
        let (from, to) = (at.saturating_sub(half), (at + half + 1).min(values.len()));
        (sums[to] - sums[from]) / (to - from) as f64
    };
    (0..values.len()).map(mean).collect()
}

/// Where the leads together are furthest from their means within `around` of a sample.
fn largest_deflection(recording: &LeadRecording, at: usize, around: usize) -> usize {
    let (from, to) = (at.saturating_sub(around), (at + around + 1).min(recording.samples()));
    let mut size = vec![0.0; to - from];
    for lead in &recording.leads {
        let part = lead.mv.get(from..to).unwrap_or_default();
        let mean = part.iter().sum::<f64>() / part.len().max(1) as f64;
        size.iter_mut().zip(part).for_each(|(size, mv)| *size += (mv - mean).powi(2));
    }
    from + size.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(place, _)| place)
}
