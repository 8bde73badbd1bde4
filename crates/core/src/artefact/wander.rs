//! Slow baseline wander: electrode potentials that drift at random, with a spectrum that falls from 0.06 Hz towards 0.6 Hz, without
//! lines.
//!
//! Chance sits on lattices of 1, 2 and 4 s, joined by smooth steps, the slower the larger.

use super::pair::{Pair, PairLattice};
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

/// Makes the RMS of a lattice 1: between its points the smooth step leaves 26/35 of the variance of 1/3.
const UNIT: f32 = 2.009_592;

/// Lattices, as powers of two of ticks, and their RMS; the squares add to 1.
const LATTICES: [(u32, f32); 3] = [(32, 0.5), (33, 0.592), (34, 0.632)];

/// The lattices.
pub(super) struct Wander {
    lattices: [PairLattice; LATTICES.len()],
}

impl Wander {
    pub(super) const fn new() -> Wander {
        Wander { lattices: [const { PairLattice::new() }; LATTICES.len()] }
    }

    /// Wander of 1 mV RMS.
    pub(super) fn at(&mut self, noise: &Noise, now: Instant) -> Pair {
        let mut sum = Pair::default();
        for ((bits, rms), lattice) in LATTICES.into_iter().zip(&mut self.lattices) {
            let part = (now.ticks() & ((1 << bits) - 1)) as f32 * (1.0 / (1_u64 << bits) as f32);
            let point = |index: u64| Pair::of_bits(noise.bits(Purpose::Wander, u64::from(bits) << 56 | index));
            sum.add(lattice.at(now.ticks() >> bits, part, point), rms * UNIT);
        }
        sum
    }
}
