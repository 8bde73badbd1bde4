//! Letters as strokes, so that a picture needs no font file.
//!
//! Each glyph is a few polylines on a grid of our own: x from 0, y from 0 (foot of descenders) over 2 (baseline) and 6
//! (top of small letters) to 8 (top of capitals). In the table a point is two digits, x then y; strokes are separated
//! by a comma; a stroke of one point is a dot.

use crate::drawing::{Anchor, Point, Text, at};

/// Grid units from the baseline to the top of capitals.
const CAPITAL_UNITS: f64 = 6.0;
/// Height of capitals over font size: about that of usual sans-serif fonts, so that SVG and PNG look alike.
const CAPITAL_SHARE: f64 = 0.72;
/// Grid units between letters.
const GAP_UNITS: f64 = 1.7;
/// Grid units of a space.
const SPACE_UNITS: f64 = 2.2;
/// The sign for a character outside the table.
const UNKNOWN: &str = "02 08 38 32 02";

const fn strokes_of(letter: char) -> &'static str {
    match letter {
        '0' | 'O' => "12 32 43 47 38 18 07 03 12",
        '1' => "07 28 22, 02 42",
        '2' => "07 18 38 47 46 02 42",
        '3' => "07 18 38 47 46 35 15, 35 44 43 32 12 03",
        '4' => "32 38 04 44",
        '5' => "48 08 05 35 44 43 32 12 03",
        '6' => "47 38 18 07 03 12 32 43 44 35 15 04",
        '7' => "08 48 12",
        '8' => "15 06 07 18 38 47 46 35 15 04 03 12 32 43 44 35",
        '9' => "03 12 32 43 47 38 18 07 06 15 35 46",
        'A' => "02 28 42, 14 34",
        'B' => "02 08 38 47 46 35 05, 35 44 43 32 02",
        'C' => "47 38 18 07 03 12 32 43",
        'D' => "02 08 28 37 46 44 33 22 02",
        'E' => "48 08 02 42, 05 35",
        'F' => "48 08 02, 05 35",
        'G' => "47 38 18 07 03 12 32 43 45 25",
        'H' => "02 08, 42 48, 05 45",
        'I' | '|' => "02 08",
        'J' => "38 33 22 12 03",
        'K' => "02 08, 48 05 42",
        'L' => "08 02 42",
        'M' => "02 08 25 48 42",
        'N' => "02 08 42 48",
        'P' => "02 08 38 47 46 35 05",
        'Q' => "12 32 43 47 38 18 07 03 12, 24 41",
        'R' => "02 08 38 47 46 35 05, 25 42",
        'S' => "47 38 18 07 06 15 35 44 43 32 12 03",
        'T' => "08 48, 28 22",
        'U' => "08 03 12 32 43 48",
        'V' => "08 22 48",
        'W' => "08 12 26 32 48",
        'X' => "02 48, 08 42",
        'Y' => "08 25 48, 25 22",
        'Z' => "08 48 02 42",
        'a' => "05 16 26 35 32, 34 14 03 12 22 33",
        'b' => "08 02, 05 16 26 35 33 22 12 03",
        'c' => "35 26 16 05 03 12 22 33",
        'd' => "38 32, 35 26 16 05 03 12 22 33",
        'e' => "04 34 35 26 16 05 03 12 22 33",
        'f' => "28 17 12, 06 26",
        'g' => "36 31 20 10 01, 35 26 16 05 03 12 22 33",
        'h' => "02 08, 05 16 26 35 32",
        'i' => "02 06, 08",
        'j' => "16 11 00, 18",
        'k' => "02 08, 36 04 32",
        'l' => "08 03 12",
        'm' => "02 06, 05 16 25 22, 25 36 45 42",
        'n' => "02 06, 05 16 26 35 32",
        'o' => "12 22 33 35 26 16 05 03 12",
        'p' => "00 06, 05 16 26 35 33 22 12 03",
        'q' => "30 36, 35 26 16 05 03 12 22 33",
        'r' => "02 06, 05 16 26",
        's' => "35 26 16 05 14 24 33 22 12 03",
        't' => "18 13 22, 06 26",
        'u' => "06 03 12 22 33, 36 32",
        'v' => "06 22 46",
        'w' => "06 12 25 32 46",
        'x' => "02 36, 06 32",
        'y' => "06 03 12 22 33, 36 31 20 10 01",
        'z' => "06 36 02 32",
        '-' | '–' => "05 25",
        '+' => "05 45, 23 27",
        '.' => "02",
        ',' => "12 01",
        ':' => "02, 05",
        ';' => "05, 02 01",
        '/' => "01 38",
        '\\' => "08 31",
        '(' => "18 06 04 12",
        ')' => "08 16 14 02",
        '[' => "18 08 02 12",
        ']' => "08 18 12 02",
        '%' => "02 48, 07 08 18 17 07, 32 33 43 42 32",
        '=' => "04 34, 06 36",
        '_' => "01 41",
        '<' => "37 05 33",
        '>' => "07 35 03",
        '?' => "07 18 28 37 36 25 24, 22",
        '!' => "08 04, 02",
        '\'' => "08 06",
        '"' => "08 06, 18 16",
        '&' => "42 06 07 18 28 37 03 12 22 44",
        '*' => "24 28, 15 37, 17 35",
        '#' => "13 17, 33 37, 04 44, 06 46",
        '~' => "04 15 24 35",
        '·' => "05",
        '×' => "13 35, 15 33",
        '…' => "02, 22, 42",
        _ => UNKNOWN,
    }
}

