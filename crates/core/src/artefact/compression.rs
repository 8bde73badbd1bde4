//! Chest compressions: the electrodes move with the chest, 100 to 120 times a minute (AHA guidelines 2020), as large as a QRS or larger.
//!
//! A wave with harmonics, its size a little different from one compression to the next (shape common practice, no source).

use super::pair::Pair;
use crate::frequency::Frequency;
use crate::math::{cos_turn, sin_turn};
use crate::time::Instant;

/// Harmonics with their size and phase, 2^-32 turns.
const HARMONICS: [(u32, f32, u32); 3] = [(1, 1.0, 0), (2, 0.5, 0x1800_0000), (3, 0.2, 0x4000_0000)];
/// How far the size changes, and how fast.
const SIZE_WANDER: f32 = 0.12;
const SLOW: Frequency = Frequency::hz(0.07);
/// Makes the RMS 1: the power of the harmonics, 0.645, and 1.007 times it for the size.
const UNIT: f32 = 1.0 / 0.806;

/// Compressions of 1 mV RMS at this rate.
pub(super) fn at(per_min: f32, now: Instant) -> Pair {
    let phase = Frequency::hz(per_min * (1.0 / 60.0)).phase(now);
    let size = UNIT * (1.0 + SIZE_WANDER * sin_turn(SLOW.phase(now)));
    let mut sum = Pair::default();
    for (times, share, offset) in HARMONICS {
        let phase = phase.wrapping_mul(times).wrapping_add(offset);
        sum.add(Pair(sin_turn(phase), cos_turn(phase)), size * share);
    }
    sum
}
