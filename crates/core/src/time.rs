//! Integer time: instants and spans in ticks of 2^-32 s, and frame rates.
//!
//! A rate such as 70 beats per minute has no exact period in floating point, nor in frames; summed over a day it drifts.
//! Here an instant is an unsigned 64-bit count of 2^-32 s (0.23 ns), good for 136 years, and every period is rounded
//! once to a tick: 24 h of 70 bpm is off by at most 12 µs.
//! Only short differences become `f32`, through [`Span::as_secs`] or the player's 2^-24 s frame clock.

use core::fmt;

/// Ticks in a second: 2^32.
pub const TICKS_PER_SECOND: u64 = 1 << 32;

/// A point in time since the start of the script, in ticks of 2^-32 s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(u64);

/// A length of time in ticks of 2^-32 s, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span(u64);

impl Instant {
    /// The start of the script.
    pub const ZERO: Instant = Instant(0);
    /// Later than anything that happens.
    pub const NEVER: Instant = Instant(u64::MAX);

    /// From a count of 2^-32 s.
    pub const fn from_ticks(ticks: u64) -> Instant {
        Instant(ticks)
    }

    /// The count of 2^-32 s.
    pub const fn ticks(self) -> u64 {
        self.0
    }

    /// This instant plus `span`, held at [`Instant::NEVER`].
    pub const fn plus(self, span: Span) -> Instant {
        Instant(self.0.saturating_add(span.0))
    }

    /// This instant less `span`, held at zero.
    pub const fn minus(self, span: Span) -> Instant {
        Instant(self.0.saturating_sub(span.0))
    }

    /// The span from `earlier` to this instant; zero when `earlier` is later.
    pub const fn since(self, earlier: Instant) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }

    /// This instant shifted by `seconds` of either sign, held at zero.
    pub(crate) fn shifted(self, seconds: f32) -> Instant {
        if seconds < 0.0 { self.minus(Span::from_secs(-seconds)) } else { self.plus(Span::from_secs(seconds)) }
    }

    /// Seconds since the start; for printing, not for arithmetic in the core.
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / TICKS_PER_SECOND as f64
    }

    /// Low 32 bits of the instant in units of 2^-24 s: the player's frame clock, which wraps every 256 s.
    pub(crate) const fn clock(self) -> u32 {
        (self.0 >> 8) as u32
    }
}

/// An instant in two halves, which needs no padding beside `f32`s: for arrays in the player.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PackedInstant([u32; 2]);

impl PackedInstant {
    pub(crate) const fn new(instant: Instant) -> PackedInstant {
        PackedInstant([(instant.0 >> 32) as u32, instant.0 as u32])
    }

    pub(crate) const fn instant(self) -> Instant {
        let [high, low] = self.0;
        Instant((high as u64) << 32 | low as u64)
    }
}

impl Span {
    /// No time.
    pub const ZERO: Span = Span(0);
    /// The longest span.
    pub const MAX: Span = Span(u64::MAX);

    /// From a count of 2^-32 s.
    pub const fn from_ticks(ticks: u64) -> Span {
        Span(ticks)
    }

    /// The count of 2^-32 s.
    pub const fn ticks(self) -> u64 {
        self.0
    }

    /// Whole seconds.
    pub const fn secs(seconds: u32) -> Span {
        Span((seconds as u64) << 32)
    }

    /// Whole milliseconds, rounded to the nearest tick.
    pub const fn millis(milliseconds: u64) -> Span {
        Span(whole_and_part(milliseconds, 1000))
    }

    /// Whole microseconds, rounded to the nearest tick.
    pub const fn micros(microseconds: u64) -> Span {
        Span(whole_and_part(microseconds, 1_000_000))
    }

    /// From seconds as `f32`: exact up to the 24 bits that an `f32` has; negative and NaN give zero.
    pub const fn from_secs(seconds: f32) -> Span {
        // 2^32 is a power of two, so the product is exact; `as` saturates and sends NaN to zero.
        Span((seconds * TICKS_PER_SECOND as f32) as u64)
    }

    /// The period of `per_minute` events a minute, rounded to the nearest tick; `MAX` for zero, negative or NaN.
    ///
    /// Worked in integers from the rate in 2^-16 per minute, so that 70 a minute has the period 60/70 s to half a tick.
    pub fn period(per_minute: f32) -> Span {
        let fixed = (per_minute * 65536.0) as u64;
        if fixed == 0 {
            return Span::MAX;
        }
        // 60 s in ticks, times 2^16: below 2^54.
        let minute = 60 * TICKS_PER_SECOND * 65536;
        Span((minute + fixed / 2) / fixed)
    }

    /// The span as `f32` seconds; exact to 24 bits.
    ///
    /// `ticks / 2^32`, rounded once.
    #[cfg(target_pointer_width = "64")]
    #[inline]
    pub fn as_secs(self) -> f32 {
        self.0 as f32 * (1.0 / TICKS_PER_SECOND as f32)
    }

