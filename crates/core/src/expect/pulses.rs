//! Rate of arterial pulses, by a monitor that counts every pulse and by one that misses weak pulses.
//!
//! Pulses have the height that they have behind their line.

use super::rate::{AveragingRule, RateMeter};
use super::reading::ReadingBand;
use crate::math::max;
use crate::time::Instant;

/// Smallest pulse that is counted, mmHg (common practice, no source).
pub(super) const SMALLEST_PULSE_MMHG: f32 = 2.0;

/// A pulse is weak when it has less than this share of the highest of the last few (common practice, no source).
const WEAK: f32 = 0.5;

/// The last few.
const COMPARED: usize = 8;

#[derive(Clone, Debug)]
pub(super) struct PulseMeter {
    begin: Instant,
    heights_mmhg: [f32; COMPARED],
    /// Foot and end of the last pulse that is known: one of them is the foot of the pulse that goes on.
    known: Option<[Instant; 2]>,
    all: RateMeter,
    strong: RateMeter,
}

impl PulseMeter {
    pub(super) const fn new() -> PulseMeter {
        PulseMeter {
            begin: Instant::ZERO,
            heights_mmhg: [0.0; COMPARED],
            known: None,
            all: RateMeter::new(AveragingRule::Beats),
            strong: RateMeter::new(AveragingRule::Beats),
        }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, begin: Instant, from: Instant) {
        self.begin = begin;
        self.heights_mmhg = [0.0; COMPARED];
        self.strong.forget();
        self.all.begin(begin, from);
        self.strong.begin(begin, from);
    }

    /// A pulse comes, and its end is known.
    pub(super) fn known(&mut self, foot: Instant, end: Instant) {
        self.known = Some([foot, end]);
    }

    /// A pulse has ended.
    pub(super) fn pulse(&mut self, foot: Instant, height_mmhg: f32) {
        if height_mmhg < SMALLEST_PULSE_MMHG {
            return;
        }
        self.all.beat(foot);
        if foot < self.begin {
            return;
        }
        self.heights_mmhg.rotate_right(1);
        if let Some(newest) = self.heights_mmhg.first_mut() {
            *newest = height_mmhg;
        }
        if height_mmhg >= WEAK * self.heights_mmhg.iter().copied().fold(0.0, max) {
            self.strong.beat(foot);
        }
    }

    /// Band of the step that ends at `end`, and whether weak pulses make it wider. A gap of `silence_s` is shown as no rate; of a
    /// rate that the step `moves` the ends count too.
    pub(super) fn band(&self, end: Instant, silence_s: f32, moves: bool) -> Option<(ReadingBand, bool)> {
        // The end of the last pulse is that of the script when none follows.
        let running = self.known.into_iter().flatten().filter(|foot| *foot < end).max();
        let all = self.all.band(end, running, silence_s)?;
        let all = if moves { self.all.moving(all) } else { all };
        // Strong pulses that are too far apart have no rate of their own.
        let strong = self.strong.band(end, running, silence_s).filter(|strong| strong.low > 0.0).unwrap_or(all);
        Some((all.with(strong.low).with(strong.high), self.strong.beats() < self.all.beats()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A monitor that misses the weak pulses of the end sees none for 5 s: it has no rate of its own.
    #[test]
    fn a_gap_before_the_pulse_that_goes_on_counts() {
        let at = |secs| Instant::ZERO.plus(crate::time::Span::secs(secs));
        let mut meter = PulseMeter::new();
        meter.begin(at(0), at(4));
        let weak_from = 10;
        for second in 0..15 {
            meter.known(at(second), at(second + 1));
            meter.pulse(at(second), if second < weak_from { 50.0 } else { 20.0 });
        }
        meter.known(at(15), at(16));
        let (band, weak) = meter.band(at(16), 4.0, false).unwrap();
        assert!(weak && (band.low - 60.0).abs() < 0.1 && (band.high - 60.0).abs() < 0.1, "{band:?}");
    }
}
