//! The residuals being drawn: what leads have beside the heart vector, of bodies that bring such curves.

use super::templates::residual::{Knot, Residual, leads_uv};
use crate::frame::INDEPENDENT_LEADS;
use crate::time::{Instant, PackedInstant, Span};

/// Most drawn at once: P, QRS and T of a beat with the T of the beat before. A further one is left out, so that none breaks off.
const CAPACITY: usize = 4;

/// A residual under way.
#[derive(Clone, Copy, Debug)]
struct Curve<'a> {
    /// Frame clock of the start; within 128 s of any frame at which it is drawn.
    start: u32,
    end: PackedInstant,
    steps_per_s: f32,
    /// mV for a number of 6 uV.
    size: f32,
    knots: &'a [Knot],
}

impl Curve<'_> {
    /// Adds the leads at a frame clock, mV.
    fn add_to(&self, clock: u32, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
        let since = clock.wrapping_sub(self.start) as i32;
        // Zero by the clock and not by rounding, so that it may be forgotten at its end.
        if since <= 0 || clock.wrapping_sub(self.end.instant().clock()) as i32 >= 0 {
            return;
        }
        let steps = since as f32 * (1.0 / 16_777_216.0) * self.steps_per_s;
        let newest = steps as usize;
        let f = steps - newest as f32;
        let (g, square) = (1.0 - f, f * f);
        // The four bumps under way, from the one that began last.
        let bumps = [square * f, 1.0 + 3.0 * (f + square - square * f), 4.0 + 3.0 * square * (f - 2.0), g * g * g];
        for (back, height) in bumps.into_iter().enumerate() {
            let Some(knot) = newest.checked_sub(back).and_then(|place| self.knots.get(place)) else { continue };
            let size = self.size * height;
            for (lead, uv) in leads_mv.iter_mut().zip(leads_uv(knot)) {
                *lead += size * f32::from(uv);
            }
        }
    }
}

/// The residuals being drawn, in the order in which they were started.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct UnderWay<'a>([Option<Curve<'a>>; CAPACITY]);

impl<'a> UnderWay<'a> {
    /// Whether there are none.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.first().is_none_or(Option::is_none)
    }

    /// Starts a residual whose times are counted from `at`, `stretch` times as long and `size` times as large.
    pub(crate) fn start(&mut self, at: Instant, residual: Option<Residual<'a>>, stretch: f32, size: f32) {
        let Some(residual) = residual else { return };
        let Some(free) = self.0.iter_mut().find(|place| place.is_none()) else { return };
        let s = 0.001 * stretch;
        let step_s = crate::math::max(residual.step_ms * s, 1e-5);
        let start = at.shifted(residual.at_ms * s);
        let end = start.plus(Span::from_secs((residual.knots.len() + 3) as f32 * step_s));
        *free = Some(Curve {
            start: start.clock(),
            end: PackedInstant::new(end),
            steps_per_s: 1.0 / step_s,
            size: size * (0.001 / 6.0),
            knots: residual.knots,
        });
    }

    /// Forgets what has ended before `now`, keeping the order: sums are always formed oldest first.
    pub(crate) fn retire(&mut self, now: Instant) {
        if self.is_empty() {
            return;
        }
        let all = core::mem::take(&mut self.0);
        let going_on = all.into_iter().flatten().filter(|curve| curve.end.instant() > now);
        self.0.iter_mut().zip(going_on).for_each(|(place, curve)| *place = Some(curve));
    }

    /// Leads I, II, V1 to V6 at a frame clock, mV.
    pub(crate) fn leads_mv(&self, clock: u32) -> [f32; INDEPENDENT_LEADS] {
        let mut leads_mv = [0.0; INDEPENDENT_LEADS];
        self.0.iter().flatten().for_each(|curve| curve.add_to(clock, &mut leads_mv));
        leads_mv
    }
}
