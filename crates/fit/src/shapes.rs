//! The shapes of an average beat: waves on the heart vector.

use crate::average::AverageBeat;
use crate::fiducials::{self, Fiducials};
use crate::leads::{self, LeadProjection};
use crate::waves::{self, FoundWave, WaveSearch};
use nalgebra::DMatrix;
use pulsewright_core::frame::Lead;
use pulsewright_core::internal::ecg::Wave;
use pulsewright_script::bodies::edges;

/// The fit of waves sees the average at no more than this rate, samples a second.
const FITTED_HZ: f64 = 500.0;
/// Flanks of the waves of the QRS that a search begins with, share of its duration; the best of the ends is taken.
const QRS_FLANKS: [f64; 3] = [0.1, 0.18, 0.3];
/// Weight of the samples of the QRS, which is short.
const QRS_WEIGHT: f64 = 4.0;
const P_WAVES: usize = 3;
const QRS_WAVES: usize = 8;
/// A wave of the QRS ends so long after its visible end at most, ms.
const AFTER_QRS_MS: f64 = 12.0;
/// A template starts so long before its visible onset, ms.
const LEAD_IN_MS: f64 = 6.0;

/// The shapes found in an average, as a document has them.
#[derive(Clone, Debug)]
pub(crate) struct FittedShapes {
    /// QRS onset in the average, ms.
    pub onset_ms: f64,
    pub qrs: Vec<Wave>,
    pub qrs_ms: f64,
    pub t: [Wave; 3],
    pub qt_ms: f64,
    pub p: Vec<Wave>,
    pub pr_ms: f64,
}

/// The waves of an average.
pub(crate) fn find(average: &AverageBeat, leads: &[Lead]) -> Option<FittedShapes> {
    let view = LeadProjection::of(leads)?;
    let count = average.leads.first().map_or(0, Vec::len);
    let recorded = DMatrix::from_fn(leads.len(), count, |lead, sample| average.leads[lead][sample]);
    let seen = &view.to_seen * recorded;
    let vector = &view.to_vector * &seen;
    let vector: Vec<[f64; 3]> = vector.column_iter().map(|at| [at[0], at[1], at[2]]).collect();
    let places = fiducials::find(&vector, average.r, average.hz);
    let step = ((average.hz / FITTED_HZ).round() as usize).max(1);
    let ms = |sample: usize| 1000.0 * sample as f64 / average.hz;
    let times: Vec<f64> = (0..count).step_by(step).map(ms).collect();
    let target = DMatrix::from_fn(times.len(), seen.nrows(), |row, direction| seen[(direction, step * row)]);
    let qrs = ms(places.qrs_onset)..ms(places.qrs_end);
    let weights: Vec<f64> = times.iter().map(|t| if qrs.contains(t) { QRS_WEIGHT } else { 1.0 }).collect();
    let tries = QRS_FLANKS.into_iter().filter_map(|flank| {
        let sought = sought(&places, flank, ms, ms(count));
        waves::find(&times, &target, &weights, &sought)
    });
    let (found, _) = tries.min_by(|a, b| a.1.total_cmp(&b.1))?;
    shapes(&found, &view, ms(places.qrs_onset) - LEAD_IN_MS)
}

impl FittedShapes {
    /// A lead of the waves at a time of the average, mV.
    pub(crate) fn lead_mv(&self, lead: Lead, t_ms: f64) -> f64 {
        let row = leads::row(lead);
        let parts = [
            (self.onset_ms - self.pr_ms, &self.p[..]),
            (self.onset_ms, &self.qrs[..]),
            (self.onset_ms + self.qrs_ms, &self.t[..]),
        ];
        let of = |(from_ms, wave): (f64, &Wave)| {
            let mv: f64 = wave.mv.iter().zip(row).map(|(mv, weight)| f64::from(*mv) * weight).sum();
            mv * waves::height([wave.at_ms, wave.rise_ms, wave.fall_ms].map(f64::from), t_ms - from_ms)
        };
        parts.into_iter().flat_map(|(from_ms, waves)| waves.iter().map(move |wave| (from_ms, wave))).map(of).sum()
    }
}

