//! The consumer of the frames: a rig, a file, another program, or none.

use pulsewright_core::frame::Frame;
use pulsewright_core::pressure::SiteSet;
use pulsewright_stream::{Command, Pace};
use std::io::{self, Write};
use std::time::Duration;

/// The form in which the consumer takes frames.
pub trait Coder: Send {
    /// Appends frames as bytes.
    fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>);

    /// Remarks about the frames so far, such as samples beyond the reach of a rig, a sentence each.
    fn remarks(&self) -> Vec<String>;
}

/// Why a consumer can't play a change of the settings; `None` when it can.
pub type ChangeCheck = Box<dyn Fn(&Command) -> Option<String> + Send>;

/// The consumer of the frames.
pub struct Consumer {
    /// Its name for people.
    pub name: String,
    /// Whether a signal leaves the program: then a person has to confirm that it may.
    pub leaves: bool,
    /// The pressures that are to be played for it.
    pub pressures: SiteSet,
    /// When it takes frames: by the clock of this computer, or by its own.
    pub pace: Pace,
    /// How long a frame is under way in it, once it has taken it.
    pub delay: Duration,
    /// The changes that it can't play, such as a level behind an AC coupling.
    pub forbids: ChangeCheck,
    /// Its form of frames.
    pub coder: Box<dyn Coder>,
    /// Opens it; this may wait until the other end of a pipe is there.
    pub open: Box<dyn FnOnce() -> io::Result<Box<dyn Write + Send>> + Send>,
}

/// No consumer: the clock alone takes the frames.
pub struct NoConsumer;

impl Coder for NoConsumer {
    fn encode(&mut self, _: &[Frame], bytes: &mut Vec<u8>) {
        // A block without bytes would not be handed over.
        bytes.push(0);
    }

    fn remarks(&self) -> Vec<String> {
        Vec::new()
    }
}
