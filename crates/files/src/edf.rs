//! EDF+ files: continuous 16-bit signals with annotations (Kemp and Olivan, Clin Neurophysiol 2003; from memory).
//!
//! A file is a header of text in fields of fixed width, then data records. Each record holds a fixed count of samples of
//! one channel after the other, and in a last "signal" of bytes the time of the record and its events, as
//! time-stamped lists: `+time[0x15 duration] 0x14 text 0x14 0x00`. A walk over the events finds how many
//! bytes they take before anything is written; it costs no samples.

use crate::buffer::Buffer;
use crate::content::Content;
use crate::csv::on_one_line;
use crate::decimal::{push_fixed, push_instant, push_span};
use crate::format::{Column, Encoder, Section, lanes};
use crate::interleave::spread;
use crate::marks::{Mark, MarkKind};
use crate::quantiser::{BLOCK, Quantiser, Tally};
use crate::scale::Bits;
use crate::truth::{episode_word, nearest_frame, phase_word};
use pulsewright_core::block::Block;
use pulsewright_core::frame::Channel;
use pulsewright_core::script::Item;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth::Chamber;

/// Largest data record that is recommended, bytes (EDF, 1992: from memory).
const RECOMMENDED_BYTES: u64 = 61_440;

/// Lengths of a data record tried, ms: a whole second unless that makes it too large.
const LENGTHS_MS: [u64; 7] = [1000, 500, 200, 100, 50, 20, 10];

/// Most data records that fit the header's eight characters.
pub const MOST_RECORDS: u64 = 99_999_999;

/// Characters of a physical limit in the header.
const LIMIT_CHARS: usize = 8;

/// Fewest bytes for annotations: the time of a record after 136 years.
const FEWEST_NOTE_BYTES: usize = 24;

/// How the data records of all files of a render are made up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// Length of a record, ms.
    length_ms: u64,
    /// Frames of a record.
    frames: u64,
    /// Bytes for annotations in each, even.
    note_bytes: usize,
}

impl Layout {
    /// For this many channels; room for annotations is still to be found, see [`Layout::with_notes`].
    pub fn new(channels: usize, rate: FrameRate) -> Layout {
        let frames = |ms: u64| u64::from(rate.as_hz()) * ms / 1000;
        let mut whole = LENGTHS_MS.into_iter().filter(|ms| (u64::from(rate.as_hz()) * ms).is_multiple_of(1000));
        let small = |ms: &u64| frames(*ms) * 2 * channels as u64 + 1024 <= RECOMMENDED_BYTES;
        let length_ms = whole.clone().find(small).or(whole.next_back()).unwrap_or(1000);
        Layout { length_ms, frames: frames(length_ms), note_bytes: FEWEST_NOTE_BYTES }
    }

    /// With room for records that hold up to `most` bytes of annotations.
    pub fn with_notes(self, most: usize) -> Layout {
        Layout { note_bytes: most.max(FEWEST_NOTE_BYTES).next_multiple_of(2), ..self }
    }

    /// Frames of a record.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Records that a section takes; the last is filled up.
    pub fn records(&self, section: Section) -> u64 {
        section.frames.div_ceil(self.frames)
    }
}

/// Writes EDF+ files.
#[derive(Debug)]
pub struct Edf<'a> {
    columns: &'a [Column],
    content: Content<'a>,
    rate: FrameRate,
    sections: &'a [Section],
    layout: Layout,
}

/// Lowest and highest value of a column as the header has them, if they fit its fields.
pub fn limits(column: &Column) -> Option<(String, String)> {
    let scale = column.scale?;
    let (min, max) = scale.bits().limits();
    let text = |code| {
        let mut text = Vec::new();
        push_fixed(&mut text, scale.fixed(code), scale.decimals());
        let text = String::from_utf8(text).ok()?;
        let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        (text.len() <= LIMIT_CHARS).then(|| text.to_owned())
    };
    Some((text(min)?, text(max)?))
}

/// Name of a channel: the standard's words for the kinds of signal that it has.
fn label(channel: Channel) -> String {
    match channel {
        Channel::Lead(_) => format!("ECG {}", channel.id()),
        Channel::Respiration => "Resp".to_owned(),
        _ => channel.id().to_owned(),
    }
}

