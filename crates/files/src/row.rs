//! Rows of numbers as text, written in steps of eight bytes: a signal of an hour has twenty million of them.
//!
//! Most codes of a signal are small, and the text of each of those is made once. Any other number is taken apart into groups of
//! three digits, whose text a table holds. A write may reach past the end of the text, where the next number is
//! written over it; so a row needs [`SLACK`] bytes behind its longest text.

use crate::decimal::{LONGEST, fixed_text};
use crate::scale::Scale;
use pulsewright_core::time::FrameRate;
use std::sync::Arc;

/// Bytes that may be written behind a row's text.
pub const SLACK: usize = 8;

/// Of 0 to 999 the text `.` and three digits, the point in the lowest byte.
static TAILS: [u32; 1000] = tails();

/// Of 0 to 999 the text after a comma without leading zeros, the comma in the lowest byte; in the highest byte its length.
/// The second thousand has a sign behind the comma.
static HEADS: [u64; 2000] = heads();

const fn tails() -> [u32; 1000] {
    let mut tails = [0; 1000];
    let mut number = 0;
    while number < 1000 {
        let (hundreds, tens, ones) = (number / 100, number / 10 % 10, number % 10);
        tails[number as usize] = 0x3030_302e | hundreds << 8 | tens << 16 | ones << 24;
        number += 1;
    }
    tails
}

const fn heads() -> [u64; 2000] {
    let tails = tails();
    let mut heads = [0; 2000];
    let mut number = 0;
    while number < 1000 {
        let spare = if number < 10 {
            2
        } else if number < 100 {
            1
        } else {
            0
        };
        let digits = (tails[number] as u64) >> (8 * (1 + spare));
        heads[number] = digits << 8 | 0x2c | (4 - spare) << 56;
        heads[1000 + number] = digits << 16 | 0x2d2c | (5 - spare) << 56;
        number += 1;
    }
    heads
}

/// Three digits of a number below 1000, the first in the lowest byte.
fn digits(number: u64) -> u64 {
    u64::from(TAILS[number as usize] >> 8)
}

/// Writes the bytes of `text`, the first in the lowest.
fn put(row: &mut [u8], at: usize, text: u64) {
    row[at..at + 8].copy_from_slice(&text.to_le_bytes());
}

/// Writes at most nine digits of a fraction that is in units of the ninth.
fn put_fraction(row: &mut [u8], at: usize, fraction: u64) {
    let (first, rest) = (fraction / 1_000_000, fraction % 1_000_000);
    put(row, at, digits(first) | digits(rest / 1000) << 24);
    put(row, at + 6, digits(rest % 1000));
}

/// Codes from `-USUAL` to `USUAL - 1` have their text ready: a beat's, give or take.
const USUAL: i32 = 2048;

/// Writes the numbers of a column: a comma, then the value of a code with all decimals of its scale.
#[derive(Clone, Debug)]
pub struct Cell {
    scale: Scale,
    /// Comma and text of the usual codes, the comma in the lowest byte; 0 for a text that is longer than eight bytes.
    usual: Arc<[u64]>,
    /// 10^decimals.
    unit: u64,
    /// 2^64 / unit, rounded up.
    reciprocal: u64,
    /// Values below this have at most six digits before the point.
    short: u64,
    /// Ten to the number of digits that are missing to three or six decimals.
    pad: u64,
    /// Decimals and point.
    tail: usize,
}

impl Cell {
    /// For codes of this scale.
    pub fn new(scale: Scale) -> Cell {
        let decimals = u32::from(scale.decimals());
        let unit = 10_u64.pow(decimals);
        // With more decimals than two groups hold, or none, every number goes the long way.
        let short = if (1..=6).contains(&decimals) { 1_000_000 * unit } else { 0 };
        let whole_groups = if decimals <= 3 { 3 } else { 6 };
        let mut cell = Cell {
            scale,
            usual: Arc::new([]),
            unit,
            reciprocal: (u64::MAX / unit).saturating_add(1),
            short,
            pad: 10_u64.pow(u32::saturating_sub(whole_groups, decimals)),
            tail: decimals as usize + 1,
        };
        cell.usual = (-USUAL..USUAL).map(|code| cell.word(code)).collect();
        cell
    }

