//! Changes of a beat's shape that a diseased heart adds to any body and pathway: ST shift, Q waves, tented T.
//!
//! Each answers waves, to be drawn with those of a [`Complex`](super::templates::Complex): an ST shift with its T waves
//! from the end of the QRS, a Q wave with its QRS waves from the onset.

use super::templates::Wave;

/// Leads that look at the same wall of the left ventricle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LeadGroup {
    /// II, III and aVF.
    Inferior,
    /// V1 to V4.
    Anterior,
    /// I, aVL, V5 and V6.
    Lateral,
}

impl LeadGroup {
    /// Every group.
    pub const ALL: &'static [LeadGroup] = &[LeadGroup::Inferior, LeadGroup::Anterior, LeadGroup::Lateral];

    /// Direction on X, Y, Z that gives the group's leads a mean of 1.
    ///
    /// Least squares over Dower's matrix: 1 in each lead of the group, and, at a third of the weight, 0 where no
    /// such change is expected (I and V2; II and aVF; V1, V2 and aVF). What is left in opposite leads is the reciprocal
    /// change. Scaled to a mean of 1, rounded to 0.01.
    pub const fn direction(self) -> [f32; 3] {
        match self {
            LeadGroup::Inferior => [0.32, 0.88, 0.11],
            LeadGroup::Anterior => [0.18, 0.03, -0.88],
            LeadGroup::Lateral => [1.16, -0.52, -0.08],
        }
    }

    fn times(self, mv: f32) -> [f32; 3] {
        self.direction().map(|axis| axis * mv)
    }
}

/// JT interval, ms, for which [`st_shift`] is written down.
const JT_MS: f32 = 308.0;

/// A shifted ST segment: at its full size from the J point for 0.3 of `jt_ms`, then into the T wave.
///
/// Times are from the end of the QRS and stretch with JT like the T wave's, so `jt_ms` is the nominal JT of the complex
/// (QT less QRS) that it is drawn with. At 60 bpm an adult's plateau lasts beyond J + 80 ms, at 120 bpm beyond J + 60 ms:
/// where ST is measured (European ST-T Database). `mv` is the mean shift of the group's leads, negative for depression.
pub fn st_shift(group: LeadGroup, mv: f32, jt_ms: f32) -> Wave {
    let k = jt_ms * (1.0 / JT_MS);
    Wave { at_ms: -24.0 * k, rise_ms: 24.0 * k, hold_ms: 92.0 * k, fall_ms: 180.0 * k, mv: group.times(mv) }
}

/// Force that an infarcted wall no longer gives: a wave away from the group in the first three quarters of a QRS of `qrs_ms`.
///
/// `mv` is the loss, mean of the group's leads; what remains of R goes against it. In an adult's normal beat a loss of 0.7 mV
/// leaves inferior Q waves over 30 ms and over 0.1 mV (fourth universal definition of myocardial infarction).
pub fn q_wave(group: LeadGroup, mv: f32, qrs_ms: f32) -> Wave {
    let k = qrs_ms * (1.0 / 92.0);
    Wave { at_ms: 0.0, rise_ms: 18.0 * k, hold_ms: 34.0 * k, fall_ms: 24.0 * k, mv: group.times(-mv) }
}

/// A T wave changed in size and form, with its end where it was.
///
/// `size` is a factor on its height: -1 inverts it. `tenting`, 0 to 1, makes it narrow and symmetrical, as in
/// hyperkalaemia, by shortening the fall by up to a third and the rise to the fall.
pub fn changed_t(wave: &Wave, size: f32, tenting: f32) -> Wave {
    let tenting = crate::math::clamp(tenting, 0.0, 1.0);
    let fall_ms = wave.fall_ms * (1.0 - 0.33 * tenting);
    let rise_ms = wave.rise_ms + (fall_ms - wave.rise_ms) * tenting;
    // The end is where the tangent of the fall meets the base line, at 0.866 of it.
    let end_ms = wave.at_ms + wave.rise_ms + wave.hold_ms + 0.866 * wave.fall_ms;
    let at_ms = end_ms - 0.866 * fall_ms - wave.hold_ms - rise_ms;
    Wave { at_ms, rise_ms, hold_ms: wave.hold_ms, fall_ms, mv: wave.mv.map(|axis| axis * size) }
}
