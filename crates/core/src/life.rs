//! Life: how far the beats of a signal differ from each other, in one word.
//!
//! Metrology wants equal beats, detectors want a person's. Each difference is a separate field, zero by default;
//! the field `life` sets them all to the values of [`LIFE`]. A new difference is a new row here, beside its row in the table
//! of settings. Chance comes by (seed, purpose, beat), so `none` leaves equal beats.

use crate::body::{ADULT, Body};
use crate::field::{Field, LIVES};

/// A field that life moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LifeRow {
    /// The field.
    pub field: Field,
    /// Its value in an adult at each life, in the order of [`LIVES`].
    pub adult: [f32; LIVES.len()],
    /// Whether it is an interval that follows the body's resting one: shorter in small bodies, whose hearts beat faster.
    pub by_interval: bool,
}

/// Every field that life moves.
///
/// RR at rest: five minutes lying down have powers of 1321 (below 0.04 Hz), 1170 (LF) and 975 ms2 (HF), LF/HF 1.5 to 2
/// (Task Force 1996, normal values, from memory). The share of 1/f that is slower than five minutes comes on top.
pub(crate) const LIFE: &[LifeRow] = &[
    LifeRow { field: Field::BreathingRrMs, adult: [0.0, 54.0, 100.0], by_interval: true },
    LifeRow { field: Field::VerySlowRrMs, adult: [0.0, 36.0, 60.0], by_interval: true },
    LifeRow { field: Field::SlowRrMs, adult: [0.0, 44.0, 60.0], by_interval: true },
    LifeRow { field: Field::FastRrMs, adult: [0.0, 8.0, 14.0], by_interval: true },
    LifeRow { field: Field::PrSdMs, adult: [0.0, 2.0, 5.0], by_interval: true },
    LifeRow { field: Field::QtSdMs, adult: [0.0, 2.5, 5.0], by_interval: true },
    // 90 % of the way in two minutes (Pueyo 2004, from memory).
    LifeRow { field: Field::QtLagS, adult: [0.0, 55.0, 55.0], by_interval: false },
    LifeRow { field: Field::CouplingSdMs, adult: [0.0, 12.0, 30.0], by_interval: true },
    LifeRow { field: Field::PausePercent, adult: [0.0, 40.0, 60.0], by_interval: false },
    // R amplitude of a person at rest varies by 2 to 8 % (records 100 and s0010_re: 5 to 7 %), most of it with breathing.
    LifeRow { field: Field::ShapePercent, adult: [0.0, 5.0, 7.0], by_interval: false },
    LifeRow { field: Field::QrsSdPercent, adult: [0.0, 1.0, 2.0], by_interval: false },
    LifeRow { field: Field::TSdPercent, adult: [0.0, 4.0, 8.0], by_interval: false },
    LifeRow { field: Field::AxisBreathDeg, adult: [0.0, 8.0, 12.0], by_interval: false },
    // Amplitudes of healthy adults differ by a third (surveys, from memory); a shape has to stay one that a nurse calls normal.
    LifeRow { field: Field::PersonPercent, adult: [0.0, 15.0, 15.0], by_interval: false },
    LifeRow { field: Field::BackgroundMv, adult: [0.0, 0.027, 0.040], by_interval: false },
    LifeRow { field: Field::FocusPercent, adult: [0.0, 0.8, 2.0], by_interval: false },
];

const _: () = {
    let mut i = 0;
    while i < LIFE.len() {
        let limits = LIFE[i].field.limits();
        let [none, resting, lively] = LIFE[i].adult;
        assert!(limits.allow(none) && limits.allow(resting) && limits.allow(lively));
        i += 1;
    }
};

impl LifeRow {
    /// The value at a life, 0 for none, in a body.
    pub(crate) const fn value(&self, life: f32, body: &Body) -> f32 {
        let word = life as usize;
        let value = self.adult[if word < LIVES.len() { word } else { 0 }];
        if self.by_interval { value * (ADULT.resting_bpm / body.resting_bpm) } else { value }
    }
}
