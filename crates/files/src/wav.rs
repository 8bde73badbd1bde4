//! RIFF WAVE files: 16-, 24- and 32-bit integers and 32-bit floats; over 4 GiB, or when asked for, as RF64.
//!
//! RF64 (EBU Tech 3306, from memory) is the same file with the sizes of 64 bits in a `ds64` chunk before all others.
//!
//! Written here rather than by a library: the size is known before the first byte, so nothing is sought back and standard
//! output will do; whole parts are encoded side by side; and the loudspeaker mask of the extensible header is zero, since
//! leads are no loudspeakers. Independent readers open the files in the tests.

use crate::buffer::Buffer;
use crate::format::{Column, Encoder, Section, lanes};
use crate::interleave::{GROUP, TILE, Tile, interleave, spread};
use crate::quantiser::{BLOCK, Quantiser, Tally};
use crate::scale::{Bits, Scale};
use pulsewright_core::block::Block;
use pulsewright_core::internal::vectors::{self, Loop};
use pulsewright_core::time::FrameRate;

/// Largest RIFF file: sizes in the header are 32 bits, and the first counts all bytes after the first eight.
pub const LARGEST: u64 = u32::MAX as u64 + 8;

const PCM: u16 = 1;
const IEEE_FLOAT: u16 = 3;
const EXTENSIBLE: u16 = 0xfffe;
/// The rest of the sub-format identifier, after the two bytes that are the plain format tag.
const SUB_FORMAT: [u8; 14] = [0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71];

/// The head of a WAV file: facts of its frames, whichever encoder writes them.
#[derive(Clone, Copy, Debug)]
pub struct Head {
    /// Samples in a frame.
    pub channels: usize,
    /// Bytes of a sample.
    pub sample_bytes: usize,
    /// Whether samples are floats.
    pub float: bool,
    /// Frames a second.
    pub rate: FrameRate,
    /// RF64, however small.
    pub always_wide: bool,
}

/// A RIFF size that refers to the `ds64` chunk.
const ELSEWHERE: u32 = u32::MAX;

/// Bytes of the `ds64` chunk: its name and size, three sizes of 64 bits, and the length of a table that is empty.
const DS64_BYTES: u64 = 8 + 28;

impl Head {
    /// Whether a section is RF64: asked for, or because its size does not fit 32 bits.
    pub fn is_wide(&self, section: Section) -> bool {
        self.always_wide || self.narrow_bytes(section) > LARGEST
    }

    /// Bytes of a section's file.
    pub fn bytes(&self, section: Section) -> u64 {
        self.narrow_bytes(section).saturating_add(if self.is_wide(section) { DS64_BYTES } else { 0 })
    }

    /// Bytes that it has, or would have, as RIFF.
    fn narrow_bytes(&self, section: Section) -> u64 {
        let data = self.data_bytes(section);
        self.narrow_head_bytes().saturating_add(data).saturating_add(data % 2)
    }

    fn frame_bytes(&self) -> usize {
        self.sample_bytes * self.channels
    }

    /// The older header serves up to 2 channels of 16 bits; readers know it best.
    fn is_extensible(&self) -> bool {
        self.channels > 2 || self.sample_bytes > 2
    }

    fn narrow_head_bytes(&self) -> u64 {
        let format = if self.is_extensible() { 40 } else { 16 };
        let fact = if self.float { 12 } else { 0 };
        12 + 8 + format + fact + 8
    }

    fn data_bytes(&self, section: Section) -> u64 {
        section.frames.saturating_mul(self.frame_bytes() as u64)
    }

