//! Bodies: the intervals, pressures and breathing that a patient of an age starts from.
//!
//! Wave shapes of a body live in `ecg/templates`.

use crate::anatomy::{AtrialOrigin, Pathway};
use crate::ecg::templates::shapes::Shapes;
use crate::ecg::templates::{Complex, Templates, Wave, adult, child, neonate};
use crate::field::Field;

/// Age group: whose usual alarm limits a monitor has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Age {
    /// Adult.
    Adult,
    /// Child.
    Child,
    /// Newborn.
    Neonate,
}

impl Age {
    /// Every age group.
    pub const ALL: [Age; 3] = [Age::Adult, Age::Child, Age::Neonate];

    /// Word in documents.
    pub const fn id(self) -> &'static str {
        match self {
            Age::Adult => "adult",
            Age::Child => "child",
            Age::Neonate => "neonate",
        }
    }
}

/// Lowest and highest resting sinus rate of a body, bpm.
pub const RESTING_BPM: core::ops::RangeInclusive<f32> = 30.0..=220.0;

/// A body: resting values and the shapes of its beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Word in scripts and flags.
    pub id: &'static str,
    /// As printed.
    pub name: &'static str,
    /// Age group.
    pub age: Age,
    /// Resting sinus rate, bpm.
    pub resting_bpm: f32,
    /// Resting values of the fields that depend on the body.
    pub values: &'static [(Field, f32)],
    /// Shapes of its beats.
    #[doc(hidden)]
    pub templates: &'static Templates,
}

/// Adult at rest. Intervals within the normal ranges of adult textbooks; pressures 120/80, common practice.
pub static ADULT: Body = Body {
    id: "adult",
    name: "Adult",
    age: Age::Adult,
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
        (Field::CuffLimit, 300.0),
        (Field::CuffOscillation, 3.0),
        (Field::PulmonarySystolic, 25.0),
        (Field::PulmonaryDiastolic, 9.0),
        (Field::VenousMean, 3.0),
        (Field::VenousWave, 3.0),
        (Field::RightVentricleEndDiastolic, 5.0),
        (Field::LeftVentricleEndDiastolic, 8.0),
        (Field::LeftAtriumMean, 8.0),
        (Field::LeftAtriumWave, 4.0),
        (Field::IntracranialMean, 10.0),
        (Field::IntracranialPulse, 3.0),
        (Field::IntracranialSecond, 80.0),
    ],
    templates: &adult::TEMPLATES,
};

/// Child of school age, about eight years. Rate within 60 to 110 at 6 to 12 years awake (PALS 2006, from memory); PR and
/// QRS between the means of the neighbouring ages (Davignon 1979, from memory); pressure about the middle of the normal
/// range at that age, breaths 18 to 30 a minute (PALS 2006, from memory).
pub static CHILD: Body = Body {
    id: "child",
    name: "Child",
    age: Age::Child,
    resting_bpm: 95.0,
    values: &[
        (Field::PrMs, 135.0),
        (Field::QrsMs, 76.0),
        (Field::QtcMs, 400.0),
        (Field::BreathsPerMin, 20.0),
        (Field::BreathDepthOhm, 0.8),
        (Field::BaseOhm, 800.0),
        (Field::ExpirationRatio, 2.0),
        (Field::ArterialSystolic, 102.0),
        (Field::ArterialDiastolic, 62.0),
        (Field::CuffLimit, 300.0),
        (Field::CuffOscillation, 2.5),
        (Field::PulmonarySystolic, 22.0),
        (Field::PulmonaryDiastolic, 9.0),
        (Field::VenousMean, 3.0),
        (Field::VenousWave, 3.0),
        (Field::RightVentricleEndDiastolic, 4.0),
        (Field::LeftVentricleEndDiastolic, 7.0),
        (Field::LeftAtriumMean, 7.0),
        (Field::LeftAtriumWave, 4.0),
        (Field::IntracranialMean, 5.0),
        (Field::IntracranialPulse, 2.5),
        (Field::IntracranialSecond, 80.0),
    ],
    templates: &child::TEMPLATES,
};

/// Term newborn. Rate, PR and QRS about the means of day one (Davignon 1979, from memory); pressure of a term newborn
/// after two weeks (Nickavar and Assadi 2014); breaths 30 to 60 a minute (PALS 2006).
pub static NEONATE: Body = Body {
    id: "neonate",
    name: "Neonate",
    age: Age::Neonate,
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
        (Field::CuffLimit, 150.0),
        (Field::CuffOscillation, 1.0),
        (Field::PulmonarySystolic, 35.0),
        (Field::PulmonaryDiastolic, 18.0),
        (Field::VenousMean, 3.0),
        (Field::VenousWave, 2.5),
        (Field::RightVentricleEndDiastolic, 4.0),
        (Field::LeftVentricleEndDiastolic, 6.0),
        (Field::LeftAtriumMean, 5.0),
        (Field::LeftAtriumWave, 3.0),
        (Field::IntracranialMean, 4.0),
        (Field::IntracranialPulse, 2.0),
        (Field::IntracranialSecond, 80.0),
    ],
    templates: &neonate::TEMPLATES,
};

/// Every body.
pub static BODIES: &[&Body] = &[&ADULT, &CHILD, &NEONATE];

/// A body as it is played: of this program, or of an image, which has no word for it.
#[derive(Clone, Copy, Debug)]
pub struct PlayedBody<'a> {
    /// Word in scripts.
    pub id: &'static str,
    /// Age group.
    pub age: Age,
    /// Resting sinus rate, bpm.
    pub resting_bpm: f32,
    /// Shapes of its beats.
    pub(crate) shapes: Shapes<'a>,
}

impl From<&'static Body> for PlayedBody<'_> {
    fn from(body: &'static Body) -> Self {
        PlayedBody { id: body.id, age: body.age, resting_bpm: body.resting_bpm, shapes: Shapes::Known(body.templates) }
    }
}

impl crate::heart::Conduction for Body {
    fn qrs_ms(&self, pathway: Pathway) -> f32 {
        self.complex(pathway).qrs_ms
    }
}

impl crate::heart::Conduction for PlayedBody<'_> {
    fn qrs_ms(&self, pathway: Pathway) -> f32 {
        self.shapes.qrs_ms(pathway)
    }
}

impl Body {
    /// QRS and T of a beat that comes down `pathway`.
    #[doc(hidden)]
    pub fn complex(&self, pathway: Pathway) -> &'static Complex {
        self.templates.complexes[pathway as usize]
    }

    /// P wave of an atrial activation from `origin`, from its onset.
    #[doc(hidden)]
    pub fn p(&self, origin: AtrialOrigin) -> &'static [Wave] {
        self.templates.p[origin as usize]
    }

    /// The body of this program that it shares most shapes with, by its place in [`BODIES`].
    #[doc(hidden)]
    pub fn base(&self) -> (usize, &'static Body) {
        let shared = |base: &Body| self.templates.shared(base.templates);
        let all = BODIES.iter().copied().enumerate();
        all.reduce(|best, other| if shared(other.1) > shared(best.1) { other } else { best }).unwrap_or((0, &ADULT))
    }

    /// The body with this word.
    pub fn find(id: &str) -> Option<&'static Body> {
        BODIES.iter().copied().find(|body| body.id == id)
    }
}
