//! The resting pressures of the atria, which follow from the last two cycles of a heart.
//!
//! A beat changes them, and to find them is more work than all the rest of it. So a beat keeps what they follow from, and the frames
//! after it work them out, one side in each; what asks earlier gets them then. Nothing that they follow from changes in between, so
//! the values are the same at any of these times.

use super::chambers::{Atrium, LEFT_ATRIUM, RIGHT_ATRIUM, Side};
use super::contractions::Contractions;
use super::sites::{Moment, Sides};
use crate::anatomy::PressureSite;
use crate::time::Span;

/// Settings of an atrium at a beat, mmHg.
#[derive(Clone, Copy, Debug)]
struct Sought {
    mean_mmhg: f32,
    wave_mmhg: f32,
    end_diastolic_mmhg: f32,
}

/// Resting pressures of both atria.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rests {
    found_mmhg: Sides<f32>,
    /// Sides that are still to be worked out.
    sought: Sides<Option<Sought>>,
    filling_mmhg: f32,
    rise_s: f32,
    period: Span,
}

impl Rests {
    /// A beat has changed them.
    pub(crate) fn seek(&mut self, moment: &Moment<'_>) {
        let sought = |site| {
            let (side, mean_mmhg) = (moment.side(site, 0.0), moment.atrial_mean(site));
            (side, Sought { mean_mmhg, wave_mmhg: side.wave_mmhg, end_diastolic_mmhg: side.end_diastolic_mmhg })
        };
        let (side, left) = sought(PressureSite::LeftAtrium);
        let (_, right) = sought(PressureSite::RightAtrium);
        self.sought = Sides { left: Some(left), right: Some(right) };
        // Of both sides.
        (self.filling_mmhg, self.rise_s, self.period) = (side.filling_mmhg, side.rise_s, side.period);
    }

    /// Works out one that is still sought: so that both have their means in cycles like the last.
    #[inline]
    pub(crate) fn find_one(&mut self, contractions: &Contractions) {
        if let Some(sought) = self.sought.left.take() {
            self.found_mmhg.left = self.find(&LEFT_ATRIUM, &sought, contractions);
        } else if let Some(sought) = self.sought.right.take() {
            self.found_mmhg.right = self.find(&RIGHT_ATRIUM, &sought, contractions);
        }
    }

    /// Works out both.
    pub(crate) fn find_both(&mut self, contractions: &Contractions) {
        self.find_one(contractions);
        self.find_one(contractions);
    }

    /// Both, as they were when [`Rests::find_both`] was called last.
    pub(crate) fn mmhg(&self) -> &Sides<f32> {
        &self.found_mmhg
    }

    #[inline(never)]
    fn find(&self, atrium: &'static Atrium, sought: &Sought, contractions: &Contractions) -> f32 {
        let side = Side {
            atrium,
            rest_mmhg: 0.0,
            wave_mmhg: sought.wave_mmhg,
            end_diastolic_mmhg: sought.end_diastolic_mmhg,
            filling_mmhg: self.filling_mmhg,
            period: self.period,
            timing: self.period,
            rise_s: self.rise_s,
        };
        contractions.rest_mmhg(&side, sought.mean_mmhg)
    }
}
