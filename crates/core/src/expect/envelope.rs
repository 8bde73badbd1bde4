//! An envelope of oscillations, smoothed over some pulses, and where it passes shares of its top.

use crate::math::{clamp, max};

/// Most points of an envelope.
pub(super) const POINTS: usize = 256;

/// After so many heights in a row below its share a monitor looks no further (common practice, no source).
const ENOUGH: u32 = 4;

/// Weights of pulses at these distances, those of a Gaussian bell of two pulses.
const BELL: [f32; 7] = [1.0, 0.882_497, 0.606_531, 0.324_652, 0.135_335, 0.043_937, 0.011_109];

/// Which of several crossings counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CrossingSide {
    /// The furthest from the top, before [`ENOUGH`] heights in a row lie below.
    Outer,
    /// The nearest to it.
    Inner,
}

/// How heights are smoothed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Smoothing {
    /// The mean of so many pulses.
    Mean(usize),
    /// The highest of so many: weaker ones between strong ones are passed over.
    Highest(usize),
    /// The mean with the weights of [`BELL`].
    Bell,
}

/// Heights of oscillations, mmHg, in the order of a falling cuff.
pub(super) struct Envelope {
    heights: [f32; POINTS],
    count: usize,
    smoothing: Smoothing,
}

impl Envelope {
    /// Of as many heights about each as `smoothing` says; of fewer at the ends.
    pub(super) fn over(smoothing: Smoothing, heights: impl Iterator<Item = f32> + Clone) -> Envelope {
        let mut smooth = Envelope { heights: [0.0; POINTS], count: heights.clone().count().min(POINTS), smoothing };
        let half = match smoothing {
            Smoothing::Mean(window) | Smoothing::Highest(window) => window / 2,
            Smoothing::Bell => BELL.len() - 1,
        };
        for (i, place) in smooth.heights.iter_mut().enumerate().take(smooth.count) {
            let first = i.saturating_sub(half);
            let many = (i + half + 1).min(smooth.count) - first;
            let about = heights.clone().skip(first).take(many);
            *place = match smoothing {
                Smoothing::Mean(_) => about.sum::<f32>() / many as f32,
                Smoothing::Highest(_) => about.fold(0.0, max),
                Smoothing::Bell => {
                    let weights = (first..).map(|at| BELL.get(at.abs_diff(i)).copied().unwrap_or(0.0));
                    let (sum, weight) = about
                        .zip(weights)
                        .fold((0.0, 0.0), |(sum, weight), (height, of)| (sum + height * of, weight + of));
                    sum / weight
                }
            };
        }
        smooth
    }

    fn heights(&self) -> &[f32] {
        self.heights.get(..self.count).unwrap_or_default()
    }

    /// Systolic, mean and diastolic pressure, mmHg, by the shares of the top at systolic and diastolic pressure; NaN where the
    /// envelope does not pass one. `points` give the pressures of the cuff.
    pub(super) fn read(&self, points: &[[f32; 2]], [systolic, diastolic]: [f32; 2], side: CrossingSide) -> [f32; 3] {
        let walk = points.iter().map(|point| point[0]).zip(self.heights().iter().copied());
        let Some((top, (_, height))) = walk.clone().enumerate().max_by(|(_, a), (_, b)| a.1.total_cmp(&b.1)) else {
            return [f32::NAN; 3];
        };
        // The highest of several has a plateau in place of a top.
        let mean = match self.smoothing {
            Smoothing::Mean(_) | Smoothing::Bell => vertex(walk.clone().skip(top.saturating_sub(1)).take(3)),
            Smoothing::Highest(_) => f32::NAN,
        };
        [
            crossing(walk.clone().take(top + 1).rev(), systolic * height, side),
            mean,
            crossing(walk.skip(top), diastolic * height, side),
        ]
    }
}

/// Pressure at which heights fall to a level on the walk away from the top; NaN when they do not.
fn crossing(walk: impl Iterator<Item = (f32, f32)> + Clone, level: f32, side: CrossingSide) -> f32 {
    let (mut found, mut below) = (f32::NAN, 0);
    for ((p, near), (q, far)) in walk.clone().zip(walk.skip(1)) {
        below = if far <= level { below + 1 } else { 0 };
        if near > level && far <= level {
            found = p + (q - p) * (near - level) / (near - far);
        }
        if below >= ENOUGH || side == CrossingSide::Inner && below > 0 {
            break;
        }
    }
    found
}

/// Pressure of the vertex of the parabola through three points, within them; that of the first of fewer.
fn vertex(mut about: impl Iterator<Item = (f32, f32)>) -> f32 {
    let Some((p, a)) = about.next() else { return f32::NAN };
    let (Some((q, b)), Some((r, c))) = (about.next(), about.next()) else { return p };
    let (first, second) = ((b - a) / (q - p), (c - b) / (r - q));
    let bend = (second - first) / (r - p);
    if bend < 0.0 { clamp(0.5 * (p + q) - 0.5 * first / bend, r, p) } else { q }
}
