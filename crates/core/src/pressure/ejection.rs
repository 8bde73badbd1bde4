//! Strength of a beat from filling time, rhythm and recovery.

use crate::math::{max, min};
use crate::time::Span;

/// A beat after a pause longer than this finds a weakened heart.
const ARREST_S: f32 = 3.0;

/// The heart's strength from beat to beat.
#[derive(Clone, Debug)]
pub(crate) struct Ejection {
    vigour: f32,
    odd: bool,
}

/// A beat's ejection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stroke {
    /// Relative to a regular beat.
    pub strength: f32,
    /// Whether this is an odd one of alternating beats.
    pub odd: bool,
}

impl Ejection {
    /// A rested heart.
    pub(crate) const fn new() -> Ejection {
        Ejection { vigour: 1.0, odd: false }
    }

    /// The stroke of a beat `interval` after the one before (`None` for the first), where `period` was expected.
    ///
    /// `ejection` is the rhythm's share of a normal stroke. At 60 % of the expected interval less than half a stroke,
    /// after a pause up to a third more (post-extrasystolic potentiation; sizes are common practice, no source). After
    /// an arrest the heart recovers over several beats.
    pub(crate) fn stroke(&mut self, interval: Option<Span>, ejection: f32, period: Span) -> Stroke {
        let share = interval.map_or(1.0, |interval| interval.as_secs() / max(period.as_secs(), 0.1));
        if interval.is_some_and(|interval| interval.as_secs() > ARREST_S && share > 1.5) {
            self.vigour = 0.55;
        } else {
            self.vigour += (1.0 - self.vigour) * 0.35;
            if self.vigour > 0.995 {
                self.vigour = 1.0;
            }
        }
        let filling = if share < 1.0 { 1.0 - 1.4 * (1.0 - share) } else { 1.0 + 0.35 * min(share - 1.0, 1.0) };
        self.odd = !self.odd;
        Stroke { strength: max(filling, 0.0) * ejection * self.vigour, odd: self.odd }
    }
}

impl Default for Ejection {
    fn default() -> Ejection {
        Ejection::new()
    }
}
