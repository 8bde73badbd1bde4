//! Words and numbers that people type outside a document: flags, commands, lists of a plan.

pub use crate::noise_ratio::RANGE_DB;
pub use crate::words::nearest;

use crate::noise_ratio;
use crate::words::kind;
use pulsewright_core::settings::Field;
use pulsewright_core::time::{Span, TICKS_PER_SECOND};

/// The message for a word that is none of `words`, with the one that may be meant.
pub fn unknown<'w>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'w str>) -> String {
    let meant = nearest(typed, words).map_or(String::new(), |word| format!("; did you mean '{word}'?"));
    format!("there is no {kind} '{typed}'{meant}")
}

/// Most words that are listed beside the one that was probably meant.
const LISTED: usize = 20;

/// As [`unknown`], with the list of all words; without it where it is long and a word was probably meant.
pub fn unknown_of<'w>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'w str, IntoIter: Clone>) -> String {
    let words = words.into_iter();
    let all: Vec<&str> = words.clone().collect();
    let message = unknown(kind, typed, words);
    if message.ends_with('?') && all.len() > LISTED {
        let listed = match kind {
            "rhythm" => " `pulsewright catalog rhythms` lists all",
            "setting" => " `pulsewright catalog fields` lists all",
            "channel" => " `pulsewright catalog channels` lists all",
            _ => "",
        };
        return message + listed;
    }
    let next = if message.ends_with('?') { " Allowed: " } else { "; allowed: " };
    format!("{message}{next}{}", all.join(", "))
}

/// The paths of all fields.
pub fn paths() -> impl Iterator<Item = &'static str> + Clone {
    Field::ALL.iter().map(|field| field.info().path)
}

/// The field with this path.
pub fn field(path: &str) -> Option<Field> {
    Field::ALL.iter().copied().find(|field| field.info().path == path)
}

/// The path of a ratio of an artefact, such as `artefact.muscle_snr_db`, with the field of its amplitude; [`crate::OneStep`] takes
/// it like the path of a field.
pub fn ratio(path: &str) -> Option<(&'static str, Field)> {
    noise_ratio::RATIOS.iter().copied().find(|(known, _)| *known == path)
}

/// A value of a field: a number within its range, or the place of a word among its words.
///
/// # Errors
/// The allowed values.
pub fn value(field: Field, text: &str) -> Result<f32, String> {
    let info = field.info();
    if !info.words().is_empty() {
        let place = info.words().iter().position(|word| *word == text);
        return place
            .map(|place| place as f32)
            .ok_or_else(|| unknown_of(info.path, text, info.words().iter().copied()));
    }
    match text.parse::<f32>() {
        // A negative zero is the same setting as zero.
        Ok(value) if info.allows(value) => Ok(value + 0.0),
        _ => Err(format!("{} is {}", info.path, kind(info))),
    }
}

/// A length of time: a decimal number and a unit, or several, as `500ms`, `30s` or `1h30m`.
///
/// # Errors
/// The form of a time, or the longest.
pub fn span(text: &str) -> Result<Span, String> {
    let expected = || "a time is a number with its unit, as 500ms, 30s, 5m, 24h or 1h30m".to_owned();
    let mut rest = text;
    let mut nanos: u128 = 0;
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !c.is_ascii_digit() && c != '.').ok_or_else(expected)?;
        let (number, tail) = rest.split_at(digits);
        let unit = tail.find(|c: char| c.is_ascii_digit() || c == '.').unwrap_or(tail.len());
        let (unit, tail) = tail.split_at(unit);
        let unit_nanos: u128 = match unit {
            "ms" => 1_000_000,
            "s" => 1_000_000_000,
            "m" | "min" => 60_000_000_000,
            "h" => 3_600_000_000_000,
            _ => return Err(expected()),
        };
        let billionths = billionths(number).ok_or_else(expected)?;
        nanos = nanos.saturating_add(billionths.saturating_mul(unit_nanos) / 1_000_000_000);
        rest = tail;
    }
    let ticks = nanos.saturating_mul(u128::from(TICKS_PER_SECOND)) / 1_000_000_000;
    match u64::try_from(ticks) {
        Ok(0) => Err(if text.is_empty() { expected() } else { "a time is more than 0".to_owned() }),
        Ok(ticks) if ticks <= LONGEST.ticks() => Ok(Span::from_ticks(ticks)),
        _ => Err("a time is at most 1000000h, which is 114 years".to_owned()),
    }
}

