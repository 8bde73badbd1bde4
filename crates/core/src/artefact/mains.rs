//! Mains hum: a sine whose frequency is exact for years.

use super::pair::Pair;
use crate::frequency::Frequency;
use crate::math::{cos_turn, sin_turn};
use crate::time::Instant;
use core::f32::consts::SQRT_2;

/// Hum of 1 mV RMS.
pub(super) fn at(frequency: Frequency, now: Instant) -> Pair {
    let phase = frequency.phase(now);
    Pair(SQRT_2 * sin_turn(phase), SQRT_2 * cos_turn(phase))
}
