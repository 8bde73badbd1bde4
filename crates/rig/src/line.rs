//! Straight lines: everything between a code and a signal is one.

/// `slope × x + intercept`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinearMap {
    /// Slope: a unit of `x` adds this; never zero.
    pub slope: f64,
    /// Value at zero.
    pub intercept: f64,
}

impl LinearMap {
    /// The value at `x`.
    pub fn of(self, x: f64) -> f64 {
        self.slope * x + self.intercept
    }

    /// Where the value is `y`.
    pub fn back(self, y: f64) -> f64 {
        (y - self.intercept) / self.slope
    }

    /// This line, followed by `next` on its result.
    pub fn then(self, next: LinearMap) -> LinearMap {
        LinearMap { slope: next.slope * self.slope, intercept: next.of(self.intercept) }
    }

    /// The line back.
    pub fn reversed(self) -> LinearMap {
        LinearMap { slope: 1.0 / self.slope, intercept: -self.intercept / self.slope }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_follow_each_other_and_lead_back() {
        let (a, b) = (LinearMap { slope: 2.0, intercept: -1.0 }, LinearMap { slope: -0.5, intercept: 4.0 });
        assert_eq!(a.then(b).of(3.0), b.of(a.of(3.0)));
        assert_eq!(a.back(a.of(7.0)), 7.0);
        assert_eq!(a.reversed().of(a.of(7.0)), 7.0);
    }
}
