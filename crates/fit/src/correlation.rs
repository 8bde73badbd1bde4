//! How alike two courses are.

/// Correlation of pairs of courses, each course about its own mean.
pub(crate) fn correlation<'a>(pairs: impl IntoIterator<Item = (&'a [f64], &'a [f64])>) -> f64 {
    let (mut both, mut ours, mut theirs) = (0.0, 0.0, 0.0);
    for (a, b) in pairs {
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
        let (mean_a, mean_b) = (mean(a), mean(b));
        for (a, b) in a.iter().zip(b) {
            let (a, b) = (a - mean_a, b - mean_b);
            both += a * b;
            ours += a * a;
            theirs += b * b;
        }
    }
    both / (ours * theirs).sqrt().max(1e-12)
}
