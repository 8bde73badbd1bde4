//! Rows of the table of beats.

use crate::decimal::{push_instant, push_span};
use pulsewright_core::time::{FrameRate, Instant, TICKS_PER_SECOND};
use pulsewright_core::truth::Beat;
use std::io::Write;

/// Words the beats of one signal, in order.
pub struct BeatRows {
    rate: FrameRate,
    frames: u64,
    last_peak: Option<Instant>,
}

impl BeatRows {
    /// The columns.
    pub const COLUMNS: &str = "time_s,frame,code,rr_s,p_onset_s,qrs_onset_s,qrs_end_s,t_end_s";

    /// For a signal of `frames` frames.
    pub fn new(rate: FrameRate, frames: u64) -> BeatRows {
        BeatRows { rate, frames, last_peak: None }
    }

    /// Appends the row of a beat, without a line end. False, with nothing appended, for a beat whose peak is not in the signal.
    pub fn put(&mut self, beat: &Beat, row: &mut Vec<u8>) -> bool {
        let rr = self.last_peak.replace(beat.peak).map(|last| beat.peak.since(last));
        let frame = nearest_frame(beat.peak, self.rate);
        if frame >= self.frames {
            return false;
        }
        push_instant(row, beat.peak);
        // Writing to a Vec cannot fail.
        let _ = write!(row, ",{frame},{},", beat.code.symbol());
        if let Some(rr) = rr {
            push_span(row, rr);
        }
        row.push(b',');
        if let Some(onset) = beat.p_onset {
            push_instant(row, onset);
        }
        for instant in [beat.onset, beat.end, beat.t_end] {
            row.push(b',');
            if !beat.is_recorded {
                push_instant(row, instant);
            }
        }
        true
    }
}

/// The frame nearest to an instant.
pub fn nearest_frame(instant: Instant, rate: FrameRate) -> u64 {
    let scaled = u128::from(instant.ticks()) * u128::from(rate.as_hz());
    ((scaled + u128::from(TICKS_PER_SECOND / 2)) >> 32) as u64
}
