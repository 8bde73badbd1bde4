//! Electrodes that shift on the skin: noise from 0.5 to 12 Hz, where a QRS detector listens and where no filter helps.
//!
//! Chance sits on lattices of 2^-4, 2^-3 and 2^-2 s, joined by smooth steps, the slower the larger: most of the power lies from
//! 0.5 to 5 Hz and falls towards 12 Hz, as described for recordings of electrode motion (Moody, Muldrow and Mark, "A noise
//! stress test for arrhythmia detectors", Computers in Cardiology 1984; shares from memory).

use super::pair::{Pair, PairLattice};
use crate::math::smooth_step;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// Lattices, as powers of two of ticks, and their RMS; the squares add to 1.
const LATTICES: [(u32, f32); 3] = [(28, 0.65), (29, 0.60), (30, 0.466)];

/// Makes the RMS of a lattice 1: between its points the smooth step leaves 26/35 of the variance of 1/3.
const UNIT: f32 = 2.009_592;

/// Time in which a burst swells and in which it dies away, s.
const EDGE_S: f32 = 0.25;

/// The lattices.
pub(super) struct ElectrodeShifts {
    lattices: [PairLattice; LATTICES.len()],
}

impl ElectrodeShifts {
    pub(super) const fn new() -> ElectrodeShifts {
        ElectrodeShifts { lattices: [const { PairLattice::new() }; LATTICES.len()] }
    }

    /// Noise of 1 mV RMS, in bursts of a length in a time of their own, s, or without a break where the length is zero.
    pub(super) fn at(&mut self, noise: &Noise, bursts: (f32, f32), now: Instant) -> Pair {
        let size = burst(noise, bursts, now);
        let mut sum = Pair::default();
        if size == 0.0 {
            return sum;
        }
        for ((bits, rms), lattice) in LATTICES.into_iter().zip(&mut self.lattices) {
            let part = (now.ticks() & ((1 << bits) - 1)) as u32 as f32 * (1.0 / (1_u64 << bits) as f32);
            let point = |index: u64| Pair::of_bits(noise.bits(Purpose::Electrode, u64::from(bits) << 58 | index));
            sum.add(lattice.at(now.ticks() >> bits, part, point), size * rms * UNIT);
        }
        sum
    }
}

/// How far a burst has swollen, 0 to 1.
fn burst(noise: &Noise, (length_s, every_s): (f32, f32), now: Instant) -> f32 {
    if length_s <= 0.0 || length_s >= every_s {
        return 1.0;
    }
    let every = Span::from_secs(every_s).ticks().max(1);
    let slot = now.ticks() / every;
    let after_s = (every_s - length_s) * noise.uniform(Purpose::Electrode, slot | 1 << 62);
    let since_s = Span::from_ticks(now.ticks() % every).as_secs() - after_s;
    smooth_step(since_s * (1.0 / EDGE_S)) * smooth_step((length_s - since_s) * (1.0 / EDGE_S))
}
