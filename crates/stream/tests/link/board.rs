//! A board whose converters keep what they show, and a line that loses and changes bytes.

use heapless::spsc::Queue;
use pulsewright_device::converter::Converters;
use pulsewright_device::fixed::Slope;
use pulsewright_device::link::packet::MAX_PACKET;
use pulsewright_device::link::{BoardLink, HostRequest};
use pulsewright_device::stage::{RestCause, RigFrame, Stage, State};
use pulsewright_device::wiring::{OutputSource, Wiring, WiringOutput};

/// Code of rest.
const REST: i32 = -7;

/// Frames that wait on the board.
pub type Frames = Queue<RigFrame<2>, 256>;

/// Two outputs of 16 bits.
pub fn wiring() -> Wiring {
    let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
    Wiring::new(&[WiringOutput { source: OutputSource::Reference, slope, rest: REST }; 2], (-32_768, 32_767)).unwrap()
}

/// The bytes of frame `n`.
pub fn frame(n: u16) -> Vec<u8> {
    [n.to_le_bytes(), (!n).to_le_bytes()].concat()
}

/// The words of the first frames.
pub fn words(count: u16) -> Vec<Vec<i32>> {
    (0..count).map(|n| [n, !n].map(|word| i32::from(word.cast_signed())).to_vec()).collect()
}

/// Converters that keep every set of words they have shown.
#[derive(Default)]
pub struct Words {
    loaded: Vec<i32>,
    shown: Vec<Vec<i32>>,
}

impl Words {
    /// The frames that were shown, without rest.
    pub fn played(&self) -> Vec<Vec<i32>> {
        self.shown.iter().filter(|words| **words != [REST, REST]).cloned().collect()
    }

    /// Whether rest is shown.
    pub fn at_rest(&self) -> bool {
        self.shown.last().is_some_and(|words| *words == [REST, REST])
    }
}

impl Converters for &mut Words {
    type Error = ();

    fn load(&mut self, codes: &[i32]) -> Result<(), ()> {
        self.loaded = codes.to_vec();
        Ok(())
    }

    fn latch(&mut self) -> Result<(), ()> {
        self.shown.push(self.loaded.clone());
        Ok(())
    }
}

/// The board: its link and its output stage.
pub struct Model<'a> {
    pub stage: Stage<'a, &'a mut Words, (), (), 2>,
    link: BoardLink<'a, 2>,
    was: State,
}

impl<'a> Model<'a> {
    /// Rests after more than `patience` ticks without a frame.
    pub fn new(words: &'a mut Words, frames: &'a mut Frames, patience: u32) -> Model<'a> {
        let (producer, consumer) = frames.split();
        let stage = Stage::new(&wiring(), (words, (), ()), consumer, 0, patience);
        Model { was: stage.state(), stage, link: BoardLink::new(&wiring(), producer) }
    }

    /// Takes bytes of the line.
    pub fn hear(&mut self, bytes: &[u8], now: u32) {
        for byte in bytes {
            match self.link.take(*byte, now) {
                Some(HostRequest::Start { .. }) => self.stage.start(),
                Some(HostRequest::Stop) => self.stage.stop(RestCause::Stopped),
                None => {}
            }
        }
    }

    /// Brings rest when the host is silent, and says whether it did.
    pub fn notice_silence(&mut self, now: u32) -> bool {
        let silent = self.link.is_silent(now);
        if silent {
            self.stage.stop(RestCause::Silence);
        }
        silent
    }

    /// The bytes that are due.
    pub fn answers(&mut self) -> Vec<u8> {
        if self.stage.state() != self.was {
            self.was = self.stage.state();
            self.link.report();
        }
        let mut answers = Vec::new();
        let mut packet = [0; MAX_PACKET];
        while let Some(answer) = self.link.answer(self.stage.status(), &mut packet) {
            answers.extend_from_slice(answer);
        }
        answers
    }
}

/// A line that drops a byte or flips a bit of it, each in so many of a million.
pub struct Line {
    pub seed: u32,
    pub wrong: u32,
}

impl Line {
    fn number(&mut self) -> u32 {
        self.seed = self.seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.seed >> 8
    }

    /// The bytes that arrive.
    pub fn carry(&mut self, bytes: &[u8]) -> Vec<u8> {
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