impl<'a> Edf<'a> {
    /// For these channels of 16 bits.
    pub fn new(
        columns: &'a [Column],
        content: Content<'a>,
        rate: FrameRate,
        sections: &'a [Section],
        layout: Layout,
    ) -> Edf<'a> {
        Edf { columns, content, rate, sections, layout }
    }

    /// Bytes of a record.
    fn record_bytes(&self) -> usize {
        self.layout.frames as usize * 2 * self.columns.len() + self.layout.note_bytes
    }

    /// The section of a frame.
    fn section(&self, frame: u64) -> Section {
        let next = self.sections.partition_point(|section| section.first <= frame);
        self.sections.get(next.saturating_sub(1)).copied().unwrap_or(Section { first: 0, frames: 0 })
    }

    /// Gives `put` the annotations of every record of a part, with the record's number in the part.
    pub fn notes(&self, part: Section, marks: &[Mark], mut put: impl FnMut(usize, &[u8])) {
        let section = self.section(part.first);
        let start = self.rate.instant_of(section.first);
        let before = part.first - section.first;
        let mut marks = marks.iter().copied().peekable();
        let mut text = Vec::new();
        let last = part.frames.div_ceil(self.layout.frames).saturating_sub(1);
        for record in 0..=last {
            let first = before + record * self.layout.frames;
            let ms = first / self.layout.frames * self.layout.length_ms;
            text.clear();
            text.push(b'+');
            match ms % 1000 {
                0 => push_fixed(&mut text, (ms / 1000) as i64, 0),
                _ => push_fixed(&mut text, (ms / 10) as i64, 2),
            }
            text.extend_from_slice(b"\x14\x14\0");
            let end = self.rate.instant_of(section.first + first + self.layout.frames);
            while let Some(mark) = marks.next_if(|mark| record == last || mark.at < end) {
                self.push(&mut text, start, &mark);
            }
            put(record as usize, &text);
        }
    }

    /// Appends a mark, its time counted from `start`; skips a mark without a frame in the file.
    fn push(&self, text: &mut Vec<u8>, start: Instant, mark: &Mark) {
        let all = self.sections.last().map_or(0, |section| section.first + section.frames);
        if nearest_frame(mark.at, self.rate) >= all {
            return;
        }
        let words = match mark.what {
            MarkKind::Step(item) => self.step(item),
            MarkKind::Beat(code) => format!("beat {}", code.symbol()),
            MarkKind::Breath { air: true } => "breath".to_owned(),
            MarkKind::Breath { air: false } => "effort without air".to_owned(),
            MarkKind::Pace { chamber, captures } => {
                let chamber = if chamber == Chamber::Atrium { "atrium" } else { "ventricle" };
                format!("pacing pulse {chamber}{}", if captures { "" } else { ", no capture" })
            }
            MarkKind::Episode { episode, starts } => {
                format!("{} {}", episode_word(episode), if starts { "starts" } else { "ends" })
            }
            MarkKind::Cuff(phase) => format!("cuff {}", phase_word(phase)),
        };
        text.push(b'+');
        push_instant(text, Instant::ZERO.plus(mark.at.since(start)));
        if let Some(lasts) = mark.lasts {
            text.push(0x15);
            push_span(text, lasts);
        }
        text.push(0x14);
        text.extend_from_slice(words.as_bytes());
        text.extend_from_slice(b"\x14\0");
    }

    fn step(&self, item: usize) -> String {
        let Some(Item::Step(step)) = self.content.script.items().get(item) else {
            return "step".to_owned();
        };
        let rhythm = step.settings.rhythm().id;
        match self.content.labels.get(item).copied().unwrap_or("") {
            "" => format!("step: {rhythm}"),
            label => format!("step {}: {rhythm}", on_one_line(label)),
        }
    }
}

/// Appends a field of the header: ASCII, filled up with spaces.
fn field(bytes: &mut Vec<u8>, width: usize, text: &str) {
    let plain = text.chars().map(|c| if c.is_ascii_graphic() || c == ' ' { c as u8 } else { b'_' });
    bytes.extend(plain.chain(std::iter::repeat(b' ')).take(width));
}

