//! Noise that every recording has: of electrodes, amplifier and a little muscle, each lead its own.
//!
//! Chance sits on three lattices, of 2^-7 s, 2^-2 s and 1 s; between lattice points the value moves in a straight line. The colour is
//! that of recordings of persons at rest: between beats their leads have 3 to 20 uV RMS from 15 to 45 Hz, the less the better an
//! electrode sits, and 8 to 90 uV of wander below 0.5 Hz (records 100 and s0010_re in the tests' data, and a 12-lead recording in
//! the package pydicom; measured).

use crate::frame::INDEPENDENT_LEADS;
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

/// Makes the RMS of a lattice 1: 256 / sqrt(12) for the draw, sqrt(2/3) for the straight lines.
const UNIT: f32 = 1.0 / (73.9 * 0.816_496_6);

/// Shares of the lattices; the squares add to 1.
const FAST: f32 = 0.45 * UNIT;
const SLOW: f32 = 0.46 * UNIT;
const WANDER: f32 = 0.766 * UNIT;

/// How far the fast part of one lead differs from that of another, either way, and the factor that leaves its power as it is.
const CONTACT: f32 = 0.6;
const SAME_POWER: f32 = 0.945;

/// A lattice with the points around the last frame.
struct Lattice<const BITS: u32> {
    /// Where its draws begin among those of the purpose.
    draws: u64,
    index: Option<u64>,
    before: [f32; INDEPENDENT_LEADS],
    /// From the point before to the point after.
    rise: [f32; INDEPENDENT_LEADS],
}

impl<const BITS: u32> Lattice<BITS> {
    const fn new(draws: u64) -> Lattice<BITS> {
        Lattice { draws, index: None, before: [0.0; INDEPENDENT_LEADS], rise: [0.0; INDEPENDENT_LEADS] }
    }

    /// The values at a point, whole numbers.
    fn point(&self, noise: &Noise, index: u64) -> [f32; INDEPENDENT_LEADS] {
        let draw = |i: u64| noise.bits(Purpose::Background, self.draws | index << 1 | i).to_le_bytes();
        let [[a, b, c, d], [e, f, g, h]] = [draw(0), draw(1)];
        [a, b, c, d, e, f, g, h].map(|byte| f32::from(byte as i8))
    }

    // Not inlined: few frames come to another point.
    #[inline(never)]
    fn go_to(&mut self, noise: &Noise, index: u64) {
        let goes_on = index > 0 && self.index == Some(index - 1);
        // Sums and differences of such numbers are exact.
        let last = || core::array::from_fn(|lead| self.before[lead] + self.rise[lead]);
        let before: [f32; INDEPENDENT_LEADS] = if goes_on { last() } else { self.point(noise, index) };
        let after = self.point(noise, index + 1);
        self.rise = core::array::from_fn(|lead| after[lead] - before[lead]);
        self.before = before;
        self.index = Some(index);
    }

    /// Adds its values, times `size`, to `leads`.
    // In the vectors of its caller.
    #[inline(always)]
    fn add_to(&mut self, noise: &Noise, now: Instant, size: f32, leads: &mut [f32; INDEPENDENT_LEADS]) {
        let index = now.ticks() >> BITS;
        if self.index != Some(index) {
            self.go_to(noise, index);
        }
        let part = (now.ticks() & ((1 << BITS) - 1)) as u32 as f32 * (1.0 / (1_u64 << BITS) as f32);
        for ((lead, before), rise) in leads.iter_mut().zip(&self.before).zip(&self.rise) {
            *lead += size * (before + rise * part);
        }
    }
}

/// The lattices, so that frames close together share their points.
pub(super) struct Background {
    fast: Lattice<25>,
    slow: Lattice<30>,
    wander: Lattice<32>,
    /// Factors on the fast part of each lead, once they are known.
    contacts: Option<[f32; INDEPENDENT_LEADS]>,
}

impl Background {
    pub(super) const fn new() -> Background {
        Background { fast: Lattice::new(0), slow: Lattice::new(1 << 63), wander: Lattice::new(1 << 62), contacts: None }
    }

    /// Adds noise of `mv` RMS to the independent leads; II has half of its power from I, so that III has as much as they.
    #[inline(always)]
    pub(super) fn add_to(&mut self, noise: &Noise, now: Instant, mv: f32, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
        let contacts = *self.contacts.get_or_insert_with(|| contacts(noise));
        let mut own = [0.0; INDEPENDENT_LEADS];
        self.fast.add_to(noise, now, mv * FAST, &mut own);
        for (own, contact) in own.iter_mut().zip(contacts) {
            *own *= contact;
        }
        self.slow.add_to(noise, now, mv * SLOW, &mut own);
        self.wander.add_to(noise, now, mv * WANDER, &mut own);
        let [i, ii, ..] = &mut own;
        *ii = 0.5 * *i + 0.866_025_4 * *ii;
        for (lead, own) in leads_mv.iter_mut().zip(own) {
            *lead += own;
        }
    }
}

/// How much of the fast part each lead has: electrodes do not sit equally well.
fn contacts(noise: &Noise) -> [f32; INDEPENDENT_LEADS] {
    let bytes = |i: u64| noise.bits(Purpose::Background, 3 << 62 | i).to_le_bytes();
    let [[a, b, c, d], [e, f, g, h]] = [bytes(0), bytes(1)];
    [a, b, c, d, e, f, g, h].map(|byte| SAME_POWER * (1.0 + CONTACT / 128.0 * f32::from(byte as i8)))
}