    /// Appends the bytes before the frames of a section.
    pub fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        let data = self.data_bytes(section);
        let wide = self.is_wide(section);
        let narrow = |size: u64| u32::try_from(size).ok().filter(|_| !wide).unwrap_or(ELSEWHERE);
        let channels = self.channels as u16;
        let bits = self.sample_bytes as u16 * 8;
        let tag = if self.float { IEEE_FLOAT } else { PCM };
        let whole = self.bytes(section) - 8;
        bytes.extend_from_slice(if wide { b"RF64" } else { b"RIFF" });
        bytes.extend_from_slice(&narrow(whole).to_le_bytes());
        bytes.extend_from_slice(b"WAVE");
        if wide {
            bytes.extend_from_slice(b"ds64");
            bytes.extend_from_slice(&(DS64_BYTES as u32 - 8).to_le_bytes());
            for size in [whole, data, section.frames] {
                bytes.extend_from_slice(&size.to_le_bytes());
            }
            bytes.extend_from_slice(&0_u32.to_le_bytes());
        }
        bytes.extend_from_slice(b"fmt ");
        bytes.extend_from_slice(&(if self.is_extensible() { 40_u32 } else { 16 }).to_le_bytes());
        bytes.extend_from_slice(&(if self.is_extensible() { EXTENSIBLE } else { tag }).to_le_bytes());
        bytes.extend_from_slice(&channels.to_le_bytes());
        bytes.extend_from_slice(&self.rate.as_hz().to_le_bytes());
        bytes.extend_from_slice(&(self.rate.as_hz() * self.frame_bytes() as u32).to_le_bytes());
        bytes.extend_from_slice(&(self.frame_bytes() as u16).to_le_bytes());
        bytes.extend_from_slice(&bits.to_le_bytes());
        if self.is_extensible() {
            bytes.extend_from_slice(&22_u16.to_le_bytes());
            bytes.extend_from_slice(&bits.to_le_bytes());
            bytes.extend_from_slice(&0_u32.to_le_bytes());
            bytes.extend_from_slice(&tag.to_le_bytes());
            bytes.extend_from_slice(&SUB_FORMAT);
        }
        if self.float {
            bytes.extend_from_slice(b"fact");
            bytes.extend_from_slice(&4_u32.to_le_bytes());
            bytes.extend_from_slice(&narrow(section.frames).to_le_bytes());
        }
        bytes.extend_from_slice(b"data");
        bytes.extend_from_slice(&narrow(data).to_le_bytes());
    }

    /// Appends the bytes after the frames of a section.
    pub fn tail(&self, section: Section, bytes: &mut Vec<u8>) {
        // A chunk of odd length is followed by a byte that makes it even.
        if self.data_bytes(section) % 2 == 1 {
            bytes.push(0);
        }
    }
}

/// Writes WAV files.
#[derive(Debug)]
pub struct Wav<'a> {
    columns: &'a [Column],
    head: Head,
    bare: bool,
}

impl<'a> Wav<'a> {
    /// For these channels, all stored alike.
    pub fn new(columns: &'a [Column], rate: FrameRate) -> Wav<'a> {
        let scale = columns.first().and_then(|column| column.scale);
        let sample_bytes = scale.map_or(32, |scale| scale.bits().count()).div_ceil(8) as usize;
        let float = scale.is_none();
        Wav {
            columns,
            head: Head { channels: columns.len(), sample_bytes, float, rate, always_wide: false },
            bare: false,
        }
    }

    /// The frames alone.
    pub fn bare(self) -> Wav<'a> {
        Wav { bare: true, ..self }
    }

    /// As RF64, however small.
    pub fn wide(self) -> Wav<'a> {
        Wav { head: Head { always_wide: true, ..self.head }, ..self }
    }

    /// See [`Head::is_wide`].
    pub fn is_wide(&self, section: Section) -> bool {
        self.head.is_wide(section)
    }

    /// See [`Head::bytes`].
    pub fn bytes(&self, section: Section) -> u64 {
        self.head.bytes(section)
    }
}

