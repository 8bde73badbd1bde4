//! Polarisation after a pacing pulse: a tail of opposite polarity that decays exponentially.

use crate::math;
use crate::time::{Instant, Span};

/// How large a tail is and how fast it decays.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct OvershootTail {
    /// Share of the pulse's height, at most [`CAP_MV`]: method A of EC13 4.1.4.2 (percentages from memory).
    pub share: f32,
    /// Share of the pulse's charge that the tail gives back, height times width over time constant: 1 is method B of
    /// EC13 4.1.4.2 (formula from memory). When not zero, it takes the place of `share`.
    pub charge: f32,
    /// Time constant, s.
    pub tau_s: f32,
}

/// Largest tail by method A, mV.
pub(crate) const CAP_MV: f32 = 2.0;

impl OvershootTail {
    /// The tail's start, mV, after a pulse of this height and width.
    pub(crate) fn start_mv(&self, height_mv: f32, width_s: f32) -> f32 {
        if self.charge > 0.0 {
            return -self.charge * height_mv * width_s / self.tau_s;
        }
        math::clamp(-self.share * height_mv, -CAP_MV, CAP_MV)
    }
}

/// After this many time constants a tail is nothing: 0.0006 % of its start.
const LIFE: f32 = 12.0;

#[derive(Clone, Copy, Debug)]
struct Decay {
    from: Instant,
    until: Instant,
    mv: f32,
    per_s: f32,
}

impl Decay {
    fn at(&self, now: Instant) -> f32 {
        if now < self.from || now >= self.until {
            return 0.0;
        }
        self.mv * math::exp(-now.since(self.from).as_secs() * self.per_s)
    }
}

/// The tails of all pulses so far: together one decay, as each pulse takes over the rest.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Overshoot {
    /// Counts until the last one starts at the end of its pulse.
    before: Option<Decay>,
    last: Option<Decay>,
}

impl Overshoot {
    /// Adds a tail of `mv` from `from` on.
    pub(crate) fn start(&mut self, from: Instant, mv: f32, tau_s: f32) {
        if mv != 0.0 {
            let decay = Decay {
                from,
                until: from.plus(Span::from_secs(LIFE * tau_s)),
                mv: mv + self.at(from),
                per_s: 1.0 / tau_s,
            };
            self.before = self.last.replace(decay);
        }
    }

    /// Whether anything may be left from `now` on.
    pub(crate) fn lasts(&self, now: Instant) -> bool {
        self.last.is_some_and(|last| now < last.until)
    }

    /// The sum of the tails, mV in the pulse's direction.
    pub(crate) fn at(&self, now: Instant) -> f32 {
        match (self.before, self.last) {
            (Some(before), Some(last)) if now < last.from => before.at(now),
            (_, Some(last)) => last.at(now),
            _ => 0.0,
        }
    }
}
