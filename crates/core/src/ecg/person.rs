//! The person that a seed chooses: how their waves differ from the body's usual ones.
//!
//! Chance comes by (seed, wave), never by the beat, so it is the same in every beat of a script.

use super::templates::Wave;
use crate::anatomy::{AtrialOrigin, Pathway};
use crate::math;
use crate::noise::{Noise, Purpose};

/// Deviations over that of a QRS wave: of T and of the ST segment.
const T: f32 = 2.0;
const ST: f32 = 3.0;
/// The same of P, whose mean is 0.11 mV in II with a deviation of a third (older surveys, from memory), and its least size.
const P: f32 = 2.0;
const LOWER_P: f32 = 1.2;
const LEAST_P: f32 = 0.4;
/// By how much T and the ST segment are lower on average than the template's, over a mean deviation: persons' leads have an ST
/// segment that is nearer to level, and a lower T (the recordings that the tests compare with; measured).
const LOWER_T: f32 = 1.2;
const LOWER_ST: f32 = 5.0;
/// Shift of a wave inside the QRS over the QRS duration, for a deviation of 1: 1 ms of 92 ms at 15 %.
const SHIFT: f32 = 0.08;
/// Details of the QRS: how many, half their length and deviation of their size on each axis for a deviation of 1, mV.
const DETAILS: u64 = 3;
const DETAIL_MS: f32 = 9.0;
const DETAIL_MV: f32 = 0.5;
/// Deviation of the RR variability: the RMSSD of healthy adults is 27 ms with a deviation of 12 ms (Task Force 1996, from memory).
const RR: f32 = 3.0;
const LEAST_RR: f32 = 0.2;
/// Turn of the axis, turns for a deviation of 1: 60 degrees.
const TURN: f32 = 60.0 / 360.0;
/// Least size of T: one that stays upright, if low.
const LEAST_T: f32 = 0.3;

/// A person, with the deviation of their QRS waves from the usual ones.
#[derive(Clone, Copy)]
pub(crate) struct Person<'n> {
    noise: &'n Noise,
    sd: f32,
}

impl<'n> Person<'n> {
    /// The person of a seed; with a deviation of zero, the body's template.
    pub(crate) fn of(noise: &'n Noise, sd: f32) -> Person<'n> {
        Person { noise, sd }
    }

    /// A bell-shaped value times the deviation for one of 32 things of one of 64 kinds of activation.
    fn differs(self, kind: usize, thing: u64) -> f32 {
        if self.sd == 0.0 {
            return 0.0;
        }
        // Apart from the numbers of beats.
        self.sd * self.noise.bell(Purpose::BeatShape, 1 << 62 | (kind as u64 & 63) << 5 | thing & 31)
    }

    /// Factor on a wave of the QRS.
    pub(crate) fn qrs(self, pathway: Pathway, wave: u64) -> f32 {
        1.0 + self.differs(pathway as usize, wave)
    }

    /// Small steep waves within the QRS, as the front meets scars and fibres of its own in each heart; none in a body's template.
    pub(crate) fn details(self, qrs_ms: f32) -> impl Iterator<Item = Wave> {
        let details = if self.sd == 0.0 { 0 } else { DETAILS };
        (0..details).map(move |detail| {
            let about = |thing: u64| self.differs(62, detail << 2 | thing);
            // Spread over the QRS, its edges left alone.
            let place = 0.2 * (detail + 1) as f32 + 0.3 * about(3);
            Wave {
                at_ms: math::clamp(place, 0.1, 0.7) * qrs_ms,
                rise_ms: DETAIL_MS,
                hold_ms: 0.0,
                fall_ms: DETAIL_MS,
                mv: [0, 1, 2].map(|axis| DETAIL_MV * about(axis)),
            }
        })
    }

    /// Factor on the T wave.
    pub(crate) fn t(self, pathway: Pathway) -> f32 {
        let differs = self.differs(pathway as usize, 0);
        math::max(1.0 + T * differs - LOWER_T * math::abs(differs), LEAST_T)
    }

    /// Factor on the wave of the ST segment.
    pub(crate) fn st(self, pathway: Pathway) -> f32 {
        let differs = self.differs(pathway as usize, 1);
        1.0 + ST * differs - LOWER_ST * math::abs(differs)
    }

    /// How much later a wave inside the QRS comes, share of the QRS duration.
    pub(crate) fn later(self, pathway: Pathway, wave: u64) -> f32 {
        SHIFT * self.differs(pathway as usize, 16 | wave)
    }

    /// Factor on P.
    pub(crate) fn p(self, origin: AtrialOrigin) -> f32 {
        let differs = self.differs(32 + origin as usize, 0);
        math::max(1.0 + P * differs - LOWER_P * math::abs(differs), LEAST_P)
    }

    /// Factor on the variability of the sinus interval.
    pub(crate) fn rr(self) -> f32 {
        math::max(1.0 + RR * self.differs(63, 1), LEAST_RR)
    }

    /// Turn of the axis in the frontal plane, 2^-32 turns.
    pub(crate) fn turn(self) -> u32 {
        if self.sd == 0.0 { 0 } else { math::phase_of(TURN * self.differs(63, 0)) }
    }
}
