//! A right arm that moves in a rhythm: tremor, or a brush in the hand.
//!
//! It moves one electrode, RA, so that I and II show it, III does not, and chest leads have a third of it. Tremor at rest has 4 to
//! 6 Hz (textbooks, from memory); at that rate it looks like flutter of the atria, larger and slower like a ventricular tachycardia.

use crate::frame::INDEPENDENT_LEADS;
use crate::frequency::Frequency;
use crate::math::{sin_turn, small_phase};
use crate::noise::{Noise, Purpose};
use crate::time::Instant;

/// Slow changes of pace and size.
const SLOW: [Frequency; 2] = [Frequency::hz(0.31), Frequency::hz(0.13)];
/// How far the phase runs ahead and behind, turns.
const PHASE_WANDER: f32 = 0.12;
/// How far the size changes.
const SIZE_WANDER: f32 = 0.3;
/// The second harmonic over the first.
const POINTED: f32 = 0.35;
/// Makes the RMS 1: the power of the harmonics, 0.561, and 1.045 times it for the size.
const UNIT: f32 = 1.0 / 0.765_8;

/// Adds a movement of `mv` RMS in I and II.
pub(super) fn add_to(noise: &Noise, hz: f32, now: Instant, mv: f32, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
    let seed = noise.bits(Purpose::Motion, 1 << 62);
    let [slow, slower] = SLOW.map(|frequency| sin_turn(frequency.phase(now).wrapping_add(seed)));
    let phase = Frequency::hz(hz).phase(now).wrapping_add(small_phase(PHASE_WANDER * (slow + slower)));
    let wave = sin_turn(phase) + POINTED * sin_turn(phase.wrapping_mul(2).wrapping_add(seed.rotate_left(7)));
    let ra_mv = mv * UNIT * (1.0 + SIZE_WANDER * slower) * wave;
    let [i, ii, chest @ ..] = leads_mv;
    *i -= ra_mv;
    *ii -= ra_mv;
    for lead in chest {
        *lead -= ra_mv * (1.0 / 3.0);
    }
}