/// The glyph's polylines in grid units.
fn glyph(letter: char) -> impl Iterator<Item = impl Iterator<Item = (f64, f64)>> {
    let digit = |byte: Option<&u8>| f64::from(byte.copied().unwrap_or(b'0') - b'0');
    strokes_of(letter).split(',').map(move |stroke| {
        stroke.split_ascii_whitespace().map(move |pair| (digit(pair.as_bytes().first()), digit(pair.as_bytes().get(1))))
    })
}

fn width_units(letter: char) -> f64 {
    if letter == ' ' { SPACE_UNITS } else { glyph(letter).flatten().fold(0.0, |widest, (x, _)| widest.max(x)) }
}

/// Millimetres a grid unit at this font size.
fn unit_mm(size_mm: f64) -> f64 {
    size_mm * CAPITAL_SHARE / CAPITAL_UNITS
}

/// Width of a line of text at font size `size_mm`, mm.
pub fn width_mm(words: &str, size_mm: f64) -> f64 {
    let units: f64 = words.chars().map(|letter| width_units(letter) + GAP_UNITS).sum();
    (units - GAP_UNITS).max(0.0) * unit_mm(size_mm)
}

/// The text as polylines on the sheet.
pub fn outline(text: &Text) -> Vec<Vec<Point>> {
    let unit = unit_mm(text.size_mm);
    let width = width_mm(&text.words, text.size_mm);
    let mut x = text.at.x_mm
        - match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => 0.5 * width,
            Anchor::End => width,
        };
    let mut lines = Vec::new();
    for letter in text.words.chars() {
        if letter != ' ' {
            for stroke in glyph(letter) {
                lines.push(stroke.map(|(u, v)| at(x + u * unit, text.at.y_mm - (v - 2.0) * unit)).collect());
            }
        }
        x += (width_units(letter) + GAP_UNITS) * unit;
    }
    lines
}

/// Width of the strokes of text of this size, mm.
pub fn stroke_mm(text: &Text) -> f64 {
    text.size_mm * if text.bold { 0.115 } else { 0.08 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_printable_letter_of_a_label_has_its_own_strokes() {
        let needed: Vec<char> = ('A'..='Z').chain('a'..='z').chain('0'..='9').chain("+-.,:;/()%=".chars()).collect();
        for &letter in &needed {
            assert_ne!(strokes_of(letter), UNKNOWN, "{letter}");
        }
        for &one in &needed {
            for &other in &needed {
                let alike = strokes_of(one) == strokes_of(other);
                assert!(
                    !alike || one == other || (one, other) == ('O', '0') || (one, other) == ('0', 'O'),
                    "{one}{other}"
                );
            }
        }
    }

    #[test]
    fn table_is_well_formed() {
        for letter in (' '..='~').chain("–·×…".chars()) {
            for stroke in strokes_of(letter).split(',') {
                let pairs: Vec<&str> = stroke.split_ascii_whitespace().collect();
                assert!(!pairs.is_empty(), "{letter}");
                assert!(
                    pairs.iter().all(|pair| pair.len() == 2 && pair.bytes().all(|b| b.is_ascii_digit())),
                    "{letter}"
                );
            }
        }
    }

    #[test]
    fn anchors_shift_by_the_width() {
        let text = |anchor| Text { at: at(50.0, 10.0), anchor, size_mm: 3.0, bold: false, words: "120".into() };
        let left = |anchor| outline(&text(anchor)).iter().flatten().map(|p| p.x_mm).fold(f64::MAX, f64::min);
        let width = width_mm("120", 3.0);
        assert!((left(Anchor::Start) - left(Anchor::End) - width).abs() < 1e-9);
        assert!((left(Anchor::Start) - left(Anchor::Middle) - 0.5 * width).abs() < 1e-9);
        assert!((5.0..7.0).contains(&width), "{width}");
    }
}
