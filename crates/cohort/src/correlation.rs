//! Variables that go together: a matrix of correlations, and normal scores made to follow it.
//!
//! The correlation is that of the normal scores (a Gaussian copula), so that every variable keeps its own distribution.

/// Variables with the correlations between their normal scores.
#[derive(Clone, Debug, PartialEq)]
pub struct Correlation {
    /// The variables, each by its place among all of them.
    pub of: Vec<usize>,
    /// Lower triangle of the matrix's square root, row by row.
    root: Vec<Vec<f64>>,
}

impl Correlation {
    /// Of variables and their matrix.
    ///
    /// # Errors
    /// When the matrix is not square, symmetric, one on its diagonal and positive definite.
    pub fn new(of: Vec<usize>, matrix: &[Vec<f64>]) -> Result<Correlation, String> {
        let size = of.len();
        if matrix.len() != size || matrix.iter().any(|row| row.len() != size) {
            return Err(format!("matrix: {size} variables need {size} rows of {size} numbers"));
        }
        for (i, row) in matrix.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                if (i == j && *value != 1.0) || !(-1.0..=1.0).contains(value) {
                    return Err(format!("matrix[{i}][{j}]: {value}; allowed -1 to 1, and 1 on the diagonal"));
                }
                if matrix[j][i] != *value {
                    return Err(format!(
                        "matrix[{i}][{j}] and [{j}][{i}] differ; a matrix of correlations is symmetric"
                    ));
                }
            }
        }
        let root = root(matrix).ok_or("matrix: no set of variables has these correlations (not positive definite)")?;
        Ok(Correlation { of, root })
    }

    /// Normal scores that follow the matrix, from independent ones in the order of the variables.
    pub fn apply(&self, independent: &[f64]) -> Vec<f64> {
        let score = |row: &Vec<f64>| row.iter().zip(independent).map(|(weight, score)| weight * score).sum();
        self.root.iter().map(score).collect()
    }
}

/// The lower triangle whose product with its own transpose is the matrix (Cholesky); `None` when there is none.
fn root(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let mut root: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
    for (i, values) in matrix.iter().enumerate() {
        let mut row: Vec<f64> = Vec::with_capacity(i + 1);
        for (j, value) in values.iter().enumerate().take(i + 1) {
            let other = if j == i { &row } else { &root[j] };
            let known: f64 = row.iter().zip(other).take(j).map(|(a, b)| a * b).sum();
            let rest = value - known;
            if j == i {
                row.push((rest > 1e-12).then(|| libm::sqrt(rest))?);
            } else {
                row.push(rest / root[j][j]);
            }
        }
        root.push(row);
    }
    Some(root)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_times_itself_is_the_matrix() {
        let matrix = vec![vec![1.0, 0.7, 0.2], vec![0.7, 1.0, -0.1], vec![0.2, -0.1, 1.0]];
        let root = root(&matrix).unwrap();
        for (i, row) in matrix.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                let product: f64 = root[i].iter().zip(&root[j]).map(|(a, b)| a * b).sum();
                assert!((product - value).abs() < 1e-12, "{i} {j}");
            }
        }
    }

    #[test]
    fn matrices_that_can_not_be_are_refused() {
        for (matrix, why) in [
            (vec![vec![1.0, 0.5]], "2 rows of 2"),
            (vec![vec![1.0, 0.5], vec![0.4, 1.0]], "symmetric"),
            (vec![vec![0.9, 0.5], vec![0.5, 1.0]], "on the diagonal"),
            (vec![vec![1.0, f64::NAN], vec![f64::NAN, 1.0]], "allowed -1 to 1"),
            (vec![vec![1.0, 1.0], vec![1.0, 1.0]], "positive definite"),
        ] {
            let found = Correlation::new(vec![0, 1], &matrix).unwrap_err();
            assert!(found.contains(why), "{found}");
        }
    }
}
