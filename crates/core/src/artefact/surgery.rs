//! High-frequency surgery: an amplifier turns the generator's carrier into broad-band noise that pulses at twice the mains
//! frequency (common practice, no source). It lasts as long as the step has it: a burst is a step.

use super::pair::Pair;
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

/// Lattice on which it is left to chance: 2^-13 s, so its band ends at about 4 kHz.
const LATTICE_BITS: u32 = 19;

/// Makes the RMS of a uniform in [-1, 1) times the hum's sine 1.
const UNIT: f32 = 1.732_050_8;

/// Noise of 1 mV RMS; `hum` is the mains hum of 1 mV RMS at the same instant.
pub(super) fn at(noise: &Noise, hum: Pair, now: Instant) -> Pair {
    let bits = noise.bits(Purpose::Surgery, now.ticks() >> LATTICE_BITS);
    let signed = |half: u32| f32::from(half as i16) * (1.0 / 32_768.0);
    let size = UNIT * hum.0;
    Pair(size * signed(bits), size * signed(bits >> 16))
}
