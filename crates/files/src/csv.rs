//! Comma-separated values: comment lines, a line of names, then time and values of each frame, lines ended by LF.
//!
//! ```text
//! # pulsewright 0.1.0
//! # 500 frames a second, 5000 frames, seed 1
//! time_s,II_mV,arterial_mmHg
//! 0.000,-0.012,81.33
//! ```
//!
//! Values pass through the same quantiser as in an integer WAV file of the same width, so that both say the same number.

use crate::buffer::Buffer;
use crate::format::{Column, Encoder, Heading, Section, lanes};
use crate::quantiser::{BLOCK, Quantiser, Tally};
use crate::row::{Cell, FrameTimes, SLACK};
use pulsewright_core::block::Block;

/// Writes CSV files.
#[derive(Debug)]
pub struct Csv<'a> {
    columns: &'a [Column],
    heading: Heading<'a>,
    times: FrameTimes,
    cells: Vec<Cell>,
    /// Bytes of the longest row.
    longest_row: usize,
}

impl<'a> Csv<'a> {
    /// For these channels, each with a scale.
    pub fn new(columns: &'a [Column], heading: Heading<'a>) -> Csv<'a> {
        let mut cells: Vec<Cell> = Vec::with_capacity(columns.len());
        for scale in columns.iter().filter_map(|column| column.scale) {
            let same = cells.iter().find(|cell| *cell.scale() == scale).cloned();
            cells.push(same.unwrap_or_else(|| Cell::new(scale)));
        }
        let longest_row = FrameTimes::LONGEST + cells.iter().map(Cell::longest).sum::<usize>() + 1;
        Csv { columns, heading, times: FrameTimes::new(heading.rate), cells, longest_row }
    }

    /// Appends `count` rows, the first of frame `index`; `table` holds each column's codes.
    fn rows(&self, index: u64, count: usize, table: &[[i32; BLOCK]], bytes: &mut Buffer) {
        let start = bytes.len();
        let row_bytes = bytes.room(count * self.longest_row + SLACK);
        let mut at = 0;
        let mut clock = self.times.from(index);
        for row in 0..count {
            at = clock.put(row_bytes, at);
            for (cell, codes) in self.cells.iter().zip(table) {
                at = cell.put(row_bytes, at, codes[row]);
            }
            row_bytes[at] = b'\n';
            at += 1;
        }
        bytes.truncate(start + at);
    }
}

/// `text` on one line: line ends become spaces.
pub fn on_one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() || c == '\u{2028}' || c == '\u{2029}' { ' ' } else { c }).collect()
}

impl Encoder for Csv<'_> {
    fn lanes(&self) -> Vec<String> {
        lanes(self.columns)
    }

    fn head(&self, section: Section, bytes: &mut Vec<u8>) {
        let Heading { title, seed, rate } = self.heading;
        let mut text = format!("# pulsewright {}\n", env!("CARGO_PKG_VERSION"));
        if !title.is_empty() {
            text += &format!("# {}\n", on_one_line(title));
        }
        text += &format!("# {} frames a second, {} frames, seed {seed}\n", rate.as_hz(), section.frames);
        text += "time_s";
        for column in self.columns {
            text += &format!(",{}_{}", column.channel.id(), column.channel.kind().unit());
        }
        bytes.extend_from_slice(text.as_bytes());
        bytes.push(b'\n');
    }

    fn encode(&self, index: u64, block: &Block, bytes: &mut Buffer, tallies: &mut [Tally]) {
        let mut table = vec![[0; BLOCK]; self.cells.len()];
        for ((Column { channel, scale }, codes), tally) in self.columns.iter().zip(&mut table).zip(tallies) {
            if let Some(scale) = scale {
                let samples = block.column(*channel);
                tally.add(Quantiser::new(scale).quantise(samples, codes).1);
            }
        }
        self.rows(index, block.len(), &table, bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{Bits, ChannelRange, Scale};
    use pulsewright_core::frame::{Channel, Frame, Lead, PressureSite};
    use pulsewright_core::time::FrameRate;

    fn columns(bits: Bits) -> Vec<Column> {
        let scale = |channel: Channel, centre| {
            let reach = ChannelRange { lowest: centre, highest: centre + 5.0, centre };
            Column { channel, scale: Some(Scale::new(channel.kind(), bits, reach)) }
        };
        vec![
            scale(Channel::Lead(Lead::II), 0.0),
            scale(Channel::Respiration, 1000.0),
            scale(Channel::Pressure(PressureSite::Arterial), 0.0),
        ]
    }

    #[test]
    fn a_file_as_text() {
        let columns = columns(Bits::B16);
        let heading = Heading { title: "Two\nlines", seed: 7, rate: FrameRate::lit(500) };
        let csv = Csv::new(&columns, heading);
        let frames = [
            Frame { respiration_ohm: 1000.0, ..Frame::default() },
            Frame {
                leads_mv: [-1.0004; 8],
                respiration_ohm: 1001.2345,
                pressure_mmhg: [119.996; PressureSite::COUNT],
                ..Frame::default()
            },
        ];
        let (mut head, mut bytes) = (Vec::new(), Buffer::default());
        csv.head(Section { first: 0, frames: 2 }, &mut head);
        csv.encode(0, &Block::of_frames(&frames), &mut bytes, &mut [Tally::default(); 3]);
        let expected = format!(
            "# pulsewright {}\n# Two lines\n# 500 frames a second, 2 frames, seed 7\n\
             time_s,II_mV,respiration_ohm,arterial_mmHg\n\
             0.000,0.000,1000.000,0.00\n0.002,-1.000,1001.234,120.00\n",
            env!("CARGO_PKG_VERSION")
        );
        assert_eq!(String::from_utf8([&head, &*bytes].concat()).unwrap(), expected);
    }

    #[test]
    fn parts_join_to_the_whole() {
        let columns = columns(Bits::B24);
        let csv = Csv::new(&columns, Heading { title: "", seed: 0, rate: FrameRate::lit(360) });
        let frames: Vec<Frame> =
            (0..1000_i16).map(|i| Frame { leads_mv: [f32::from(i) * 0.01; 8], ..Frame::default() }).collect();
        let encode = |bounds: &[usize]| {
            let mut bytes = Buffer::default();
            for pair in bounds.windows(2) {
                let block = Block::of_frames(&frames[pair[0]..pair[1]]);
                csv.encode(pair[0] as u64, &block, &mut bytes, &mut [Tally::default(); 3]);
            }
            bytes.to_vec()
        };
        assert_eq!(encode(&[0, 256, 512, 768, 1000]), encode(&[0, 1, 256, 257, 500, 751, 999, 1000]));
    }
}
