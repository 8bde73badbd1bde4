//! From samples to a polyline: scaled to paper, clamped to its band, and without the points that a straight line holds.

use crate::drawing::{Point, at};

/// Points nearer than this to the line drawn without them are left out, mm: a tenth of the pen's width or less.
const TOLERANCE_MM: f64 = 0.02;
/// Samples looked at before a point is kept in any case, so that the work stays in proportion to the samples.
const LONGEST_RUN: usize = 200;

/// Rounds to hundredths of a millimetre, the precision of the draw list's signals.
pub fn to_hundredth(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}

/// The polyline through `points`, clamped between `top_mm` and `bottom_mm`; NaN lies on the bottom.
pub fn polyline(points: impl Iterator<Item = Point>, top_mm: f64, bottom_mm: f64) -> Vec<Point> {
    let points: Vec<Point> = points
        .map(|p| {
            let y = if p.y_mm.is_nan() { bottom_mm } else { p.y_mm.clamp(top_mm, bottom_mm) };
            at(to_hundredth(p.x_mm), to_hundredth(y))
        })
        .collect();
    let mut kept = Vec::new();
    let mut from = 0;
    kept.extend(points.first());
    while from + 1 < points.len() {
        let furthest = (from + LONGEST_RUN).min(points.len() - 1);
        let mut to = from + 1;
        while to < furthest && on_chord(&points[from..=to + 1]) {
            to += 1;
        }
        kept.push(points[to]);
        from = to;
    }
    kept
}

/// Whether every point lies within the tolerance of the straight line from the first to the last.
fn on_chord(points: &[Point]) -> bool {
    let [first, inner @ .., last] = points else {
        return true;
    };
    let slope = (last.y_mm - first.y_mm) / (last.x_mm - first.x_mm);
    // Distance across the line, not along y: on a steep flank an error in y is hardly visible.
    let across = 1.0 / (1.0 + slope * slope).sqrt();
    inner.iter().all(|p| ((p.y_mm - first.y_mm - slope * (p.x_mm - first.x_mm)) * across).abs() <= TOLERANCE_MM)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straight_lines_keep_their_ends_and_curves_stay_near() {
        let ramp: Vec<Point> = (0..1000).map(|i| at(f64::from(i) * 0.05, f64::from(i) * 0.05)).collect();
        assert!(polyline(ramp.iter().copied(), 0.0, 100.0).len() <= 7);
        let wave: Vec<Point> =
            (0..1000).map(|i| at(f64::from(i) * 0.025, 20.0 - 10.0 * (f64::from(i) * 0.05).sin())).collect();
        let kept = polyline(wave.iter().copied(), 0.0, 40.0);
        assert!(kept.len() < wave.len() / 2, "{}", kept.len());
        for p in &wave {
            let after = kept.iter().position(|k| k.x_mm >= p.x_mm - 0.01).unwrap_or(0).max(1);
            let (a, b) = (kept[after - 1], kept[after]);
            let y = a.y_mm + (b.y_mm - a.y_mm) * (p.x_mm - a.x_mm) / (b.x_mm - a.x_mm);
            let slope = (b.y_mm - a.y_mm) / (b.x_mm - a.x_mm);
            assert!((y - p.y_mm).abs() / (1.0 + slope * slope).sqrt() < 0.035, "{p:?} {y}");
        }
    }

    #[test]
    fn values_off_the_band_stay_on_its_edges() {
        let points = [at(0.0, -50.0), at(1.0, f64::NAN), at(2.0, f64::INFINITY), at(3.0, 15.0)];
        let kept = polyline(points.into_iter(), 10.0, 20.0);
        assert_eq!(kept.iter().map(|p| p.y_mm).collect::<Vec<_>>(), [10.0, 20.0, 20.0, 15.0]);
    }
}
