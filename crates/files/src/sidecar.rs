//! The channel description beside a signal (`OUT.channels.json`): the meaning and the origin of its numbers.

use crate::format::{Column, Section};
use crate::quantiser::Tally;
use crate::sha256::Sha256Digest;
use serde::{Deserialize, Serialize};

/// Follows the signal's name, in place of its extension.
pub const SUFFIX: &str = "channels.json";

/// Version of the document's shape.
pub const VERSION: u32 = 1;

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Description {
    /// Version of this document's shape.
    pub version: u32,
    /// Program that made the signal.
    pub made_by: String,
    /// Title of the script; may be empty.
    pub title: String,
    /// Seed of the script.
    pub seed: u64,
    /// Frames a second.
    pub frame_rate_hz: u32,
    /// Frames in all.
    pub frames: u64,
    /// Digest of the frames as played, before channels were chosen and samples rounded: 16 hexadecimal digits.
    pub frames_digest: String,
    /// How a stored number becomes a value.
    pub value_is: String,
    /// Notes for users of the signal; absent when there are none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// The signal's files in order.
    pub files: Vec<SignalFile>,
    /// The channels in the order in which they are stored.
    pub channels: Vec<ChannelDescription>,
}

/// A file of the signal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SignalFile {
    /// Name, in the same folder.
    pub name: String,
    /// Index of its first frame in the whole.
    pub first_frame: u64,
    /// Its frames.
    pub frames: u64,
    /// SHA-256 of the file, 64 hexadecimal digits.
    #[serde(default)]
    pub sha256: String,
}

/// A channel as stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelDescription {
    /// Word of the channel.
    pub name: String,
    /// Unit of its values.
    pub unit: String,
    /// Size of a step of the stored number, in the unit.
    pub scale: f64,
    /// Value of a stored zero, in the unit.
    pub offset: f64,
    /// Bits of a stored number.
    pub bits: u32,
    /// Lowest value that can be stored, in the unit; absent for floats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min: Option<f64>,
    /// Highest value that can be stored, in the unit; absent for floats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max: Option<f64>,
    /// Samples that lay beyond and were stored as the nearest.
    pub clipped: u64,
}

/// Meaning of stored numbers, see [`Description::value_is`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoredValue {
    /// Integers to be scaled.
    Codes,
    /// Values in the unit: scale 1, offset 0.
    Values,
}

impl ChannelDescription {
    /// Of a column.
    pub fn new(column: &Column, stored: StoredValue, tally: Tally) -> ChannelDescription {
        let scale = column.scale;
        let (scale_, offset) = match (stored, scale) {
            (StoredValue::Codes, Some(scale)) => (scale.step(), scale.offset()),
            _ => (1.0, 0.0),
        };
        let range = scale.map(|scale| scale.range());
        ChannelDescription {
            name: column.channel.id().to_owned(),
            unit: column.channel.kind().unit().to_owned(),
            scale: scale_,
            offset,
            bits: scale.map_or(32, |scale| scale.bits().count()),
            min: range.map(|range| range.0),
            max: range.map(|range| range.1),
            clipped: tally.clipped,
        }
    }
}

impl SignalFile {
    /// A file that holds `section`.
    pub fn new(name: String, section: Section, digest: Sha256Digest) -> SignalFile {
        SignalFile { name, first_frame: section.first, frames: section.frames, sha256: digest.to_string() }
    }
}
