//! Noise of the same size in every lead.

use crate::math::smooth_step;

/// Two uncorrelated signals of the same RMS, of which every lead is a mixture of that RMS.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Pair(pub(super) f32, pub(super) f32);

impl Pair {
    /// Two uniforms from -1 to 1, of variance 1/3, from 32 random bits.
    pub(super) fn of_bits(bits: u32) -> Pair {
        let signed = |half: u32| f32::from(half as i16) * (1.0 / 32_768.0);
        Pair(signed(bits), signed(bits >> 16))
    }

    /// Adds another pair at this size.
    pub(super) fn add(&mut self, other: Pair, mv: f32) {
        self.0 += other.0 * mv;
        self.1 += other.1 * mv;
    }
}

/// A chain of pairs left to chance, joined by smooth steps, with the two around the last frame: frames close together share them.
pub(super) struct PairLattice {
    known: Option<(u64, Pair, Pair)>,
}

impl PairLattice {
    pub(super) const fn new() -> PairLattice {
        PairLattice { known: None }
    }

    /// The value `part` of the way, 0 to 1, from the point of an index to the next; `point` draws a point.
    pub(super) fn at(&mut self, index: u64, part: f32, point: impl Fn(u64) -> Pair) -> Pair {
        let (before, after) = match self.known {
            Some((known, before, after)) if known == index => (before, after),
            _ => (point(index), point(index + 1)),
        };
        self.known = Some((index, before, after));
        let share = smooth_step(part);
        let between = |a: f32, b: f32| a + (b - a) * share;
        Pair(between(before.0, after.0), between(before.1, after.1))
    }
}
