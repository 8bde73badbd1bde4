//! The expectations of a step: readings within limits, alarms in time; and the one table of quantities behind them.
//!
//! A limit comes from the step first, then from the document's own `limits` (the maker's, as a rule), then from the table
//! of [`Quantity`]: the standard's default. Each carries its source in words, printed beside every verdict.

pub(crate) mod expected;
mod foresee;
mod limit;
mod manual;
mod quantity;
mod read;
pub(crate) mod schema;
mod settings;
mod shown;
mod write;

pub use expected::{
    ALARM_SOURCE, AlarmSetting, CLEAR_SOURCE, CLEAR_WITHIN_S, Expectations, ExpectedAlarm, ExpectedClear,
    ExpectedReading, ExpectedSilence, ManualCheck,
};
pub use foresee::{CUFF_HOLD_S, FORESEEN_S, HOLD_S, reading_of, why};
pub use limit::ReadingLimit;
pub use quantity::{Quantity, ValueOrigin};
pub(crate) use write::{
    alarm_settings as alarm_settings_json, expect as expect_json, limits as limits_json, lines as lines_json,
};
