//! The board's end of the link: takes frames in order, once each; says what it has taken; notices silence.

use super::message::{StageStatus, ToBoard, ToHost, VERSION};
use super::packet::{Collector, MAX_PACKET, encode};
use crate::marks::Marks;
use crate::stage::RigFrame;
use crate::wiring::Wiring;
use heapless::spsc::Producer;

/// Silence of the host after which the outputs go to rest, ms.
pub const SILENCE_MS: u32 = 40;

/// A request of the host to the output stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HostRequest {
    /// Go to rest: a conversation begins, or the host asks for it.
    Stop,
    /// Show frames.
    Start {
        /// So many a second.
        hz: u32,
    },
}

/// The board's end.
///
/// Frames go into the queue of the output stage. After a stop the stage empties that queue; the next conversation begins with
/// frame 0 again.
#[allow(missing_debug_implementations)] // The queue has none.
pub struct BoardLink<'q, const OUTPUTS: usize> {
    queue: Producer<'q, RigFrame<OUTPUTS>>,
    line: Collector,
    wiring: u32,
    outputs: u8,
    code_bytes: u8,
    codes: (i32, i32),
    /// The frame that comes next.
    next: u32,
    open: bool,
    last_heard: Option<u32>,
    owes: Owed,
}

/// Answers that are due.
#[derive(Clone, Copy, Debug, Default)]
struct Owed {
    ready: bool,
    taken: bool,
    status: bool,
}

impl<'q, const OUTPUTS: usize> BoardLink<'q, OUTPUTS> {
    /// For a wiring, in front of the queue of a stage.
    pub fn new(wiring: &Wiring, queue: Producer<'q, RigFrame<OUTPUTS>>) -> Self {
        BoardLink {
            queue,
            line: Collector::default(),
            wiring: wiring.digest(),
            outputs: wiring.outputs().len().min(OUTPUTS) as u8,
            code_bytes: wiring.code_bytes() as u8,
            codes: wiring.codes(),
            next: 0,
            open: false,
            last_heard: None,
            owes: Owed::default(),
        }
    }

    /// Takes a byte of the line at `now`, in ms of a clock that wraps.
    pub fn take(&mut self, byte: u8, now: u32) -> Option<HostRequest> {
        if !self.line.take(byte) {
            return None;
        }
        let mut plain = [0; MAX_PACKET];
        let message = self.line.message(&mut plain)?;
        self.hear(message, now)
    }

    fn hear(&mut self, message: ToBoard<'_>, now: u32) -> Option<HostRequest> {
        self.last_heard = Some(now);
        match message {
            ToBoard::Hello { version } => {
                self.open = version == VERSION;
                self.next = 0;
                self.owes.ready = true;
                Some(HostRequest::Stop)
            }
            ToBoard::Frames { first, bytes } => {
                // Before a conversation, after a lost packet or twice: the answer says which frame is wanted.
                if self.open && first == self.next {
                    self.take_frames(bytes);
                }
                self.owes.taken = true;
                None
            }
            ToBoard::Alive => {
                self.owes.status = true;
                None
            }
            ToBoard::Start { hz } => {
                self.owes.status = true;
                self.open.then_some(HostRequest::Start { hz })
            }
            ToBoard::Stop => {
                self.owes.status = true;
                self.open = false;
                Some(HostRequest::Stop)
            }
        }
    }

    fn take_frames(&mut self, bytes: &[u8]) {
        let (outputs, code_bytes) = (usize::from(self.outputs), usize::from(self.code_bytes));
        for frame in bytes.chunks_exact(1 + outputs * code_bytes) {
            let Some((marks, words)) = frame.split_first() else { return };
            let mut codes = [0; OUTPUTS];
            for (place, word) in codes.iter_mut().zip(words.chunks_exact(code_bytes)) {
                *place = self.code(word);
            }
            if self.queue.enqueue(RigFrame { codes, marks: Marks::of_bits(*marks) }).is_err() {
                return;
            }
            self.next = self.next.wrapping_add(1);
        }
    }

    /// A code of its word, signed when the converters' codes are.
    fn code(&self, word: &[u8]) -> i32 {
        let (lowest, highest) = self.codes;
        let code = match word {
            [a, b] if lowest < 0 => i32::from(i16::from_le_bytes([*a, *b])),
            [a, b] => i32::from(u16::from_le_bytes([*a, *b])),
            [a, b, c, d] => i32::from_le_bytes([*a, *b, *c, *d]),
            _ => 0,
        };
        code.clamp(lowest, highest)
    }

    /// The state of the stage has changed by itself: the host gets it with the next answers.
    pub fn report(&mut self) {
        self.owes.status = true;
    }

    /// When the last whole message came, ms; `None` before the first.
    pub const fn heard_at(&self) -> Option<u32> {
        self.last_heard
    }

    /// Whether the host has been silent for longer than [`SILENCE_MS`] within a conversation, which then ends: the stage must stop.
    pub fn is_silent(&mut self, now: u32) -> bool {
        let silent = self.open && self.last_heard.is_some_and(|last| now.wrapping_sub(last) > SILENCE_MS);
        if silent {
            self.open = false;
        }
        silent
    }

    /// The next packet that is due, if one is.
    pub fn answer<'o>(&mut self, status: StageStatus, out: &'o mut [u8; MAX_PACKET]) -> Option<&'o [u8]> {
        let room = (self.queue.capacity() - self.queue.len()) as u16;
        let message = if core::mem::take(&mut self.owes.ready) {
            let BoardLink { wiring, outputs, code_bytes, .. } = *self;
            ToHost::Ready { version: VERSION, wiring, outputs, code_bytes, room }
        } else if core::mem::take(&mut self.owes.taken) {
            ToHost::Taken { next: self.next, room }
        } else if core::mem::take(&mut self.owes.status) {
            ToHost::Status(status)
        } else {
            return None;
        };
        encode(&message, out)
    }
}
