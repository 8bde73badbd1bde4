//! Frames as they are due: to a converter, a monitor's algorithm, another program, for as long as it takes.
//!
//! [`led`] plays a script and does what [`command`]s tell it, each from the next beat on, and keeps a log that is a script
//! again; [`pace`] sends blocks of frames when the [`clock`] says so and counts when a reader keeps it waiting; [`sample`] says
//! what the bytes are.
//!
//! # What holds
//! - No frame is left out or sent twice, however slow the reader is: the stream falls behind, says so, and catches up.
//! - The pace is that of the clock since the start; nothing adds up over days.
//! - The log, rendered, gives the same bytes.
#![forbid(unsafe_code)]

pub mod clock;
pub mod command;
pub mod led;
pub mod pace;
pub mod sample;

pub use clock::Clock;
pub use command::Command;
pub use led::Led;
pub use pace::{Ended, Pace, send};
pub use sample::Samples;
