//! Frames as they are due: to a converter, a monitor's algorithm, another program, for as long as it takes.
//!
//! [`live`] plays a script, applies [`command`]s, each from the next beat on, and keeps a log that is a script again; [`pace`]
//! sends blocks of frames by the [`clock`] and counts when a reader keeps it waiting; [`sample`] defines the bytes;
//! [`link`] carries a rig's codes to a board over a serial line.
//!
//! # What holds
//! - No frame is left out or sent twice, however slow the reader is: the stream falls behind, says so, and catches up.
//! - The pace is that of the clock since the start; nothing adds up over days.
//! - The log, rendered, gives the same bytes.
#![forbid(unsafe_code)]

pub mod clock;
pub mod command;
pub mod link;
pub mod live;
pub mod pace;
pub mod sample;

pub use clock::PaceClock;
pub use command::Command;
pub use live::LivePlayer;
pub use pace::{Pace, StreamEnd, send};
pub use sample::Samples;
