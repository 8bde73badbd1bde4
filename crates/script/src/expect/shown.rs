//! The expectations of a document that names none: what a correct monitor shows of each step.

use super::expected::{Expectations, ExpectedAlarm, ExpectedReading, TextPosition, WrittenAlarm, WrittenParts};
use super::foresee::{fill_alarm, fill_reading};
use super::quantity::Quantity;
use crate::document::{Document, DocumentPart, DocumentStep};
use pulsewright_core::expect::Expected;
use pulsewright_core::heart::rhythm::Priority;

/// The readings that a monitor shows of nearly every signal.
const SHOWN: [Quantity; 5] = [
    Quantity::HeartRate,
    Quantity::RespirationRate,
    Quantity::ArterialSystolic,
    Quantity::ArterialDiastolic,
    Quantity::ArterialMean,
];

impl Document {
    /// The same document, and where no step of it expects anything, each with what a correct monitor shows: rates and arterial
    /// pressures within the usual limits, and the most urgent alarm. Steps without ramps, series and recordings count as held:
    /// a person at a bench plays them for as long as it takes to read.
    pub fn with_shown_expected(mut self) -> Document {
        if self.expects() {
            return self;
        }
        let mut held = self.clone();
        for part in &mut held.parts {
            if let DocumentPart::Step(step) = part
                && step.ramps.is_empty()
                && step.series.is_none()
            {
                step.duration = None;
            }
        }
        // A step that is repeated counts at its first time.
        let foreseen = held.foresee(4 * held.parts.len());
        for (item, part) in self.parts.iter_mut().enumerate() {
            if let (DocumentPart::Step(step), Some(expected)) = (part, foreseen.iter().find(|of| of.item == item)) {
                step.expect = shown(step, expected);
            }
        }
        self
    }
}

fn shown(step: &DocumentStep, expected: &Expected) -> Expectations {
    let readings = SHOWN.iter().filter_map(|quantity| reading(*quantity, step, expected)).collect();
    let mut alarm = ExpectedAlarm {
        name: String::new(),
        kind: None,
        priority: Priority::None,
        onset_s: 0.0,
        soonest_s: 0.0,
        within_s: 0.0,
        source: String::new(),
        written: WrittenAlarm::default(),
        place: TextPosition::default(),
    };
    let sounds = fill_alarm(&mut alarm, expected).is_none();
    Expectations { readings, alarms: sounds.then_some(alarm).into_iter().collect(), ..Expectations::default() }
}

/// A reading within its usual limit; `None` where a monitor has no value to show.
fn reading(quantity: Quantity, step: &DocumentStep, expected: &Expected) -> Option<ExpectedReading> {
    let mut reading = ExpectedReading {
        quantity,
        value: None,
        band: None,
        why: String::new(),
        limit: quantity.limit(&step.settings)?,
        named: WrittenParts::default(),
        place: TextPosition::default(),
    };
    let missing = fill_reading(&mut reading, expected).is_some();
    (!missing).then_some(reading)
}
