//! The reading of a deflation: the pressures of the pulses as the falling cuff passes them.
//!
//! ```text
//! cuff  ''--.._   x             x: pulses that stay below the cuff
//!              ''o-.._x         o: the first that reaches it, "high"; the last x after it, "low"
//!                  o  '-o._o
//! ```

use super::pulse::Pulse;
use crate::math::min;
use crate::time::Instant;
use crate::truth::{Band, CuffReading};

/// Pulses in a row with the cuff below their diastolic pressure, after which the deflation has passed it.
const ENOUGH: u8 = 4;

/// A pressure of the pulses that the cuff falls past.
#[derive(Clone, Copy, Debug, Default)]
struct Crossing {
    /// A pulse came while the cuff was above.
    began: bool,
    /// Pressure of the first pulse that reached the cuff, and the least of later ones still below it.
    band: Option<Band>,
    /// Pulses since the last one that the cuff was above.
    below: u8,
}

impl Crossing {
    fn take(&mut self, mmhg: f32, cuff_mmhg: f32) {
        if cuff_mmhg > mmhg {
            self.began = true;
            self.below = 0;
            if let Some(band) = &mut self.band {
                band.low = min(band.low, mmhg);
            }
            return;
        }
        self.below = self.below.saturating_add(1);
        self.band = self.band.or(Some(Band { low: mmhg, high: mmhg }));
    }

    /// The band that was passed from above.
    fn passed(&self) -> Option<Band> {
        self.band.filter(|_| self.began)
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
