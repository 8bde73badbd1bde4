//! The reading of a cuff, from the oscillations of a deflation as an oscillometric monitor sees them.
//!
//! ```text
//! height        . | .                       envelope of the heights, by several sensible methods:
//!          .  | | | | .  .                  pressure at its top                          mean
//!        | |  | | | | |  | |  .             where it passes the stated shares of the top systolic, diastolic
//!  cuff 180 ..................... 40 mmHg
//! ```
//!
//! Equal pulses are read alike by each method (Geddes 1982, with the shares of the arm). Where pulses differ, makers' methods
//! read different values, and none of them is wrong: the band holds those of a bell fitted to all heights, of the highest of
//! three pulses, of means over three, five and seven, and of a weighted mean, where they first and last pass a share. Which weak
//! oscillations a monitor sees moves them too: each method reads three times (common practice, no source). The expected value is the
//! mean of all these readings.

use super::bell::OscillationBell;
use super::causes;
use super::envelope::{CrossingSide, Envelope, POINTS, Smoothing};
use super::reading::{BandGatherer, Cause, Causes, Reading, ReadingBand};
use crate::math::max;
use crate::time::Instant;
use crate::timeline::Placed;
use crate::truth::{CuffEvent, CuffPhase, CuffPulse, Event};

/// A bell has four values to be fitted.
const FEWEST: usize = 5;

/// A lower oscillation than this share of the largest is not visible beside it, by one monitor or another (common practice, no
/// source).
const VISIBLE: [f32; 3] = [0.06, 0.04, 0.09];

/// When so many pulses in a row have had the cuff below their diastolic pressure, a monitor ends its measurement (common practice,
/// no source). A strong pulse after a long pause may still come then, and is in no reading.
const PASSED: u8 = 20;

/// Pulses are read as equal when no method differs by more, mmHg.
const EQUAL_MMHG: f32 = 1.0;

/// How an envelope is smoothed, and where it is read.
const METHODS: [(Smoothing, CrossingSide); 8] = [
    (Smoothing::Highest(3), CrossingSide::Outer),
    (Smoothing::Mean(3), CrossingSide::Outer),
    (Smoothing::Mean(5), CrossingSide::Outer),
    (Smoothing::Mean(5), CrossingSide::Inner),
    (Smoothing::Mean(7), CrossingSide::Outer),
    (Smoothing::Mean(7), CrossingSide::Inner),
    (Smoothing::Bell, CrossingSide::Outer),
    (Smoothing::Bell, CrossingSide::Inner),
];

/// Reading of a deflation of the cuff.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CuffReading {
    /// Time of the result: twenty pulses in a row have had a cuff below their diastolic pressure, or the deflation ended.
    pub at: Instant,
    /// Begin of the deflation.
    pub begin: Instant,
    /// Systolic pressure, mmHg.
    pub systolic_mmhg: ReadingBand,
    /// Mean pressure, mmHg.
    pub mean_mmhg: ReadingBand,
    /// Diastolic pressure, mmHg.
    pub diastolic_mmhg: ReadingBand,
}

/// Reads the deflations of a cuff from the events of a player.
#[derive(Clone, Debug)]
pub struct CuffMeter {
    /// Cuff pressure, mmHg, falling, and height, mmHg.
    points: [[f32; 2]; POINTS],
    count: usize,
    /// Pulses in the last point, and the cuff pressure of the first of them, mmHg.
    pulses: f32,
    from_mmhg: f32,
    near_mmhg: f32,
    shares: [f32; 2],
    /// Whether a pulse had the cuff above its systolic pressure, and pulses since the last with the cuff above its diastolic.
    above: bool,
    below: u8,
    begin: Instant,
    deflates: bool,
}

impl Default for CuffMeter {
    fn default() -> CuffMeter {
        CuffMeter::new()
    }
}

impl CuffMeter {
    /// Before any deflation.
    pub const fn new() -> CuffMeter {
        CuffMeter {
            points: [[0.0; 2]; POINTS],
            count: 0,
            pulses: 0.0,
            from_mmhg: 0.0,
            near_mmhg: 0.0,
            shares: [0.5, 0.8],
            above: false,
            below: 0,
            begin: Instant::ZERO,
            deflates: false,
        }
    }

    /// Takes an event; returns the reading of a deflation that is known with it, once.
    ///
    /// `None` of a deflation that starts below systolic pressure, whose pulses stop above diastolic pressure, or are too few.
    pub fn take(&mut self, event: &Event) -> Option<CuffReading> {
        match event {
            Event::Cuff(CuffEvent { at, phase, cuff_mmhg }) => {
                let reading = self.finish(*at);
                if *phase == CuffPhase::Deflating {
                    let near_mmhg = cuff_mmhg * (1.0 / POINTS as f32);
                    *self = CuffMeter { near_mmhg, begin: *at, deflates: true, ..CuffMeter::new() };
                }
                reading
            }
            Event::CuffPulse(pulse) if self.deflates => {
                self.pulse(pulse);
                if self.below >= PASSED { self.finish(pulse.foot) } else { None }
            }
            _ => None,
        }
    }