impl Wav<'_> {
    /// Puts samples of 16 bits in their places.
    #[inline(always)]
    fn put_words(&self, block: &Block, stride: usize, bytes: &mut [u8], tallies: &mut [Tally]) {
        // Small enough to be near until it is turned.
        let mut tile: Tile = [[0; TILE]; GROUP];
        let mut first = 0;
        for (columns, tallies) in self.columns.chunks(GROUP).zip(tallies.chunks_mut(GROUP)) {
            let mut lanes: [Option<Lane<'_>>; GROUP] = [None; GROUP];
            for (lane, column) in lanes.iter_mut().zip(columns) {
                // No closure: it would be built apart, for plainer vectors.
                if let Some(scale) = &column.scale {
                    *lane = Some(Lane::new(scale, block.column(column.channel)));
                }
            }
            for from in (0..block.len()).step_by(TILE) {
                let count = TILE.min(block.len() - from);
                for ((lane, tally), codes) in lanes.iter().flatten().zip(&mut *tallies).zip(&mut tile) {
                    lane.quantise(from, count, codes, tally);
                }
                let frames = from * stride..(from + count) * stride;
                interleave(&tile, columns.len(), first, stride, bytes.get_mut(frames).unwrap_or_default());
            }
            first += columns.len() * 2;
        }
    }

    /// Puts wider samples in their places.
    #[inline(always)]
    fn put_codes(
        &self,
        spread: fn(&[i32], usize, &mut [u8]),
        block: &Block,
        stride: usize,
        bytes: &mut [u8],
        tallies: &mut [Tally],
    ) {
        let mut codes = [0; BLOCK];
        for (i, (Column { channel, scale }, tally)) in self.columns.iter().zip(tallies).enumerate() {
            let Some(scale) = scale else { continue };
            let (codes, counts) = Quantiser::new(scale).quantise(block.column(*channel), &mut codes);
            tally.add(counts);
            spread(codes, stride, bytes.get_mut(i * self.head.sample_bytes..).unwrap_or_default());
        }
    }

    /// Puts floats in their places.
    #[inline(always)]
    fn put_values(&self, block: &Block, stride: usize, bytes: &mut [u8], tallies: &mut [Tally]) {
        for (i, (Column { channel, .. }, tally)) in self.columns.iter().zip(tallies).enumerate() {
            let samples = block.column(*channel);
            tally.not_numbers += samples.iter().filter(|sample| !sample.is_finite()).count() as u64;
            let bytes = bytes.get_mut(i * self.head.sample_bytes..).unwrap_or_default();
            for (place, sample) in bytes.chunks_mut(stride).zip(samples) {
                if let Some(place) = place.first_chunk_mut() {
                    *place = sample.to_le_bytes();
                }
            }
        }
    }
}

/// A channel of a block to be quantised a tile at a time.
#[derive(Clone, Copy)]
struct Lane<'a> {
    quantiser: Quantiser,
    samples: &'a [f32],
    /// Whether all samples are well within the scale.
    within: bool,
}

impl<'a> Lane<'a> {
    #[inline(always)]
    fn new(scale: &Scale, samples: &'a [f32]) -> Lane<'a> {
        let quantiser = Quantiser::new(scale);
        let within = quantiser.holds(samples);
        Lane { quantiser, samples, within }
    }

    /// Codes of `count` samples, at most a tile's.
    #[inline(always)]
    fn quantise(&self, from: usize, count: usize, codes: &mut [i32; TILE], tally: &mut Tally) {
        // Slices, as a loop whose count is known is taken apart rather than put in vectors.
        let (samples, codes) = (self.samples.get(from..from + count), codes.get_mut(..count));
        let (Some(samples), Some(codes)) = (samples, codes) else { return };
        if self.within {
            self.quantiser.within(samples, codes);
        } else {
            tally.add(self.quantiser.clamped(samples, codes));
        }
    }
}

/// Frames of a block to be put in their places.
struct Put<'a> {
    wav: &'a Wav<'a>,
    block: &'a Block,
    stride: usize,
    bytes: &'a mut [u8],
    tallies: &'a mut [Tally],
}

impl Loop for Put<'_> {
    #[inline(always)]
    fn run(self) {
        let Put { wav, block, stride, bytes, tallies } = self;
        match wav.columns.first().map(|column| column.scale.map(|scale| scale.bits())) {
            Some(Some(Bits::B12 | Bits::B16)) => wav.put_words(block, stride, bytes, tallies),
            Some(Some(Bits::B24)) => wav.put_codes(spread::<i32, 3>, block, stride, bytes, tallies),
            Some(Some(Bits::B32)) => wav.put_codes(spread::<i32, 4>, block, stride, bytes, tallies),
            Some(None) => wav.put_values(block, stride, bytes, tallies),
            None => {}
        }
    }
}

