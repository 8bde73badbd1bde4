//! File formats: bytes before the frames, the frames themselves, bytes after.
//!
//! Encoding is a function of the frames and their place alone, so that parts can be encoded side by side and written in
//! order. The content of a head is known before the first byte, so that nothing needs seeking.

use crate::buffer::Buffer;
use crate::marks::Mark;
use crate::quantiser::Tally;
use crate::scale::{Bits, ChannelRange, Scale};
use pulsewright_core::block::Block;
use pulsewright_core::frame::Channel;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;

/// How a sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// As an integer of this width; see [`Scale`].
    Integer(Bits),
    /// As a 32-bit float in the channel's unit.
    Float,
}

/// A file format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileFormat {
    /// RIFF WAVE; a file over 4 GiB, which that can't be, is RF64.
    Wav(Encoding),
    /// RF64, the same with sizes of 64 bits, whatever the length.
    Rf64(Encoding),
    /// Nothing but the frames, little-endian.
    Raw(Encoding),
    /// Comma-separated values in the channels' units, with the decimals that a sample of this width has.
    Csv(Bits),
    /// EDF+, continuous, 16 bits a sample, with events as annotations.
    Edf,
    /// A record of the open waveform database: header, signals, annotations.
    Record(Bits),
}

impl FileFormat {
    /// How samples are stored.
    pub const fn encoding(self) -> Encoding {
        match self {
            FileFormat::Wav(encoding) | FileFormat::Rf64(encoding) | FileFormat::Raw(encoding) => encoding,
            FileFormat::Csv(bits) | FileFormat::Record(bits) => Encoding::Integer(bits),
            FileFormat::Edf => Encoding::Integer(Bits::B16),
        }
    }

    /// Extension of the name that a render of this format is given.
    pub const fn extension(self) -> &'static str {
        match self {
            FileFormat::Wav(_) | FileFormat::Rf64(_) => "wav",
            FileFormat::Raw(_) => "raw",
            FileFormat::Csv(_) => "csv",
            FileFormat::Edf => "edf",
            FileFormat::Record(_) => "hea",
        }
    }
}

/// A channel and how its samples are stored.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// The channel.
    pub channel: Channel,
    /// Scale of an integer sample; `None` for floats.
    pub scale: Option<Scale>,
}

impl Column {
    /// A channel of `script` stored as `encoding`.
    pub fn new(script: &Script<'_>, channel: Channel, encoding: Encoding) -> Column {
        let scale = match encoding {
            Encoding::Integer(bits) => Some(Scale::new(channel.kind(), bits, ChannelRange::of(script, channel))),
            Encoding::Float => None,
        };
        Column { channel, scale }
    }
}

/// Names of columns.
pub fn lanes(columns: &[Column]) -> Vec<String> {
    columns.iter().map(|column| column.channel.id().to_owned()).collect()
}

/// The frames that one file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Section {
    /// Index of the first frame in the whole render.
    pub first: u64,
    /// How many.
    pub frames: u64,
}

/// Content of a file's head.
#[derive(Clone, Copy, Debug)]
pub struct Heading<'a> {
    /// Title of the script; may be empty.
    pub title: &'a str,
    /// Seed of the script.
    pub seed: u64,
    /// Frames a second.
    pub rate: FrameRate,
}

/// Writes files of one format.
pub trait Encoder: Sync {
    /// Names of the values of a frame, in order; counts are kept for each.
    fn lanes(&self) -> Vec<String>;

    /// Frames that are stored together: a part holds a whole number of these, but for the last of a section.
    fn grain(&self) -> u64 {
        1
    }

    /// Bytes that the frames of a section take, where that is known before they are encoded.
    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        let _ = section;
        None
    }

    /// Appends the bytes before the frames of a section.
    fn head(&self, section: Section, bytes: &mut Vec<u8>);

    /// Appends a block of consecutive frames, the first of them at `index` in the whole render, and counts per channel the
    /// samples that were clipped.
    fn encode(&self, index: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]);

    /// Puts the marks into the encoded frames of a part, for a format that carries them between frames.
    fn annotate(&self, part: Section, marks: &[Mark], bytes: &mut [u8]) {
        let _ = (part, marks, bytes);
    }

    /// Appends the bytes after the frames of a section.
    fn tail(&self, section: Section, bytes: &mut Vec<u8>) {
        let _ = (section, bytes);
    }
}

impl<E: Encoder + ?Sized> Encoder for &E {
    fn lanes(&self) -> Vec<String> {
        (**self).lanes()
    }

    fn grain(&self) -> u64 {
        (**self).grain()
    }

    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        (**self).encoded_bytes(section)
    }

    fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        (**self).head(section, bytes);
    }

    fn encode(&self, index: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        (**self).encode(index, block, bytes, tallies);
    }

    fn annotate(&self, part: Section, marks: &[Mark], bytes: &mut [u8]) {
        (**self).annotate(part, marks, bytes);
    }

    fn tail(&self, section: Section, bytes: &mut Vec<u8>) {
        (**self).tail(section, bytes);
    }
}
