//! Whole numbers to decimal text, by integer arithmetic alone: the same digits everywhere, and faster than floats.

use pulsewright_core::time::{Instant, Span};

/// Decimals of a time in the truth: microseconds.
const TIME_DECIMALS: u8 = 6;

const PAIRS: &[u8; 200] =
    b"0001020304050607080910111213141516171819202122232425262728293031323334353637383940414243444546474849\
5051525354555657585960616263646566676869707172737475767778798081828384858687888990919293949596979899";

/// Longest text: a sign, twenty digits, a point.
pub const LONGEST: usize = 24;

/// Appends `value × 10^-decimals` with exactly `decimals` digits after the point; `decimals` is at most 18.
pub fn push_fixed(text: &mut Vec<u8>, value: i64, decimals: u8) {
    let (buffer, from) = fixed_text(value, decimals);
    text.extend_from_slice(&buffer[from..]);
}

/// The same text at the end of a buffer, and where in it the text begins.
pub fn fixed_text(value: i64, decimals: u8) -> ([u8; LONGEST], usize) {
    let mut buffer = [b'0'; LONGEST];
    let decimals = usize::from(decimals.min(18));
    let mut rest = value.unsigned_abs();
    let mut at = LONGEST;
    if decimals > 0 {
        for _ in 0..decimals / 2 {
            at -= 2;
            put_pair(&mut buffer, at, rest % 100);
            rest /= 100;
        }
        if decimals % 2 == 1 {
            at -= 1;
            buffer[at] = b'0' + (rest % 10) as u8;
            rest /= 10;
        }
        at -= 1;
        buffer[at] = b'.';
    }
    while rest >= 10 {
        // An odd count of digits leaves one for the end, as 18 decimals, 2 digits, a point and a sign just fit.
        at -= 2;
        put_pair(&mut buffer, at, rest % 100);
        rest /= 100;
    }
    if rest > 0 || buffer.get(at).is_none_or(|first| *first == b'.') {
        at -= 1;
        buffer[at] = b'0' + rest as u8;
    }
    if value < 0 {
        at -= 1;
        buffer[at] = b'-';
    }
    (buffer, at)
}

fn put_pair(buffer: &mut [u8; LONGEST], at: usize, pair: u64) {
    let pair = pair as usize * 2;
    buffer[at..at + 2].copy_from_slice(&PAIRS[pair..pair + 2]);
}

/// Appends a bare number with `decimals` digits after the point, rounded half to even; nothing for NaN.
pub fn push_rounded(text: &mut Vec<u8>, value: f32, decimals: u8) {
    if value.is_finite() {
        // Ten to a small power is exact, and so is the product of it with the 24 bits of an `f32`.
        let scaled = f64::from(value) * 10_f64.powi(i32::from(decimals));
        push_fixed(text, scaled.round_ties_even() as i64, decimals);
    }
}

/// Appends an instant in seconds, to the microsecond.
pub fn push_instant(text: &mut Vec<u8>, instant: Instant) {
    push_micros(text, instant.ticks());
}

/// Appends a span in seconds, to the microsecond.
pub fn push_span(text: &mut Vec<u8>, span: Span) {
    push_micros(text, span.ticks());
}

fn push_micros(text: &mut Vec<u8>, ticks: u64) {
    let micros = (u128::from(ticks) * 1_000_000 + (1 << 31)) >> 32;
    push_fixed(text, micros as i64, TIME_DECIMALS);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixed(value: i64, decimals: u8) -> String {
        let mut text = Vec::new();
        push_fixed(&mut text, value, decimals);
        String::from_utf8(text).unwrap()
    }

    #[test]
    fn fixed_point_text_at_its_edges() {
        assert_eq!(fixed(0, 0), "0");
        assert_eq!(fixed(0, 3), "0.000");
        assert_eq!(fixed(-1, 3), "-0.001");
        assert_eq!(fixed(32_767, 3), "32.767");
        assert_eq!(fixed(-32_768, 3), "-32.768");
        assert_eq!(fixed(7, 0), "7");
        assert_eq!(fixed(10, 0), "10");
        assert_eq!(fixed(100, 2), "1.00");
        assert_eq!(fixed(1_000, 2), "10.00");
        assert_eq!(fixed(i64::MAX, 0), "9223372036854775807");
        assert_eq!(fixed(i64::MIN, 18), "-9.223372036854775808");
        assert_eq!(fixed(i64::MIN, 1), "-922337203685477580.8");
    }

    #[test]
    fn fixed_point_text_equals_that_of_the_standard_library() {
        for value in (-20_000_i64..20_000).chain((0..63).flat_map(|bit| [1 << bit, (1 << bit) - 1, -(1 << bit)])) {
            assert_eq!(fixed(value, 0), value.to_string());
            let (sign, size) = (if value < 0 { "-" } else { "" }, value.unsigned_abs());
            assert_eq!(fixed(value, 5), format!("{sign}{}.{:05}", size / 100_000, size % 100_000));
        }
    }

    #[test]
    fn bare_numbers_round_half_to_even() {
        let text = |value, decimals| {
            let mut text = Vec::new();
            push_rounded(&mut text, value, decimals);
            String::from_utf8(text).unwrap()
        };
        assert_eq!(text(0.125, 2), "0.12");
        assert_eq!(text(0.375, 2), "0.38");
        assert_eq!(text(-0.125, 2), "-0.12");
        assert_eq!(text(119.999, 2), "120.00");
        assert_eq!(text(f32::NAN, 2), "");
    }

    #[test]
    fn truth_times_are_rounded_to_microseconds() {
        let mut text = Vec::new();
        push_instant(&mut text, Instant::ZERO.plus(Span::micros(1_234_567)));
        assert_eq!(text, b"1.234567");
        text.clear();
        push_span(&mut text, Span::from_ticks(1 << 31));
        assert_eq!(text, b"0.500000");
        text.clear();
        push_instant(&mut text, Instant::NEVER);
        assert_eq!(text, b"4294967296.000000");
    }
}