impl Encoder for Wav<'_> {
    fn lanes(&self) -> Vec<String> {
        lanes(self.columns)
    }

    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        Some(self.head.data_bytes(section))
    }

    fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        if !self.bare {
            self.head.head(section, bytes);
        }
    }

    fn encode(&self, _: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        let stride = self.head.frame_bytes();
        let bytes = bytes.room(block.len() * stride);
        vectors::run(Put { wav: self, block, stride, bytes, tallies });
    }

    fn tail(&self, section: Section, bytes: &mut Vec<u8>) {
        if !self.bare {
            self.head.tail(section, bytes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Encoding;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::frame::{Channel, Frame, Lead};
    use pulsewright_core::heart::catalogue::SINUS;
    use pulsewright_core::script::{Item, Script, Step};
    use pulsewright_core::settings::Settings;
    use pulsewright_core::time::Span;
    use std::io::Cursor;

    const CHANNELS: [Channel; 3] = [Channel::Lead(Lead::II), Channel::Respiration, Channel::Lead(Lead::V6)];

    fn columns(count: usize, encoding: Encoding) -> Vec<Column> {
        let settings = Settings::new(&ADULT, &SINUS);
        let items = [Item::Step(Step::lasting(Span::secs(1), settings))];
        let script = Script::new(1, &items).unwrap();
        CHANNELS.iter().take(count).map(|channel| Column::new(&script, *channel, encoding)).collect()
    }

    fn frames() -> Vec<Frame> {
        (0..700_i16)
            .map(|i| Frame {
                leads_mv: [0.0, f32::from(i) * 0.003, 0.0, 0.0, 0.0, 0.0, 0.0, -f32::from(i) * 0.001],
                respiration_ohm: 1000.0 + f32::from(i) * 0.01,
                ..Frame::default()
            })
            .collect()
    }

    fn encode(wav: &Wav<'_>, frames: &[Frame], bytes: &mut Buffer, tallies: &mut [Tally]) {
        for frames in frames.chunks(BLOCK) {
            wav.encode(0, &Block::of_frames(frames), bytes, tallies);
        }
    }

    #[test]
    fn the_widest_vectors_make_the_bytes_of_the_plainest() {
        let mut frames = frames();
        frames[400].leads_mv[1] = f32::NAN;
        frames[500].leads_mv[1] = 1e9;
        for encoding in [Bits::B16, Bits::B24, Bits::B32].map(Encoding::Integer).into_iter().chain([Encoding::Float]) {
            let columns = columns(3, encoding);
            let wav = Wav::new(&columns, FrameRate::lit(500));
            let stride = wav.head.frame_bytes();
            for frames in frames.chunks(BLOCK) {
                let block = Block::of_frames(frames);
                let put = |widest: bool| {
                    let (mut bytes, mut tallies) = (vec![0; frames.len() * stride], [Tally::default(); 3]);
                    let put = Put { wav: &wav, block: &block, stride, bytes: &mut bytes, tallies: &mut tallies };
                    if widest {
                        vectors::run(put)
                    } else {
                        put.run()
                    }
                    (bytes, tallies)
                };
                assert_eq!(put(true), put(false));
            }
        }
    }

    fn file(columns: &[Column], frames: &[Frame]) -> Vec<u8> {
        let wav = Wav::new(columns, FrameRate::lit(500));
        let section = Section { first: 0, frames: frames.len() as u64 };
        let (mut bytes, mut encoded) = (Vec::new(), Buffer::default());
        wav.head(section, &mut bytes);
        encode(&wav, frames, &mut encoded, &mut vec![Tally::default(); columns.len()]);
        bytes.extend_from_slice(&encoded);
        wav.tail(section, &mut bytes);
        assert_eq!(bytes.len() as u64, wav.bytes(section));
        assert_eq!(u32::from_le_bytes(bytes[4..8].try_into().unwrap()) as usize, bytes.len() - 8);
        bytes
    }

    #[test]
    fn an_independent_reader_finds_every_code() {
        let frames = frames();
        for bits in [Bits::B16, Bits::B24, Bits::B32] {
            for count in 1..=3 {
                let columns = columns(count, Encoding::Integer(bits));
                let mut reader = hound::WavReader::new(Cursor::new(file(&columns, &frames))).unwrap();
                let spec = reader.spec();
                assert_eq!((u32::from(spec.bits_per_sample), usize::from(spec.channels)), (bits.count(), count));
                assert_eq!((spec.sample_rate, reader.duration()), (500, 700));
                let read: Vec<i32> = reader.samples().map(Result::unwrap).collect();
                for (i, code) in read.iter().enumerate() {
                    let column = &columns[i % count];
                    let exact = f64::from(frames[i / count].sample(column.channel));
                    let scale = column.scale.unwrap();
                    let value = f64::from(*code) * scale.step() + scale.offset();
                    assert!((value - exact).abs() <= scale.step() * 0.500_001, "{bits:?} {i}: {value} for {exact}");
                }
            }
        }
    }

    #[test]
    fn floats_are_the_samples_themselves() {
        let frames = frames();
        for count in 1..=3 {
            let columns = columns(count, Encoding::Float);
            let mut reader = hound::WavReader::new(Cursor::new(file(&columns, &frames))).unwrap();
            assert_eq!(reader.spec().sample_format, hound::SampleFormat::Float);
            let read: Vec<f32> = reader.samples().map(Result::unwrap).collect();
            let expected: Vec<f32> =
                frames.iter().flat_map(|frame| columns.iter().map(|column| frame.sample(column.channel))).collect();
            assert_eq!(read, expected);
        }
    }

    #[test]
    fn an_odd_count_of_bytes_is_made_even() {
        let columns = columns(1, Encoding::Integer(Bits::B24));
        assert_eq!(file(&columns, &frames()[..1]).len() % 2, 0);
    }

    #[test]
    fn a_file_is_wide_from_the_first_byte_over_4_gib() {
        let columns = columns(1, Encoding::Integer(Bits::B16));
        let wav = Wav::new(&columns, FrameRate::lit(1000));
        let head = |frames| {
            let mut head = Vec::new();
            wav.head(Section { first: 0, frames }, &mut head);
            head
        };
        let most = (u64::from(u32::MAX) + 8 - 44) / 2;
        let narrow = head(most);
        assert_eq!(narrow[..4], *b"RIFF");
        assert_eq!(narrow[4..8], (44 - 8 + most as u32 * 2).to_le_bytes());
        assert_eq!(narrow[40..44], (most as u32 * 2).to_le_bytes());
        let wide = head(most + 1);
        assert_eq!(wide.len(), 44 + 36);
        assert_eq!((&wide[..8], &wide[8..16]), (b"RF64\xff\xff\xff\xff".as_slice(), b"WAVEds64".as_slice()));
        let data = (most + 1) * 2;
        assert_eq!(wide[16..20], 28_u32.to_le_bytes());
        assert_eq!(wide[20..28], (80 - 8 + data).to_le_bytes());
        assert_eq!(wide[28..36], data.to_le_bytes());
        assert_eq!(wide[36..44], (most + 1).to_le_bytes());
        assert_eq!(wide[76..80], [0xff; 4]);
        assert_eq!(wav.bytes(Section { first: 0, frames: u64::MAX }), u64::MAX, "clamped, not wrapped");
    }

    #[test]
    fn a_small_wide_file_holds_the_same_frames() {
        let frames = frames();
        for encoding in [Encoding::Integer(Bits::B24), Encoding::Float] {
            let columns = columns(1, encoding);
            let section = Section { first: 0, frames: 699 };
            let (narrow, wide) =
                (Wav::new(&columns, FrameRate::lit(500)), Wav::new(&columns, FrameRate::lit(500)).wide());
            let file = |wav: &Wav<'_>| {
                let (mut bytes, mut encoded) = (Vec::new(), Buffer::default());
                wav.head(section, &mut bytes);
                encode(wav, &frames[..699], &mut encoded, &mut [Tally::default()]);
                bytes.extend_from_slice(&encoded);
                wav.tail(section, &mut bytes);
                assert_eq!(bytes.len() as u64, wav.bytes(section));
                bytes
            };
            let (narrow, wide) = (file(&narrow), file(&wide));
            assert_eq!(wide.len(), narrow.len() + 36);
            assert_eq!(wide[20..28], (wide.len() as u64 - 8).to_le_bytes());
            let tail = narrow.iter().rev().zip(wide.iter().rev()).take_while(|(a, b)| a == b).count();
            assert!(tail >= 699 * 3);
        }
    }

    #[test]
    fn samples_that_are_no_numbers_are_counted() {
        let mut frames = frames();
        frames[300].leads_mv[1] = f32::NAN;
        frames[301].leads_mv[1] = f32::INFINITY;
        let count = |encoding| {
            let columns = columns(3, encoding);
            let mut tallies = [Tally::default(); 3];
            encode(&Wav::new(&columns, FrameRate::lit(500)), &frames, &mut Buffer::default(), &mut tallies);
            tallies
        };
        assert_eq!(count(Encoding::Float)[0], Tally { not_numbers: 2, ..Tally::default() });
        assert_eq!(count(Encoding::Integer(Bits::B16))[0], Tally { clipped: 1, not_numbers: 1, sum: 0 });
        assert_eq!(count(Encoding::Float)[1..], [Tally::default(); 2]);
    }
}
