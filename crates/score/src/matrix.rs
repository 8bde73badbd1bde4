//! The beat-by-beat matrix and the figures read from it.
//!
//! Rows are the reference classes N S V F Q, then O (no beat there) and X (no beat there, reference in
//! shutdown); columns the test classes n s v f q, then o (missed) and x (missed in test shutdown).
//! Formulas: open beat comparator, as listed for EC57.

use serde::Serialize;

/// Letters of the rows; the columns are the same in lower case.
pub const LETTERS: [char; 7] = ['N', 'S', 'V', 'F', 'Q', 'O', 'X'];

/// Row or column "no beat".
pub const NONE: usize = 5;
/// Row or column "no beat because of shutdown".
pub const SHUTDOWN: usize = 6;

const N: usize = 0;
const S: usize = 1;
const V: usize = 2;
const F: usize = 3;
const Q: usize = 4;

/// Counts by reference class (row) and test class (column).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Matrix(pub [[u64; 7]; 7]);

/// A share with the counts it comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Proportion {
    /// Cases that count.
    pub part: u64,
    /// Cases in all.
    pub whole: u64,
    /// Percent; `None` when there is no case.
    pub percent: Option<f64>,
}

impl Proportion {
    /// `part` of `whole`.
    pub fn new(part: u64, whole: u64) -> Proportion {
        let percent = (whole > 0).then(|| 100.0 * part as f64 / whole as f64);
        Proportion { part, whole, percent }
    }
}

/// Detection of beats, whatever their class.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Detection {
    /// Reference beats with a test beat (TP).
    pub matched: u64,
    /// Reference beats without (FN), those missed in shutdown included.
    pub missed: u64,
    /// Test beats without a reference beat (FP).
    pub extra: u64,
    /// Sensitivity, TP / (TP + FN).
    pub sensitivity: Proportion,
    /// Positive predictivity, TP / (TP + FP).
    pub predictivity: Proportion,
}

/// Detection of one class of ectopic beats.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct ClassFigures {
    /// Reference beats of the class called so (TP).
    pub right: u64,
    /// Reference beats of the class called otherwise or missed (FN).
    pub missed: u64,
    /// Test beats called so without reason (FP); called fusion or unclassifiable beats are forgiven.
    pub wrong: u64,
    /// Sensitivity, TP / (TP + FN).
    pub sensitivity: Proportion,
    /// Positive predictivity, TP / (TP + FP).
    pub predictivity: Proportion,
    /// False positive rate, FP / (TN + FP).
    pub false_positive_rate: Proportion,
}

impl Matrix {
    /// Counts one more.
    pub fn count(&mut self, reference: usize, test: usize) {
        if let Some(cell) = self.0.get_mut(reference).and_then(|row| row.get_mut(test)) {
            *cell += 1;
        }
    }

    /// Adds another record.
    pub fn add(&mut self, other: &Matrix) {
        for (row, others) in self.0.iter_mut().zip(&other.0) {
            for (cell, other) in row.iter_mut().zip(others) {
                *cell += other;
            }
        }
    }

    fn sum(&self, rows: &[usize], columns: &[usize]) -> u64 {
        rows.iter().map(|&row| columns.iter().map(|&column| self.0[row][column]).sum::<u64>()).sum()
    }

    /// Detection of beats of any class.
    pub fn detection(&self) -> Detection {
        let beats = [N, S, V, F, Q];
        let matched = self.sum(&beats, &beats);
        let missed = self.sum(&beats, &[NONE, SHUTDOWN]);
        let extra = self.sum(&[NONE, SHUTDOWN], &beats);
        Detection {
            matched,
            missed,
            extra,
            sensitivity: Proportion::new(matched, matched + missed),
            predictivity: Proportion::new(matched, matched + extra),
        }
    }

    /// Ventricular ectopic beats: TP = Vv; FN = Vn Vs Vf Vq Vo Vx; FP = Nv Sv Ov Xv; Fv and Qv count as neither.
    pub fn ventricular(&self) -> ClassFigures {
        let right = self.0[V][V];
        let missed = self.sum(&[V], &[N, S, F, Q, NONE, SHUTDOWN]);
        let wrong = self.sum(&[N, S, NONE, SHUTDOWN], &[V]);
        let negative = self.sum(&[N, S, F, Q, NONE, SHUTDOWN], &[N, S, F, Q, NONE, SHUTDOWN]);
        class_figures(right, missed, wrong, negative)
    }

    /// Supraventricular ectopic beats: TP = Ss; FN = Sn Sv Sf Sq So Sx; FP = Ns Vs Fs Os Xs; Qs counts as neither.
    pub fn supraventricular(&self) -> ClassFigures {
        let right = self.0[S][S];
        let missed = self.sum(&[S], &[N, V, F, Q, NONE, SHUTDOWN]);
        let wrong = self.sum(&[N, V, F, NONE, SHUTDOWN], &[S]);
        let negative = self.sum(&[N, V, F, Q, NONE, SHUTDOWN], &[N, V, F, Q, NONE, SHUTDOWN]);
        class_figures(right, missed, wrong, negative)
    }
}

fn class_figures(right: u64, missed: u64, wrong: u64, negative: u64) -> ClassFigures {
    ClassFigures {
        right,
        missed,
        wrong,
        sensitivity: Proportion::new(right, right + missed),
        predictivity: Proportion::new(right, right + wrong),
        false_positive_rate: Proportion::new(wrong, negative + wrong),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each cell holds another power of two, so a sum shows which cells went in.
    fn powers() -> Matrix {
        let mut matrix = Matrix::default();
        for row in 0..7 {
            for column in 0..7 {
                matrix.0[row][column] = 1 << (row * 7 + column);
            }
        }
        matrix
    }

    fn cells(names: &str) -> u64 {
        let index = |letter: char| LETTERS.iter().position(|l| *l == letter.to_ascii_uppercase()).expect("a class");
        names
            .split(' ')
            .map(|name| {
                let mut letters = name.chars();
                let (row, column) = (letters.next().expect("row"), letters.next().expect("column"));
                1 << (index(row) * 7 + index(column))
            })
            .sum()
    }

    #[test]
    fn figures_use_the_published_cells() {
        let v = powers().ventricular();
        assert_eq!(v.right, cells("Vv"));
        assert_eq!(v.missed, cells("Vn Vs Vf Vq Vo Vx"));
        assert_eq!(v.wrong, cells("Nv Sv Ov Xv"));
        let s = powers().supraventricular();
        assert_eq!(s.right, cells("Ss"));
        assert_eq!(s.missed, cells("Sn Sv Sf Sq So Sx"));
        assert_eq!(s.wrong, cells("Ns Vs Fs Os Xs"));
        let d = powers().detection();
        assert_eq!(d.missed, cells("No Nx So Sx Vo Vx Fo Fx Qo Qx"));
        assert_eq!(d.extra, cells("On Os Ov Of Oq Xn Xs Xv Xf Xq"));
    }
}