    /// The span as `f32` seconds; exact to 24 bits.
    ///
    /// The same bits as `ticks as f32 / 2^32`. A microcontroller converts 32 bits in an instruction and 64 in fifty, and a
    /// frame needs some five of these. So the leading 32 bits are converted, the last of them set if any bit follows: enough
    /// for rounding to nearest.
    #[cfg(not(target_pointer_width = "64"))]
    #[inline(never)]
    pub fn as_secs(self) -> f32 {
        let zeros = self.0.leading_zeros();
        if zeros == u64::BITS {
            return 0.0;
        }
        let leading = self.0 << zeros;
        let sticky = u32::from(leading as u32 != 0);
        ((leading >> 32) as u32 | sticky) as f32 * f32::from_bits((127 - zeros) << 23)
    }

    /// Seconds as `f64`; for printing, not for arithmetic in the core.
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / TICKS_PER_SECOND as f64
    }

    /// This span times `factor` (negative and NaN count as zero).
    pub(crate) fn scaled(self, factor: f32) -> Span {
        Span((self.0 as f32 * factor) as u64)
    }

    /// Sum, held at the longest span.
    pub const fn plus(self, other: Span) -> Span {
        Span(self.0.saturating_add(other.0))
    }

    /// Difference, held at zero.
    pub const fn minus(self, other: Span) -> Span {
        Span(self.0.saturating_sub(other.0))
    }

    /// The shorter of two.
    pub(crate) fn min(self, other: Span) -> Span {
        Span(self.0.min(other.0))
    }

    /// The longer of two.
    pub(crate) fn max(self, other: Span) -> Span {
        Span(self.0.max(other.0))
    }
}

/// `count / per_second` seconds in ticks, rounded, without leaving 64 bits; held at the longest span.
const fn whole_and_part(count: u64, per_second: u64) -> u64 {
    let whole = count / per_second;
    if whole > u32::MAX as u64 - 1 {
        return u64::MAX;
    }
    let part = count % per_second;
    (whole << 32) + ((part << 32) + per_second / 2) / per_second
}

/// A whole number of frames a second, 100 to 48 000.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct FrameRate(u32);

/// A frame rate outside 100 to 48 000 Hz.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FrameRateOutOfRange(
    /// The rate asked for, Hz.
    pub u32,
);

impl fmt::Display for FrameRateOutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "frame rate {} Hz is outside {} to {} Hz", self.0, FrameRate::MIN_HZ, FrameRate::MAX_HZ)
    }
}

impl core::error::Error for FrameRateOutOfRange {}

impl FrameRate {
    /// Lowest rate, Hz: below it a QRS complex is no longer drawn.
    pub const MIN_HZ: u32 = 100;
    /// Highest rate, Hz.
    pub const MAX_HZ: u32 = 48_000;

    /// A rate of `hz` frames a second.
    pub const fn hz(hz: u32) -> Result<FrameRate, FrameRateOutOfRange> {
        if hz < Self::MIN_HZ || hz > Self::MAX_HZ {
            return Err(FrameRateOutOfRange(hz));
        }
        Ok(FrameRate(hz))
    }

    /// A rate known when the program is built; a wrong literal does not compile in a constant.
    pub const fn lit(hz: u32) -> FrameRate {
        match Self::hz(hz) {
            Ok(rate) => rate,
            Err(_) => panic!("frame rate out of range"),
        }
    }

    /// Frames a second at which a pulse of this width, ms, holds two frames wherever it falls: below, its height and width
    /// are left to chance, and below half of it the pulse may be missed.
    pub(crate) fn hz_for_pulse(width_ms: f32) -> u32 {
        crate::math::ceil(2000.0 / width_ms) as u32
    }

    /// Time from one frame to the next, rounded down to a tick.
    pub(crate) fn frame(self) -> Span {
        Span(TICKS_PER_SECOND.checked_div(u64::from(self.0)).unwrap_or(0))
    }

    /// Frames a second.
    pub const fn as_hz(self) -> u32 {
        self.0
    }

    /// The instant of frame `index`: `index / rate`, rounded down to a tick.
    pub const fn instant_of(self, index: u64) -> Instant {
        let rate = self.0 as u64;
        let whole = index / rate;
        if whole > u32::MAX as u64 {
            return Instant::NEVER;
        }
        Instant((whole << 32) + ((index % rate) << 32) / rate)
    }

    /// The first frame at or after `instant`.
    pub const fn frame_at_or_after(self, instant: Instant) -> u64 {
        // ceil(ticks * rate / 2^32), whole seconds apart so that 64 bits are enough; `instant_of` rounds down, so a
        // frame whose exact time lies within the tick before `instant` is caught by the second look.
        let seconds = instant.0 >> 32;
        let part = instant.0 & 0xffff_ffff;
        let index = seconds * self.0 as u64 + ((part * self.0 as u64) >> 32);
        if self.instant_of(index).0 >= instant.0 { index } else { index + 1 }
    }
}
