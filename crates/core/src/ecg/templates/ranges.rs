//! Ranges of the numbers of a template: what a document and an image may hold, wide enough for any heart.

use super::residual::{Residual, leads_uv};
use super::{Complex, Wave};
use core::ops::RangeInclusive;

/// Most waves of a QRS complex: two fused beats of so many leave room in the list of deflections for the waves around them.
pub const MOST_QRS_WAVES: usize = 8;
/// Most waves of a P wave.
pub const MOST_P_WAVES: usize = 4;
/// Start of a wave of the QRS after QRS onset, ms.
pub const QRS_AT_MS: RangeInclusive<f32> = 0.0..=400.0;
/// Start of a wave of the T wave after the end of the QRS, ms. None starts before QRS onset.
pub const T_AT_MS: RangeInclusive<f32> = -400.0..=800.0;
/// Start of a wave of the P wave after P onset, ms.
pub const P_AT_MS: RangeInclusive<f32> = 0.0..=400.0;
/// Rise and fall of a wave, ms.
pub const FALL_MS: RangeInclusive<f32> = 3.0..=1000.0;
/// Plateau of a wave, ms.
pub const HOLD_MS: RangeInclusive<f32> = 0.0..=500.0;
/// A wave on each axis, mV.
pub const MV: RangeInclusive<f32> = -10.0..=10.0;
/// QRS duration, ms.
pub const QRS_MS: RangeInclusive<f32> = 20.0..=400.0;
/// QT interval, ms.
pub const QT_MS: RangeInclusive<f32> = 80.0..=900.0;
/// Most numbers of a residual's lead.
pub const MOST_KNOTS: usize = 64;
/// From one number of a residual to the next, ms.
pub const STEP_MS: RangeInclusive<f32> = 2.0..=40.0;
/// A number of a residual, uV.
pub const UV: RangeInclusive<i16> = -10_000..=10_000;
/// From the end of the QRS to the end of T at least, ms.
pub const SHORTEST_JT_MS: f32 = 40.0;

impl Wave {
    /// Whether every number lies in its range.
    pub(super) fn allowed(&self, at_ms: &RangeInclusive<f32>) -> bool {
        at_ms.contains(&self.at_ms)
            && FALL_MS.contains(&self.rise_ms)
            && HOLD_MS.contains(&self.hold_ms)
            && FALL_MS.contains(&self.fall_ms)
            && self.mv.iter().all(|mv| MV.contains(mv))
    }
}

/// Whether waves are a P wave that can be drawn.
pub(super) fn p_allowed(count: usize, mut waves: impl Iterator<Item = Wave>) -> bool {
    (1..=MOST_P_WAVES).contains(&count) && waves.all(|wave| wave.allowed(&P_AT_MS))
}

impl Complex {
    /// Whether it can be drawn.
    pub(crate) fn allowed(&self) -> bool {
        lengths_allowed(self.qrs_ms, self.qt_ms)
            && qrs_allowed(self.qrs.len(), self.qrs.iter().copied())
            && self.t.iter().all(|wave| t_allowed(wave, self.qrs_ms))
    }
}

/// Whether a residual that starts within a range can be drawn.
pub(super) fn residual_allowed(residual: &Residual<'_>, at_ms: &RangeInclusive<f32>) -> bool {
    at_ms.contains(&residual.at_ms)
        && STEP_MS.contains(&residual.step_ms)
        && (1..=MOST_KNOTS).contains(&residual.knots.len())
        && residual.knots.iter().flat_map(leads_uv).all(|uv| UV.contains(&uv))
}

pub(super) fn lengths_allowed(qrs_ms: f32, qt_ms: f32) -> bool {
    QRS_MS.contains(&qrs_ms) && QT_MS.contains(&qt_ms) && qt_ms - qrs_ms >= SHORTEST_JT_MS
}

pub(super) fn qrs_allowed(count: usize, mut waves: impl Iterator<Item = Wave>) -> bool {
    (1..=MOST_QRS_WAVES).contains(&count) && waves.all(|wave| wave.allowed(&QRS_AT_MS))
}

pub(super) fn t_allowed(wave: &Wave, qrs_ms: f32) -> bool {
    wave.allowed(&T_AT_MS) && wave.at_ms >= -qrs_ms
}
