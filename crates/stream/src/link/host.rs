//! The conversation itself, without a line or a clock: bytes and times go in, bytes come out.

use pulsewright_core::time::FrameRate;
use pulsewright_device::link::message::{ToBoard, ToHost, VERSION};
use pulsewright_device::link::packet::{Collector, MAX_FRAME_BYTES, MAX_PACKET, encode};
use pulsewright_device::wiring::Wiring;
use std::collections::VecDeque;

/// A packet without an answer is sent again after this and twice the time that answers take, ms.
const AGAIN_MS: u32 = 8;
/// Longest wait for an answer, ms.
const LONGEST_MS: u32 = 60;
/// The board hears something at least this often, ms: a quarter of the silence that it allows.
const ALIVE_MS: u32 = 10;
/// Frames that may wait to be sent: more keep the sender waiting.
const WAITING: usize = 128;
/// Frames that are on the board before it shows the first one.
const HEAD_START: u32 = 48;

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
    /// Time from a packet of frames to its answer, smoothed, ms.
    answer_ms: u32,
    repeated: u64,
    finishing: bool,
}

impl Host {
    /// For frames of `frame_bytes` bytes, marks included, made for `wiring`, shown at `rate`.
    pub fn new(wiring: &Wiring, frame_bytes: usize, rate: FrameRate) -> Host {
        Host {
            phase: Phase::Opening,
            line: Collector::default(),
            wiring: wiring.digest(),
            frame_bytes,
            rate,
            packet: MAX_FRAME_BYTES / frame_bytes.max(1),
            waiting: VecDeque::new(),
            first: 0,
            sent: 0,
            room: 0,
            last_sent: None,
            last_request: None,
            last_frames: None,
            last_answer: None,
            answer_ms: 0,
            repeated: 0,
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
            if let Some(message) = self.line.message(&mut plain, |message: ToHost| message) {
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
                        self.packet = (self.packet + 1).min(MAX_FRAME_BYTES / self.frame_bytes.max(1));
                    }
                    self.room = room;
                }
                Ok(())
            }
            ToHost::Status(status) => {
                self.phase = match (self.phase, status.playing) {
                    (Phase::Starting, true) => Phase::Playing,
                    // Every frame was shown, and none came after the last.
                    (Phase::Starting | Phase::Playing, false) if self.is_over() && status.frames == self.first => {
                        Phase::Stopped
                    }
                    (Phase::Playing, false) => return Err(LinkError::Rest(cause(status.cause))),
                    (phase, _) => phase,
                };
                Ok(())
            }
        }
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
        if due(self.last_sent, now, ALIVE_MS) && self.phase != Phase::Opening {
            self.put(&ToBoard::Alive, now, out);
        }
    }

    /// One packet of frames at a time: the next goes out with the answer to this one, or again when none comes.
    fn send_frames(&mut self, now: u32, out: &mut Vec<u8>) {
        let late = due(self.last_frames, now, (AGAIN_MS + 2 * self.answer_ms).min(LONGEST_MS));
        if self.waiting.is_empty() || (self.sent > 0 && !late) || (self.room == 0 && !late) {
            return;
        }
        if self.sent > 0 {
            self.repeated += self.sent as u64;
            self.packet = (self.packet / 2).max(1);
        }
        self.sent = self.packet.min(self.waiting.len());
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

/// Words for the cause of a rest.
fn cause(number: u8) -> &'static str {
    match number {
        0 => "it was not started",
        1 => "it was stopped",
        2 => "no frames came in time",
        3 => "a converter did not answer",
        4 => "this computer was silent for too long",
        _ => "for a reason that this version does not know",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use heapless::spsc::Queue;
    use pulsewright_device::converter::Converters;
    use pulsewright_device::fixed::Slope;
    use pulsewright_device::link::message::Status;
    use pulsewright_device::link::{Board, Heard};
    use pulsewright_device::stage::{Cause, Stage, State};
    use pulsewright_device::wiring::{Output, Source};

    /// Converters that keep every set of words they have shown.
    #[derive(Default)]
    struct Words(Vec<i32>, Vec<Vec<i32>>);

    impl Converters for &mut Words {
        type Error = ();

        fn load(&mut self, codes: &[i32]) -> Result<(), ()> {
            self.0 = codes.to_vec();
            Ok(())
        }

        fn latch(&mut self) -> Result<(), ()> {
            self.1.push(self.0.clone());
            Ok(())
        }
    }

    fn wiring() -> Wiring {
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
        let output = Output { source: Source::Reference, slope, rest: -7 };
        Wiring::new(&[output; 2], (-32_768, 32_767)).unwrap()
    }

    /// A line that drops a byte or flips a bit of it, each in so many of a million.
    struct Line {
        seed: u32,
        wrong: u32,
    }

    impl Line {
        fn number(&mut self) -> u32 {
            self.seed = self.seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            self.seed >> 8
        }

        fn carry(&mut self, bytes: &[u8]) -> Vec<u8> {
            let mut carried = Vec::new();
            for byte in bytes {
                match self.number() % 1_000_000 {
                    chance if chance < self.wrong => {}
                    chance if chance < 2 * self.wrong => carried.push(byte ^ 1 << (self.number() % 8)),
                    _ => carried.push(*byte),
                }
            }
            carried
        }
    }

    /// A conversation of `frames` frames, shown one in `every` ms, over a line on which so many bytes of a million are dropped, and
    /// as many changed. The line is cut at `cut` ms.
    fn converse(frames: u16, every: u32, wrong: u32, cut: u32) -> (Vec<Vec<i32>>, Host, State, u32) {
        let (mut words, mut queue) = (Words::default(), Queue::<_, 256>::new());
        let (producer, consumer) = queue.split();
        let mut stage: Stage<'_, _, _, _, 2> = Stage::new(&wiring(), (&mut words, (), ()), consumer, 0, 20);
        let mut board = Board::new(&wiring(), producer);
        let mut host = Host::new(&wiring(), 5, FrameRate::lit(1000));
        let mut line = Line { seed: 1, wrong };
        let (mut offered, mut rested_at) = (0, 0);
        for now in 0..400_000 {
            while offered < frames && host.push(0, &[offered.to_le_bytes(), (!offered).to_le_bytes()].concat()) {
                offered += 1;
            }
            if offered == frames {
                host.finish();
            }
            let mut bytes = Vec::new();
            host.send(now, &mut bytes);
            let carried = if now < cut { line.carry(&bytes) } else { Vec::new() };
            for byte in carried {
                match board.take(byte, now) {
                    Some(Heard::Start { .. }) => stage.start(),
                    Some(Heard::Stop) => stage.stop(Cause::Stopped),
                    None => {}
                }
            }
            if board.is_silent(now) {
                stage.stop(Cause::Silence);
                rested_at = now;
            }
            if now % every == 0 {
                let before = stage.state();
                stage.tick(now);
                if stage.state() != before {
                    board.report();
                }
            }
            let mut packet = [0; MAX_PACKET];
            let mut answers = Vec::new();
            while let Some(answer) = board.answer(stage.status(), &mut packet) {
                answers.extend_from_slice(answer);
            }
            let carried = if now < cut { line.carry(&answers) } else { Vec::new() };
            if host.receive(&carried, now).is_err() || host.is_stopped() || rested_at > 0 {
                break;
            }
        }
        let state = stage.state();
        (words.1, host, state, rested_at)
    }

    /// The words that were shown, without those of rest.
    fn shown(words: &[Vec<i32>]) -> Vec<Vec<i32>> {
        words.iter().filter(|words| **words != [-7, -7]).cloned().collect()
    }

    fn expected(frames: u16) -> Vec<Vec<i32>> {
        (0..frames).map(|n| vec![i32::from(n.cast_signed()), i32::from((!n).cast_signed())]).collect()
    }

    #[test]
    fn a_clean_line_repeats_nothing_and_keeps_pace() {
        let (words, host, state, _) = converse(5000, 1, 0, u32::MAX);
        assert_eq!(shown(&words), expected(5000));
        assert_eq!((host.repeated(), state), (0, State::Resting(Cause::Underrun)));
        assert!(host.is_stopped());
    }

    #[test]
    fn a_line_that_loses_and_changes_bytes_shows_no_wrong_word() {
        // One byte in a hundred: half of them dropped, half of them changed.
        let (words, host, _, _) = converse(5000, 8, 5_000, u32::MAX);
        assert_eq!(shown(&words), expected(5000));
        assert!(host.repeated() > 500, "{}", host.repeated());
    }

    #[test]
    fn a_cut_line_brings_rest_within_fifty_milliseconds() {
        let (words, _, state, rested_at) = converse(5000, 1, 0, 1000);
        assert_eq!(state, State::Resting(Cause::Silence));
        assert!((1000..1050).contains(&rested_at), "{rested_at}");
        let seen = shown(&words);
        assert_eq!(seen, expected(seen.len() as u16));
        assert_eq!(words.last().unwrap(), &[-7, -7]);
    }

    /// A host that makes a frame each millisecond of its clock, and a board whose clock differs by so many millionths and is trimmed
    /// or not, for ten minutes; returns the fewest and most frames that waited, and the ticks that found none.
    fn drift(ppm: f64, trimmed: bool) -> (usize, usize, u32) {
        let (mut words, mut queue) = (Words::default(), Queue::<_, 256>::new());
        let (producer, consumer) = queue.split();
        let mut stage: Stage<'_, _, _, _, 2> = Stage::new(&wiring(), (&mut words, (), ()), consumer, 0, 20);
        let mut board = Board::new(&wiring(), producer);
        let mut host = Host::new(&wiring(), 5, FrameRate::lit(1000));
        let (mut due, mut least, mut most) = (0.0, usize::MAX, 0);
        for now in 0..600_000 {
            host.push(0, &[0; 4]);
            let mut bytes = Vec::new();
            host.send(now, &mut bytes);
            for byte in bytes {
                match board.take(byte, now) {
                    Some(Heard::Start { .. }) => stage.start(),
                    Some(Heard::Stop) => stage.stop(Cause::Stopped),
                    None => {}
                }
            }
            while due <= f64::from(now) {
                stage.tick(now);
                let trim = if trimmed { f64::from(stage.trim_ppm(48)) } else { 0.0 };
                due += (1.0 - ppm / 1e6) * (1.0 + trim / 1e6);
            }
            let mut packet = [0; MAX_PACKET];
            while let Some(answer) = board.answer(stage.status(), &mut packet) {
                let answer = answer.to_vec();
                if host.receive(&answer, now).is_err() {
                    panic!("the board went to rest");
                }
            }
            if now > 10_000 {
                (least, most) = (least.min(stage.waiting()), most.max(stage.waiting()));
            }
        }
        (least, most, stage.counts().empty)
    }

    #[test]
    fn clocks_that_differ_are_followed() {
        let (_, _, empty) = drift(100.0, false);
        assert!(empty > 5, "without the trim the frames run out: {empty}");
        for ppm in [-100.0, 100.0] {
            let (least, most, empty) = drift(ppm, true);
            assert_eq!(empty, 0, "{ppm}");
            assert!(least > 16 && most < 100, "{ppm}: {least} to {most} frames waited");
        }
    }

    #[test]
    fn another_rig_is_refused() {
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 1 };
        let other = Wiring::new(&[Output { source: Source::Reference, slope, rest: 0 }; 2], (-32_768, 32_767)).unwrap();
        let mut queue = Queue::<_, 8>::new();
        let mut board: Board<'_, 2> = Board::new(&other, queue.split().0);
        let mut host = Host::new(&wiring(), 5, FrameRate::lit(1000));
        let mut bytes = Vec::new();
        host.send(0, &mut bytes);
        let heard: Vec<Heard> = bytes.iter().filter_map(|byte| board.take(*byte, 0)).collect();
        assert_eq!(heard, [Heard::Stop]);
        let mut packet = [0; MAX_PACKET];
        let answer = board.answer(Status::default(), &mut packet).unwrap();
        assert_eq!(host.receive(answer, 1), Err(LinkError::Wiring));
    }
}
