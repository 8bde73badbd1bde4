//! A recording in memory, and why one can't be read.

use pulsewright_text::source::SourceError;
use std::path::{Path, PathBuf};

/// Most bytes of a signal file: 256 MiB.
pub const LARGEST: u64 = 256 << 20;

/// Gives the bytes of a file.
pub type FileBytes<'f> = dyn Fn(&Path) -> Result<Vec<u8>, RecordingError> + 'f;

/// A recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Frames a second.
    pub rate_hz: f64,
    /// Its channels, all of the same length.
    pub channels: Vec<RecordedChannel>,
}

/// A channel of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedChannel {
    /// Its name, such as `MLII`.
    pub name: String,
    /// The unit of its samples.
    pub unit: String,
    /// Its samples.
    pub samples: Vec<f32>,
}

impl Recording {
    /// Frames in it.
    pub fn frames(&self) -> usize {
        self.channels.first().map_or(0, |channel| channel.samples.len())
    }

    /// Names of its channels, for messages.
    pub fn names(&self) -> String {
        let names: Vec<&str> = self.channels.iter().map(|channel| channel.name.as_str()).collect();
        names.join(", ")
    }
}

/// Why a recording can't be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordingError {
    /// A file of it can't be read.
    #[error(transparent)]
    Unreadable(#[from] SourceError),
    /// A file of it is not to be had from the reader's source of bytes.
    #[error("{} can't be read: {why}", pulsewright_text::source::name(.path))]
    Absent {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// A file of it makes no sense.
    #[error("{}: {what}", pulsewright_text::source::name(.path))]
    Content {
        /// The file.
        path: PathBuf,
        /// The mistake.
        what: String,
    },
}
