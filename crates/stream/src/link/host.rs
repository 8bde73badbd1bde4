//! The conversation itself, without a line or a clock: bytes and times go in, bytes come out.

use pulsewright_core::time::FrameRate;
use pulsewright_device::link::HEAD_START;
use pulsewright_device::link::message::{StageStatus, ToBoard, ToHost, VERSION};
use pulsewright_device::link::packet::{Collector, MAX_FRAME_BYTES, MAX_PACKET, encode};
use pulsewright_device::wiring::Wiring;
use std::collections::VecDeque;

/// A packet without an answer is sent again after this and twice the time that answers take, ms.
const AGAIN_MS: u32 = 8;
/// Longest wait for an answer, ms.
const LONGEST_MS: u32 = 60;
/// The board hears something at least this often, ms: a quarter of the silence that it allows.
const ALIVE_MS: u32 = 10;
/// The board is asked for its state at least this often, however many frames are sent, ms.
const STATE_MS: u32 = 100;
/// Frames that may wait to be sent: more keep the sender waiting.
const WAITING: usize = 128;

/// A board that can't be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// The board speaks another version.
    #[error("the board speaks version {0} of the link, not {VERSION}: install the firmware of this version")]
    Version(u16),
    /// The board was made for another rig.
    #[error("the board was built for another rig: compile this rig's image into its firmware")]
    Wiring,
    /// The board went to rest by itself.
    #[error("the board went to rest: {0}")]
    Rest(&'static str),
}

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

/// Where the conversation is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// The board has not answered yet.
    Opening,
    /// Frames are sent; the board does not show them yet.
    Filling,
    /// The board was asked to show them.
    Starting,
    /// The board shows them.
    Playing,
    /// The board has shown the last frame and rests.
    Stopped,
}

/// The host's end.
#[derive(Debug)]
pub struct Host {
    phase: Phase,
    line: Collector,
    /// CRC-32 of the image of the rig's wiring.
    wiring: u32,
    /// Bytes of a frame, marks included.
    frame_bytes: usize,
    rate: FrameRate,
    /// Frames that the board has not confirmed, the oldest first.
    waiting: VecDeque<Vec<u8>>,
    /// Number of the oldest of them.
    first: u32,
    /// Frames of `waiting` that are on their way.
    sent: usize,
    /// Frames of a packet: fewer on a line that damages long packets.
    packet: usize,
    /// Frames for which the board had room when it answered last.
    room: u16,
    /// When anything, a request, and frames were sent last, and when the board answered last.
    last_sent: Option<u32>,
    last_request: Option<u32>,
    last_frames: Option<u32>,
    last_answer: Option<u32>,
    /// When the board was asked for its state last.
    last_alive: Option<u32>,
    /// Time from a packet of frames to its answer, smoothed, ms.
    answer_ms: u32,
    repeated: u64,
    /// Ticks of the board that found no frame while more were to come.
    empty: u32,
    finishing: bool,
}

impl Host {
    /// For frames of a rig's codes, shown at `rate`.
    pub fn new(wiring: &Wiring, rate: FrameRate) -> Host {
        let frame_bytes = 1 + wiring.outputs().len() * wiring.code_bytes();
        Host {
            phase: Phase::Opening,
            line: Collector::default(),
            wiring: wiring.digest(),
            frame_bytes,
            rate,
            packet: MAX_FRAME_BYTES / frame_bytes,
            waiting: VecDeque::new(),
            first: 0,
            sent: 0,
            room: 0,
            last_sent: None,
            last_request: None,
            last_frames: None,
            last_answer: None,
            last_alive: None,
            answer_ms: 0,
            repeated: 0,
            empty: 0,
            finishing: false,
        }
    }

    /// Takes a frame to be sent: its marks, and its codes in little-endian words. `false` when too many wait: offer it again later.
    pub fn push(&mut self, marks: u8, codes: &[u8]) -> bool {
        if self.waiting.len() >= WAITING || self.finishing {
            return false;
        }
        self.waiting.push_back([&[marks], codes].concat());
        true
    }

    /// No frames follow: the board rests once it has shown all that wait.
    pub fn finish(&mut self) {
        self.finishing = true;
    }

    /// Whether the board has answered.
    pub fn is_open(&self) -> bool {
        self.phase != Phase::Opening
    }

    /// Whether the board has said that it rests after the last frame.
    pub fn is_stopped(&self) -> bool {
        self.phase == Phase::Stopped
    }

    /// Frames that were sent more than once, because they or the answer did not arrive.
    pub fn repeated(&self) -> u64 {
        self.repeated
    }

    /// Ticks of the board's timer that found no frame while more were to come, as far as the board has said.
    pub fn empty(&self) -> u32 {
        self.empty
    }

    /// Time since the board has said anything, ms; `None` before it has.
    pub fn quiet_for(&self, now: u32) -> Option<u32> {
        self.last_answer.map(|last| now.wrapping_sub(last))
    }

    /// Takes bytes of the line at `now`, in ms of a clock that wraps.
    ///
    /// # Errors
    /// [`LinkError`]; the conversation is over then.
    pub fn receive(&mut self, bytes: &[u8], now: u32) -> Result<(), LinkError> {
        for byte in bytes {
            if !self.line.take(*byte) {
                continue;
            }
            let mut plain = [0; MAX_PACKET];
            if let Some(message) = self.line.message(&mut plain) {
                self.last_answer = Some(now);
                self.hear(message, now)?;
            }
        }
        Ok(())
    }