impl Encoder for Edf<'_> {
    fn lanes(&self) -> Vec<String> {
        lanes(self.columns)
    }

    fn grain(&self) -> u64 {
        self.layout.frames
    }

    fn encoded_bytes(&self, section: Section) -> Option<u64> {
        self.layout.records(section).checked_mul(self.record_bytes() as u64)
    }

    fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        let signals = self.columns.len() + 1;
        let text = |number: u64| number.to_string();
        field(bytes, 8, "0");
        // Code, sex, birthday, name of a patient: there is none.
        field(bytes, 80, "X X X Synthetic_signal");
        field(bytes, 80, &format!("Startdate X X X pulsewright_{}", env!("CARGO_PKG_VERSION")));
        // The earliest date that the format has, as nothing was recorded on any day.
        field(bytes, 8, "01.01.85");
        field(bytes, 8, "00.00.00");
        field(bytes, 8, &text(256 * (signals as u64 + 1)));
        field(bytes, 44, "EDF+C");
        field(bytes, 8, &text(self.layout.records(section)));
        let ms = self.layout.length_ms;
        field(bytes, 8, &if ms == 1000 { text(1) } else { format!("0.{:02}", ms / 10) });
        field(bytes, 4, &text(signals as u64));
        let mut each = |width: usize, own: &dyn Fn(&Column) -> String, notes: &str| {
            for column in self.columns {
                field(bytes, width, &own(column));
            }
            field(bytes, width, notes);
        };
        let limit = |column: &Column, high: bool| {
            limits(column).map_or(String::new(), |(min, max)| if high { max } else { min })
        };
        let (lowest, highest) = Bits::B16.limits();
        each(16, &|column| label(column.channel), "EDF Annotations");
        each(80, &|_| String::new(), "");
        each(8, &|column| column.channel.kind().unit().to_owned(), "");
        each(8, &|column| limit(column, false), "-1");
        each(8, &|column| limit(column, true), "1");
        each(8, &|_| lowest.to_string(), &lowest.to_string());
        each(8, &|_| highest.to_string(), &highest.to_string());
        each(80, &|_| String::new(), "");
        each(8, &|_| text(self.layout.frames), &text(self.layout.note_bytes as u64 / 2));
        each(32, &|_| String::new(), "");
    }

    fn encode(&self, index: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        let section = self.section(index);
        let each = self.layout.frames as usize;
        let mut place = (index - section.first) as usize % each.max(1);
        let mut to_come = (section.first + section.frames).saturating_sub(index) as usize;
        let mut codes = [0; BLOCK];
        let mut done = 0;
        while done < block.len() {
            let count = (block.len() - done).min(each - place);
            if place == 0 {
                // The room for annotations stays zero where there is none.
                bytes.room(self.record_bytes()).fill(0);
            }
            let start = bytes.len() - self.record_bytes();
            to_come = to_come.saturating_sub(count);
            let signals = bytes[start..].chunks_mut(each * 2);
            for ((Column { channel, scale }, tally), signal) in self.columns.iter().zip(&mut *tallies).zip(signals) {
                let Some(scale) = scale else { continue };
                let samples = &block.column(*channel)[done..done + count];
                let (codes, counts) = Quantiser::new(scale).quantise(samples, &mut codes);
                tally.add(counts);
                spread::<i16, 2>(codes, 2, &mut signal[place * 2..]);
                if let (0, Some(last)) = (to_come, codes.last()) {
                    // After the last frame the rest of the record repeats the last value.
                    let after = &mut signal[(place + count) * 2..];
                    after.chunks_mut(2).for_each(|sample| sample.copy_from_slice(&(*last as i16).to_le_bytes()));
                }
            }
            place = (place + count) % each;
            done += count;
        }
    }

    fn annotate(&self, part: Section, marks: &[Mark], bytes: &mut [u8]) {
        let size = self.record_bytes();
        self.notes(part, marks, |record, text| {
            let end = (record + 1) * size;
            let space = bytes.get_mut(end - self.layout.note_bytes..end).and_then(|space| space.get_mut(..text.len()));
            if let Some(space) = space {
                space.copy_from_slice(text);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{ChannelRange, Scale};
    use pulsewright_core::frame::ChannelKind;

    #[test]
    fn data_records_are_of_whole_frames_and_the_recommended_size() {
        let layout = |channels, hz| {
            let Layout { length_ms, frames, .. } = Layout::new(channels, FrameRate::hz(hz).unwrap());
            (length_ms, frames)
        };
        assert_eq!(layout(14, 500), (1000, 500));
        assert_eq!(layout(34, 1000), (500, 500));
        assert_eq!(layout(2, 48_000), (200, 9600));
        assert_eq!(layout(34, 48_000), (10, 480));
        assert_eq!(layout(34, 47_999), (1000, 47_999), "no shorter record has whole frames");
    }

    #[test]
    fn room_for_annotations_is_of_whole_samples() {
        let layout = Layout::new(1, FrameRate::lit(500));
        assert_eq!(layout.with_notes(131).note_bytes, 132);
        assert_eq!(layout.with_notes(3).note_bytes, FEWEST_NOTE_BYTES);
        assert_eq!(layout.records(Section { first: 0, frames: 501 }), 2);
    }

    #[test]
    fn limits_fit_their_fields_and_are_those_of_the_step() {
        let limits = |kind, highest, centre| {
            let scale = Scale::new(kind, Bits::B16, ChannelRange { lowest: centre, highest, centre });
            super::limits(&Column { channel: Channel::Respiration, scale: Some(scale) })
        };
        let text = |(min, max): (&str, &str)| Some((min.to_owned(), max.to_owned()));
        assert_eq!(limits(ChannelKind::Potential, 5.0, 0.0), text(("-32.768", "32.767")));
        assert_eq!(limits(ChannelKind::Pressure, 500.0, 0.0), text(("-655.36", "655.34")));
        // The widest impedance that a script can set.
        assert_eq!(limits(ChannelKind::Impedance, 3010.0, 3000.0), text(("2967.232", "3032.767")));
        assert_eq!(limits(ChannelKind::Impedance, 1e6, 10_000.0), text(("-22768", "42767")));
        assert_eq!(limits(ChannelKind::Impedance, 10_001.0, 10_000.0), None, "refused, not cut");
    }
}
