//! Bodies: the intervals, pressures and breathing that a patient of an age starts from.
//!
//! Wave shapes of a body live in [`crate::ecg::templates`].

use crate::ecg::templates::{self, Complex, Wave};
use crate::settings::Field;

/// A body: resting values and the shapes of its beats.
#[derive(Debug)]
pub struct Body {
    /// Word in scripts and flags.
    pub id: &'static str,
    /// As printed.
    pub name: &'static str,
    /// Resting sinus rate, bpm.
    pub resting_bpm: f32,
    /// Resting values of the fields that depend on the body.
    pub values: &'static [(Field, f32)],
    /// P wave of a sinus impulse, from its onset.
    pub p: &'static [Wave],
    /// QRS and T of a normally conducted beat.
    pub normal: &'static Complex,
    /// QRS and T of a beat from a ventricular focus.
    pub ventricular: &'static Complex,
}

/// Adult at rest. Intervals within the normal ranges of adult textbooks; pressures 120/80, common practice.
pub static ADULT: Body = Body {
    id: "adult",
    name: "Adult",
    resting_bpm: 70.0,
    values: &[
        (Field::PrMs, 160.0),
        (Field::QrsMs, 92.0),
        (Field::QtcMs, 400.0),
        (Field::BreathsPerMin, 15.0),
        (Field::BreathDepthOhm, 1.0),
        (Field::BaseOhm, 1000.0),
        (Field::ExpirationRatio, 2.0),
        (Field::ArterialSystolic, 120.0),
        (Field::ArterialDiastolic, 80.0),
    ],
    p: templates::ADULT_P,
    normal: &templates::ADULT_NORMAL,
    ventricular: &templates::ADULT_VENTRICULAR,
};

/// Term newborn. Rate, PR and QRS about the means of day one (Davignon 1979, from memory); pressure of a term newborn
/// after two weeks (Nickavar and Assadi 2014); breaths 30 to 60 a minute (PALS 2006).
pub static NEONATE: Body = Body {
    id: "neonate",
    name: "Neonate",
    resting_bpm: 130.0,
    values: &[
        (Field::PrMs, 105.0),
        (Field::QrsMs, 54.0),
        (Field::QtcMs, 400.0),
        (Field::BreathsPerMin, 40.0),
        (Field::BreathDepthOhm, 0.5),
        (Field::BaseOhm, 500.0),
        (Field::ExpirationRatio, 1.5),
        (Field::ArterialSystolic, 78.0),
        (Field::ArterialDiastolic, 50.0),
    ],
    p: templates::NEONATE_P,
    normal: &templates::NEONATE_NORMAL,
    ventricular: &templates::NEONATE_VENTRICULAR,
};

/// Every body.
pub static BODIES: &[&Body] = &[&ADULT, &NEONATE];

impl Body {
    /// The body with this word.
    pub fn find(id: &str) -> Option<&'static Body> {
        BODIES.iter().copied().find(|body| body.id == id)
    }
}