    /// The reading of a deflation that ends at `at`, if it gave none before.
    pub fn finish(&mut self, at: Instant) -> Option<CuffReading> {
        if !core::mem::take(&mut self.deflates) || !self.above || self.below == 0 {
            return None;
        }
        let mut found = Found::NONE;
        for share in VISIBLE {
            let (points, count) = self.visible_points(share);
            // A pulse is measured to the foot of the next visible one, which the last does not have.
            if let Some(points) = points.get(..count.saturating_sub(1)).filter(|points| points.len() >= FEWEST) {
                found.read(points, self.shares);
            }
        }
        let [systolic_mmhg, mean_mmhg, diastolic_mmhg] = found.bands()?;
        Some(CuffReading { at, begin: self.begin, systolic_mmhg, mean_mmhg, diastolic_mmhg })
    }

    /// The points without those of oscillations below a share of the largest, and their count.
    fn visible_points(&self, share: f32) -> ([[f32; 2]; POINTS], usize) {
        let points = self.points.iter().take(self.count);
        let lowest = share * points.clone().map(|point| point[1]).fold(0.0, max);
        let (mut visible, mut count) = ([[0.0; 2]; POINTS], 0);
        for (place, point) in visible.iter_mut().zip(points.filter(|point| point[1] >= lowest)) {
            *place = *point;
            count += 1;
        }
        (visible, count)
    }

    fn pulse(&mut self, pulse: &CuffPulse) {
        self.shares = [pulse.systolic_share, pulse.diastolic_share];
        self.above |= pulse.cuff_mmhg > pulse.systolic_mmhg;
        self.below = if pulse.cuff_mmhg < pulse.diastolic_mmhg { self.below.saturating_add(1) } else { 0 };
        let last = self.count.checked_sub(1).and_then(|last| self.points.get_mut(last));
        if let Some([cuff_mmhg, height_mmhg]) = last
            && self.from_mmhg - pulse.cuff_mmhg < self.near_mmhg
        {
            self.pulses += 1.0;
            *cuff_mmhg += (pulse.cuff_mmhg - *cuff_mmhg) / self.pulses;
            *height_mmhg += (pulse.oscillation_mmhg - *height_mmhg) / self.pulses;
        } else if let Some(next) = self.points.get_mut(self.count) {
            *next = [pulse.cuff_mmhg, pulse.oscillation_mmhg];
            (self.count, self.from_mmhg, self.pulses) = (self.count + 1, pulse.cuff_mmhg, 1.0);
        }
    }
}

/// Systolic, mean and diastolic pressure as the methods read them.
struct Found {
    bands: [BandGatherer; 3],
    /// Of the first bell, also where it reaches beyond the deflation.
    fitted: Option<[f32; 3]>,
}

impl Found {
    const NONE: Found = Found { bands: [BandGatherer::NONE; 3], fitted: None };

    /// Reads an envelope of cuff pressures, mmHg, falling, and heights, mmHg, by each method.
    fn read(&mut self, points: &[[f32; 2]], shares: [f32; 2]) {
        let Some(bell) = OscillationBell::fit(points, shares) else { return };
        let fitted = [bell.systolic_mmhg, bell.mean_mmhg, bell.diastolic_mmhg];
        self.fitted = self.fitted.or(Some(fitted));
        let end = |point: Option<&[f32; 2]>| point.map_or(0.0, |point| point[0]);
        let passed = end(points.last())..=end(points.first());
        self.take(fitted.map(|mmhg| if passed.contains(&mmhg) { mmhg } else { f32::NAN }));
        for (smoothing, side) in METHODS {
            let heights = Envelope::over(smoothing, points.iter().map(|point| point[1]));
            let equal = Envelope::over(smoothing, points.iter().map(|point| bell.height(point[0])));
            let (mut read, of_equal) = (heights.read(points, shares, side), equal.read(points, shares, side));
            for ((read, of_equal), fitted) in read.iter_mut().zip(of_equal).zip(fitted) {
                // The method's own error on equal pulses, those of the bell, is taken off. A bell wider than the deflation has
                // none that is known.
                *read -= if of_equal.is_nan() { 0.0 } else { of_equal - fitted };
            }
            self.take(read);
        }
    }

    /// Takes the three readings of a method; NaN for none.
    fn take(&mut self, read: [f32; 3]) {
        for (band, mmhg) in self.bands.iter_mut().zip(read).filter(|(_, mmhg)| !mmhg.is_nan()) {
            band.take(mmhg, 1.0);
        }
    }

