//! Signals of open recordings, and their place in frames.
//!
//! [`read`] reads a record of the open waveform database, [`open()`] EDF, CSV and WAV too. A [`Mapping`] says which of its channels are played as which of ours;
//! [`RecordingFrames`] gives them as frames, so that everything after a recording is the same as after the player.
//!
//! # What holds
//! - Every file gets an answer: no panic; memory is bounded by [`LARGEST`].
//! - A sample is the number that the file says, in the unit of its channel. Samples that a record marks as missing keep the value
//!   before them.
//! - Signals are taken as they are: nothing is filtered or resampled here.
#![forbid(unsafe_code)]

mod bits;
mod csv;
mod edf;
mod header;
mod mapping;
mod open;
mod recording;
mod unit;
mod wav;
mod wfdb;

pub use mapping::{Mapping, RecordingFrames};
pub use open::{NumberMeaning, open};
pub use recording::{FileBytes, LARGEST, RecordedChannel, Recording, RecordingError};
pub use wfdb::read;
