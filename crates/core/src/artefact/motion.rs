//! Motion: the patient moves now and then, and electrodes shift on the skin, up to about 6 Hz.

use super::pair::{Pair, PairLattice};
use crate::math::smooth_step;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span, TICKS_PER_SECOND};

/// Every 8 s the patient moves once, for 2 to 5 s.
const SLOT: Span = Span::secs(8);

/// Time in which a movement swells and in which it dies away, s.
const EDGE_S: f32 = 0.25;

/// Lattice on which the shift of an electrode is left to chance: 2^-3 s.
const LATTICE_BITS: u32 = 29;

/// Makes the RMS 1: between lattice points the smooth step leaves 26/35 of the variance of 1/3.
const UNIT: f32 = 2.009_592;

/// When the patient moves, for the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Movement {
    /// When it starts to swell.
    pub start: Instant,
    /// When nothing is left of it.
    pub end: Instant,
}

impl Movement {
    /// The movement in the 8 s around `at`, past or to come; `noise` is that of the script's seed.
    pub fn near(noise: &Noise, at: Instant) -> Movement {
        let slot = at.ticks() / SLOT.ticks();
        // Far from the indices of the lattice.
        let bits = noise.bits(Purpose::Motion, slot | 1 << 63);
        let share = |bits: u32| (bits & 0xffff) as f32 * (1.0 / 65_536.0);
        let start = Instant::from_ticks(slot.saturating_mul(SLOT.ticks())).shifted(3.0 * share(bits));
        Movement { start, end: start.shifted(2.0 + 3.0 * share(bits >> 16)) }
    }

    /// How far it has swollen, 0 to 1.
    fn size(self, now: Instant) -> f32 {
        let rise = smooth_step(now.since(self.start).as_secs() * (1.0 / EDGE_S));
        rise * smooth_step(self.end.since(now).as_secs() * (1.0 / EDGE_S))
    }
}

/// Shifts of the electrodes, with what frames close together share.
pub(super) struct Motion {
    slot: Option<u64>,
    movement: Movement,
    lattice: PairLattice,
}

impl Motion {
    pub(super) const fn new() -> Motion {
        Motion {
            slot: None,
            movement: Movement { start: Instant::ZERO, end: Instant::ZERO },
            lattice: PairLattice::new(),
        }
    }

    /// Shifts of 1 mV RMS in the middle of a movement; nothing between movements.
    pub(super) fn at(&mut self, noise: &Noise, now: Instant) -> Pair {
        let slot = Some(now.ticks() / SLOT.ticks());
        if self.slot != slot {
            self.slot = slot;
            self.movement = Movement::near(noise, now);
        }
        if now <= self.movement.start || now >= self.movement.end {
            return Pair::default();
        }
        let size = UNIT * self.movement.size(now);
        let part = (now.ticks() & ((1 << LATTICE_BITS) - 1)) as u32 as f32 * (8.0 / TICKS_PER_SECOND as f32);
        let point = |index: u64| Pair::of_bits(noise.bits(Purpose::Motion, index));
        let Pair(one, other) = self.lattice.at(now.ticks() >> LATTICE_BITS, part, point);
        Pair(size * one, size * other)
    }
}
