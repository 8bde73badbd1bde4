//! The link between a host and a board, over any serial line: framed, checked messages from one description for both ends.
//!
//! A packet is a message in postcard's encoding, followed by its CRC-32 (little-endian), stuffed by COBS, and ended by a zero
//! byte. A packet that is cut, changed or joined with another does not fit its sum and is thrown away; its sender sends it
//! again, since the answer does not come. docs/link.md describes the conversation.

mod board;
pub mod message;
pub mod packet;

pub use board::{BoardLink, HostRequest, SILENCE_MS};

/// Frames that are on the board before it shows the first one, and that wait while both clocks agree.
pub const HEAD_START: u32 = 48;