    /// Comma and text of a code in one word; 0 if they do not fit.
    fn word(&self, code: i32) -> u64 {
        let mut row = [0; LONGEST + 1 + SLACK];
        let end = self.put_any(&mut row, 0, code);
        row[end..].fill(0);
        let (word, rest) = row.split_first_chunk().unwrap_or((&[0; 8], &[]));
        if rest.iter().all(|byte| *byte == 0) { u64::from_le_bytes(*word) } else { 0 }
    }

    /// The scale of the codes.
    pub fn scale(&self) -> &Scale {
        &self.scale
    }

    /// Bytes of the longest text of any code.
    pub fn longest(&self) -> usize {
        let (min, max) = self.scale.bits().limits();
        let length = |code| LONGEST - fixed_text(self.scale.fixed(code), self.scale.decimals()).1;
        1 + length(min).max(length(max)).max(length(0))
    }

    /// Writes comma and value at `at` and gives the place behind them.
    pub fn put(&self, row: &mut [u8], at: usize, code: i32) -> usize {
        match self.usual.get(code.wrapping_add(USUAL) as usize) {
            Some(word) if *word != 0 => {
                put(row, at, *word);
                at + 8 - word.leading_zeros() as usize / 8
            }
            _ => self.put_any(row, at, code),
        }
    }

    /// For any code.
    fn put_any(&self, row: &mut [u8], at: usize, code: i32) -> usize {
        let value = self.scale.fixed(code);
        let size = value.unsigned_abs();
        if size >= self.short {
            return self.put_long(row, at, value);
        }
        // Exact: size × unit < 2^64.
        let whole = ((u128::from(size) * u128::from(self.reciprocal)) >> 64) as u64;
        let part = (size - whole * self.unit) * self.pad;
        let signed = 1000 * usize::from(value < 0);
        let mut at = at;
        if whole < 1000 {
            let head = HEADS[whole as usize + signed];
            put(row, at, head);
            at += (head >> 56) as usize;
        } else {
            let head = HEADS[(whole / 1000) as usize + signed];
            put(row, at, head);
            at += (head >> 56) as usize;
            put(row, at, digits(whole % 1000));
            at += 3;
        }
        if self.tail <= 4 {
            row[at..at + 4].copy_from_slice(&TAILS[part as usize].to_le_bytes());
        } else {
            put(row, at, u64::from(TAILS[(part / 1000) as usize]) | digits(part % 1000) << 32);
        }
        at + self.tail
    }

    /// Puts a value with more than six digits before the point.
    #[cold]
    fn put_long(&self, row: &mut [u8], at: usize, value: i64) -> usize {
        let (text, from) = fixed_text(value, self.scale.decimals());
        let end = at + 1 + LONGEST - from;
        row[at] = b',';
        row[at + 1..end].copy_from_slice(&text[from..]);
        end
    }
}

/// Times of frames as text: as many decimals as make them exact, or nine where none do.
#[derive(Clone, Copy, Debug)]
pub struct FrameTimes {
    rate: u64,
    decimals: u8,
    /// 10^decimals.
    units: u64,
}

impl FrameTimes {
    /// Bytes of the longest text: ten digits, a point, nine decimals.
    pub const LONGEST: usize = 20;

    /// Times at this frame rate.
    pub fn new(rate: FrameRate) -> FrameTimes {
        let rate = u64::from(rate.as_hz());
        let exact = (3..=9).find(|decimals| 10_u64.pow(*decimals).is_multiple_of(rate));
        let decimals = exact.unwrap_or(9);
        FrameTimes { rate, decimals: decimals as u8, units: 10_u64.pow(decimals) }
    }

    /// Times from frame `index` on.
    pub fn from(&self, index: u64) -> TimeWriter {
        let (second, part) = (index / self.rate, index % self.rate);
        // A part is below 48 000, units are at most 10^9.
        let doubled = part * self.units * 2 + self.rate;
        TimeWriter {
            times: *self,
            second,
            part,
            units: doubled / (2 * self.rate),
            rest: doubled % (2 * self.rate),
            whole: whole_seconds(second),
        }
    }
}

