//! The person that a seed chooses: how their waves differ from the body's usual ones.
//!
//! Chance comes by (seed, wave), never by the beat, so it is the same in every beat of a script.

use super::templates::Wave;
use crate::anatomy::{AtrialOrigin, Pathway};
use crate::math;
use crate::noise::{Noise, Purpose};

/// Deviations over that of a QRS wave: of T and of the ST segment.
const T: f32 = 2.6;
const ST: f32 = 4.0;
/// The same of P, whose mean is 0.11 mV in II with a deviation of a third (older surveys, from memory), and its least size.
const P: f32 = 2.0;
const LOWER_P: f32 = 1.2;
const LEAST_P: f32 = 0.4;
/// By how much T and the ST segment are lower on average than the template's, over a mean deviation: persons' leads have an ST
/// segment that is nearer to level, and a lower T (the recordings that the tests compare with; measured).
const LOWER_T: f32 = 1.2;
const LOWER_ST: f32 = 7.0;
/// Shift of a wave inside the QRS over the QRS duration, for a deviation of 1: 1 ms of 92 ms at 15 %.
const SHIFT: f32 = 0.08;
/// Details of the QRS: how many, half their length and deviation of their size on each axis for a deviation of 1, mV.
const DETAILS: u64 = 3;
const DETAIL_MS: f32 = 9.0;
const DETAIL_MV: f32 = 0.5;
/// RR variability: the RMSSD of healthy adults is 27 ms with a deviation of 12 ms (Task Force 1996, from memory), many below and few
/// far above. The factor is a square: its median and, before it is squared, its deviation for a deviation of 1.
const USUAL_RR: f32 = 0.75;
const RR: f32 = 2.2;
/// Turn of the axis, turns for a deviation of 1: 60 degrees.
const TURN: f32 = 60.0 / 360.0;
/// The same of T and of P against the QRS, and the deviation of their depth, to the front and back: the frontal angle between QRS
/// and T of healthy adults is within 45 degrees, and T is inverted in V1 of every third of them (textbooks, from memory).
const T_TURN: f32 = 110.0 / 360.0;
const P_TURN: f32 = 80.0 / 360.0;
const DEPTH: f32 = 3.0;
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
        if self.sd == 0.0 {
            return 1.0;
        }
        let root = math::max(1.0 + RR * self.differs(63, 1), 0.0);
        USUAL_RR * root * root
    }

    /// Turn of the axis in the frontal plane, 2^-32 turns.
    pub(crate) fn turn(self) -> u32 {
        self.turned(0, TURN)
    }

    /// Turn of T against the QRS.
    pub(crate) fn t_turn(self) -> u32 {
        self.turned(2, T_TURN)
    }

    /// Turn of P.
    pub(crate) fn p_turn(self) -> u32 {
        self.turned(3, P_TURN)
    }

    /// Factor on the depth of T.
    pub(crate) fn t_depth(self) -> f32 {
        math::max(1.0 + DEPTH * self.differs(63, 4), 0.1)
    }

    /// Factor on the depth of P.
    pub(crate) fn p_depth(self) -> f32 {
        math::max(1.0 + DEPTH * self.differs(63, 5), 0.4)
    }

    /// A turn, 2^-32 turns; `deviation` is its deviation, in turns, for a deviation of 1.
    fn turned(self, thing: u64, deviation: f32) -> u32 {
        if self.sd == 0.0 { 0 } else { math::phase_of(deviation * self.differs(63, thing)) }
    }
}
