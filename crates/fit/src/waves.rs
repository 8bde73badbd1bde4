//! Waves whose sum comes nearest to an average beat.
//!
//! The sizes of waves are linear, so that only starts and flanks are searched: for each choice of these the best sizes are those of
//! a linear least-squares problem (variable projection; Golub and Pereyra 1973, from memory). Starts and flanks stay in ranges.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned, U1};

/// Weight of the size of a wave against what is left over: keeps two waves from cancelling each other.
const SMALL: f64 = 0.004;
/// Step of a difference quotient.
const STEP: f64 = 1e-5;
/// Evaluations for each parameter.
const PATIENCE: usize = 5;

/// A wave that is searched for: ranges of its start, rise and fall, ms, and where to begin.
#[derive(Clone, Copy, Debug)]
pub(crate) struct WaveSearch {
    pub start: SearchRange,
    pub rise: SearchRange,
    pub fall: SearchRange,
    /// Where it has ended, ms; flanks that are longer are cut.
    pub latest: f64,
}

/// Lowest, first, highest.
pub(crate) type SearchRange = [f64; 3];

/// A wave found: ms, and its size in the directions of the target.
#[derive(Clone, Debug)]
pub(crate) struct FoundWave {
    pub start_ms: f64,
    pub rise_ms: f64,
    pub fall_ms: f64,
    pub size: Vec<f64>,
}

/// Finds the waves, and the squares of what is left over; `target` has a row for each of `times`, ms, and each of these its weight.
pub(crate) fn find(
    times: &[f64],
    target: &DMatrix<f64>,
    weights: &[f64],
    sought: &[WaveSearch],
) -> Option<(Vec<FoundWave>, f64)> {
    let target = DMatrix::from_fn(target.nrows(), target.ncols(), |row, column| weights[row] * target[(row, column)]);
    let first = sought.iter().flat_map(|wave| [wave.start, wave.rise, wave.fall]).map(free);
    let free = DVector::from_iterator(3 * sought.len(), first);
    let problem = Problem { times, weights, target: &target, sought, free };
    let (problem, report) = LevenbergMarquardt::new().with_patience(PATIENCE).minimize(problem);
    let (_, sizes) = problem.sizes(&problem.free)?;
    let found = |(i, wave): (usize, &WaveSearch)| {
        let [start_ms, rise_ms, fall_ms] = shape(wave, problem.free.as_slice().get(3 * i..)?)?;
        Some(FoundWave { start_ms, rise_ms, fall_ms, size: sizes.row(i).iter().copied().collect() })
    };
    let found = sought.iter().enumerate().map(found).collect::<Option<_>>()?;
    Some((found, report.objective_function))
}

/// Height of a wave at a time, as docs/signals.md draws it.
pub(crate) fn height([start, rise, fall]: [f64; 3], t_ms: f64) -> f64 {
    let t = t_ms - start - rise;
    let x = if t < 0.0 { t / rise } else { t / fall };
    (1.0 - (x * x).min(1.0)).powi(3)
}

/// A free number for a place in a range.
fn free([low, first, high]: SearchRange) -> f64 {
    let share = ((first - low) / (high - low)).clamp(0.02, 0.98);
    (share / (1.0 - share)).ln()
}

fn ranged([low, _, high]: SearchRange, free: f64) -> f64 {
    low + (high - low) / (1.0 + (-free).exp())
}

fn shape(wave: &WaveSearch, free: &[f64]) -> Option<[f64; 3]> {
    let [start, rise, fall, ..] = free else { return None };
    let start = ranged(wave.start, *start);
    let room = wave.latest - start;
    let rise = ranged(wave.rise, *rise).min(0.6 * room);
    Some([start, rise, ranged(wave.fall, *fall).min(room - rise)])
}

struct Problem<'a> {
    times: &'a [f64],
    weights: &'a [f64],
    target: &'a DMatrix<f64>,
    sought: &'a [WaveSearch],
    free: DVector<f64>,
}

impl Problem<'_> {
    /// Weighted heights of each wave, and the best sizes.
    fn sizes(&self, free: &DVector<f64>) -> Option<(DMatrix<f64>, DMatrix<f64>)> {
        let shapes = self.sought.iter().zip(free.as_slice().chunks(3)).map(|(wave, free)| shape(wave, free));
        let shapes: Vec<[f64; 3]> = shapes.collect::<Option<_>>()?;
        let weighted = |row: usize, wave: usize| self.weights[row] * height(shapes[wave], self.times[row]);
        let heights = DMatrix::from_fn(self.times.len(), shapes.len(), weighted);
        let mut normal = heights.tr_mul(&heights);
        for i in 0..shapes.len() {
            normal[(i, i)] += SMALL;
        }
        let sizes = normal.cholesky()?.solve(&heights.tr_mul(self.target));
        Some((heights, sizes))
    }

    /// The residual, and the weighted sizes.
    fn left(&self, free: &DVector<f64>) -> Option<DVector<f64>> {
        let (heights, sizes) = self.sizes(free)?;
        let left = &heights * &sizes - self.target;
        let small = sizes.iter().map(|mv| SMALL.sqrt() * mv);
        let all = left.iter().copied().chain(small);
        Some(DVector::from_iterator(left.len() + sizes.len(), all))
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ParameterStorage = Owned<f64, Dyn, U1>;
    type ResidualStorage = Owned<f64, Dyn, U1>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, free: &DVector<f64>) {
        self.free.copy_from(free);
    }

    fn params(&self) -> DVector<f64> {
        self.free.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        self.left(&self.free)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let here = self.left(&self.free)?;
        let mut slopes = DMatrix::zeros(here.len(), self.free.len());
        let mut free = self.free.clone();
        for i in 0..self.free.len() {
            free[i] = self.free[i] + STEP;
            let moved = self.left(&free)?;
            free[i] = self.free[i];
            slopes.set_column(i, &((moved - &here) / STEP));
        }
        Some(slopes)
    }
}
