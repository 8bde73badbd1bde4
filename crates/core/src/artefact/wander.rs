//! Slow baseline wander: electrode potentials that drift at random, with a spectrum that falls from 0.06 Hz towards 0.6 Hz, without
//! lines.
//!
//! Chance sits on lattices of 1, 2 and 4 s, joined by smooth steps, the slower the larger.

use super::pair::Pair;
use crate::math::smooth_step;
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

/// Makes the RMS of a lattice 1: between its points the smooth step leaves 26/35 of the variance of 1/3.
const UNIT: f32 = 2.009_592;

/// Lattices, as powers of two of ticks, and their RMS; the squares add to 1.
const LATTICES: [(u32, f32); 3] = [(32, 0.5), (33, 0.592), (34, 0.632)];

/// The lattice points before and after the last frame, so that frames close together share them.
pub(super) struct Wander {
    known: [Option<(u64, Pair, Pair)>; LATTICES.len()],
}

impl Wander {
    pub(super) const fn new() -> Wander {
        Wander { known: [None; LATTICES.len()] }
    }

    /// Wander of 1 mV RMS.
    pub(super) fn at(&mut self, noise: &Noise, now: Instant) -> Pair {
        let mut sum = Pair::default();
        for ((bits, rms), known) in LATTICES.into_iter().zip(&mut self.known) {
            let index = now.ticks() >> bits;
            let shift = |index: u64| shift(noise, u64::from(bits) << 56 | index);
            let (before, after) = match *known {
                Some((same, before, after)) if same == index => (before, after),
                _ => (shift(index), shift(index + 1)),
            };
            *known = Some((index, before, after));
            let part = (now.ticks() & ((1 << bits) - 1)) as f32 * (1.0 / (1_u64 << bits) as f32);
            let share = smooth_step(part);
            let between = |a: f32, b: f32| a + (b - a) * share;
            sum.add(Pair(between(before.0, after.0), between(before.1, after.1)), rms * UNIT);
        }
        sum
    }
}

/// Shift at a lattice point: two uniforms of variance 1/3.
fn shift(noise: &Noise, index: u64) -> Pair {
    let bits = noise.bits(Purpose::Wander, index);
    let signed = |half: u32| f32::from(half as i16) * (1.0 / 32_768.0);
    Pair(signed(bits), signed(bits >> 16))
}
