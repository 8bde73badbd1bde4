//! The cards of this computer.

use crate::error::{Card, CardError};
use crate::feed::{Feed, FeedState, RAMP_MS, WAITING_MS, feed};
use crate::offer::{Offer, PlaybackForm, SampleForm, SignalNeeds, choose};
use crate::packing::CodePacking;
use crate::report::CardReport;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, Device, ErrorKind, I24, SampleFormat, SizedSample, Stream, StreamConfig, SupportedBufferSize};
use std::io::{self, Write};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

/// Length of a block of the card, ms; it has two.
const BLOCK_MS: u32 = 20;

/// A card that takes nothing for so long is gone.
const NO_PROGRESS: Duration = Duration::from_secs(2);

/// How often the writer looks for room.
const LOOK: Duration = Duration::from_millis(1);

/// Keeps the sound library of Linux from writing to standard error, on this thread.
fn hush() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

fn devices() -> Result<Vec<Device>, CardError> {
    hush();
    let refused = |error: cpal::Error| CardError::NoSound(error.to_string());
    Ok(cpal::default_host().devices().map_err(refused)?.filter(Device::supports_output).collect())
}

fn id(device: &Device) -> String {
    device.id().map_or_else(|_| device.to_string(), |id| id.id().to_owned())
}

fn offers(device: &Device) -> Vec<Offer> {
    let ranges = device.supported_output_configs().into_iter().flatten();
    let offer = |range: cpal::SupportedStreamConfigRange| {
        let rates_hz = (range.min_sample_rate(), range.max_sample_rate());
        Some(Offer { channels: range.channels(), rates_hz, form: form(range.sample_format())? })
    };
    ranges.filter_map(offer).collect()
}

fn form(format: SampleFormat) -> Option<SampleForm> {
    match format {
        SampleFormat::I16 => Some(SampleForm::I16),
        SampleFormat::I24 => Some(SampleForm::I24),
        SampleFormat::I32 => Some(SampleForm::I32),
        SampleFormat::F32 => Some(SampleForm::F32),
        _ => None,
    }
}

/// The cards of this computer.
///
/// # Errors
/// [`CardError::NoSound`].
pub fn cards() -> Result<Vec<Card>, CardError> {
    let card = |device: &Device| Card { id: id(device), name: device.to_string(), offers: offers(device) };
    Ok(devices()?.iter().map(card).collect())
}

/// The card that the system opens by this name, or the only one that has it for people.
fn find(name: &str) -> Result<Device, CardError> {
    let devices = devices()?;
    if let Some(device) = devices.iter().find(|device| id(device) == name) {
        return Ok(device.clone());
    }
    let mut named = devices.iter().filter(|device| device.to_string() == name);
    match (named.next(), named.next()) {
        (Some(device), None) => Ok(device.clone()),
        (Some(_), Some(_)) => Err(CardError::Several(name.to_owned())),
        (None, _) => Err(CardError::Unknown(name.to_owned())),
    }
}

/// A card that can play a signal.
#[derive(Clone, Debug)]
pub struct ReadyCard {
    name: String,
    packing: CodePacking,
    /// How it will play.
    pub choice: PlaybackForm,
}

impl ReadyCard {
    /// The card `name` for frames of this packing, so many a second. It is looked at, and not kept open.
    ///
    /// # Errors
    /// [`CardError`] when there is no such card, or it can't play them.
    pub fn new(name: &str, packing: CodePacking, rate_hz: u32) -> Result<ReadyCard, CardError> {
        let device = find(name)?;
        let wanted = SignalNeeds { channels: packing.channels, bits: packing.bits, rate_hz };
        let offers = offers(&device);
        if offers.is_empty() {
            let why = "it can't be opened now, or takes no samples of 16, 24 or 32 bits";
            return Err(CardError::System(name.to_owned(), why.to_owned()));
        }
        let choice = choose(&offers, wanted).map_err(|unfit| CardError::Unfit(name.to_owned(), unfit))?;
        Ok(ReadyCard { name: name.to_owned(), packing, choice })
    }

    /// How long a frame is under way to the connector at most, ms, apart from the card's own filters.
    pub fn delay_ms(&self) -> u32 {
        WAITING_MS + 2 * BLOCK_MS
    }

    /// Opens the card, which then plays 0 until frames are there.
    ///
    /// # Errors
    /// [`CardError`] when the system refuses.
    pub fn open(&self) -> Result<CardWriter, CardError> {
        let device = find(&self.name)?;
        let (frames, feed, shared) = feed(self.choice, self.packing.channels);
        let stream = match self.choice.form {
            SampleForm::I16 => self.stream(&device, feed, |level| (level >> 16) as i16),
            SampleForm::I24 => self.stream(&device, feed, |level| I24::new_unchecked(level >> 8)),
            SampleForm::I32 => self.stream(&device, feed, |level| level),
            // Exact for codes of up to 24 bits.
            SampleForm::F32 => self.stream(&device, feed, |level| level as f32 / 2_f32.powi(31)),
        }?;
        stream.play().map_err(|error| self.refused(&error))?;
        Ok(CardWriter { packing: self.packing, partial: Vec::new(), frames, shared, stream: Some(stream) })
    }

