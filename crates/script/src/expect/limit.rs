//! The limits of a reading.

/// The limits of a reading. Of the two tolerances the larger counts; edges are allowed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadingLimit {
    /// Largest error, in the quantity's unit.
    pub tolerance: Option<f64>,
    /// Largest error, percent of the expected value.
    pub tolerance_percent: Option<f64>,
    /// Smallest reading, in the quantity's unit.
    pub min: Option<f64>,
    /// Largest reading, in the quantity's unit.
    pub max: Option<f64>,
    /// Where the limit comes from, one line.
    pub source: String,
}

impl ReadingLimit {
    /// Whether it needs a value to lie around.
    pub fn is_around_a_value(&self) -> bool {
        self.tolerance.is_some() || self.tolerance_percent.is_some()
    }

    /// Smallest and largest reading that it allows around a value; unbounded where it has no limit.
    pub fn allowed(&self, value: Option<f64>) -> [f64; 2] {
        let percent = self.tolerance_percent.zip(value).map(|(percent, value)| (0.01 * percent * value).abs());
        let width = match (self.tolerance, percent) {
            (None, None) => f64::INFINITY,
            (absolute, percent) => absolute.unwrap_or(0.0).max(percent.unwrap_or(0.0)),
        };
        let around = value.map_or([f64::NEG_INFINITY, f64::INFINITY], |value| [value - width, value + width]);
        let [low, high] = [self.min.unwrap_or(f64::NEG_INFINITY), self.max.unwrap_or(f64::INFINITY)];
        [low.max(around[0]), high.min(around[1])]
    }

    /// The limit in words, such as "±5 bpm or ±10 %, the larger" or "78 to 82 bpm".
    pub fn words(&self, unit: &str) -> String {
        let mut parts = Vec::new();
        match (self.tolerance, self.tolerance_percent) {
            (Some(absolute), Some(percent)) => parts.push(format!("±{absolute} {unit} or ±{percent} %, the larger")),
            (Some(absolute), None) => parts.push(format!("±{absolute} {unit}")),
            (None, Some(percent)) => parts.push(format!("±{percent} %")),
            (None, None) => {}
        }
        match (self.min, self.max) {
            (Some(min), Some(max)) => parts.push(format!("{min} to {max} {unit}")),
            (Some(min), None) => parts.push(format!("at least {min} {unit}")),
            (None, Some(max)) => parts.push(format!("at most {max} {unit}")),
            (None, None) => {}
        }
        parts.join(", ")
    }
}
