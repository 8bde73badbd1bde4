//! The caller's knowledge of a file.

use serde::{Deserialize, Serialize};

/// Unit of a column of times.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TimeUnit {
    /// Seconds.
    S,
    /// Milliseconds.
    Ms,
    /// Frames of the signal, counted from 0; needs the frame rate.
    Frame,
}

/// The caller's knowledge of a file that the file itself may lack.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Unit of times when the column name has none.
    pub unit: Option<TimeUnit>,
    /// Frames per second, for times in frames; goes before the rate in a file or its header.
    pub rate_hz: Option<f64>,
    /// Column that holds the times, if not one of the usual names.
    pub time_column: Option<String>,
    /// Column that holds the beat codes, if not one of the usual names.
    pub code_column: Option<String>,
    /// Ignore columns of codes (pulses and breaths have none of the beat codes).
    pub times_only: bool,
    /// Only rows whose column `channel` holds this; needed where that column holds more than one name.
    pub channel: Option<String>,
    /// Delimiter of a CSV, if it cannot be seen.
    pub delimiter: Option<u8>,
    /// Whether it is the reference: an empty reference is an error, as it could not show a fault.
    pub is_reference: bool,
}
