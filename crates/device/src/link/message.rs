//! The messages, the same for both ends.

use serde::{Deserialize, Serialize};

/// Version of the conversation.
pub const VERSION: u16 = 1;
/// A message from the host.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToBoard<'a> {
    /// Opens a conversation, ends the one before: the board goes to rest and answers [`ToHost::Ready`].
    Hello {
        /// [`VERSION`].
        version: u16,
    },
    /// Consecutive frames. Each is a byte of marks, then a code for each output in little-endian words of the width that
    /// [`ToHost::Ready`] says. The board answers [`ToHost::Taken`].
    Frames {
        /// Number of the first one, from 0 at the start of the conversation.
        first: u32,
        /// The frames.
        bytes: &'a [u8],
    },
    /// The host is there. Sent whenever nothing else is, so that the board notices silence. The board answers
    /// [`ToHost::Status`].
    Alive,
    /// Shows frames from now on. The board answers [`ToHost::Status`].
    Start {
        /// Frames a second.
        hz: u32,
    },
    /// Brings the outputs to rest. The board answers [`ToHost::Status`].
    Stop,
}

/// A message from the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ToHost {
    /// A conversation is open.
    Ready {
        /// [`VERSION`].
        version: u16,
        /// CRC-32 of the image of the board's wiring: codes for another rig must not be sent.
        wiring: u32,
        /// Codes of a frame.
        outputs: u8,
        /// Bytes of a code, 2 or 4.
        code_bytes: u8,
        /// Frames for which there is room.
        room: u16,
    },
    /// Frames were taken.
    Taken {
        /// The frame that comes next. Everything before it was taken whole.
        next: u32,
        /// Frames for which there is room.
        room: u16,
    },
    /// State of the output stage.
    Status(StageStatus),
}

/// State of the output stage, as sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageStatus {
    /// Whether frames are shown.
    pub playing: bool,
    /// Why not: 0 not started, 1 stopped, 2 no frames, 3 a converter, 4 a silent host.
    pub cause: u8,
    /// Frames shown.
    pub frames: u32,
    /// Ticks without a frame.
    pub empty: u32,
    /// Late ticks.
    pub late: u32,
    /// Errors of the converters.
    pub errors: u32,
}