    fn refused(&self, error: &cpal::Error) -> CardError {
        CardError::System(self.name.clone(), error.to_string())
    }

    fn stream<T: SizedSample>(
        &self,
        device: &Device,
        mut feed: Feed,
        sample: impl Fn(i32) -> T + Copy + Send + 'static,
    ) -> Result<Stream, CardError> {
        let PlaybackForm { channels, rate_hz, form: of, .. } = self.choice;
        let block = rate_hz * BLOCK_MS / 1000;
        // Where the card can't have such blocks, those that it likes.
        let fits = |range: &cpal::SupportedStreamConfigRange| {
            let here = range.channels() == channels && form(range.sample_format()) == Some(of);
            let sizes = range.buffer_size();
            here && matches!(sizes, SupportedBufferSize::Range { min, max } if (*min..=*max).contains(&block))
        };
        let fixed = device.supported_output_configs().is_ok_and(|mut ranges| ranges.any(|range| fits(&range)));
        let buffer_size = if fixed { BufferSize::Fixed(block) } else { BufferSize::Default };
        let config = StreamConfig { channels, sample_rate: rate_hz, buffer_size };
        let shared = feed.shared();
        let take = move |block: &mut [T], _: &cpal::OutputCallbackInfo| feed.fill(block, usize::from(channels), sample);
        let failed = move |error: cpal::Error| match error.kind() {
            ErrorKind::Xrun => shared.starve(),
            ErrorKind::RealtimeDenied => {}
            // Another card than the one that was chosen and measured is a failure too.
            _ => shared.fail(error.to_string()),
        };
        device.build_output_stream(config, take, failed, None).map_err(|error| self.refused(&error))
    }
}

/// Takes the bytes of frames and plays them. A write waits while enough frames wait for the card.
///
/// Dropping it lets the card play the frames that wait, brings it to rest and closes it.
pub struct CardWriter {
    packing: CodePacking,
    /// The bytes of a frame that is not whole yet.
    partial: Vec<u8>,
    frames: rtrb::Producer<i32>,
    shared: Arc<FeedState>,
    stream: Option<Stream>,
}

impl std::fmt::Debug for CardWriter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("CardWriter").finish_non_exhaustive()
    }
}

impl CardWriter {
    /// Reports how the card has played so far, and after the writer was dropped how it has ended.
    pub fn reporter(&self) -> impl Fn() -> CardReport + Send + Sync + use<> {
        let shared = Arc::clone(&self.shared);
        move || shared.report()
    }

    /// Waits until `ready`; an error when the card has failed, or takes nothing.
    fn wait(&self, ready: impl Fn(&CardWriter) -> bool) -> io::Result<()> {
        let mut progress = (self.shared.taken(), Instant::now());
        loop {
            if let Some(why) = self.shared.failed() {
                return Err(io::Error::other(why.to_owned()));
            }
            if ready(self) {
                return Ok(());
            }
            let taken = self.shared.taken();
            if taken != progress.0 {
                progress = (taken, Instant::now());
            } else if progress.1.elapsed() > NO_PROGRESS {
                self.shared.fail("it takes no samples".to_owned());
            }
            thread::sleep(LOOK);
        }
    }
}

impl Write for CardWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.partial.extend_from_slice(bytes);
        let frame_bytes = self.packing.frame_bytes().max(1);
        let partial = std::mem::take(&mut self.partial);
        let frames = partial.chunks_exact(frame_bytes);
        self.partial = frames.remainder().to_vec();
        for frame in frames {
            self.wait(|card| card.frames.slots() >= card.packing.channels)?;
            for level in self.packing.full_scale(frame) {
                // There is room.
                let _ = self.frames.push(level);
            }
        }
        Ok(bytes.len())
    }

    /// Frames are on their way as they are taken.
    fn flush(&mut self) -> io::Result<()> {
        self.wait(|_| true)
    }
}

impl Drop for CardWriter {
    fn drop(&mut self) {
        self.shared.end();
        // A failure is for the reporter.
        if self.wait(|card| card.shared.is_over()).is_ok() {
            // The card still has its last blocks to play: the end of the ramp, then 0.
            thread::sleep(Duration::from_millis(u64::from(2 * BLOCK_MS + RAMP_MS)));
        }
        drop(self.stream.take());
    }
}
