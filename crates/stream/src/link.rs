//! The host's end of the link to a board: frames of a rig over a serial line, sent again until they arrive.

mod host;
#[cfg(unix)]
mod serial;

pub use host::{Host, LinkError, LinkReport};
#[cfg(unix)]
pub use serial::BoardWriter;
