//! Ranges of values: what settings may be during a script, and what a channel may hold.

use crate::field::Field;
use crate::math::{max, min};

/// From the lowest to the highest of some values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValueRange {
    /// Lowest value.
    pub lowest: f32,
    /// Highest value.
    pub highest: f32,
}

impl ValueRange {
    /// Of one value.
    pub fn of(value: f32) -> ValueRange {
        ValueRange { lowest: value, highest: value }
    }

    /// Of both sizes, signs aside.
    pub fn within(size: f32) -> ValueRange {
        ValueRange { lowest: -size, highest: size }
    }

    /// Of the values of both.
    pub fn and(self, other: ValueRange) -> ValueRange {
        ValueRange { lowest: min(self.lowest, other.lowest), highest: max(self.highest, other.highest) }
    }

    /// With a highest value that is higher by `by`.
    pub(crate) fn raised(self, by: f32) -> ValueRange {
        ValueRange { highest: self.highest + by, ..self }
    }

    /// The largest value, signs aside.
    pub fn size(self) -> f32 {
        max(-self.lowest, self.highest)
    }
}

/// The range of each setting.
pub type SettingRanges<'a> = &'a dyn Fn(Field) -> ValueRange;
