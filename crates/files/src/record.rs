//! Records of the open waveform database: a header of text, a file of signals, a file of annotations.
//!
//! Source of the layouts: the manual pages header(5), signal(5) and annot(5) of the open waveform-database library, from
//! memory; its readers open the files in the tests. Signals are stored in format 16, 24 or, two samples in three bytes,
//! 212. Annotations are 16-bit words: six bits of type over ten bits of frames since the annotation before.

pub mod annotations;

use crate::buffer::Buffer;
use crate::csv::on_one_line;
use crate::format::{Column, Encoder, Heading, Section, lanes};
use crate::interleave::spread;
use crate::quantiser::{BLOCK, Quantiser, Tally};
use crate::scale::Bits;
use pulsewright_core::block::Block;
use pulsewright_core::frame::Frame;

/// Number of the signal format that holds samples of this width; `None` for widths that have none here.
pub const fn format(bits: Bits) -> Option<u32> {
    match bits {
        Bits::B12 => Some(212),
        Bits::B16 => Some(16),
        Bits::B24 => Some(24),
        // The code of 0 ohm would often be beyond the range of readers.
        Bits::B32 => None,
    }
}

/// Whether `name` can be a record's: letters, digits, hyphens and underscores.
pub fn is_name(name: &str) -> bool {
    !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
}

/// Writes signal files: the samples of each frame in order, without any head.
#[derive(Debug)]
pub struct SignalWriter<'a> {
    columns: &'a [Column],
    bits: Bits,
}

impl<'a> SignalWriter<'a> {
    /// For these channels, all of this width.
    pub fn new(columns: &'a [Column], bits: Bits) -> SignalWriter<'a> {
        SignalWriter { columns, bits }
    }
}

impl Encoder for SignalWriter<'_> {
    fn lanes(&self) -> Vec<String> {
        lanes(self.columns)
    }

    fn grain(&self) -> u64 {
        // Two samples of format 212 share a byte.
        2
    }

    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        let samples = section.frames.checked_mul(self.columns.len() as u64)?;
        match self.bits {
            Bits::B12 => (samples / 2).checked_mul(3)?.checked_add(samples % 2 * 2),
            Bits::B24 => samples.checked_mul(3),
            Bits::B16 | Bits::B32 => samples.checked_mul(2),
        }
    }

    fn head(&self, _: Section, _: &mut Vec<u8>) {}

    fn encode(&self, _: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        let width = if self.bits == Bits::B24 { 3 } else { 2 };
        let stride = width * self.columns.len();
        let mut words = vec![0; block.len() * stride];
        let mut codes = [0; BLOCK];
        for (i, (Column { channel, scale }, tally)) in self.columns.iter().zip(tallies).enumerate() {
            let Some(scale) = scale else { continue };
            let samples = block.column(*channel);
            let (_, counts) = Quantiser::new(scale).quantise(samples, &mut codes);
            tally.add(counts);
            // The lowest code means "no sample" in these formats.
            let lowest = self.bits.limits().0;
            for code in codes.iter_mut().take(samples.len()) {
                *code = (*code).max(lowest + 1);
                tally.sum = tally.sum.wrapping_add(*code as u16);
            }
            let (codes, place) = (&codes[..samples.len()], words.get_mut(i * width..).unwrap_or_default());
            if width == 3 { spread::<i32, 3>(codes, stride, place) } else { spread::<i16, 2>(codes, stride, place) }
        }
        if self.bits == Bits::B12 { pack(&words, bytes) } else { bytes.extend_from_slice(&words) }
    }
}

/// Packs pairs of 16-bit words of 12 bits into three bytes: low byte of the first, both high nibbles, low byte of the
/// second. A last one without a partner takes two bytes.
fn pack(words: &[u8], bytes: &mut Buffer) {
    for pair in words.chunks(4) {
        match *pair {
            [low, high, second_low, second_high] => {
                bytes.extend_from_slice(&[low, (high & 0x0f) | (second_high << 4), second_low]);
            }
            [low, high] => bytes.extend_from_slice(&[low, high & 0x0f]),
            _ => {}
        }
    }
}

