//! Words and numbers that people type outside a document: flags, commands, lists of a plan.

pub use crate::words::nearest;

use crate::words::unit;
use pulsewright_core::settings::Field;

/// The message for a word that is none of `words`, with the one that may be meant.
pub fn unknown<'w>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'w str>) -> String {
    let meant = nearest(typed, words).map_or(String::new(), |word| format!("; did you mean '{word}'?"));
    format!("there is no {kind} '{typed}'{meant}")
}

/// As [`unknown`], for lists that are short enough to be shown whole.
pub fn unknown_of<'w>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'w str, IntoIter: Clone>) -> String {
    let words = words.into_iter();
    let all: Vec<&str> = words.clone().collect();
    let message = unknown(kind, typed, words);
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

/// A value of a field: a number within its range, or the place of a word among its words.
///
/// # Errors
/// The allowed values.
pub fn value(field: Field, text: &str) -> Result<f32, String> {
    let info = field.info();
    if !info.words.is_empty() {
        let place = info.words.iter().position(|word| *word == text);
        return place.map(|place| place as f32).ok_or_else(|| unknown_of(info.path, text, info.words.iter().copied()));
    }
    match text.parse::<f32>() {
        // A negative zero is the same setting as zero.
        Ok(value) if value >= info.min && value <= info.max => Ok(value + 0.0),
        _ => Err(format!("{} is a number of {} to {}{}", info.path, info.min, info.max, unit(info))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
