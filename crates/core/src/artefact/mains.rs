//! Mains hum: a sine whose frequency is exact for years.

use super::Pair;
use crate::frequency::Frequency;
use crate::math::{cos_turn, sin_turn};
use crate::time::Instant;
use core::f32::consts::SQRT_2;

/// Hum of 1 mV RMS.
pub(super) fn at(hz: f32, now: Instant) -> Pair {
    let phase = Frequency::hz(hz).phase(now);
    Pair(SQRT_2 * sin_turn(phase), SQRT_2 * cos_turn(phase))
}
