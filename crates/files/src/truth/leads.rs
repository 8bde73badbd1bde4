//! Each beat by itself in the leads asked for, as a table `leads`.
//!
//! A row for each beat and lead: `time_s` (QRS peak, as in `beats`), `lead`, `r_time_s` (when the lead is furthest from its value at
//! QRS onset, up to the QRS end), `r_mv` (that far, with its sign), `st_mv` (60 ms after the J point against QRS onset).

use super::nearest_frame;
use crate::decimal::{push_instant, push_rounded};
use pulsewright_core::frame::Channel;
use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::{Event, LeadBeat, Observer};
use std::io::{self, Write};

/// Follows the signal's name, in place of its extension.
pub const SUFFIX: &str = "leads.csv";

/// Writes rows as beats happen, those of beats whose peak is in the signal.
///
/// An error of the file is kept until [`LeadTruth::finish`]; nothing is written after it.
pub struct LeadTruth<W: Write> {
    rate: FrameRate,
    frames: u64,
    file: W,
    row: Vec<u8>,
    trouble: io::Result<()>,
}

impl<W: Write> LeadTruth<W> {
    /// For a render of `frames` frames.
    pub fn new(rate: FrameRate, frames: u64, file: W) -> LeadTruth<W> {
        let row = b"time_s,lead,r_time_s,r_mv,st_mv".to_vec();
        let mut truth = LeadTruth { rate, frames, file, row, trouble: Ok(()) };
        truth.write();
        truth
    }

    /// Gives the file back.
    ///
    /// # Errors
    /// The first that writing met with.
    pub fn finish(self) -> io::Result<W> {
        self.trouble.map(|()| self.file)
    }

    fn write(&mut self) {
        self.row.push(b'\n');
        if self.trouble.is_ok() {
            self.trouble = self.file.write_all(&self.row);
        }
        self.row.clear();
    }

    fn beat(&mut self, beat: &LeadBeat) {
        if nearest_frame(beat.peak, self.rate) >= self.frames {
            return;
        }
        push_instant(&mut self.row, beat.peak);
        write!(self.row, ",{},", Channel::Lead(beat.lead).id()).ok();
        push_instant(&mut self.row, beat.r_at);
        for mv in [beat.r_mv, beat.st_mv] {
            self.row.push(b',');
            push_rounded(&mut self.row, mv, 4);
        }
        self.write();
    }
}

impl<W: Write> Observer for LeadTruth<W> {
    fn observe(&mut self, event: Event) {
        if let Event::Lead(beat) = event {
            self.beat(&beat);
        }
    }
}
