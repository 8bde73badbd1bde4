//! The pressure in the chest, which breathing moves: every vessel and chamber in the chest goes along at once, whatever its beats do.
//!
//! ```text
//! full lungs     .-.         .-.
//!               /   \       /   \      the fall has the course of the lung volume, and the size that is set as the breath begins
//! ________/'\__/     \_____/     \__
//! ```

use crate::anatomy::PressureSite;
use crate::respiration::Respiration;
use crate::time::{Instant, Span};

/// Share of its fall that a site takes: the veins of the neck carry half of it up to the brain (common practice, no source).
const fn share(site: PressureSite) -> f32 {
    match site {
        PressureSite::Arterial | PressureSite::Femoral => 0.0,
        PressureSite::Intracranial => 0.5,
        _ => 1.0,
    }
}

/// So many instants of an inspiration, and of an expiration, are looked at for extremes.
const LOOKS: u8 = 12;

/// Over so much time its slope is taken.
const STEP: Span = Span::millis(8);

/// The pressure in the chest as a site takes it.
#[derive(Clone, Copy)]
pub(crate) struct Chest<'r> {
    respiration: &'r Respiration,
    /// Fall with full lungs, mmHg.
    fall_mmhg: f32,
}

impl Chest<'_> {
    pub(crate) fn new(site: PressureSite, respiration: &Respiration) -> Chest<'_> {
        Chest { respiration, fall_mmhg: share(site) * respiration.chest_mmhg() }
    }

    /// Fall with full lungs, mmHg.
    pub(crate) fn fall_mmhg(&self) -> f32 {
        self.fall_mmhg
    }

    /// Whether nothing moves here.
    pub(crate) fn is_still(&self) -> bool {
        self.fall_mmhg == 0.0
    }

    fn at(&self, now: Instant) -> f32 {
        if self.is_still() { 0.0 } else { -self.fall_mmhg * self.respiration.lung_volume_ahead(now) }
    }

    /// Value and slope, mmHg and mmHg/s, at an instant of the breath under way or a little later.
    pub(crate) fn here(&self, now: Instant) -> (f32, f32) {
        let mmhg = self.at(now);
        (mmhg, (self.at(now.plus(STEP)) - mmhg) * (1.0 / STEP.as_secs()))
    }

    /// Value at an instant, mmHg; `None` before the breath under way.
    pub(crate) fn since_breath(&self, at: impl FnOnce() -> Instant) -> Option<f32> {
        if self.is_still() {
            return Some(0.0);
        }
        let at = at();
        (at >= self.respiration.breath_began()).then(|| self.at(at))
    }

    /// Integral from `from`, or the start of the breath under way, to `to`, mmHg s.
    pub(crate) fn area(&self, from: Instant, to: Instant) -> f32 {
        if self.is_still() {
            return 0.0;
        }
        -self.fall_mmhg * (self.respiration.filled_s(to) - self.respiration.filled_s(from))
    }

    /// Instants of the breath under way, so close that between two of them a pressure has no extreme to speak of; none where nothing
    /// moves.
    pub(crate) fn looks(&self) -> impl Iterator<Item = Instant> {
        let [start, full, empty] = self.respiration.turns();
        let parts = if self.is_still() { 0 } else { LOOKS };
        let steps =
            [(start, full), (full, empty)].map(|(from, to)| (from, to.since(from).scaled(1.0 / f32::from(LOOKS))));
        let looks = move |(from, step): (Instant, Span)| (1..=parts).map(move |i| from.plus(step.scaled(f32::from(i))));
        steps.into_iter().flat_map(looks)
    }
}
