//! Mains hum: a sine whose frequency is exact for years; on request with harmonics and a frequency that drifts as a grid's does.

use super::pair::Pair;
use crate::frequency::Frequency;
use crate::math::{cos_turn, phase_of, sin_turn, sqrt};
use crate::time::Instant;
use core::f32::consts::SQRT_2;

/// Third and fifth harmonic, as hum from transformers has them, the fifth half as large (common practice, no source).
const HARMONICS: [(u32, f32); 2] = [(3, 1.0), (5, 0.5)];

/// Drift: rate, and its share of the largest deviation divided by the turn rate.
const DRIFT: [(Frequency, f32); 2] = [
    (Frequency::hz(0.031), 0.6 / (core::f32::consts::TAU * 0.031)),
    (Frequency::hz(0.083), 0.4 / (core::f32::consts::TAU * 0.083)),
];

/// The hum of a step.
#[derive(Clone, Copy)]
pub(super) struct Mains {
    frequency: Frequency,
    drift_hz: f32,
    harmonics: f32,
    /// Size of the fundamental for an RMS of 1.
    size: f32,
}

impl Mains {
    /// A frequency that drifts by up to `drift_hz` to either side, with harmonics of this share of the fundamental.
    pub(super) fn new(hz: f32, drift_hz: f32, harmonics: f32) -> Mains {
        let size = if harmonics == 0.0 { SQRT_2 } else { SQRT_2 / sqrt(1.0 + 1.25 * harmonics * harmonics) };
        Mains { frequency: Frequency::hz(hz), drift_hz, harmonics, size }
    }

    /// Hum of 1 mV RMS.
    pub(super) fn at(&self, now: Instant) -> Pair {
        let mut phase = self.frequency.phase(now);
        if self.drift_hz != 0.0 {
            for (slow, turns_per_hz) in DRIFT {
                let turns = self.drift_hz * turns_per_hz * sin_turn(slow.phase(now));
                phase = phase.wrapping_add(phase_of(turns));
            }
        }
        let mut hum = Pair(self.size * sin_turn(phase), self.size * cos_turn(phase));
        if self.harmonics != 0.0 {
            for (times, share) in HARMONICS {
                let phase = phase.wrapping_mul(times);
                hum.add(Pair(sin_turn(phase), cos_turn(phase)), self.size * self.harmonics * share);
            }
        }
        hum
    }
}
