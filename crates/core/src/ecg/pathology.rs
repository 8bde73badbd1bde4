//! Changes of a beat's shape that a diseased heart adds to any body and pathway: ST shift, Q waves, T waves of a wall, tented T.
//!
//! Each answers waves, to be drawn with those of a [`Complex`](super::templates::Complex): ST and T with its T waves from the
//! end of the QRS, a Q wave with its QRS waves from the onset.

use super::templates::Wave;
use crate::math;

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
    /// Anterior and lateral: least squares over Dower's matrix: 1 in each lead of the group, and, at a third of the weight, 0
    /// where no such change is expected (II and aVF; V1, V2 and aVF). Inferior: as the right coronary artery's wall faces,
    /// to the right, so that III shows more than II, and I and aVL the reciprocal change (AHA/ACCF/HRS part VI, 2009, from
    /// memory). Scaled to a mean of 1, rounded to 0.01.
    pub const fn direction(self) -> [f32; 3] {
        match self {
            LeadGroup::Inferior => [-0.25, 0.855, 0.20],
            LeadGroup::Anterior => [0.18, 0.03, -0.88],
            LeadGroup::Lateral => [1.16, -0.52, -0.08],
        }
    }
}

/// The vector of changes given as the mean of each group's leads, mV, in the order of [`LeadGroup::ALL`].
pub(crate) fn vector_of(groups_mv: [f32; 3]) -> [f32; 3] {
    let mut vector = [0.0; 3];
    for (group, mv) in LeadGroup::ALL.iter().zip(groups_mv) {
        for (sum, axis) in vector.iter_mut().zip(group.direction()) {
            *sum += axis * mv;
        }
    }
    vector
}

/// JT interval, ms, for which [`st_shift`] is written down.
const JT_MS: f32 = 308.0;

/// A shifted ST segment of the size `mv`: from nine tenths of it at the J point over its full size at J + 80 ms, in a dome that
/// falls under the T wave.
///
/// Times are from the end of the QRS and stretch with JT like the T wave's, so `jt_ms` is the nominal JT of the complex
/// (QT less QRS) that it is drawn with. At 60 bpm an adult's dome stays within 5 % of its size from J + 30 to J + 90 ms, at
/// 120 bpm from J + 20 to J + 65 ms: where ST is measured (European ST-T Database).
pub fn st_shift(mv: [f32; 3], jt_ms: f32) -> [Wave; 2] {
    let k = jt_ms * (1.0 / JT_MS);
    let of = |share: f32| mv.map(|axis| axis * share);
    [
        Wave { at_ms: -46.0 * k, rise_ms: 50.0 * k, hold_ms: 40.0 * k, fall_ms: 215.0 * k, mv: of(0.937) },
        Wave { at_ms: 0.0, rise_ms: 110.0 * k, hold_ms: 0.0, fall_ms: 170.0 * k, mv: of(0.176) },
    ]
}

/// Force that an infarcted wall no longer gives: a wave against `mv` in the first three quarters of a QRS of `qrs_ms`.
///
/// The rest of R opposes it. In an adult's normal beat a loss of 0.7 mV leaves inferior Q waves over 30 ms and over
/// 0.1 mV (fourth universal definition of myocardial infarction).
pub fn q_wave(mv: [f32; 3], qrs_ms: f32) -> Wave {
    let k = qrs_ms * (1.0 / 92.0);
    Wave { at_ms: 0.0, rise_ms: 20.0 * k, hold_ms: 32.0 * k, fall_ms: 26.0 * k, mv: mv.map(|axis| -axis) }
}

/// Change of a T wave by a wall's repolarisation: a wave of the same course, of the size `mv`.
pub fn t_shift(t: &Wave, mv: [f32; 3]) -> Wave {
    Wave { mv, ..*t }
}

/// Direction of a U wave, with 1 in V3: to the front, so that V2 and V3 show it best.
const U: [f32; 3] = [0.192, 0.128, -0.641];

/// A U wave of the size `mv` in V3, its apex some 90 ms after the end of T (textbooks, from memory).
pub fn u_wave(mv: f32, jt_ms: f32) -> Wave {
    let k = jt_ms * (1.0 / JT_MS);
    Wave { at_ms: 300.0 * k, rise_ms: 95.0 * k, hold_ms: 0.0, fall_ms: 120.0 * k, mv: U.map(|axis| axis * mv) }
}

/// A T wave that is tented, as in hyperkalaemia, in place of `t`, with its end where it was.
///
/// `tenting`, 0 to 1, takes it from the usual form to a symmetrical one: a narrow spire on a base that starts near the J point and
/// is 0.95 of JT wide, so that QRS and T merge (common practice, no source).
pub fn tented(t: &Wave, tenting: f32, jt_ms: f32) -> [Wave; 3] {
    let tenting = math::clamp(tenting, 0.0, 1.0);
    let k = jt_ms * (1.0 / JT_MS);
    let of = |share: f32| t.mv.map(|axis| axis * share);
    let symmetrical = |flank_ms: f32, share: f32| Wave {
        at_ms: (158.0 - flank_ms) * k,
        rise_ms: flank_ms * k,
        hold_ms: 0.0,
        fall_ms: flank_ms * k,
        mv: of(share * tenting),
    };
    [Wave { mv: of(1.0 - tenting), ..*t }, symmetrical(100.0, 0.6), symmetrical(205.0, 0.4)]
}
