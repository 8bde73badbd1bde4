//! The bell of a cuff's oscillations: the one that fits the heights of all pulses best, outliers weighing less.
//!
//! Each side of its top falls as 1 / (1 + k x^2), as a regular arm's envelope does, with x = 1 and the stated share at the
//! systolic and at the diastolic pressure. A curve fitted to the envelope is common practice, no source.

use crate::math::{clamp, max, sqrt};

/// Height, top, and distance from the top to systolic and diastolic pressure.
type Values = [f32; 4];

/// Residuals above this share of the height weigh as outliers.
const OUTLIER: f32 = 0.1;

/// Where the search begins, as shares of the points.
const TOPS: [f32; 4] = [0.25, 0.4, 0.55, 0.7];

/// Distances from the top to systolic and diastolic pressure with which it begins, mmHg.
const WIDTHS_MMHG: [f32; 2] = [20.0, 15.0];

/// Steps of a search.
const STEPS: usize = 60;

/// A fitted bell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OscillationBell {
    values: Values,
    bends: [f32; 2],
    pub(super) systolic_mmhg: f32,
    pub(super) mean_mmhg: f32,
    pub(super) diastolic_mmhg: f32,
}

impl OscillationBell {
    /// Fits one to points of cuff pressure, mmHg, falling, and height, mmHg; `shares` are those at systolic and diastolic pressure.
    ///
    /// `None` without oscillations.
    pub(super) fn fit(points: &[[f32; 2]], shares: [f32; 2]) -> Option<OscillationBell> {
        let bends = shares.map(|share| 1.0 / share - 1.0);
        let largest = points.iter().map(|point| point[1]).fold(0.0, max);
        if largest <= 0.0 {
            return None;
        }
        let fitting = Fitting { points, bends, largest };
        let starts = TOPS.iter().filter_map(|share| points.get((share * points.len() as f32) as usize));
        let fits = starts.map(|[top, _]| fitting.search([largest, *top, WIDTHS_MMHG[0], WIDTHS_MMHG[1]]));
        let (values, _) = fits.min_by(|(_, a), (_, b)| a.total_cmp(b))?;
        let [_, top, above, below] = values;
        Some(OscillationBell { values, bends, systolic_mmhg: top + above, mean_mmhg: top, diastolic_mmhg: top - below })
    }

    /// Height of an oscillation at a cuff pressure, mmHg.
    pub(super) fn height(&self, cuff_mmhg: f32) -> f32 {
        height(&self.values, &self.bends, cuff_mmhg).0
    }
}

/// Height at a cuff pressure, and its slopes along each value.
fn height([largest, top, above, below]: &Values, bends: &[f32; 2], cuff_mmhg: f32) -> (f32, Values) {
    let from_top = cuff_mmhg - top;
    let (width, bend) = if from_top > 0.0 { (*above, bends[0]) } else { (*below, bends[1]) };
    let x = from_top / width;
    let share = 1.0 / (1.0 + bend * x * x);
    let along_x = -2.0 * largest * bend * x * share * share;
    let along_width = -along_x * x / width;
    let slopes = [share, -along_x / width, 0.0, 0.0];
    let slopes = match from_top > 0.0 {
        true => [slopes[0], slopes[1], along_width, 0.0],
        false => [slopes[0], slopes[1], 0.0, along_width],
    };
    (largest * share, slopes)
}

/// A search for the least sum of residuals, each squared while it is small, and straight where it is large.
struct Fitting<'p> {
    points: &'p [[f32; 2]],
    bends: [f32; 2],
    largest: f32,
}

