//! When the atria contracted in the last cycles of the ventricles.
//!
//! An atrial pressure has the mean set with any waves: one a wave a cycle, none, those of flutter or of dissociated
//! atria, cannon waves. So each cycle is drawn over the resting pressure that would have given the
//! two before it the mean as set. Nothing is fed back: what a beat starts depends on the last beats alone.

use super::chambers::Side;
use super::trace::TracePlan;
use crate::math::{abs, max, min};
use crate::time::Span;

/// Contractions of a cycle that count; of dissociated atria under a slow escape there may be more.
const MOST: usize = 4;

/// Resolution of the force: parts of a usual contraction.
const PARTS: f32 = 64.0;

/// From when to when before the valves close a contraction of the atria fills the ventricles for a beat of their own, s (from
/// memory).
const KICK_S: [f32; 2] = [0.04, 0.25];

/// Resolution of time: parts of a second.
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

    /// Pressure and slope at its end, from a pressure and slope on, and the integral, where that is asked for.
    #[inline(never)]
    fn play(&self, side: &Side, start: (f32, f32), integral: bool) -> ((f32, f32), f32) {
        let area_of = |plan: &TracePlan, until_s| if integral { plan.integral(until_s) } else { 0.0 };
        let length_s = self.length_s(side.period);
        let mut plan = side.waves(start, self.has_any());
        let (mut from_s, mut area) = (0.0, 0.0);
        for (at, parts) in self.in_time() {
            let at_s = min(f32::from(at) * (1.0 / PER_S), length_s);
            area += area_of(&plan, at_s - from_s);
            let force = f32::from(parts.unsigned_abs()) * (1.0 / PARTS);
            plan = side.a_wave(plan.here(at_s - from_s), force, parts < 0);
            from_s = at_s;
        }
        (plan.here(length_s - from_s), area + area_of(&plan, length_s - from_s))
    }
}

/// In 1/4096 s.
fn packed(span: Span) -> u16 {
    (span.ticks() >> 20).min(u64::from(u16::MAX)) as u16
}

/// The contractions of the last two cycles, and those of the present one.
#[derive(Clone, Debug, Default)]
pub(crate) struct Contractions {
    before: AtrialCycle,
    last: AtrialCycle,
    present: AtrialCycle,
}

impl Contractions {
    /// An a wave starts, `after` the closing of the valves, with this share of the usual force; `closed` when against closed
    /// valves.
    pub(crate) fn atria(&mut self, after: Span, force: f32, closed: bool) {
        // `as` saturates.
        self.present.add(packed(after), ((if closed { -force } else { force }) * PARTS) as i8);
    }

    /// The valves close, `length` after the time before: a cycle ends.
    pub(crate) fn ventricles(&mut self, length: Span) {
        self.present.length = packed(length);
        self.before = core::mem::replace(&mut self.last, core::mem::take(&mut self.present));
        // Atria that contract after the valves have closed contract against them, in the cycle that begins.
        let AtrialCycle { at, force, length } = self.last;
        if let Some(late) = (0..MOST).find(|i| length > 0 && at[*i] > length && force[*i] != 0) {
            self.present.add(at[late] - length, -force[late].saturating_abs());
        }
    }

    /// Whether the atria contracted in the cycle before the last beat of the ventricles.
    pub(crate) fn came_before(&self) -> bool {
        self.last.has_any()
    }

    /// Whether the atria contracted against open valves shortly before the last beat of the ventricles, and filled them.
    pub(crate) fn kicked(&self) -> bool {
        let (length, [from, to]) = (self.last.length, KICK_S.map(|s| (s * PER_S) as u16));
        length > 0 && self.last.in_time().any(|(at, force)| force > 0 && (from..to).contains(&(length - at)))
    }

    /// The resting pressure with which an atrium has a mean as set in cycles like the last two, mmHg.
    pub(crate) fn rest_mmhg(&self, side: &Side, mean_mmhg: f32) -> f32 {
        let mean = |rest_mmhg: f32| self.mean_mmhg(&Side { rest_mmhg, ..*side });
        // The mean goes with the resting pressure but for where the a wave follows the ventricle: two steps are enough.
        let first = mean_mmhg - 0.3 * side.wave_mmhg;
        let found = mean(first);
        let second = first + (mean_mmhg - found);
        let slope = if abs(second - first) > 0.01 { (mean(second) - found) / (second - first) } else { 1.0 };
        let rest_mmhg = first + (mean_mmhg - found) / if slope > 0.2 { slope } else { 1.0 };
        // Where ventricles that are filled to more than that leave no room for it, the mean gives way.
        max(rest_mmhg, mean_mmhg - 1.2 * side.wave_mmhg)
    }

    /// Mean that an atrium has in cycles like the last two.
    fn mean_mmhg(&self, side: &Side) -> f32 {
        let first = if self.before.length == 0 { &self.last } else { &self.before };
        // They start from the end of a cycle like the last.
        let (start, _) = self.last.play(side, (side.rest_mmhg, 0.0), false);
        let (end, area) = first.play(side, start, true);
        let (_, more) = self.last.play(side, end, true);
        (area + more) / (first.length_s(side.period) + self.last.length_s(side.period))
    }
}