/// Text of whole seconds with the point behind them, and its length.
fn whole_seconds(second: u64) -> ([u8; 16], usize) {
    let (text, from) = fixed_text(second as i64, 0);
    let mut whole = [b'.'; 16];
    // Instants end at 2^32 s: ten digits.
    let length = (LONGEST - from).min(15);
    whole[..length].copy_from_slice(&text[from..from + length]);
    (whole, length + 1)
}

/// Writes the times of one frame after the other, carrying on from the last instead of dividing anew.
#[derive(Clone, Debug)]
pub struct TimeWriter {
    times: FrameTimes,
    second: u64,
    /// Frame within the second.
    part: u64,
    /// Decimals of the time, as a number.
    units: u64,
    /// Remainder of that rounding, in units of half a frame's duration.
    rest: u64,
    /// Text of the second and its length.
    whole: ([u8; 16], usize),
}

impl TimeWriter {
    /// Writes the time of the next frame in seconds and gives the place behind it.
    ///
    /// It writes up to 16 bytes, or nine decimals and 5 bytes of slack behind the point.
    pub fn put(&mut self, row: &mut [u8], at: usize) -> usize {
        let FrameTimes { rate, decimals, units } = self.times;
        let (whole, length) = &self.whole;
        row[at..at + 16].copy_from_slice(whole);
        let at = at + length;
        if decimals == 3 {
            put(row, at, digits(self.units));
        } else {
            put_fraction(row, at, self.units * (1_000_000_000 / units));
        }
        self.part += 1;
        self.units += units / rate;
        self.rest += 2 * (units % rate);
        if self.rest >= 2 * rate {
            (self.units, self.rest) = (self.units + 1, self.rest - 2 * rate);
        }
        if self.part == rate {
            *self = self.times.from((self.second + 1) * rate);
        }
        at + usize::from(decimals)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{Bits, ChannelRange};
    use pulsewright_core::frame::ChannelKind;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use std::collections::BTreeSet;

    const ALL_BITS: [Bits; 4] = [Bits::B12, Bits::B16, Bits::B24, Bits::B32];

    /// Every scale that a script can lead to, and some that none does.
    fn scales() -> Vec<Scale> {
        let kinds = [ChannelKind::Potential, ChannelKind::Pressure, ChannelKind::Impedance];
        let reaches = [(0.0, 1.0), (0.0, 400.0), (1000.0, 2.0), (500.0, 1e5), (-3.0, 1e30)];
        let scale = |kind, bits, (centre, far)| {
            Scale::new(kind, bits, ChannelRange { lowest: centre - far, highest: centre + far, centre })
        };
        let of_kind = |kind| ALL_BITS.map(|bits| reaches.map(|reach| scale(kind, bits, reach)));
        kinds.map(of_kind).concat().concat()
    }

    /// The text that the formatter of the standard library makes.
    fn by_format(value: i64, decimals: u8) -> String {
        let unit = 10_u64.pow(u32::from(decimals));
        let (sign, size) = (if value < 0 { "-" } else { "" }, value.unsigned_abs());
        format!(",{sign}{}.{:0width$}", size / unit, size % unit, width = usize::from(decimals))
    }

    fn by_cell(cell: &Cell, code: i32) -> String {
        let mut row = [b'x'; 64];
        let end = cell.put(&mut row, 3, code);
        assert_eq!(row[..3], *b"xxx");
        assert!(end - 3 <= cell.longest(), "{code} of {:?}", cell.scale);
        assert!(row[end + SLACK..].iter().all(|byte| *byte == b'x'), "{code} of {:?}", cell.scale);
        String::from_utf8(row[3..end].to_vec()).unwrap()
    }

    #[test]
    fn cells_equal_those_of_the_standard_library() {
        let mut drawn = ChaCha8Rng::seed_from_u64(1);
        // The codes that were tested are those of every build.
        assert_eq!(drawn.clone().random::<u64>(), 7_424_550_030_962_593_201);
        for scale in scales() {
            let cell = Cell::new(scale);
            let (min, max) = scale.bits().limits();
            // About every power of two and of ten in codes and in values, with the code nearest to a value of nothing.
            let mut codes: BTreeSet<i64> = (-2..=2).chain([i64::from(min), i64::from(max)]).collect();
            let powers = (0..31).map(|bit| 1_i64 << bit).chain((0..13).map(|digits| 10_i64.pow(digits)));
            for power in powers {
                let steps = [power, scale.fixed(0), power - scale.fixed(0), -power - scale.fixed(0)]
                    .map(|value| value / (scale.fixed(1) - scale.fixed(0)));
                codes.extend(
                    steps.iter().chain(&[power]).flat_map(|at| [*at - 1, *at, *at + 1, -*at - 1, -*at, 1 - *at]),
                );
            }
            // Of every size: most codes of a signal are small.
            codes.extend((0..20_000).map(|draw| i64::from(drawn.random::<i32>() >> (draw % 31))));
            for code in codes.into_iter().filter_map(|code| i32::try_from(code).ok()) {
                if (min..=max).contains(&code) {
                    assert_eq!(
                        by_cell(&cell, code),
                        by_format(scale.fixed(code), scale.decimals()),
                        "{code} of {scale:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn every_code_of_16_bits() {
        let cell =
            |kind| Cell::new(Scale::new(kind, Bits::B16, ChannelRange { lowest: -3.0, highest: 3.0, centre: 0.0 }));
        let (potential, pressure) = (cell(ChannelKind::Potential), cell(ChannelKind::Pressure));
        for code in -32_768..=32_767_i32 {
            assert_eq!(by_cell(&potential, code), by_format(code.into(), 3));
            assert_eq!(by_cell(&pressure, code), by_format(code.into(), 2));
        }
        assert_eq!(by_cell(&potential, 0), ",0.000", "no negative zero");
        assert_eq!(by_cell(&potential, -1), ",-0.001");
    }

    fn time(hz: u32, index: u64) -> String {
        let mut row = [0; FrameTimes::LONGEST + SLACK];
        let end = FrameTimes::new(FrameRate::hz(hz).unwrap()).from(index).put(&mut row, 0);
        String::from_utf8(row[..end].to_vec()).unwrap()
    }

    #[test]
    fn frame_times_are_exact_or_rounded_to_nanoseconds() {
        assert_eq!(time(500, 1), "0.002");
        assert_eq!(time(1000, 86_400_000), "86400.000");
        assert_eq!(time(250, 3), "0.012");
        assert_eq!(time(128, 1), "0.0078125");
        assert_eq!(time(360, 1), "0.002777778");
        assert_eq!(time(360, 361), "1.002777778");
        assert_eq!(time(48_000, 47_999), "0.999979167");
        // The last second of an instant's range.
        assert_eq!(time(48_000, 48_000 * 0xffff_ffff), "4294967295.000000000");
    }

    #[test]
    fn times_carried_on_are_times_divided_anew() {
        for hz in [100, 128, 250, 257, 360, 500, 999, 1000, 4096, 44_100, 47_999, 48_000] {
            let first = u64::from(hz) * 9_999_999 / 10 + 7;
            let mut clock = FrameTimes::new(FrameRate::hz(hz).unwrap()).from(first);
            for index in first..first + 2 * u64::from(hz) + 3 {
                let mut row = [0; FrameTimes::LONGEST + SLACK];
                let end = clock.put(&mut row, 0);
                // The nearest nanosecond, with as many decimals as are printed.
                let nanos = (u128::from(index) * 2_000_000_000 + u128::from(hz)) / (2 * u128::from(hz));
                let text = format!("{}.{:09}", nanos / 1_000_000_000, nanos % 1_000_000_000);
                let (printed, dropped) = text.split_at(end);
                assert_eq!(std::str::from_utf8(&row[..end]), Ok(printed), "frame {index} at {hz} Hz");
                assert!(dropped.bytes().all(|digit| digit == b'0'), "frame {index} at {hz} Hz");
            }
        }
    }
}
