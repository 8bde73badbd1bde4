//! Muscle noise: at each electrode its own, with most of its power from 30 to 200 Hz.
//!
//! Chance sits on a fixed lattice of 2^-10 s at any frame rate. Four lattice points less the four before them, in
//! integers, make a band around 95 Hz with nothing at 0 Hz; between lattice points the value moves in a straight line.
//! Surface electromyograms have most of their power from 50 to 150 Hz (De Luca, 1997; from memory).

use crate::frame::INDEPENDENT_LEADS;
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

const LATTICE_BITS: u32 = 22;

/// Points that a value on the lattice is made of.
const REACH: u64 = 8;

/// RA, LA, LL, V1 to V6.
const ELECTRODES: usize = 9;

/// Draws of two values each that a lattice point takes: nine electrodes.
const DRAWS: usize = 5;

/// Where frames lie between lattice points when their rate divides 1024 Hz, chosen so that even then the RMS is the mean one.
const SHIFT: u64 = ((1 << LATTICE_BITS) as f64 * 0.211_324_87) as u64;

/// Makes the RMS 1: 2^16 / sqrt(12) for the draw, sqrt(8) for the sum, sqrt(7/8) for the straight lines.
const UNIT: f32 = 1.0 / (18_918.6 * 2.828_427 * 0.935_414_3);

/// Share of a limb electrode, 1/sqrt(2), and of a chest electrode, sqrt(5/6), that make the RMS of I, II, III and V1 to V6 1.
const LIMB: f32 = UNIT * 0.707_106_77;
const CHEST: f32 = UNIT * 0.912_870_94;

/// The last lattice points, so that frames close together share them.
pub(super) struct Muscle {
    ring: [[i16; 2 * DRAWS]; 16],
    /// The next lattice point to be drawn.
    next: u64,
    /// Each electrode's value at the lattice points before and after the last frame.
    before: [i32; ELECTRODES],
    after: [i32; ELECTRODES],
}

impl Muscle {
    pub(super) const fn new() -> Muscle {
        Muscle { ring: [[0; 2 * DRAWS]; 16], next: 0, before: [0; ELECTRODES], after: [0; ELECTRODES] }
    }

    /// Adds noise of `mv` RMS to the independent leads.
    pub(super) fn add_to(&mut self, noise: &Noise, now: Instant, mv: f32, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
        let place = now.ticks().saturating_add(SHIFT);
        // Sixteen points before the start, so that there are some before the first frame.
        let index = (place >> LATTICE_BITS) + 16;
        let share = (place & ((1 << LATTICE_BITS) - 1)) as u32 as f32 * (1.0 / (1 << LATTICE_BITS) as f32);
        self.go_to(noise, index);

        let mut potentials = [0.0; ELECTRODES];
        for ((potential, before), after) in potentials.iter_mut().zip(self.before).zip(self.after) {
            *potential = before as f32 + (after - before) as f32 * share;
        }
        let [ra, la, ll, chest @ ..] = potentials;
        let (limb, centre) = (mv * LIMB, (ra + la + ll) * (1.0 / 3.0));
        let [i, ii, v @ ..] = leads_mv;
        *i += limb * (la - ra);
        *ii += limb * (ll - ra);
        for (lead, potential) in v.iter_mut().zip(chest) {
            *lead += mv * CHEST * potential - limb * centre;
        }
    }

    /// Lets `before` and `after` be those around lattice point `index`. Sums of integers: exact in any order.
    fn go_to(&mut self, noise: &Noise, index: u64) {
        if self.next == index + 2 {
            return;
        }
        let goes_on = self.next == index + 1;
        let first = index + 1 - REACH;
        for point in if self.next > first { self.next } else { first }..=index + 1 {
            self.draw(noise, point);
        }
        self.next = index + 2;
        let point = |back: u64| &self.ring[((index + 1 - back) & 15) as usize];
        let [newest, middle, oldest] = [0, 4, 8].map(point);
        let ends = newest.iter().zip(middle).zip(oldest);
        for (electrode, ((before, after), ((newest, middle), oldest))) in
            self.before.iter_mut().zip(&mut self.after).zip(ends).enumerate()
        {
            *before = if goes_on {
                *after
            } else {
                let at = |back: u64| point(back).get(electrode).map_or(0, |value| i32::from(*value));
                at(1) + at(2) + at(3) + at(4) - at(5) - at(6) - at(7) - at(8)
            };
            // One lattice point on, three of its points change.
            *after = *before + i32::from(*newest) - 2 * i32::from(*middle) + i32::from(*oldest);
        }
    }

    fn draw(&mut self, noise: &Noise, point: u64) {
        let place = &mut self.ring[(point & 15) as usize];
        for (i, pair) in place.chunks_exact_mut(2).enumerate() {
            let bits = noise.bits(Purpose::Muscle, point.wrapping_mul(DRAWS as u64).wrapping_add(i as u64));
            if let [a, b] = pair {
                *a = bits as i16;
                *b = (bits >> 16) as i16;
            }
        }
    }
}