/// Longest time that is taken: a round number below the range of `Instant`.
const LONGEST: Span = Span::secs(3_600_000_000);

/// A decimal number in units of 10^-9; digits beyond the ninth are cut off.
fn billionths(number: &str) -> Option<u128> {
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let is_number = |digits: &str| digits.bytes().all(|byte| byte.is_ascii_digit());
    if whole.len() + part.len() == 0 || whole.len() > 20 || !is_number(whole) || !is_number(part) {
        return None;
    }
    let part: String = part.chars().chain("000000000".chars()).take(9).collect();
    let whole: u128 = if whole.is_empty() { 0 } else { whole.parse().ok()? };
    Some(whole * 1_000_000_000 + part.parse::<u128>().ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::heart::catalogue::RHYTHMS;

    #[test]
    fn the_nearest_word_is_found_or_none() {
        let words = ["sinus", "asystole", "atrial-fibrillation", "aVR"];
        assert_eq!(nearest("sinis", words), Some("sinus"));
        assert_eq!(nearest("ASISTOLE", words), Some("asystole"));
        assert_eq!(nearest("atrial-fib", words), Some("atrial-fibrillation"));
        assert_eq!(nearest("avr", words), Some("aVR"));
        assert_eq!(nearest("xyzzy", words), None);
        assert_eq!(nearest("", words), None);
    }

    #[test]
    fn a_long_list_is_left_out_where_a_word_was_probably_meant() {
        let words = || RHYTHMS.iter().map(|rhythm| rhythm.id);
        let near = unknown_of("rhythm", "sinsu", words());
        assert_eq!(near, "there is no rhythm 'sinsu'; did you mean 'sinus'? `pulsewright catalog rhythms` lists all");
        let none = unknown_of("rhythm", "xyzzy", words());
        assert!(words().all(|word| none.contains(word)), "{none}");
        assert_eq!(
            unknown_of("step", "threee", ["two", "three"]),
            "there is no step 'threee'; did you mean 'three'? Allowed: two, three"
        );
    }

    #[test]
    fn values_are_numbers_in_range_or_words() {
        let gain = field("ecg.gain").expect("a field");
        assert_eq!(value(gain, "2"), Ok(2.0));
        assert_eq!(value(Field::BreathsPerMin, "-0").map(f32::to_bits), Ok(0));
        for text in ["", "x", "nan", "1e9", "-1"] {
            assert!(value(Field::RateBpm, text).expect_err(text).contains("5 to 400 bpm"), "{text}");
        }
        let signal = field("test.signal").expect("a field");
        assert_eq!(value(signal, "sine"), Ok(5.0));
        let message = value(signal, "sien").expect_err("no word");
        assert!(message.starts_with("there is no test.signal 'sien'; did you mean 'sine'? Allowed: "), "{message}");
        assert_eq!(field("ecg.gian"), None);
    }

    #[test]
    fn times_are_read_exactly() {
        assert_eq!(span("30s"), Ok(Span::secs(30)));
        assert_eq!(span("24h"), Ok(Span::secs(86_400)));
        assert_eq!(span("1h30m"), Ok(Span::secs(5400)));
        assert_eq!(span("1.5h"), Ok(Span::secs(5400)));
        assert_eq!(span(".5s"), Ok(Span::millis(500)));
        assert_eq!(span("250ms"), Ok(Span::millis(250)));
        assert_eq!(span("2min"), Ok(Span::secs(120)));
        assert_eq!(span("1000000h"), Ok(LONGEST));
    }

    #[test]
    fn times_that_are_none_are_refused() {
        for text in ["", "5", "s", "-5s", "5 s", "1e40s", "NaN", "5x", "5s3", "1.2.3s", ".s", "1000001h", "0s", "+5s"] {
            assert!(span(text).is_err(), "{text}");
        }
        assert!(span(&"9".repeat(500)).is_err());
        assert!(span(&format!("{}h", "9".repeat(500))).is_err());
        assert!(span("99999999999999999999h").is_err());
    }
}
