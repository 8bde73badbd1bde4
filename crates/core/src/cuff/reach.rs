//! The highest pressure in the cuff, from the settings: what a file's scale must hold.

use crate::field::Field;
use crate::math::min;
use crate::reach::{SettingRanges, ValueRange};

/// Two oscillations at once, each of a pulse larger than a regular one.
const LARGEST: f32 = 3.6;

/// Most that a movement presses, over its RMS.
const MOVED: f32 = 2.1;

/// The oscillations alone, mmHg, over the settings of the whole script.
pub(crate) fn oscillation(ever: SettingRanges<'_>) -> ValueRange {
    let moved = MOVED * ever(Field::CuffMotion).highest;
    ValueRange { lowest: -moved, highest: LARGEST * ever(Field::CuffOscillation).highest + moved }
}

/// The pressure in the cuff, oscillations included, mmHg, over the settings of the whole script.
pub(crate) fn range(ever: SettingRanges<'_>) -> ValueRange {
    let top = min(ever(Field::CuffInflate).highest, ever(Field::CuffLimit).highest);
    oscillation(ever).raised(top)
}
