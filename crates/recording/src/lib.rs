//! Signals of open recordings, and their place in frames.
//!
//! [`read`] reads a record of the open waveform database. A [`Mapping`] says which of its channels are played as which of ours;
//! [`Played`] gives them as frames, so that everything after a recording is the same as after the player.
//!
//! # What holds
//! - Every file gets an answer: no panic; memory is bounded by [`LARGEST`].
//! - A sample is the number that the file says, in the unit of its channel. Samples that a record marks as missing keep the value
//!   before them.
//! - Signals are taken as they are: nothing is filtered or resampled here.
#![forbid(unsafe_code)]

mod bits;
mod header;
mod mapping;
mod recording;
mod wfdb;

pub use mapping::{Mapping, Played};
pub use recording::{Channel, FileBytes, LARGEST, ReadError, Recording};
pub use wfdb::{read, read_by};
