//! Residuals: the part of each lead that the waves on the heart vector do not draw, as the nearest sum of cubic B-splines.
//!
//! Every number is linear, so that one least-squares problem finds all of them.

use crate::average::AverageBeat;
use crate::leads;
use crate::shapes::FittedShapes;
use nalgebra::DMatrix;
use pulsewright_core::frame::{INDEPENDENT_LEADS, Lead};
use pulsewright_core::internal::ecg::{MOST_KNOTS, UV};

/// From one number to the next, ms: of P, QRS and T. The numbers of a QRS follow each other no faster than its samples.
const P_STEP_MS: f64 = 10.0;
const QRS_STEP_MS: f64 = 3.0;
const T_STEP_MS: f64 = 16.0;
/// Samples to a step at least.
const SAMPLES: f64 = 1.2;
/// The residual of P lasts so long beyond QRS onset, that of a QRS so long beyond its end; that of T begins so long before that
/// end, ms.
const BEYOND_MS: f64 = 16.0;
/// The fit sees the average at no more than this rate, samples a second.
const FITTED_HZ: f64 = 1000.0;
/// Weight of the squares of the numbers against what is left over: keeps two from cancelling each other.
const SMALL: f64 = 1e-3;

/// Numbers of the eight independent leads, uV, for a part of a beat.
#[derive(Clone, Debug)]
pub(crate) struct FittedResidual {
    /// Start after what the part's waves are counted from, ms.
    pub at_ms: f64,
    pub step_ms: f64,
    pub knots_uv: Vec<[i16; INDEPENDENT_LEADS]>,
}

/// The residuals of P, QRS and T.
#[derive(Clone, Debug)]
pub(crate) struct FittedResiduals {
    pub p: FittedResidual,
    pub qrs: FittedResidual,
    pub t: FittedResidual,
}

/// Where the numbers of a part lie.
struct Part {
    from_ms: f64,
    at_ms: f64,
    step_ms: f64,
    count: usize,
}

impl Part {
    /// A part that is counted from `from_ms` and lasts from `at_ms` to `to_ms` after it.
    fn new(from_ms: f64, at_ms: f64, to_ms: f64, least_step_ms: f64) -> Part {
        // The last bump lasts three steps longer.
        let step_ms = least_step_ms.max((to_ms - at_ms) / (MOST_KNOTS + 3) as f64);
        let step_ms = (10.0 * step_ms).ceil() / 10.0;
        let count = ((to_ms - at_ms) / step_ms).floor() - 3.0;
        Part { from_ms, at_ms, step_ms, count: count.clamp(1.0, MOST_KNOTS as f64) as usize }
    }

    fn height(&self, place: usize, t_ms: f64) -> f64 {
        bump((t_ms - self.from_ms - self.at_ms) / self.step_ms - place as f64)
    }
}

/// A cubic B-spline that begins at 0 and lasts to 4.
fn bump(steps: f64) -> f64 {
    let x = (steps - 2.0).abs();
    if x < 1.0 { (4.0 - 6.0 * x * x + 3.0 * x.powi(3)) / 6.0 } else { (2.0 - x).max(0.0).powi(3) / 6.0 }
}

/// Finds the residuals of an average, beside the waves of `shapes`.
pub(crate) fn find(average: &AverageBeat, leads: &[Lead], shapes: &FittedShapes) -> Option<FittedResiduals> {
    let stride = ((average.hz / FITTED_HZ).round() as usize).max(1);
    let count = average.leads.first().map_or(0, Vec::len);
    let ms = |sample: usize| 1000.0 * sample as f64 / average.hz;
    let samples: Vec<usize> = (0..count).step_by(stride).collect();
    let step = |least: f64| least.max(SAMPLES * ms(stride));
    let (qrs_ms, pr_ms) = (shapes.qrs_ms, shapes.pr_ms);
    let end_ms = shapes.onset_ms + qrs_ms;
    let parts = [
        Part::new(shapes.onset_ms - pr_ms, 0.0, pr_ms + BEYOND_MS, step(P_STEP_MS)),
        Part::new(shapes.onset_ms, 0.0, qrs_ms + BEYOND_MS, step(QRS_STEP_MS)),
        Part::new(end_ms, -BEYOND_MS, ms(count) - end_ms, step(T_STEP_MS)),
    ];
    let all: Vec<(&Part, usize)> =
        parts.iter().flat_map(|part| (0..part.count).map(move |place| (part, place))).collect();
    let heights = DMatrix::from_fn(samples.len(), all.len(), |row, column| {
        all.get(column).map_or(0.0, |(part, place)| part.height(*place, ms(samples[row])))
    });
    let left = DMatrix::from_fn(samples.len(), leads.len(), |row, lead| {
        average.leads[lead][samples[row]] - shapes.lead_mv(leads[lead], ms(samples[row]))
    });
    let mut normal = heights.tr_mul(&heights);
    for i in 0..all.len() {
        normal[(i, i)] += SMALL;
    }
    // The shortest of the changes of the eight leads that the leads at hand show.
    let shown = DMatrix::from_fn(leads.len(), INDEPENDENT_LEADS, |row, eighth| leads::of_eight(leads[row])[eighth]);
    let numbers = normal.cholesky()?.solve(&heights.tr_mul(&left)) * shown.pseudo_inverse(1e-9).ok()?.transpose();
    let mut rows = numbers.row_iter().map(|row| {
        let uv = |mv: f64| (1000.0 * mv).round().clamp((*UV.start()).into(), (*UV.end()).into()) as i16;
        let mut knot = [0; INDEPENDENT_LEADS];
        knot.iter_mut().zip(row.iter()).for_each(|(place, mv)| *place = uv(*mv));
        knot
    });
    let mut of = |part: &Part| FittedResidual {
        at_ms: part.at_ms,
        step_ms: part.step_ms,
        knots_uv: rows.by_ref().take(part.count).collect(),
    };
    let [p, qrs, t] = &parts;
    Some(FittedResiduals { p: of(p), qrs: of(qrs), t: of(t) })
}

impl FittedResidual {
    /// A lead at a time after what the part's waves are counted from, mV.
    pub(crate) fn lead_mv(&self, lead: Lead, t_ms: f64) -> f64 {
        let weights = leads::of_eight(lead);
        let steps = (t_ms - self.at_ms) / self.step_ms;
        let of = |(place, knot): (usize, &[i16; INDEPENDENT_LEADS])| {
            let uv: f64 = knot.iter().zip(weights).map(|(uv, weight)| f64::from(*uv) * weight).sum();
            0.001 * uv * bump(steps - place as f64)
        };
        self.knots_uv.iter().enumerate().map(of).sum()
    }
}
