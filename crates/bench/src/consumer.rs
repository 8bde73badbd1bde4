//! The consumer of the frames: a rig, a file, another program, or none.

use pulsewright_core::frame::Frame;
use pulsewright_core::pressure::SiteSet;
use pulsewright_stream::Pace;
use std::io::{self, Write};

/// The form in which the consumer takes frames.
pub trait Coder: Send {
    /// Appends frames as bytes.
    fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>);

    /// Remarks about the frames so far, such as samples beyond the reach of a rig, a sentence each.
    fn remarks(&self) -> Vec<String>;
}

/// What takes the frames.
pub struct Consumer {
    /// Its name for people.
    pub name: String,
    /// The pressures that are to be played for it.
    pub pressures: SiteSet,
    /// When it takes frames: by the clock of this computer, or by its own.
    pub pace: Pace,
    /// Its form of frames.
    pub coder: Box<dyn Coder>,
    /// Opens it; this may wait until the other end of a pipe is there.
    pub open: Box<dyn FnOnce() -> io::Result<Box<dyn Write + Send>> + Send>,
}

/// No consumer: the clock alone takes the frames.
pub struct Nowhere;

impl Coder for Nowhere {
    fn encode(&mut self, _: &[Frame], bytes: &mut Vec<u8>) {
        // A block without bytes would not be handed over.
        bytes.push(0);
    }

    fn remarks(&self) -> Vec<String> {
        Vec::new()
    }
}
