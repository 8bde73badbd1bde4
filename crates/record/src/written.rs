//! Readings as people write them: a decimal point or comma, and perhaps a unit.
//!
//! The worksheet's page reads them by the same rules (`page/judge.js`), and both are tested with `cases/readings.json`.

/// Other spellings of a quantity's unit, and factors of other units: (written, quantity's, factor).
///
/// 1 kPa = 7.500617 mmHg and 1 cmH2O = 0.735559 mmHg: NIST SP 811, conventional millimetre of mercury and centimetre of
/// water (values from memory).
pub const UNITS: &[(&str, &str, f64)] = &[
    ("bpm", "bpm", 1.0),
    ("/min", "bpm", 1.0),
    ("1/min", "bpm", 1.0),
    ("breaths/min", "breaths/min", 1.0),
    ("/min", "breaths/min", 1.0),
    ("1/min", "breaths/min", 1.0),
    ("mmHg", "mmHg", 1.0),
    ("kPa", "mmHg", 7.500617),
    ("cmH2O", "mmHg", 0.735559),
    ("mmHg/min", "mmHg/min", 1.0),
    ("mV", "mV", 1.0),
    ("uV", "mV", 0.001),
    ("\u{b5}V", "mV", 0.001),
    ("\u{3bc}V", "mV", 0.001),
    ("s", "s", 1.0),
    ("ms", "s", 0.001),
];

/// Longest that a written reading may be, characters.
const LONGEST: usize = 40;

/// The number that `text` means in `unit`; `None` when it is not one number, or in a unit that is not convertible.
///
/// A comma is a decimal comma; there are no thousands separators.
pub fn number(text: &str, unit: &str) -> Option<f64> {
    let text = text.trim();
    if text.chars().count() > LONGEST {
        return None;
    }
    let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | ',' | '+' | '-')).unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    let rest = rest.trim();
    let factor = if rest.is_empty() || rest.eq_ignore_ascii_case(unit) {
        1.0
    } else {
        UNITS.iter().find(|(written, own, _)| written.eq_ignore_ascii_case(rest) && *own == unit)?.2
    };
    Some(plain(digits)? * factor)
}

/// Sign, digits, at most one point or comma with digits on both sides or before it.
fn plain(text: &str) -> Option<f64> {
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let mut parts = unsigned.split(['.', ',']);
    let (whole, part, more) = (parts.next()?, parts.next(), parts.next());
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || part.is_some_and(|part| !digits(part)) || more.is_some() {
        return None;
    }
    text.replace(',', ".").parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commas_signs_and_units() {
        for (text, unit, value) in [
            ("72", "bpm", 72.0),
            (" 7,5 ", "mmHg", 7.5),
            ("-3", "mmHg", -3.0),
            ("+3.25 MMHG", "mmHg", 3.25),
            ("500 uV", "mV", 0.5),
            ("8200ms", "s", 8.2),
        ] {
            let found = number(text, unit).unwrap_or_else(|| panic!("{text}"));
            assert!((found - value).abs() < 1e-12, "{text}: {found}");
        }
        assert!((number("16 kPa", "mmHg").unwrap() - 120.009_872).abs() < 1e-9);
    }

    #[test]
    fn what_is_not_one_number_is_none() {
        for text in ["", "-", "1.200,5", "1 200", "12-14", "about 70", "7e3", ".5", "5.", "NaN", "inf", "٣", "72 kPa"]
        {
            assert_eq!(number(text, "bpm"), None, "{text}");
        }
        assert_eq!(number(&"1".repeat(41), "bpm"), None);
    }
}
