//! The host's end of the link to a board: frames of a rig over a serial line, sent again until they arrive.

mod host;
#[cfg(unix)]
mod serial;

pub use host::{Host, LinkError};
#[cfg(unix)]
pub use serial::BoardWriter;

/// How a conversation has gone.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LinkReport {
    /// Frames that were sent more than once, because they or the answer did not arrive whole.
    pub repeated: u64,
    /// Ticks of the board's timer that found no frame while more were to come.
    pub empty: u32,
    /// Why the conversation failed, when it did.
    pub failed: Option<String>,
}
