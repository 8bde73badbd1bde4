//! Chest compressions: the electrodes move with the chest, 100 to 120 times a minute (AHA guidelines 2020), as large as a QRS or larger.
//!
//! A wave with harmonics, its size a little different from one compression to the next (shape common practice, no source).

use super::pair::Pair;
use crate::anatomy::PressureSite;
use crate::frequency::Frequency;
use crate::math::{cos_turn, max, sin_turn};
use crate::time::Instant;

/// Harmonics with their size and phase, 2^-32 turns.
const HARMONICS: [(u32, f32, u32); 3] = [(1, 1.0, 0), (2, 0.5, 0x1800_0000), (3, 0.2, 0x4000_0000)];
/// How far the size changes, and how fast.
const SIZE_WANDER: f32 = 0.12;
const SLOW: Frequency = Frequency::hz(0.07);
/// Makes the RMS 1: the power of the harmonics, 0.645, and 1.007 times it for the size.
const UNIT: f32 = 1.0 / 0.806;

/// Compressions of 1 mV RMS at this rate.
pub(super) fn at(per_min: f32, now: Instant) -> Pair {
    let phase = Frequency::hz(per_min * (1.0 / 60.0)).phase(now);
    let size = UNIT * (1.0 + SIZE_WANDER * sin_turn(SLOW.phase(now)));
    let mut sum = Pair::default();
    for (times, share, offset) in HARMONICS {
        let phase = phase.wrapping_mul(times).wrapping_add(offset);
        sum.add(Pair(sin_turn(phase), cos_turn(phase)), size * share);
    }
    sum
}

/// How far the chest is pressed at an instant, 0 to 1: down for half of each compression, up for the other half (a duty cycle of
/// 50 %, AHA guidelines 2020, from memory). A compression that is not whole between `start` and `end` is left out, so that a pressure never jumps.
pub(crate) fn depth(per_min: f32, start: Instant, end: Instant, now: Instant) -> f32 {
    let period_s = 60.0 / per_min;
    let phase = Frequency::hz(per_min * (1.0 / 60.0)).phase(now);
    let gone_s = phase as f32 * (1.0 / 4_294_967_296.0) * period_s;
    if gone_s > now.since(start).as_secs() || period_s - gone_s > end.since(now).as_secs() {
        return 0.0;
    }
    let down = max(sin_turn(phase), 0.0);
    down * down
}

/// Share of the rise of the arterial pressure that a site has: the chambers and vessels of the chest rise together, and the right
/// atrium by nearly as much as the aorta (textbooks of resuscitation, from memory; shares common practice, no source).
pub(crate) const fn share(site: PressureSite) -> f32 {
    match site {
        PressureSite::Arterial | PressureSite::Femoral | PressureSite::LeftVentricle => 1.0,
        PressureSite::Intracranial => 0.3,
        _ => 0.8,
    }
}
