//! Fixed-point numbers: signals with 48 bits behind the point, lines whose values have 24.

/// Bits behind the point of a signal.
const SIGNAL_BITS: u32 = 48;
/// Bits behind the point of a code before it is rounded.
pub const CODE_BITS: u32 = 24;

/// A signal in units of 2^-48 mV, mmHg or ohm.
///
/// Exact for every `f32` whose last bit is worth 2^-48 or more; finer bits are cut off. Beyond ±32 768 it saturates; NaN is 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fixed(pub i64);

impl Fixed {
    /// Zero.
    pub const ZERO: Fixed = Fixed(0);

    /// From a sample.
    pub fn new(sample: f32) -> Fixed {
        // A multiplication by a power of two is exact, and a cast saturates.
        Fixed((sample * (1_u64 << SIGNAL_BITS) as f32) as i64)
    }

    /// The sum; saturates.
    pub const fn plus(self, other: Fixed) -> Fixed {
        Fixed(self.0.saturating_add(other.0))
    }

    /// The difference; saturates.
    pub const fn minus(self, other: Fixed) -> Fixed {
        Fixed(self.0.saturating_sub(other.0))
    }
}

/// A straight line from a signal to a code, in integers: `code = mantissa × 2^-shift × signal + offset × 2^-24`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slope {
    /// Codes for each unit, without their binary point.
    pub mantissa: i32,
    /// Where the point of `mantissa` is, [`Slope::LEAST_SHIFT`] to [`Slope::MOST_SHIFT`].
    pub shift: u8,
    /// Code at a signal of zero, in 2^-24 of a code; within ±2^56.
    pub offset: i64,
}

impl Slope {
    /// The least shift: a slope is below 2^23 codes a unit.
    pub const LEAST_SHIFT: u8 = 8;
    /// The greatest shift.
    pub const MOST_SHIFT: u8 = 62;

    /// The nearest code, of two equally near ones the even one.
    pub const fn code(self, signal: Fixed) -> i64 {
        let mantissa = self.mantissa as i64;
        // The halves of the signal one by one: the product of all bits would not fit.
        let high = (signal.0 >> 32) * mantissa;
        let low = (signal.0 & 0xffff_ffff) * mantissa;
        let value = ((high + (low >> 32)) >> (self.shift - Slope::LEAST_SHIFT)).saturating_add(self.offset);
        let up = value.saturating_add(1 << (CODE_BITS - 1));
        let code = up >> CODE_BITS;
        let tie = up & ((1 << CODE_BITS) - 1) == 0;
        if tie { code & !1 } else { code }
    }

    /// Whether [`Slope::code`] can work with it.
    pub const fn is_valid(self) -> bool {
        self.shift >= Slope::LEAST_SHIFT && self.shift <= Slope::MOST_SHIFT && self.offset.unsigned_abs() <= 1 << 56
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slope(mantissa: i32, shift: u8, offset: i64) -> Slope {
        Slope { mantissa, shift, offset }
    }

    #[test]
    fn samples_are_exact_and_saturate() {
        assert_eq!(Fixed::new(1.0).0, 1 << 48);
        assert_eq!(Fixed::new(-0.75).0, -3 << 46);
        assert_eq!(Fixed::new(f32::NAN), Fixed::ZERO);
        assert_eq!([Fixed::new(f32::INFINITY).0, Fixed::new(-1e30).0], [i64::MAX, i64::MIN]);
        assert_eq!(Fixed::new(300.0).plus(Fixed::new(0.5)), Fixed::new(300.5));
        assert_eq!(Fixed(i64::MAX).plus(Fixed(1)), Fixed(i64::MAX));
    }

    #[test]
    fn codes_by_hand() {
        // 1000 codes a unit, 0.25 of a code at zero: 1.5 is 1500.25.
        let line = slope(1000 << 20, 20, 1 << 22);
        assert_eq!(line.code(Fixed::new(1.5)), 1500);
        assert_eq!(line.code(Fixed::new(-1.5)), -1500);
        // Half a code: to the even neighbour.
        let half = slope(1 << 30, 30, 1 << 23);
        let codes = [-2.0, -1.0, 0.0, 1.0, 2.0].map(|unit| half.code(Fixed::new(unit)));
        assert_eq!(codes, [-2, 0, 0, 2, 2]);
    }

    #[test]
    fn the_ends_do_not_overflow() {
        for shift in [Slope::LEAST_SHIFT, Slope::MOST_SHIFT] {
            for mantissa in [i32::MIN, i32::MAX] {
                for signal in [i64::MIN, i64::MAX] {
                    for offset in [-(1 << 56), 1 << 56] {
                        let code = slope(mantissa, shift, offset).code(Fixed(signal));
                        assert_eq!((code > 1 << 24, code < -(1 << 24)), (code > 0, code < 0));
                    }
                }
            }
        }
    }
}
