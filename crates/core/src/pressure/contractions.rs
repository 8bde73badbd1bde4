//! When the atria contracted in the last cycles of the ventricles.
//!
//! The mean of an atrial pressure is to be as set, whatever waves are on it: one a wave a cycle, none, those of flutter or of
//! atria that go their own way, cannon waves. So each cycle is drawn over the resting pressure that would have given the
//! two before it the mean as set. Nothing is fed back: what a beat starts depends on the last beats alone.

use super::chambers::{Atrium, a_wave, waves};
use crate::math::min;
use crate::time::Span;

/// Contractions of a cycle that count; of dissociated atria under a slow escape there may be more.
const MOST: usize = 4;

/// Parts of a usual contraction that are told apart.
const PARTS: f32 = 64.0;

/// Parts of a second that are told apart.
const PER_S: f32 = 4096.0;

/// Contractions of a cycle, and its length. Packed, as a player has room for a few kilobytes only.
#[derive(Clone, Copy, Debug, Default)]
struct AtrialCycle {
    /// Starts of the a waves since the closing of the valves, in 1/4096 s.
    at: [u16; MOST],
    /// Shares of the usual force, in 1/64; negative against closed valves; 0 where there is none.
    force: [i8; MOST],
    /// In 1/4096 s; 0 while it is not over.
    length: u16,
}

impl AtrialCycle {
    fn add(&mut self, at: u16, force: i8) {
        for (place, its_force) in self.at.iter_mut().zip(&mut self.force) {
            if *its_force == 0 {
                (*place, *its_force) = (at, force);
                return;
            }
        }
    }

    /// Contractions that start before the valves close again: starts and forces.
    fn in_time(&self) -> impl Iterator<Item = (u16, i8)> {
        let end = if self.length > 0 { self.length } else { u16::MAX };
        self.at.iter().copied().zip(self.force).filter(move |(at, force)| *force != 0 && *at <= end)
    }

    /// Whether the atria contracted in time.
    fn has_any(&self) -> bool {
        self.force[0] != 0 && (self.length == 0 || self.at[0] <= self.length)
    }

    /// How long it lasts, s.
    fn length_s(&self, period: Span) -> f32 {
        let period_s = period.as_secs();
        // None has ended yet; or none came for long, and the pressure went elsewhere.
        if self.length == 0 { period_s } else { min(f32::from(self.length) * (1.0 / PER_S), 2.0 * period_s) }
    }

    /// Pressure over the resting pressure and slope at its end, with waves of 1 mmHg from a pressure and slope on, and the
    /// integral.
    #[inline(never)]
    fn play(&self, form: &Atrium, start: (f32, f32), period: Span) -> ((f32, f32), f32) {
        let length_s = self.length_s(period);
        let mut plan = waves(form, start, 0.0, 1.0, self.has_any(), period);
        let (mut from_s, mut area) = (0.0, 0.0);
        for (at, parts) in self.in_time() {
            let at_s = min(f32::from(at) * (1.0 / PER_S), length_s);
            area += plan.integral(at_s - from_s);
            let force = f32::from(parts.unsigned_abs()) * (1.0 / PARTS);
            plan = a_wave(plan.here(at_s - from_s), 0.0, force, parts < 0, period);
            from_s = at_s;
        }
        (plan.here(length_s - from_s), area + plan.integral(length_s - from_s))
    }
}

/// In 1/4096 s.
fn packed(span: Span) -> u16 {
    (span.ticks() >> 20).min(u64::from(u16::MAX)) as u16
}

/// The contractions of the last two cycles, and those of the present one.
#[derive(Clone, Debug, Default)]
pub struct Contractions {
    before: AtrialCycle,
    last: AtrialCycle,
    present: AtrialCycle,
}

impl Contractions {
    /// An a wave starts, `after` the closing of the valves, with this share of the usual force; `closed` when against closed
    /// valves.
    pub fn atria(&mut self, after: Span, force: f32, closed: bool) {
        // `as` saturates.
        self.present.add(packed(after), ((if closed { -force } else { force }) * PARTS) as i8);
    }

    /// The valves close, `length` after the time before: a cycle ends.
    pub fn ventricles(&mut self, length: Span) {
        self.present.length = packed(length);
        self.before = core::mem::replace(&mut self.last, core::mem::take(&mut self.present));
        // Atria that contract only once the valves have closed do so against them, in the cycle that begins.
        let AtrialCycle { at, force, length } = self.last;
        if let Some(late) = (0..MOST).find(|i| length > 0 && at[*i] > length && force[*i] != 0) {
            self.present.add(at[late] - length, -force[late].saturating_abs());
        }
    }

    /// Whether the atria contracted in the cycle before the last beat of the ventricles.
    pub fn came_before(&self) -> bool {
        self.last.has_any()
    }

    /// Mean over the resting pressure, with waves of 1 mmHg, that an atrium has in cycles like the last two.
    pub fn mean(&self, form: &Atrium, period: Span) -> f32 {
        let first = if self.before.length == 0 { &self.last } else { &self.before };
        // They start from what is left of one like the last.
        let (start, _) = self.last.play(form, (0.0, 0.0), period);
        let (end, area) = first.play(form, start, period);
        let (_, more) = self.last.play(form, end, period);
        (area + more) / (first.length_s(period) + self.last.length_s(period))
    }
}
