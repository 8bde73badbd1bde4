//! Messages as packets, and packets out of a line's bytes.

use crate::image::CHECK_SUM;
use serde::{Deserialize, Serialize};

/// Most bytes of frames in a message.
pub const MAX_FRAME_BYTES: usize = 240;
/// Most bytes of a packet, with its closing zero.
pub const MAX_PACKET: usize = MAX_FRAME_BYTES + 32;

/// Puts a message into `out` as a packet, and returns its bytes; `None` when it does not fit.
pub fn encode<'o>(message: &impl Serialize, out: &'o mut [u8; MAX_PACKET]) -> Option<&'o [u8]> {
    let mut plain = [0; MAX_PACKET];
    let used = postcard::to_slice(message, &mut plain).ok()?.len();
    let sum = CHECK_SUM.checksum(plain.get(..used)?);
    plain.get_mut(used..used + 4)?.copy_from_slice(&sum.to_le_bytes());
    let stuffed = cobs::try_encode(plain.get(..used + 4)?, out.get_mut(..MAX_PACKET - 1)?).ok()?;
    *out.get_mut(stuffed)? = 0;
    out.get(..=stuffed)
}

/// Collects the bytes of packets from a line.
#[derive(Clone, Debug, Default)]
pub struct Collector {
    bytes: heapless::Vec<u8, MAX_PACKET>,
    /// The packet is longer than any: skip to its end.
    too_long: bool,
}

impl Collector {
    /// Takes a byte; `true` when it ended a packet, which [`Collector::message`] then reads.
    pub fn take(&mut self, byte: u8) -> bool {
        if byte == 0 {
            return true;
        }
        self.too_long |= self.bytes.push(byte).is_err();
        false
    }

    /// The message of the packet that has just ended, decoded into `plain`; `None` when it was damaged. The next packet begins.
    pub fn message<'de, M: Deserialize<'de>>(&mut self, plain: &'de mut [u8; MAX_PACKET]) -> Option<M> {
        let whole = !core::mem::take(&mut self.too_long);
        let decoded = if whole { cobs::decode(&self.bytes, plain).ok() } else { None };
        self.bytes.clear();
        // Two zeros in a row are an empty packet, which is none.
        let used = decoded?.checked_sub(4)?;
        let (body, sum) = plain.get(..used + 4)?.split_at_checked(used)?;
        if CHECK_SUM.checksum(body).to_le_bytes() != sum {
            return None;
        }
        // A message with something behind it is not one of ours.
        postcard::take_from_bytes(body).ok().filter(|(_, rest)| rest.is_empty()).map(|(message, _)| message)
    }
}