    /// The band of each pressure; that of the bell alone where no method found one. `None` without oscillations.
    fn bands(&self) -> Option<[ReadingBand; 3]> {
        let [systolic, mean, diastolic] = self.fitted?;
        let [of_systolic, of_mean, of_diastolic] = self.bands.each_ref().map(BandGatherer::band);
        let or = |band: Option<ReadingBand>, fitted: f32| band.unwrap_or(ReadingBand::steady(fitted));
        Some([or(of_systolic, systolic), or(of_mean, mean), or(of_diastolic, diastolic)])
    }
}

/// Systolic, diastolic and mean pressure that a cuff reads in a step.
pub(super) fn readings(read: Option<&CuffReading>, placed: &Placed<'_>, of_rate: Causes) -> [Reading; 3] {
    let Some(read) = read else { return [Reading::none(Cause::NoDeflation); 3] };
    let bands = [read.systolic_mmhg, read.diastolic_mmhg, read.mean_mmhg];
    let differs = bands.iter().any(|band| band.width() > EQUAL_MMHG);
    let causes = causes::of_cuff(&placed.step, of_rate, read.begin < placed.start && differs, differs);
    bands.map(|band| Reading { band: Some(band), causes })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cuff from `from` mmHg down in steps of 2, one a pulse, of these systolic and diastolic pressures.
    fn deflated(from: f32, until: usize, pulse: impl Fn(usize) -> [f32; 2]) -> Option<CuffReading> {
        deflated_over((0..until).map(|i| from - 2.0 * i as f32), pulse)
    }

    /// A cuff at these pressures, mmHg, one a pulse.
    fn deflated_over(
        cuff: impl Iterator<Item = f32> + Clone,
        pulse: impl Fn(usize) -> [f32; 2],
    ) -> Option<CuffReading> {
        let mut meter = CuffMeter::new();
        let from = cuff.clone().fold(0.0, max);
        let phase = |phase| Event::Cuff(CuffEvent { at: Instant::ZERO, phase, cuff_mmhg: from });
        assert_eq!(meter.take(&phase(CuffPhase::Deflating)), None);
        let pulses = cuff.enumerate().map(|(i, cuff_mmhg)| {
            let [systolic_mmhg, diastolic_mmhg] = pulse(i);
            let mean_mmhg = diastolic_mmhg + 0.4 * (systolic_mmhg - diastolic_mmhg);
            let above = cuff_mmhg - mean_mmhg;
            let (width, share) =
                if above > 0.0 { (systolic_mmhg - mean_mmhg, 0.5) } else { (mean_mmhg - diastolic_mmhg, 0.8) };
            let x = above / width;
            let oscillation_mmhg = 0.06 * (systolic_mmhg - diastolic_mmhg) / (1.0 + (1.0 / share - 1.0) * x * x);
            let (foot, systolic_share, diastolic_share) = (Instant::ZERO, 0.5, 0.8);
            CuffPulse {
                foot,
                cuff_mmhg,
                oscillation_mmhg,
                systolic_mmhg,
                diastolic_mmhg,
                systolic_share,
                diastolic_share,
            }
        });
        let known = pulses.fold(None, |known, pulse| known.or(meter.take(&Event::CuffPulse(pulse))));
        known.or(meter.take(&phase(CuffPhase::Vented)))
    }

    #[test]
    fn equal_pulses_have_one_reading() {
        let reading = deflated(160.0, 60, |_| [120.0, 80.0]).unwrap();
        let is = |band: ReadingBand, mmhg: f32| (band.low - mmhg).abs() < 0.05 && (band.high - mmhg).abs() < 0.05;
        assert!(is(reading.systolic_mmhg, 120.0), "{reading:?}");
        assert!(is(reading.mean_mmhg, 96.0), "{reading:?}");
        assert!(is(reading.diastolic_mmhg, 80.0), "{reading:?}");
    }

    #[test]
    fn alternating_pulses_have_a_band() {
        let reading = deflated(160.0, 60, |i| [if i % 2 == 0 { 120.0 } else { 100.0 }, 80.0]).unwrap();
        let ReadingBand { low, high, .. } = reading.systolic_mmhg;
        assert!(low > 98.0 && high < 130.0 && high - low > 1.0, "{reading:?}");
    }

    #[test]
    fn six_pulses_are_needed() {
        let read = |cuff: &[f32]| deflated_over(cuff.iter().copied(), |_| [120.0, 80.0]).is_some();
        assert!(read(&[150.0, 130.0, 110.0, 95.0, 75.0, 55.0]));
        assert!(!read(&[150.0, 130.0, 95.0, 75.0, 55.0]));
    }

    #[test]
    fn a_cuff_that_starts_below_systolic_reads_nothing() {
        assert_eq!(deflated(115.0, 50, |_| [120.0, 80.0]), None);
    }

    #[test]
    fn pulses_that_stop_above_diastolic_read_nothing() {
        assert_eq!(deflated(160.0, 30, |_| [120.0, 80.0]), None);
    }
}