impl Fitting<'_> {
    /// The best values from a start on, and what is left (Levenberg 1944, Marquardt 1963).
    fn search(&self, start: Values) -> (Values, f32) {
        let (mut values, mut left, mut damping) = (start, self.left(&start), 1e-3);
        for _ in 0..STEPS {
            let Some(step) = self.step(&values, damping) else { break };
            let next = self.bounded(values, step);
            let less = self.left(&next);
            if less < left {
                (values, left, damping) = (next, less, max(0.2 * damping, 1e-6));
            } else if damping > 1e6 {
                break;
            } else {
                damping *= 5.0;
            }
        }
        (values, left)
    }

    fn bounded(&self, values: Values, step: Values) -> Values {
        let end = |point: Option<&[f32; 2]>| point.map_or(0.0, |point| point[0]);
        let (high, low) = (end(self.points.first()), end(self.points.last()));
        let [largest, top, above, below] = values;
        [
            clamp(largest + step[0], 0.01 * self.largest, 3.0 * self.largest),
            clamp(top + step[1], low, high),
            clamp(above + step[2], 1.0, 200.0),
            clamp(below + step[3], 1.0, 100.0),
        ]
    }

    fn left(&self, values: &Values) -> f32 {
        let scale = 1.0 / (OUTLIER * self.largest);
        let of = |[cuff_mmhg, height_mmhg]: &[f32; 2]| {
            let off = scale * (height(values, &self.bends, *cuff_mmhg).0 - height_mmhg);
            let squared = off * off;
            // The same as the root less one, but exact where it is small.
            squared / (sqrt(1.0 + squared) + 1.0)
        };
        self.points.iter().map(of).sum()
    }

    /// The step from these values.
    fn step(&self, values: &Values, damping: f32) -> Option<Values> {
        let scale = 1.0 / (OUTLIER * self.largest);
        let (mut matrix, mut right) = ([[0.0; 4]; 4], [0.0; 4]);
        for [cuff_mmhg, height_mmhg] in self.points {
            let (height, slopes) = height(values, &self.bends, *cuff_mmhg);
            let off = height - height_mmhg;
            let weight = 1.0 / sqrt(1.0 + scale * scale * off * off);
            for ((row, right), a) in matrix.iter_mut().zip(&mut right).zip(slopes) {
                *right -= weight * a * off;
                for (cell, b) in row.iter_mut().zip(slopes) {
                    *cell += weight * a * b;
                }
            }
        }
        for (i, row) in matrix.iter_mut().enumerate() {
            if let Some(cell) = row.get_mut(i) {
                *cell += damping * *cell + 1e-9;
            }
        }
        solve(matrix, right)
    }
}

/// The solution of a symmetric system, positive definite.
fn solve(mut matrix: [[f32; 4]; 4], mut right: Values) -> Option<Values> {
    for i in 0..4 {
        let pivot = matrix[i];
        if pivot[i] <= 0.0 {
            return None;
        }
        for j in i + 1..4 {
            let share = matrix[j][i] / pivot[i];
            for (cell, above) in matrix[j].iter_mut().zip(pivot) {
                *cell -= share * above;
            }
            right[j] -= share * right[i];
        }
    }
    let mut solution = [0.0; 4];
    for i in (0..4).rev() {
        let known: f32 = (i + 1..4).map(|j| matrix[i][j] * solution[j]).sum();
        solution[i] = (right[i] - known) / matrix[i][i];
    }
    solution.iter().all(|value| value.is_finite()).then_some(solution)
}

#[cfg(test)]
mod tests {
    use super::OscillationBell;

    #[test]
    fn a_bell_is_found_again_beside_outliers() {
        let of = |mmhg: f32| {
            let (width, bend) = if mmhg > 90.0 { (30.0, 1.0) } else { (20.0, 0.25) };
            2.0 / (1.0 + bend * ((mmhg - 90.0) / width) * ((mmhg - 90.0) / width))
        };
        let mut points: [[f32; 2]; 60] =
            core::array::from_fn(|i| 160.0 - 2.0 * i as f32).map(|mmhg: f32| [mmhg, of(mmhg)]);
        let bell = OscillationBell::fit(&points, [0.5, 0.8]).unwrap();
        for (found, set) in [(bell.systolic_mmhg, 120.0), (bell.mean_mmhg, 90.0), (bell.diastolic_mmhg, 70.0)] {
            assert!((found - set).abs() < 0.02, "{bell:?}");
        }
        assert!((bell.height(120.0) - 1.0).abs() < 1e-3, "{bell:?}");
        for i in [10, 25, 40] {
            points[i][1] *= 0.2;
        }
        let bell = OscillationBell::fit(&points, [0.5, 0.8]).unwrap();
        assert!((bell.systolic_mmhg - 120.0).abs() < 2.0 && (bell.diastolic_mmhg - 70.0).abs() < 2.0, "{bell:?}");
    }

    #[test]
    fn no_oscillations_have_no_bell() {
        assert_eq!(OscillationBell::fit(&[[100.0, 0.0]; 20], [0.5, 0.8]), None);
        assert_eq!(OscillationBell::fit(&[], [0.5, 0.8]), None);
    }
}
