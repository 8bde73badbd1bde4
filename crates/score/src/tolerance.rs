//! Whether a reading is within its tolerance: the one place where that is computed.
//!
//! Error = reading - expected. Width = the larger of the absolute tolerance and the percentage of the expected value's
//! magnitude. Edges are allowed.

use serde::Serialize;

/// The tolerance of a reading; a rule that is `None` does not count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Tolerance {
    /// Largest error, in the reading's unit.
    pub absolute: Option<f64>,
    /// Largest error, percent of the expected value's magnitude.
    pub percent: Option<f64>,
    /// Smallest reading.
    pub min: Option<f64>,
    /// Largest reading.
    pub max: Option<f64>,
}

impl Tolerance {
    /// This error in the reading's unit and no other rule.
    pub fn of(absolute: f64) -> Tolerance {
        Tolerance { absolute: Some(absolute), ..Tolerance::default() }
    }

    /// Largest error allowed around `expected`, in its unit; `None` when only a range counts.
    pub fn width(&self, expected: f64) -> Option<f64> {
        let share = self.percent.map(|percent| percent / 100.0 * expected.abs());
        match (self.absolute, share) {
            (Some(absolute), Some(share)) => Some(absolute.max(share)),
            (one, other) => one.or(other),
        }
    }

    /// Whether `value` is allowed. Without an expected value an error tolerance allows nothing; so does NaN,
    /// and a tolerance that names no rule.
    pub fn allows(&self, expected: Option<f64>, value: f64) -> bool {
        self.allows_in(expected.map(|expected| [expected; 2]), value)
    }

    /// The same where anything from the lowest to the highest value of a band is expected: the error counts from the nearer
    /// edge, and is as large as the tolerance there.
    pub fn allows_in(&self, band: Option<[f64; 2]>, value: f64) -> bool {
        let within = |[least, most]: [f64; 2]| value >= least && value <= most;
        value.is_finite() && self.allowed_in(band).is_some_and(within)
    }

    /// The least and the largest value that is allowed where a band is expected, infinite where there is no limit; `None` when
    /// nothing is allowed.
    pub fn allowed_in(&self, band: Option<[f64; 2]>) -> Option<[f64; 2]> {
        let around = self.absolute.is_some() || self.percent.is_some();
        if !(around || self.min.is_some() || self.max.is_some()) {
            return None;
        }
        let [mut least, mut most] = [f64::NEG_INFINITY, f64::INFINITY];
        if around {
            let [one, other] = band?;
            let (low, high) = (one.min(other), one.max(other));
            (least, most) = (low - self.width(low)?, high + self.width(high)?);
        }
        least = least.max(self.min.unwrap_or(least));
        most = most.min(self.max.unwrap_or(most));
        // Decimal fractions are not exact in binary: 0.1 + 0.2 must not fail a tolerance of 0.3.
        let slack = |edge: f64| 1e-9 * (1.0 + edge.abs());
        Some([least - slack(least), most + slack(most)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_larger_rule_counts_and_edges_pass() {
        let rate = Tolerance { absolute: Some(5.0), percent: Some(10.0), ..Tolerance::default() };
        assert_eq!((rate.width(30.0), rate.width(120.0), rate.width(-120.0)), (Some(5.0), Some(12.0), Some(12.0)));
        assert!(rate.allows(Some(30.0), 35.0) && !rate.allows(Some(30.0), 35.1));
        assert!(rate.allows(Some(120.0), 108.0) && !rate.allows(Some(120.0), 107.9));
        assert!(Tolerance::of(0.3).allows(Some(0.0), 0.1 + 0.2));
    }

    #[test]
    fn a_band_counts_from_its_edges() {
        let rate = Tolerance { absolute: Some(4.0), percent: Some(4.0), ..Tolerance::default() };
        let band = Some([90.0, 120.0]);
        let allowed = [86.0, 90.0, 105.0, 120.0, 124.8].map(|value| rate.allows_in(band, value));
        assert_eq!(allowed, [true; 5]);
        assert!(!rate.allows_in(band, 85.9) && !rate.allows_in(band, 124.9) && !rate.allows_in(band, f64::NAN));
    }

    #[test]
    fn ranges_count_beside_tolerances() {
        let range = Tolerance { min: Some(78.0), max: Some(82.0), ..Tolerance::default() };
        assert!(range.allows(None, 78.0) && range.allows(None, 82.0) && !range.allows(None, 82.5));
        let both = Tolerance { absolute: Some(9.0), max: Some(82.0), ..Tolerance::default() };
        assert!(both.allows(Some(80.0), 71.0) && !both.allows(Some(80.0), 83.0));
    }

    #[test]
    fn what_can_not_be_judged_is_not_allowed() {
        assert!(!Tolerance::of(5.0).allows(None, 5.0));
        assert!(!Tolerance::default().allows(Some(1.0), 1.0));
        let range = Tolerance { min: Some(0.0), ..Tolerance::default() };
        assert!(!range.allows(None, f64::NAN) && !range.allows(None, f64::INFINITY));
    }
}