    fn hear(&mut self, message: ToHost, now: u32) -> Result<(), LinkError> {
        match message {
            ToHost::Ready { version, .. } if version != VERSION => Err(LinkError::Version(version)),
            ToHost::Ready { wiring, outputs, code_bytes, room, .. } => {
                if wiring != self.wiring || 1 + usize::from(outputs) * usize::from(code_bytes) != self.frame_bytes {
                    return Err(LinkError::Wiring);
                }
                if self.phase == Phase::Opening {
                    self.phase = Phase::Filling;
                    self.room = room;
                }
                Ok(())
            }
            ToHost::Taken { next, room } => {
                let taken = next.wrapping_sub(self.first) as usize;
                // An answer of an earlier conversation, or one that was overtaken.
                if taken <= self.waiting.len() {
                    self.waiting.drain(..taken);
                    self.first = next;
                    if taken > 0 {
                        let took = self.last_frames.map_or(0, |last| now.wrapping_sub(last)).min(LONGEST_MS);
                        self.answer_ms = (3 * self.answer_ms + took).div_ceil(4);
                        self.sent = 0;
                        self.packet = (self.packet + 1).min(MAX_FRAME_BYTES / self.frame_bytes);
                    }
                    self.room = room;
                }
                Ok(())
            }
            ToHost::Status(status) => self.hear_status(status),
        }
    }

    fn hear_status(&mut self, status: StageStatus) -> Result<(), LinkError> {
        // After the last frame empty ticks bring the board to rest, as they should.
        let shown_all = self.is_over() && status.frames == self.first;
        self.phase = match (self.phase, status.playing) {
            (Phase::Starting, true) => Phase::Playing,
            (Phase::Starting | Phase::Playing, false) if shown_all && status.cause == NO_FRAMES => Phase::Stopped,
            // `Hello` stops the board; any other cause came later, and the board takes no more frames.
            (Phase::Filling | Phase::Starting, false) if status.cause != STOPPED => {
                return Err(LinkError::Rest(cause(status.cause)));
            }
            (Phase::Playing, false) => return Err(LinkError::Rest(cause(status.cause))),
            (phase, _) => phase,
        };
        if self.phase == Phase::Playing && !shown_all {
            self.empty = status.empty;
        }
        Ok(())
    }

    /// Whether the board has every frame, and none follows.
    fn is_over(&self) -> bool {
        self.finishing && self.waiting.is_empty()
    }

    /// Appends the packets that are due at `now`.
    pub fn send(&mut self, now: u32, out: &mut Vec<u8>) {
        let request = match self.phase {
            Phase::Opening => Some(ToBoard::Hello { version: VERSION }),
            Phase::Starting => Some(ToBoard::Start { hz: self.rate.as_hz() }),
            Phase::Filling | Phase::Playing | Phase::Stopped => None,
        };
        if let Some(request) = request.filter(|_| due(self.last_request, now, AGAIN_MS)) {
            self.put(&request, now, out);
            self.last_request = Some(now);
        }
        if matches!(self.phase, Phase::Filling | Phase::Starting | Phase::Playing) {
            self.send_frames(now, out);
        }
        let enough = self.first >= HEAD_START || self.is_over();
        if self.phase == Phase::Filling && enough {
            self.phase = Phase::Starting;
            self.last_request = None;
        }
        let asks = due(self.last_sent, now, ALIVE_MS) || due(self.last_alive, now, STATE_MS);
        if asks && self.phase != Phase::Opening {
            self.put(&ToBoard::Alive, now, out);
            self.last_alive = Some(now);
        }
    }

    /// One packet of frames at a time: the next goes out with the answer to this one, or again when none comes.
    fn send_frames(&mut self, now: u32, out: &mut Vec<u8>) {
        let late = due(self.last_frames, now, (AGAIN_MS + 2 * self.answer_ms).min(LONGEST_MS));
        let full = self.room == 0;
        if self.waiting.is_empty() || ((self.sent > 0 || full) && !late) {
            return;
        }
        // A full board has refused the frame that asked for room: the line has done no damage.
        if self.sent > 0 && !full {
            self.repeated += self.sent as u64;
            self.packet = (self.packet / 2).max(1);
        }
        // The answer to a single frame says when there is room again.
        self.sent = self.packet.min(self.waiting.len()).min(usize::from(self.room).max(1));
        let frames: Vec<u8> = self.waiting.iter().take(self.sent).flatten().copied().collect();
        self.put(&ToBoard::Frames { first: self.first, bytes: &frames }, now, out);
        self.last_frames = Some(now);
    }

    fn put(&mut self, message: &ToBoard<'_>, now: u32, out: &mut Vec<u8>) {
        let mut packet = [0; MAX_PACKET];
        out.extend(encode(message, &mut packet).unwrap_or_default());
        self.last_sent = Some(now);
    }
}

/// Whether something sent at `last` is due again.
fn due(last: Option<u32>, now: u32, after_ms: u32) -> bool {
    last.is_none_or(|last| now.wrapping_sub(last) >= after_ms)
}

/// Cause of a rest: it was asked for, by `Hello` too.
const STOPPED: u8 = 1;
/// Cause of a rest: no frames came.
const NO_FRAMES: u8 = 2;

/// Words for the cause of a rest.
fn cause(number: u8) -> &'static str {
    match number {
        0 => "it was not started",
        STOPPED => "it was stopped",
        NO_FRAMES => "no frames came in time",
        3 => "a converter did not answer",
        4 => "this computer was silent for too long",
        _ => "for a reason that this version does not know",
    }
}
