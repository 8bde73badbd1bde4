//! QRS onset and end of an average beat, and the tops of its P and T, as a start for the fit.

use crate::qrs::centred_mean;

/// Share of the steepest slope that is still QRS.
const STEEP: f64 = 0.07;
/// How long it stays below that outside, s.
const QUIET_S: f64 = 0.012;
/// QRS onset is looked for so long before the steepest place, and its end after, s.
const LONGEST_S: f64 = 0.16;

/// Places of an average beat, samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fiducials {
    pub qrs_onset: usize,
    pub qrs_end: usize,
    pub p_top: usize,
    pub t_top: usize,
}

/// Finds them in the length of the heart vector and of its slope.
pub(crate) fn find(vector: &[[f64; 3]], r: usize, hz: f64) -> Fiducials {
    let samples = |s: f64| ((s * hz).round() as usize).max(1);
    let length = |[x, y, z]: [f64; 3]| (x * x + y * y + z * z).sqrt();
    let step = samples(0.004);
    let slope = |at: usize| {
        let from = vector.get(at.saturating_sub(step)).copied().unwrap_or_default();
        let to = vector.get((at + step).min(vector.len().saturating_sub(1))).copied().unwrap_or_default();
        length([0, 1, 2].map(|axis| to[axis] - from[axis]))
    };
    let slopes: Vec<f64> = centred_mean(&(0..vector.len()).map(slope).collect::<Vec<_>>(), samples(0.006));
    let near = r.saturating_sub(samples(0.08))..(r + samples(0.08)).min(slopes.len());
    let (top, most) =
        near.map(|at| (at, slopes[at])).fold((r, 0.0), |best, one| if one.1 > best.1 { one } else { best });
    let quiet = samples(QUIET_S);
    let steep = |at: usize| slopes.get(at).is_some_and(|slope| *slope > STEEP * most);
    let earliest = top.saturating_sub(samples(LONGEST_S));
    let onset = (earliest..top).rev().find(|at| (at.saturating_sub(quiet)..=*at).all(|at| !steep(at)));
    let latest = (top + samples(LONGEST_S)).min(vector.len());
    let end = (top + 1..latest).find(|at| (*at..at + quiet).all(|at| !steep(at)));
    let (qrs_onset, qrs_end) = (onset.unwrap_or(earliest), end.unwrap_or(latest));
    // P and T stand out from the level before and after them.
    let largest = |from: usize, to: usize, else_at: usize| {
        let base = [from, to.saturating_sub(1)].map(|at| vector.get(at).copied().unwrap_or_default());
        let height = |at: usize| {
            let share = (at - from) as f64 / (to - from).max(1) as f64;
            let here = vector.get(at).copied().unwrap_or_default();
            length([0, 1, 2].map(|axis| here[axis] - base[0][axis] - share * (base[1][axis] - base[0][axis])))
        };
        let all = (from..to).map(|at| (at, height(at)));
        all.fold((else_at, 0.0), |best, one| if one.1 > best.1 { one } else { best }).0
    };
    let p_to = qrs_onset.saturating_sub(samples(0.015));
    let p_top = largest(0, p_to, p_to.saturating_sub(samples(0.06)));
    let t_from = (qrs_end + samples(0.05)).min(vector.len());
    let t_top = largest(t_from, vector.len(), (qrs_end + samples(0.2)).min(vector.len() - 1));
    Fiducials { qrs_onset, qrs_end, p_top, t_top }
}
