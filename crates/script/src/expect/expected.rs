//! The expectations of a step, and the sources of their defaults.

use super::limit::ReadingLimit;
use super::quantity::Quantity;
use pulsewright_core::expect::{AlarmKind, AlarmLimit};
use pulsewright_core::heart::rhythm::Priority;
use std::fmt;
use std::ops::Range;

/// Source of the default time limit of an alarm.
pub const ALARM_SOURCE: &str = "10 s: IEC 60601-2-27 / EC13 4.2.8, from memory; from the begin of the condition, or where the limit is a delay, from its end";

/// Time in which an alarm clears by default, seconds.
pub const CLEAR_WITHIN_S: f64 = 30.0;

/// Source of [`CLEAR_WITHIN_S`].
pub const CLEAR_SOURCE: &str = "no standard; common practice, no source";

/// The expectations of a step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expectations {
    /// Readings, in the order of the document; a quantity stands at most once.
    pub readings: Vec<ExpectedReading>,
    /// Alarms, in the order of the document.
    pub alarms: Vec<ExpectedAlarm>,
    /// Alarms that must not sound.
    pub silent: Vec<ExpectedSilence>,
    /// Alarms of the step before that must end.
    pub clears: Vec<ExpectedClear>,
    /// Checks by hand, in the order of the document.
    pub manual: Vec<ManualCheck>,
}

impl Expectations {
    /// Whether nothing is expected.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
            && self.alarms.is_empty()
            && self.silent.is_empty()
            && self.clears.is_empty()
            && self.manual.is_empty()
    }
}

/// A check by hand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ManualCheck {
    /// The check, one line.
    pub name: String,
    /// Unit of the number; empty for a check that is in order or not.
    pub unit: String,
    /// The number that is right, where the limit lies around one.
    pub value: Option<f64>,
    /// Its limit; `None` for a check that is in order or not.
    pub limit: Option<ReadingLimit>,
    /// Where it comes from, one line.
    pub source: String,
}

/// One reading that a monitor must show.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedReading {
    /// The quantity that is read.
    pub quantity: Quantity,
    /// Value that the limit lies around, in the quantity's unit; the mean when it moves; `None` when the limit is a range of
    /// its own.
    pub value: Option<f64>,
    /// Lowest and highest value that a correct monitor shows.
    pub band: Option<[f64; 2]>,
    /// Why it is as it is, in words; may be empty.
    pub why: String,
    /// Its limits.
    pub limit: ReadingLimit,
    /// Whether the document's step named value and limit itself; the rest was filled in.
    pub(crate) named: WrittenParts,
    pub(crate) place: TextPosition,
}

/// Where an expectation stands in its text. Any two are equal: the places of its parts do not change a document.
#[derive(Clone, Default)]
pub(crate) struct TextPosition {
    pub(crate) span: Range<usize>,
    pub(crate) path: String,
}

impl fmt::Debug for TextPosition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Place")
    }
}

impl PartialEq for TextPosition {
    fn eq(&self, _: &TextPosition) -> bool {
        true
    }
}

/// A limit that the monitor's alarms are set to.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmSetting {
    /// Which.
    pub limit: AlarmLimit,
    /// Its value; `None` switches the alarm off.
    pub value: Option<f32>,
    /// Where it comes from, one line.
    pub source: String,
}

/// Those of a document.
pub(crate) type AlarmSettings = Vec<AlarmSetting>;

/// Which parts of an expectation stand in the document.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct WrittenParts {
    pub(crate) value: bool,
    pub(crate) limit: bool,
}

/// One alarm that a monitor must give.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedAlarm {
    /// Its name; the monitor's own words may differ.
    pub name: String,
    /// Which it is, unless it has a name of its own.
    pub kind: Option<AlarmKind>,
    /// Priority that it must have.
    pub priority: Priority,
    /// When its limit is reached, seconds from the start of the step; 0 when it was before.
    pub onset_s: f64,
    /// Soonest that a monitor can know, seconds from the start of the step.
    pub soonest_s: f64,
    /// Longest time from the onset, seconds.
    pub within_s: f64,
    /// Where the time limit comes from, one line.
    pub source: String,
    pub(crate) written: WrittenAlarm,
    pub(crate) place: TextPosition,
}

/// The part of an alarm that the document names; the rest is filled in.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct WrittenAlarm {
    pub(crate) name: Option<String>,
    pub(crate) priority: Option<Priority>,
    pub(crate) within_s: Option<f64>,
    pub(crate) source: Option<String>,
}

/// One alarm that a monitor must not give.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedSilence {
    /// Its name.
    pub name: String,
    /// Which it is, unless it has a name of its own.
    pub kind: Option<AlarmKind>,
    pub(crate) place: TextPosition,
}

/// One alarm that must end, as its condition has.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedClear {
    /// Which.
    pub kind: AlarmKind,
    /// When its condition ends, seconds from the start of the step.
    pub end_s: f64,
    /// Longest time from then on, seconds.
    pub within_s: f64,
    /// Where the time limit comes from, one line.
    pub source: String,
    pub(crate) written_within_s: Option<f64>,
    pub(crate) place: TextPosition,
}

/// The document's own limits, by quantity.
pub(crate) type ReadingLimits = Vec<(Quantity, ReadingLimit)>;
