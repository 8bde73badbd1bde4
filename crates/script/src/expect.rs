//! What a step expects of a monitor: readings within limits, alarms in time; and the one table of quantities behind them.
//!
//! A limit comes from the step first, then from the document's own `limits` (the maker's, as a rule), then from the table
//! of [`Quantity`]: the standard's default. Each carries its source in words, which is printed wherever a verdict is.

mod quantity;
mod read;
mod schema;
mod settings;
mod write;

pub use quantity::{Origin, Quantity};
pub(crate) use read::Limits;
pub(crate) use schema::{alarms_or_readings, limits as limits_schema, lines as lines_schema};
pub(crate) use write::{expect as expect_json, limits as limits_json, lines as lines_json};

use pulsewright_core::expect::AlarmLimit;
use pulsewright_core::heart::rhythm::Priority;

/// Time limit of an alarm that names none, seconds.
pub const ALARM_WITHIN_S: f64 = 10.0;

/// Where [`ALARM_WITHIN_S`] comes from.
pub const ALARM_SOURCE: &str = "10 s: IEC 60601-2-27 / EC13 4.2.8, from memory";

/// What a step expects.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expectations {
    /// Readings, in the order of the document; a quantity stands at most once.
    pub readings: Vec<ExpectedReading>,
    /// Alarms, in the order of the document.
    pub alarms: Vec<ExpectedAlarm>,
}

impl Expectations {
    /// Whether nothing is expected.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty() && self.alarms.is_empty()
    }
}

/// One reading that a monitor must show.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedReading {
    /// What is read.
    pub quantity: Quantity,
    /// Value that the limit lies around, in the quantity's unit; `None` when the limit is a range of its own.
    pub value: Option<f64>,
    /// What is allowed.
    pub limit: Limit,
    /// Whether the document's step named value and limit itself; the rest was filled in.
    pub(crate) named: Named,
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
pub(crate) struct Named {
    pub(crate) value: bool,
    pub(crate) limit: bool,
}

/// What is allowed of a reading. Of the two tolerances the larger counts; edges are allowed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limit {
    /// Largest error, in the quantity's unit.
    pub tolerance: Option<f64>,
    /// Largest error, percent of the expected value.
    pub tolerance_percent: Option<f64>,
    /// Smallest reading, in the quantity's unit.
    pub min: Option<f64>,
    /// Largest reading, in the quantity's unit.
    pub max: Option<f64>,
    /// Where the limit comes from, one line.
    pub source: String,
}

impl Limit {
    /// Whether it needs a value to lie around.
    pub fn is_around_a_value(&self) -> bool {
        self.tolerance.is_some() || self.tolerance_percent.is_some()
    }

    /// The limit in words, such as "±5 bpm or ±10 %, the larger" or "78 to 82 bpm".
    pub fn words(&self, unit: &str) -> String {
        let mut parts = Vec::new();
        match (self.tolerance, self.tolerance_percent) {
            (Some(absolute), Some(percent)) => parts.push(format!("±{absolute} {unit} or ±{percent} %, the larger")),
            (Some(absolute), None) => parts.push(format!("±{absolute} {unit}")),
            (None, Some(percent)) => parts.push(format!("±{percent} %")),
            (None, None) => {}
        }
        match (self.min, self.max) {
            (Some(min), Some(max)) => parts.push(format!("{min} to {max} {unit}")),
            (Some(min), None) => parts.push(format!("at least {min} {unit}")),
            (None, Some(max)) => parts.push(format!("at most {max} {unit}")),
            (None, None) => {}
        }
        parts.join(", ")
    }
}

/// One alarm that a monitor must give.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectedAlarm {
    /// What to call it; the monitor's own words may differ.
    pub name: String,
    /// Priority that it must have.
    pub priority: Priority,
    /// Longest time from the start of the step, seconds.
    pub within_s: f64,
    /// Where the time limit comes from, one line.
    pub source: String,
}

impl ExpectedAlarm {
    /// The alarm that a rhythm is expected to raise; `None` when its class is none.
    pub fn of(rhythm: &pulsewright_core::heart::rhythm::Rhythm) -> Option<ExpectedAlarm> {
        (rhythm.alarm != Priority::None).then(|| ExpectedAlarm {
            name: rhythm.name.to_owned(),
            priority: rhythm.alarm,
            within_s: ALARM_WITHIN_S,
            source: ALARM_SOURCE.to_owned(),
        })
    }
}
