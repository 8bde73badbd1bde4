//! The reading of a deflation: the pressures of the pulses as the falling cuff passes them.
//!
//! ```text
//! cuff  ''--.._   x             x: pulses that stay below the cuff
//!              ''o-.._x         o: the first that reaches it
//!                  o  '-o._o
//! ```
//!
//! A monitor draws the envelope through several pulses, so the band holds the last pulses before the first that reaches the cuff,
//! as many from there on (common practice, no source), and each later one that stays below.

use super::pulse::Pulse;
use crate::math::{max, min};
use crate::time::Instant;
use crate::truth::{Band, CuffReading};

/// So many pulses before the first that reaches the cuff count, and as many from there on. When so many in a row have had the
/// cuff below their diastolic pressure, the deflation has passed it.
const ENOUGH: u8 = 4;

/// A pressure of the pulses that the cuff falls past.
#[derive(Clone, Copy, Debug)]
struct Crossing {
    /// Of the last pulses before one reached the cuff, the newest first; NaN where none came while the cuff was above.
    before: [f32; ENOUGH as usize],
    band: Option<Band>,
    /// Pulses from the first on that reached the cuff.
    since: u8,
    /// Pulses since the last one that the cuff was above.
    below: u8,
}

impl Default for Crossing {
    fn default() -> Crossing {
        Crossing { before: [f32::NAN; ENOUGH as usize], band: None, since: 0, below: 0 }
    }
}

impl Crossing {
    fn take(&mut self, mmhg: f32, cuff_mmhg: f32) {
        let above = cuff_mmhg > mmhg;
        self.below = if above { 0 } else { self.below.saturating_add(1) };
        if above && self.band.is_none() {
            self.before.rotate_right(1);
            self.before[0] = mmhg;
            return;
        }
        // The lowest and the highest pass over NaN.
        let first = || Band {
            low: self.before.iter().copied().fold(mmhg, min),
            high: self.before.iter().copied().fold(mmhg, max),
        };
        let band = self.band.get_or_insert_with(first);
        if above || self.since < ENOUGH {
            band.low = min(band.low, mmhg);
        }
        if self.since < ENOUGH {
            band.high = max(band.high, mmhg);
        }
        self.since = self.since.saturating_add(1);
    }

    /// The band that was passed from above.
    fn passed(&self) -> Option<Band> {
        self.band.filter(|_| !self.before[0].is_nan())
    }
}

/// A deflation past the pressures of its pulses.
#[derive(Clone, Debug, Default)]
pub(super) struct Passage {
    systolic: Crossing,
    mean: Crossing,
    diastolic: Crossing,
    given: bool,
}

impl Passage {
    /// A pulse came at this pressure of the cuff.
    pub(super) fn take(&mut self, pulse: &Pulse, cuff_mmhg: f32) {
        self.systolic.take(pulse.systolic_mmhg, cuff_mmhg);
        self.mean.take(pulse.mean_mmhg, cuff_mmhg);
        self.diastolic.take(pulse.diastolic_mmhg, cuff_mmhg);
    }

    /// Whether the cuff stays below the diastolic pressure.
    pub(super) fn is_over(&self) -> bool {
        self.diastolic.below >= ENOUGH
    }

    /// The reading, once.
    pub(super) fn reading(&mut self, at: Instant) -> Option<CuffReading> {
        if self.given {
            return None;
        }
        let (systolic_mmhg, mean_mmhg) = (self.systolic.passed()?, self.mean.passed()?);
        let diastolic_mmhg = self.diastolic.passed()?;
        self.given = true;
        Some(CuffReading { at, systolic_mmhg, mean_mmhg, diastolic_mmhg })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(systolic_mmhg: f32, diastolic_mmhg: f32) -> Pulse {
        let mean_mmhg = diastolic_mmhg + 0.4 * (systolic_mmhg - diastolic_mmhg);
        Pulse { foot: Instant::ZERO, systolic_mmhg, mean_mmhg, diastolic_mmhg }
    }

    /// A cuff from `from` mmHg down in steps of 3, one a pulse.
    fn deflated(from: f32, pulse: impl Fn(usize) -> Pulse) -> Option<CuffReading> {
        let mut passage = Passage::default();
        for i in 0..60 {
            passage.take(&pulse(i), from - 3.0 * i as f32);
            if passage.is_over() {
                break;
            }
        }
        passage.reading(Instant::ZERO)
    }

    #[test]
    fn equal_pulses_have_one_reading() {
        let reading = deflated(160.0, |_| pulse(120.0, 80.0)).unwrap();
        assert_eq!(reading.systolic_mmhg, Band { low: 120.0, high: 120.0 });
        assert_eq!(reading.mean_mmhg, Band { low: 96.0, high: 96.0 });
        assert_eq!(reading.diastolic_mmhg, Band { low: 80.0, high: 80.0 });
    }

    #[test]
    fn alternating_pulses_have_a_band() {
        let reading = deflated(160.0, |i| pulse(if i % 2 == 0 { 120.0 } else { 100.0 }, 80.0)).unwrap();
        assert_eq!(reading.systolic_mmhg, Band { low: 100.0, high: 120.0 });
        assert_eq!(reading.diastolic_mmhg, Band { low: 80.0, high: 80.0 });
    }

    #[test]
    fn a_cuff_that_starts_below_systolic_reads_nothing() {
        assert_eq!(deflated(115.0, |_| pulse(120.0, 80.0)), None);
    }

    #[test]
    fn pulses_that_stop_above_diastolic_read_nothing() {
        let mut passage = Passage::default();
        for i in 0..20 {
            passage.take(&pulse(120.0, 80.0), 160.0 - 3.0 * i as f32);
        }
        assert_eq!(passage.reading(Instant::ZERO), None);
    }
}
