//! How a step follows from the one before: settings that it names change, the rest carry over.
//!
//! One rule for everyone who makes or writes steps:
//! 1. a body brings its own resting values (and the rhythm's usual rate for it),
//! 2. a rhythm brings its own values and its usual rate,
//! 3. a number holds over the step,
//! 4. a ramp moves from where the value would have stood (or from where it says) to its end,
//! 5. the next step starts from where the ramps ended, after a recording in sinus rhythm at its usual rate.

use crate::document::DocumentStep;
use pulsewright_core::body::{self, Body};
use pulsewright_core::heart::catalogue;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::Ramp;
use pulsewright_core::settings::{Field, OutOfRange, Settings};
use pulsewright_core::time::Span;

/// A value that a step names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum StepValue {
    /// Held over the step.
    Held(f32),
    /// In a straight line over the step.
    Ramp {
        /// Where it starts, if named.
        from: Option<f32>,
        /// Where it ends.
        to: f32,
        /// How long it takes, if not the step.
        over: Option<Span>,
    },
}

/// The settings that a step names.
#[derive(Clone, Debug, Default)]
pub(crate) struct StepChange {
    pub(crate) body: Option<&'static Body>,
    pub(crate) rhythm: Option<&'static Rhythm>,
    pub(crate) values: Vec<(Field, StepValue)>,
    /// Artefacts with the ratio, dB, that their amplitude is to give.
    pub(crate) ratios: Vec<(Field, f64)>,
}

/// The state before the first step: a resting adult in sinus rhythm.
pub(crate) const RESTING: Settings = Settings::new(&body::ADULT, &catalogue::SINUS);

impl StepChange {
    /// The settings and ramps of a step that changes `carried` like this.
    pub(crate) fn apply(&self, carried: &Settings) -> Result<(Settings, Vec<Ramp>), OutOfRange> {
        let mut settings = self.choose(carried);
        let mut ramps = Vec::new();
        // In the order of the table, where a field comes before those that it sets; the order in the text does not count.
        let mut values: Vec<&(Field, StepValue)> = self.values.iter().collect();
        values.sort_by_key(|(field, _)| *field);
        for (field, value) in values {
            match *value {
                StepValue::Held(value) => settings = settings.with(*field, value)?,
                StepValue::Ramp { from, to, over } => {
                    settings.with(*field, to)?;
                    settings = settings.with(*field, from.unwrap_or(settings.get(*field)))?;
                    ramps.push(Ramp { field: *field, to, over });
                }
            }
        }
        Ok((settings, ramps))
    }

    /// `carried` with the body and the rhythm named.
    pub(crate) fn choose(&self, carried: &Settings) -> Settings {
        let mut settings = *carried;
        if let Some(body) = self.body {
            settings = settings.with_body(body);
        }
        if let Some(rhythm) = self.rhythm {
            settings = settings.with_rhythm(rhythm);
        }
        settings
    }

    /// The fields that ramp over the whole step.
    pub(crate) fn ramps(&self) -> impl Iterator<Item = Field> {
        self.values
            .iter()
            .filter(|(_, value)| matches!(value, StepValue::Ramp { over: None, .. }))
            .map(|(field, _)| *field)
    }
}

/// The state that the next step starts from: where the ramps of this one stand at its end.
pub(crate) fn carried(step: &DocumentStep) -> Settings {
    let item = step.item();
    let end = step.duration.unwrap_or(Span::MAX);
    let settings = step.ramps.iter().fold(step.settings, |settings, ramp| {
        settings.with(ramp.field, item.value(ramp.field, end)).unwrap_or(settings)
    });
    if step.recording.is_some() { settings.with_rhythm(&catalogue::SINUS) } else { settings }
}
