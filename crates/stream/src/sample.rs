//! The bytes: frames of interleaved little-endian samples, and the line of JSON that may say so before them.

use pulsewright_core::block::{BLOCK, Block, Signals};
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_files::buffer::Buffer;
use pulsewright_files::format::{Column, Encoder, Encoding};
use pulsewright_files::quantiser::Tally;
use pulsewright_files::sidecar::{ChannelDescription, StoredValue};
use pulsewright_files::wav::Wav;
use serde_json::{Value, json};

/// Channels and how their samples are stored.
#[derive(Debug)]
pub struct Samples {
    columns: Vec<Column>,
    encoding: Encoding,
    rate: FrameRate,
    tallies: Vec<Tally>,
    /// The frames being encoded; kept, as they are few at a time.
    block: Box<Block>,
    encoded: Buffer,
}

impl Samples {
    /// Samples of `channels`, with scales for the whole range of `script`: those of a render of it.
    pub fn new(script: &Script<'_>, channels: &[Channel], encoding: Encoding, rate: FrameRate) -> Samples {
        let columns: Vec<Column> = channels.iter().map(|channel| Column::new(script, *channel, encoding)).collect();
        let tallies = vec![Tally::default(); columns.len()];
        Samples {
            columns,
            encoding,
            rate,
            tallies,
            block: Box::new(Block::new(Signals::ALL)),
            encoded: Buffer::default(),
        }
    }

    /// The channels, in order.
    pub fn channels(&self) -> impl Iterator<Item = Channel> {
        self.columns.iter().map(|column| column.channel)
    }

    /// Bits of an integer sample; `None` for floats.
    pub fn bits(&self) -> Option<u32> {
        match self.encoding {
            Encoding::Integer(bits) => Some(bits.count()),
            Encoding::Float => None,
        }
    }

    /// Values at code 0 and one step above the highest code, in the unit of each channel; none for floats.
    pub fn scales(&self) -> impl Iterator<Item = (Channel, f64, f64)> {
        let full = self.bits().map_or(0.0, |bits| 2_f64.powi(bits as i32 - 1));
        let scaled = |column: &Column| column.scale.map(|scale| (column.channel, scale.offset(), scale.step()));
        self.columns.iter().filter_map(scaled).map(move |(channel, zero, step)| (channel, zero, zero + step * full))
    }

    /// Appends frames as bytes, and counts samples beyond the scales.
    pub fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        // The frames of a WAV file are just these bytes.
        let wav = Wav::new(&self.columns, self.rate);
        for frames in frames.chunks(BLOCK) {
            self.block.take(frames);
            self.encoded.clear();
            wav.encode(0, &self.block, &mut self.encoded, &mut self.tallies);
            bytes.extend_from_slice(&self.encoded);
        }
    }

    /// Samples so far that were stored as the nearest that could be, by channel.
    pub fn clipped(&self) -> impl Iterator<Item = (Channel, u64)> {
        let both = self.columns.iter().zip(&self.tallies).map(|(column, tally)| (column.channel, tally.clipped));
        both.filter(|(_, clipped)| *clipped > 0)
    }

    /// Channels that a render of `script` would store with another scale.
    pub fn differ(&self, script: &Script<'_>) -> Vec<Channel> {
        let other = |column: &&Column| Column::new(script, column.channel, self.encoding).scale != column.scale;
        self.columns.iter().filter(other).map(|column| column.channel).collect()
    }

    /// The line of JSON that describes the bytes after it, without its line end.
    ///
    /// `sample` is `i12`, `i16`, `i24`, `i32` (little-endian, 12 bits in two bytes) or `f32`; a value is
    /// `sample * scale + offset` in the channel's unit.
    pub fn header(&self) -> Value {
        let (sample, stored) = match self.encoding {
            Encoding::Integer(bits) => (format!("i{}", bits.count()), StoredValue::Codes),
            Encoding::Float => ("f32".to_owned(), StoredValue::Values),
        };
        let channel = |column| serde_json::to_value(ChannelDescription::new(column, stored, Tally::default()));
        let channels: Vec<Value> = self.columns.iter().filter_map(|column| channel(column).ok()).collect();
        json!({
            "version": 1,
            "made_by": concat!("pulsewright ", env!("CARGO_PKG_VERSION")),
            "frame_rate_hz": self.rate.as_hz(),
            "sample": sample,
            "byte_order": "little",
            "channels": channels,
        })
    }
}
