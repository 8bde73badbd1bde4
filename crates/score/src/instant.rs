//! Points in time as whole ticks.
//!
//! The match window is inclusive, so a beat exactly 150 ms away must match at 250, 360 or 1000 frames
//! per second. A tick of 1/705 600 000 s divides the frame of every customary rate (125, 128, 250, 360,
//! 500, 1000, 44 100, 48 000 Hz), so those comparisons are exact; other rates round to the nearest tick.

use std::ops::{Add, Sub};

/// Ticks in one second.
pub const TICKS_PER_S: i64 = 705_600_000;

/// Largest time accepted, in seconds either way: about 31 years.
pub const MAX_S: f64 = 1e9;

/// Slack of a window for times written with six decimals: two roundings of half a microsecond.
///
/// Smaller than one frame of every rate up to 48 kHz, so it never admits a further frame.
pub const DECIMAL_SLACK: RecordSpan = RecordSpan(TICKS_PER_S / 1_000_000);

/// A point in time, counted from the start of the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordInstant(i64);

/// A difference of two instants.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordSpan(i64);

impl RecordInstant {
    /// The start of the record.
    pub const START: RecordInstant = RecordInstant(0);
    /// The end of accepted time, 31 years.
    pub const END: RecordInstant = RecordInstant(1_000_000_000 * TICKS_PER_S);

    /// Nearest tick to a time in seconds; `None` for NaN, infinities and more than [`MAX_S`].
    pub fn from_s(time_s: f64) -> Option<RecordInstant> {
        (time_s.abs() <= MAX_S).then(|| RecordInstant((time_s * TICKS_PER_S as f64).round() as i64))
    }

    /// Nearest tick to a frame index at a rate in Hz; `None` outside the accepted time or rate.
    pub fn from_frame(frame: i64, rate_hz: f64) -> Option<RecordInstant> {
        if !(rate_hz > 0.0 && rate_hz <= 1e6) {
            return None;
        }
        if rate_hz.fract() == 0.0 {
            let rate = rate_hz as i128;
            let ticks = (i128::from(frame) * i128::from(TICKS_PER_S) * 2 + rate).div_euclid(2 * rate);
            let ticks = i64::try_from(ticks).ok()?;
            return (ticks.unsigned_abs() <= RecordInstant::END.0.unsigned_abs()).then_some(RecordInstant(ticks));
        }
        RecordInstant::from_s(frame as f64 / rate_hz)
    }

    /// Nearest tick to `count` parts of a second, `per_s` of which make one; `None` beyond the accepted time, and for none.
    pub fn from_fraction(count: u64, per_s: u64) -> Option<RecordInstant> {
        let whole =
            (u128::from(count) * TICKS_PER_S as u128 * 2 + u128::from(per_s)).checked_div(2 * u128::from(per_s))?;
        i64::try_from(whole).ok().map(RecordInstant).filter(|at| *at <= RecordInstant::END)
    }

    /// The time in seconds.
    pub fn s(self) -> f64 {
        self.0 as f64 / TICKS_PER_S as f64
    }

    /// Distance to another instant, never negative.
    pub fn distance(self, other: RecordInstant) -> RecordSpan {
        RecordSpan((self.0 - other.0).abs())
    }
}

impl RecordSpan {
    /// Nearest span to a length in seconds; `None` for NaN, infinities and more than [`MAX_S`].
    pub fn from_s(length_s: f64) -> Option<RecordSpan> {
        RecordInstant::from_s(length_s).map(|at| RecordSpan(at.0))
    }

    /// The length in seconds.
    pub fn s(self) -> f64 {
        self.0 as f64 / TICKS_PER_S as f64
    }

    /// The length in milliseconds.
    pub fn ms(self) -> f64 {
        self.s() * 1e3
    }
}

impl Sub for RecordInstant {
    type Output = RecordSpan;
    fn sub(self, earlier: RecordInstant) -> RecordSpan {
        RecordSpan(self.0 - earlier.0)
    }
}

impl Add<RecordSpan> for RecordInstant {
    type Output = RecordInstant;
    fn add(self, span: RecordSpan) -> RecordInstant {
        RecordInstant(self.0.saturating_add(span.0))
    }
}

impl Sub<RecordSpan> for RecordInstant {
    type Output = RecordInstant;
    fn sub(self, span: RecordSpan) -> RecordInstant {
        RecordInstant(self.0.saturating_sub(span.0))
    }
}

impl Add for RecordSpan {
    type Output = RecordSpan;
    fn add(self, other: RecordSpan) -> RecordSpan {
        RecordSpan(self.0.saturating_add(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_of_customary_rates_are_whole_ticks() {
        for rate in [100, 125, 128, 200, 250, 256, 360, 500, 1000, 2000, 4000, 44_100, 48_000] {
            assert_eq!(TICKS_PER_S % rate, 0, "{rate} Hz");
        }
    }

    #[test]
    fn absurd_times_are_refused() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e40, -1e10] {
            assert_eq!(RecordInstant::from_s(bad), None, "{bad}");
        }
        assert_eq!(RecordInstant::from_frame(i64::MAX, 1.0), None);
        assert_eq!(RecordInstant::from_frame(1, 0.0), None);
        assert_eq!(RecordInstant::from_frame(1, f64::NAN), None);
        assert_eq!(RecordInstant::from_frame(36, 360.0), RecordInstant::from_s(0.1));
        assert_eq!(RecordInstant::from_frame(-36, 360.0), RecordInstant::from_s(-0.1));
        assert_eq!(RecordInstant::from_fraction(u64::MAX, 1), None);
        assert_eq!(RecordInstant::from_fraction(1, 0), None);
    }

    #[test]
    fn fractions_of_a_second_are_within_half_a_tick() {
        assert_eq!(RecordInstant::from_fraction(3, 4), RecordInstant::from_s(0.75));
        // 2^-32 s is 0.164 ticks, and 1.25 s with 4 parts more 0.66 beyond a whole one.
        assert_eq!(RecordInstant::from_fraction(1, 1 << 32), Some(RecordInstant(0)));
        let parts = (5_u64 << 30) + 4;
        assert_eq!(RecordInstant::from_fraction(parts, 1 << 32), Some(RecordInstant(TICKS_PER_S / 4 * 5 + 1)));
    }
}