/// A number to a part of one.
pub(crate) fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// Waves to look for: P, QRS, then T, the ST segment's wave and the tail.
fn sought(places: &Fiducials, qrs_flank: f64, ms: impl Fn(usize) -> f64, end_ms: f64) -> Vec<WaveSearch> {
    let (onset, qrs_end) = (ms(places.qrs_onset) - LEAD_IN_MS, ms(places.qrs_end));
    let (p_top, t_top) = (ms(places.p_top), ms(places.t_top));
    let width = (qrs_end - onset).max(30.0);
    let mut sought = Vec::new();
    for i in 0..P_WAVES {
        let first = p_top - 60.0 + 25.0 * i as f64;
        let start = [(p_top - 110.0).max(0.0), first.max(1.0), (p_top + 20.0).max(2.0)];
        sought.push(WaveSearch { start, rise: [12.0, 40.0, 110.0], fall: [12.0, 45.0, 140.0], latest: f64::INFINITY });
    }
    for i in 0..QRS_WAVES {
        let first = onset + (i as f64 + 0.3) * (0.8 * width) / QRS_WAVES as f64;
        let flank = qrs_flank * width;
        sought.push(WaveSearch {
            start: [onset, first, qrs_end - 6.0],
            latest: qrs_end + AFTER_QRS_MS,
            rise: [4.0, flank, 0.7 * width],
            fall: [4.0, flank, 0.8 * width],
        });
    }
    let t_rise = (t_top - qrs_end - 10.0).clamp(60.0, 250.0);
    sought.push(WaveSearch {
        start: [onset, t_top - t_rise, t_top - 20.0],
        rise: [30.0, t_rise, 350.0],
        fall: [30.0, 100.0, 300.0],
        latest: f64::INFINITY,
    });
    sought.push(WaveSearch {
        start: [onset, qrs_end - 20.0, t_top],
        rise: [20.0, 120.0, 300.0],
        fall: [20.0, 180.0, 400.0],
        latest: f64::INFINITY,
    });
    let last = (t_top + 200.0).min(end_ms);
    sought.push(WaveSearch {
        start: [t_top - 80.0, t_top.min(last - 5.0), last],
        rise: [15.0, 80.0, 250.0],
        fall: [20.0, 120.0, 300.0],
        latest: f64::INFINITY,
    });
    sought
}

/// A wave's peak on X, Y and Z, mV.
fn vector_of(found: &FoundWave, view: &LeadProjection) -> [f64; 3] {
    let axis =
        |axis: usize| found.size.iter().enumerate().map(|(place, size)| view.to_vector[(axis, place)] * size).sum();
    [axis(0), axis(1), axis(2)]
}

/// A wave as a document has it, counted from `from_ms`.
fn wave(found: &FoundWave, view: &LeadProjection, from_ms: f64) -> Wave {
    let tenths = |ms: f64| rounded(ms, 10.0) as f32;
    Wave {
        at_ms: tenths(found.start_ms - from_ms),
        rise_ms: tenths(found.rise_ms),
        hold_ms: 0.0,
        fall_ms: tenths(found.fall_ms),
        mv: vector_of(found, view).map(|mv| rounded(mv, 10_000.0) as f32),
    }
}

fn shapes(found: &[FoundWave], view: &LeadProjection, onset_ms: f64) -> Option<FittedShapes> {
    let (p, rest) = found.split_at_checked(P_WAVES)?;
    let (qrs, t) = rest.split_at_checked(QRS_WAVES)?;
    let qrs: Vec<Wave> = qrs.iter().map(|found| wave(found, view, onset_ms)).collect();
    let qrs_ms = rounded(edges::qrs_ms(&qrs)?, 10.0);
    let from = onset_ms + qrs_ms;
    let t: [Wave; 3] = t.iter().map(|found| wave(found, view, from)).collect::<Vec<_>>().try_into().ok()?;
    let qt_ms = rounded(qrs_ms + edges::t_end_ms(&t)?, 10.0);
    let p_onset = p.iter().map(|found| found.start_ms).fold(f64::INFINITY, f64::min);
    // Up, so that no wave starts before P onset.
    let pr_ms = (10.0 * (onset_ms - p_onset)).ceil() / 10.0;
    let p = p.iter().map(|found| wave(found, view, onset_ms - pr_ms)).collect();
    Some(FittedShapes { onset_ms, qrs, qrs_ms, t, qt_ms, p, pr_ms })
}
