//! Chest compressions as they press on heart and vessels: a rise of the pressure in the vessel at each, seen through the line.
//!
//! ```text
//!      .-.       .-.          down: a squared half sine, half of each compression
//!     /   \     /   \         the line answers with a sine of the same frequency, and rings where a half begins and ends
//! ___/     \___/     \___
//! ```

use super::line::PressureLine;
use crate::anatomy::PressureSite;
use crate::frequency::Frequency;
use crate::math::{cos_turn, sin_turn, small_phase};
use crate::time::{Instant, Span};
use core::f32::consts::TAU;

/// The compression under way, or the last, and when the next begins.
///
/// A duty cycle of 50 % (AHA guidelines 2020, from memory). The whole compression has the rise that is set where it begins. One that
/// would not be whole within its step is left out; one under way when a step of unknown length ends goes on to its end.
#[derive(Clone, Debug)]
pub(crate) struct Compressions {
    onset: Instant,
    /// When the next begins, or this one lets go; `NEVER` when none is to come.
    next: Instant,
    /// End of the step; its start where the step has none.
    until: Instant,
    per_min: f32,
    /// Rise of the arterial pressure, mmHg.
    mmhg: f32,
    down: bool,
}

/// The halves of a compression, where a line starts to ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CompressionHalf {
    /// The chest begins to go down.
    Down,
    /// It is up again.
    Up,
}

/// A compression that rounding of the rate puts so little before the start of a step begins with it, 2^-32 turns.
const NEAR: u32 = 1 << 22;

/// A compression that rounding puts so little past the end of a step is whole.
const NEAR_END: Span = Span::millis(1);

impl Compressions {
    pub(crate) const NONE: Compressions = Compressions {
        onset: Instant::ZERO,
        next: Instant::NEVER,
        until: Instant::ZERO,
        per_min: 110.0,
        mmhg: 0.0,
        down: false,
    };

    /// When the next part begins; `NEVER` when none is to come.
    pub(crate) fn next(&self) -> Instant {
        self.next
    }

    /// A step with compressions `per_min` lasts from `now` until `until`; one without them ends as it starts.
    pub(crate) fn change(&mut self, now: Instant, until: Instant, per_min: f32) {
        self.until = until;
        if !self.down {
            self.plan(now, per_min);
        }
    }

    /// Works out when the next begins, in step with the movement of the electrodes.
    fn plan(&mut self, now: Instant, per_min: f32) {
        self.per_min = per_min;
        let (period, phase) = (Span::period(per_min), Frequency::hz(per_min * (1.0 / 60.0)).phase(now));
        // A period is at most a second: the product stays below 2^64.
        let left = if phase < NEAR { 0 } else { period.ticks().wrapping_mul(u64::from(phase.wrapping_neg())) >> 32 };
        let onset = now.plus(Span::from_ticks(left));
        // Its second half presses nothing, so what goes past the end does not show.
        self.next = if onset.plus(period) <= self.until.plus(NEAR_END) { onset } else { Instant::NEVER };
    }

    /// Begins the part that is due, of a compression with this rise.
    pub(crate) fn begin(&mut self, mmhg: f32) -> CompressionHalf {
        if self.down {
            return CompressionHalf::Up;
        }
        (self.onset, self.mmhg, self.down) = (self.next, mmhg, true);
        CompressionHalf::Down
    }

    /// Goes on from the part that has begun to the next.
    pub(crate) fn go_on(&mut self, part: CompressionHalf, per_min: f32) {
        match part {
            CompressionHalf::Down => {
                let half = Span::from_ticks(Span::period(self.per_min).ticks() / 2);
                self.next = self.onset.plus(half);
            }
            CompressionHalf::Up => {
                self.down = false;
                self.plan(self.next, per_min);
            }
        }
    }

    /// Settled answer of a line at `now`: rise and slope at a site, mmHg and mmHg/s.
    pub(crate) fn seen(&self, site: PressureSite, line: &PressureLine, now: Instant) -> (f32, f32) {
        if self.down { self.wave(site, line).here(now.since(self.onset)) } else { (0.0, 0.0) }
    }

    /// What a line lacks or has too much when a part begins, for which it rings: value and slope, mmHg and mmHg/s.
    pub(crate) fn kick(&self, part: CompressionHalf, site: PressureSite, line: &PressureLine) -> (f32, f32) {
        let (mmhg, slope) = self.wave(site, line).here(Span::ZERO);
        if part == CompressionHalf::Down { (-mmhg, -slope) } else { (mmhg, slope) }
    }

    /// Adds the rise at a site to what its open transducer shows, at consecutive instants between two parts.
    pub(crate) fn add_to<'m>(
        &self,
        site: PressureSite,
        line: &PressureLine,
        instants: &[Instant],
        shown: impl Iterator<Item = &'m mut f32>,
    ) {
        if self.down {
            let wave = self.wave(site, line);
            for (mmhg, now) in shown.zip(instants) {
                *mmhg += wave.here(now.since(self.onset)).0;
            }
        }
    }

    fn wave(&self, site: PressureSite, line: &PressureLine) -> Wave {
        let hz = self.per_min * (2.0 / 60.0);
        Wave { half_mmhg: 0.5 * share(site) * self.mmhg, hz, answer: line.answer(hz) }
    }
}

/// The settled output of a line for a squared half sine, which is a constant less a cosine of twice its frequency.
struct Wave {
    half_mmhg: f32,
    hz: f32,
    /// The line's answer to a rotating vector of this frequency.
    answer: (f32, f32),
}

impl Wave {
    /// Value and slope after a time since the onset, within the half.
    fn here(&self, since: Span) -> (f32, f32) {
        let turn = small_phase(self.hz * since.as_secs());
        let (cosine, sine) = (cos_turn(turn), sin_turn(turn));
        let (real, imaginary) = self.answer;
        let slope = TAU * self.hz * (real * sine + imaginary * cosine);
        (self.half_mmhg * (1.0 - (real * cosine - imaginary * sine)), self.half_mmhg * slope)
    }
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