/// The header of a record whose signals and annotations stand beside it under the same name.
///
/// `first` is the first frame, `tallies` the counts over all of them.
pub fn header(
    name: &str,
    heading: Heading<'_>,
    frames: u64,
    columns: &[Column],
    first: &Frame,
    tallies: &[Tally],
) -> String {
    let mut text = format!("{name} {} {} {frames}\n", columns.len(), heading.rate.as_hz());
    for (Column { channel, scale }, tally) in columns.iter().zip(tallies) {
        let Some(scale) = scale else { continue };
        let bits = scale.bits();
        let mut codes = [0; BLOCK];
        let (codes, _) = Quantiser::new(scale).quantise(&[first.sample(*channel)], &mut codes);
        let initial = codes.first().map_or(0, |code| (*code).max(bits.limits().0 + 1));
        text += &format!(
            "{name}.dat {} {}({})/{} {} 0 {initial} {} 0 {}\n",
            format(bits).unwrap_or(16),
            scale.steps_per_unit(),
            -scale.steps_to_offset(),
            channel.kind().unit(),
            bits.count(),
            tally.sum as i16,
            channel.id()
        );
    }
    if !heading.title.is_empty() {
        text += &format!("# {}\n", on_one_line(heading.title));
    }
    text += &format!("# synthetic signal, seed {}, made by pulsewright {}\n", heading.seed, env!("CARGO_PKG_VERSION"));
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{ChannelRange, Scale};
    use pulsewright_core::frame::{Channel, Lead};
    use pulsewright_core::time::FrameRate;

    fn columns(bits: Bits) -> Vec<Column> {
        let scale = |channel: Channel, centre| {
            let reach = ChannelRange { lowest: centre, highest: centre + 2.0, centre };
            Column { channel, scale: Some(Scale::new(channel.kind(), bits, reach)) }
        };
        vec![
            scale(Channel::Lead(Lead::II), 0.0),
            scale(Channel::Respiration, 1000.0),
            scale(Channel::Lead(Lead::V1), 0.0),
        ]
    }

    fn frame(ii_mv: f32, v1_mv: f32) -> Frame {
        Frame { leads_mv: [0.0, ii_mv, v1_mv, 0.0, 0.0, 0.0, 0.0, 0.0], respiration_ohm: 1000.5, ..Frame::default() }
    }

    #[test]
    fn samples_share_bytes_in_format_212() {
        let columns = columns(Bits::B12);
        let mut bytes = Buffer::default();
        let mut tallies = [Tally::default(); 3];
        // Codes 1, 500, -1 and 291, 500, -2047 (clamped to an end, and then one above "no sample").
        SignalWriter::new(&columns, Bits::B12).encode(
            0,
            &Block::of_frames(&[frame(0.001, -0.001), frame(0.291, -9.0)]),
            &mut bytes,
            &mut tallies,
        );
        assert_eq!(*bytes, [0x01, 0x10, 0xf4, 0xff, 0x1f, 0x23, 0xf4, 0x81, 0x01]);
        assert_eq!(tallies.map(|tally| tally.sum as i16), [292, 1000, -2048]);
        assert_eq!(tallies[2].clipped, 1);
        bytes.clear();
        SignalWriter::new(&columns, Bits::B12).encode(
            0,
            &Block::of_frames(&[frame(0.001, -0.001)]),
            &mut bytes,
            &mut tallies,
        );
        assert_eq!(*bytes, [0x01, 0x10, 0xf4, 0xff, 0x0f], "a last sample alone");
    }

    #[test]
    fn a_header_as_text() {
        let columns = columns(Bits::B16);
        let heading = Heading { title: "Two\nlines", seed: 7, rate: FrameRate::lit(360) };
        let tallies = [Tally { sum: 0xffff, ..Tally::default() }; 3];
        let text = header("ward-1", heading, 720, &columns, &frame(-0.25, 0.125), &tallies);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "ward-1 3 360 720");
        assert_eq!(lines[1], "ward-1.dat 16 1000(0)/mV 16 0 -250 -1 0 II");
        assert_eq!(lines[2], "ward-1.dat 16 1000(-1000000)/ohm 16 0 500 -1 0 respiration");
        assert_eq!(lines[3], "ward-1.dat 16 1000(0)/mV 16 0 125 -1 0 V1");
        assert_eq!(lines[4], "# Two lines");
        assert!(lines[5].starts_with("# synthetic signal, seed 7"));
    }

    #[test]
    fn names_that_readers_know() {
        assert!(is_name("ward_1-b"));
        for name in ["", "ward 1", "ward.1", "stöhr", "a/b"] {
            assert!(!is_name(name), "{name}");
        }
    }
}
