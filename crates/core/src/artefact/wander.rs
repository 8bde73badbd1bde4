//! Slow baseline wander: electrode potentials that drift between 0.06 and 0.45 Hz.

use super::pair::Pair;
use crate::frequency::Frequency;
use crate::math::{cos_turn, sin_turn};
use crate::noise::{Noise, Purpose};
use crate::time::Instant;
use core::f32::consts::SQRT_2;

/// Number of tones.
pub(super) const TONES: usize = 5;

/// Tones without a common measure and their RMS; the squares add to 1. The slower, the larger.
const WANDER: [(Frequency, f32); TONES] = [
    (Frequency::hz(0.067), 0.619),
    (Frequency::hz(0.113), 0.52),
    (Frequency::hz(0.191), 0.42),
    (Frequency::hz(0.307), 0.32),
    (Frequency::hz(0.431), 0.26),
];

/// Phases of the tones, by chance: one draw, spread by odd factors.
pub(super) fn phases(noise: &Noise) -> [u32; TONES] {
    let mut phase = noise.bits(Purpose::Wander, 0);
    [(); TONES].map(|()| {
        phase = phase.wrapping_mul(0x9e37_79b1).rotate_left(13);
        phase
    })
}

/// Wander of 1 mV RMS.
pub(super) fn at(phases: &[u32; TONES], now: Instant) -> Pair {
    let mut sum = Pair::default();
    for ((tone, rms), phase) in WANDER.into_iter().zip(phases) {
        let phase = tone.phase(now).wrapping_add(*phase);
        sum.add(Pair(sin_turn(phase), cos_turn(phase)), SQRT_2 * rms);
    }
    sum
}
