//! Frequencies whose phase at any instant is an integer, so that they neither drift nor depend on where one starts.

use crate::time::{Instant, Span};

/// A frequency: a mantissa times a power of two, in Hz, exactly the `f32` it was made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frequency {
    mantissa: u32,
    /// Places that the mantissa is shifted down, at most 32.
    down: u32,
}

impl Frequency {
    /// From 2^-9 to 2^24 Hz exactly `hz`; below, the nearest below in 2^-32 Hz; zero for NaN, negative numbers and beyond.
    pub(crate) const fn hz(hz: f32) -> Frequency {
        if !(hz > 0.0 && hz < 16_777_216.0) {
            return Frequency { mantissa: 0, down: 0 };
        }
        let bits = hz.to_bits();
        let exponent = bits >> 23;
        // Of a subnormal nothing is left.
        let mantissa = bits & 0x007f_ffff | 0x0080_0000;
        // 2^23 has the exponent 150.
        let down = 150_u32.saturating_sub(exponent);
        if down <= 32 {
            return Frequency { mantissa, down };
        }
        Frequency { mantissa: if down < 56 { mantissa >> (down - 32) } else { 0 }, down: 32 }
    }

    /// Mantissa and exponent: the frequency is `mantissa * 2^exponent` Hz.
    pub(crate) const fn parts(self) -> (u32, i32) {
        (self.mantissa, -(self.down as i32))
    }

    /// `count` periods, rounded to the nearest tick; the longest span for zero.
    pub(crate) const fn periods(self, count: u32) -> Span {
        if self.mantissa == 0 {
            return Span::MAX;
        }
        let mantissa = self.mantissa as u128;
        let ticks = ((count as u128) << (32 + self.down)) + mantissa / 2;
        Span::from_ticks((ticks / mantissa) as u64)
    }

    /// Phase at an instant, in 2^-32 turns.
    pub(crate) const fn phase(self, at: Instant) -> u32 {
        // Whole turns fall off the top of the product, of which the lowest `down` bits are less than a 2^-32 turn.
        ((self.mantissa as u64).wrapping_mul(at.ticks()) >> self.down) as u32
    }

    /// Phase after a span from phase zero, in 2^-32 turns.
    pub(crate) const fn phase_after(self, since: Span) -> u32 {
        self.phase(Instant::from_ticks(since.ticks()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_phase_is_exact_for_any_frequency() {
        for hz in [0.01_f32, 0.05, 0.1, 1.0 / 3.0, 1.0, 6.25, 50.0, 59.97, 150.0, 1000.0, 16_000_000.0] {
            let exact = f64::from(hz);
            for seconds in [0_u64, 1, 59, 3600, 86_400] {
                let at = Instant::from_ticks((seconds << 32) + 12_345);
                // Less than 2^53 in 2^-32 turns for all but the highest, of which only whole seconds are compared.
                let turns = (exact * seconds as f64).fract() + exact * 12_345.0 / 4_294_967_296.0;
                let expected = (turns.fract() * 4_294_967_296.0) as u32;
                let off = Frequency::hz(hz).phase(at).wrapping_sub(expected) as i32;
                assert!(off.abs() < 4096, "{hz} Hz after {seconds} s: {off}");
            }
        }
    }

    #[test]
    fn what_is_no_frequency_is_zero() {
        for hz in [0.0, -1.0, f32::NAN, f32::INFINITY, 1e-30] {
            assert_eq!(Frequency::hz(hz).phase(Instant::from_ticks(1 << 40)), 0, "{hz}");
        }
    }
}
