//! Hands each block to the consumer, and once it was taken to the view.

use crate::shared::SessionState;
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::time::FrameRate;
use serde_json::{Value, json};
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender};
use std::time::Instant;

/// Frames a second that views get at most; of more, every second, third, ... frame.
const SHOWN_HZ: u32 = 500;

/// Frames go to the view this often, a second: one that draws 60 pictures a second has new ones for each.
const MESSAGES_PER_S: u32 = 125;

/// Channels that views get, in this order.
pub fn channels() -> impl Iterator<Item = Channel> + Clone {
    let shown = |channel: &Channel| !matches!(channel, Channel::Electrode(_));
    Channel::ALL.iter().copied().filter(shown)
}

/// Views get one frame of so many.
pub fn every(rate: FrameRate) -> u32 {
    rate.as_hz().div_ceil(SHOWN_HZ)
}

/// A block that was made.
#[derive(Debug, Default)]
pub struct RenderedBlock {
    /// How many frames.
    pub frames: u64,
    /// Samples of [`channels`] of the frames that views get.
    pub samples: Vec<f32>,
    /// Marks.
    pub marks: Vec<Value>,
}

impl RenderedBlock {
    /// The part that views get of a block whose first frame has the index `first`.
    pub fn new(first: u64, frames: &[Frame], marks: Vec<Value>, rate: FrameRate) -> RenderedBlock {
        let every = u64::from(every(rate));
        let shown = frames.iter().zip(first..).filter(|(_, index)| index % every == 0);
        let samples = shown.flat_map(|(frame, _)| channels().map(|channel| frame.sample(channel))).collect();
        RenderedBlock { frames: frames.len() as u64, samples, marks }
    }
}

/// The writer that the stream writes to.
pub struct Tee {
    sink: Box<dyn Write + Send>,
    made: Receiver<RenderedBlock>,
    shared: Arc<SessionState>,
    gathered: RenderedBlock,
    least: u64,
    shown_from: u64,
}

impl Tee {
    /// To `sink`; `made` has every block before it is written.
    pub fn new(sink: Box<dyn Write + Send>, made: Receiver<RenderedBlock>, shared: Arc<SessionState>) -> Tee {
        let least = u64::from(shared.rate.as_hz().div_ceil(MESSAGES_PER_S));
        Tee { sink, made, shared, gathered: RenderedBlock::default(), least, shown_from: 0 }
    }

    /// A block was taken.
    fn taken(&mut self) {
        let Ok(made) = self.made.try_recv() else { return };
        self.shared.count(made.frames);
        self.gathered.frames += made.frames;
        self.gathered.samples.extend(made.samples);
        self.gathered.marks.extend(made.marks);
        if self.gathered.frames >= self.least {
            self.send();
        }
    }

    fn send(&mut self) {
        let gathered = std::mem::take(&mut self.gathered);
        self.shared.frames(self.shown_from, &gathered.samples);
        self.shown_from += (gathered.samples.len() / channels().count()) as u64;
        if !gathered.marks.is_empty() {
            self.shared.news(&json!({"t": "marks", "marks": gathered.marks}));
        }
    }
}

impl Write for Tee {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.sink.write(bytes)
    }

    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        // A stream without a header writes an empty one before the first block is due.
        if !bytes.is_empty() {
            self.shared.begin(Instant::now());
        }
        self.sink.write_all(bytes)
    }

    /// The stream flushes after each block.
    fn flush(&mut self) -> io::Result<()> {
        self.sink.flush()?;
        self.taken();
        Ok(())
    }
}

/// The end of the channel by which the player hands over what views get.
pub type BlockSender = Sender<RenderedBlock>;
