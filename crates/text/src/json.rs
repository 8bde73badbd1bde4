//! JSON documents read into values and types.
//!
//! `serde_json` alone keeps the last of two members of the same name, so that a program may check one and a
//! person see the other. Here a member given twice is an error at its place, and so is nesting beyond [`MAX_DEPTH`].

use crate::fit;
use serde::de::{DeserializeOwned, DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::Value;
use std::collections::HashSet;
use std::fmt;

/// Deepest nesting of objects and lists.
pub const MAX_DEPTH: usize = 64;

/// Longest message, characters.
const LONGEST: usize = 400;

/// Members above which an object is searched by hash instead of one by one.
const FEW: usize = 16;

/// Why a text is not such a document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub struct JsonError {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The mistake.
    pub what: String,
    /// Whether the text ends too early.
    pub cut_off: bool,
    /// Whether it is broken JSON; false for JSON of another document.
    pub syntax: bool,
}

impl JsonError {
    fn of(error: &serde_json::Error) -> JsonError {
        JsonError {
            line: error.line().max(1),
            column: error.column().max(1),
            what: fit::cut(&fit::line(&without_place(error)), LONGEST).into_owned(),
            cut_off: error.is_eof(),
            syntax: error.is_syntax(),
        }
    }
}

/// The message of a reader's error without line and column, which it repeats at its end.
pub fn without_place(error: &serde_json::Error) -> String {
    let message = error.to_string();
    message.rsplit_once(" at line ").map_or_else(|| message.clone(), |(what, _)| what.to_owned())
}

/// Reads a document of type `T`.
///
/// # Errors
/// The first thing that is wrong, at its place.
pub fn parse<T: DeserializeOwned>(text: &str) -> Result<T, JsonError> {
    check(text)?;
    serde_json::from_str(text).map_err(|error| JsonError::of(&error))
}

/// Checks the syntax of a whole text: one value, no member twice, not nested too deeply.
///
/// # Errors
/// The first thing that is wrong, at its place.
pub fn check(text: &str) -> Result<(), JsonError> {
    if let Some(at) = too_deep(text) {
        let before = text.get(..at).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |line| line.chars().count()) + 1;
        let what = format!("nested more than {MAX_DEPTH} deep");
        return Err(JsonError { line, column, what, cut_off: false, syntax: true });
    }
    let mut reader = serde_json::Deserializer::from_str(text);
    Unique.deserialize(&mut reader).and_then(|()| reader.end()).map_err(|error| JsonError::of(&error))
}

/// Offset of the first bracket that opens more than [`MAX_DEPTH`] levels; `None` where none does.
pub fn too_deep(text: &str) -> Option<usize> {
    let (mut depth, mut quoted, mut escaped) = (0_usize, false, false);
    for (at, byte) in text.bytes().enumerate() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => quoted = !quoted,
            _ if quoted => {}
            b'{' | b'[' => {
                depth += 1;
                if depth > MAX_DEPTH {
                    return Some(at);
                }
            }
            b'}' | b']' => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    None
}

/// Goes through a value and keeps nothing; an error when a member is given twice.
struct Unique;

impl<'de> DeserializeSeed<'de> for Unique {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<(), D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Unique {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_bool<E>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E>(self, _: i64) -> Result<(), E> {
        Ok(())
    }

    fn visit_u64<E>(self, _: u64) -> Result<(), E> {
        Ok(())
    }

    fn visit_f64<E>(self, _: f64) -> Result<(), E> {
        Ok(())
    }

    fn visit_str<E>(self, _: &str) -> Result<(), E> {
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while list.next_element_seed(Unique)?.is_some() {}
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let mut few: Vec<String> = Vec::new();
        let mut many: HashSet<String> = HashSet::new();
        while let Some(key) = map.next_key::<String>()? {
            if few.contains(&key) || many.contains(&key) {
                return Err(A::Error::custom(format!("\"{}\" is given twice", fit::cut(&key, 60))));
            }
            if few.len() < FEW {
                few.push(key);
            } else {
                many.insert(key);
            }
            map.next_value_seed(Unique)?;
        }
        Ok(())
    }
}

/// The document as a value.
///
/// # Errors
/// As [`parse`].
pub fn value(text: &str) -> Result<Value, JsonError> {
    parse(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn members_given_twice_are_refused_at_their_place_at_any_depth() {
        let refused = |text: &str| {
            let broken = value(text).unwrap_err();
            (broken.line, broken.column, broken.what)
        };
        assert_eq!(refused("{\"a\": 1,\n \"a\": 2}"), (2, 4, "\"a\" is given twice".to_owned()));
        assert_eq!(refused("[{\"x\": [{\"b\": 1, \"\\u0062\": 2}]}]").2, "\"b\" is given twice");
        let many: String = (0..40).map(|i| format!("\"k{i}\":0,")).collect();
        assert_eq!(refused(&format!("{{{many}\"k39\":1}}")).2, "\"k39\" is given twice");
        assert!(value("{\"a\": {\"a\": [{\"a\": 1}, {\"a\": 2}]}}").is_ok());
    }

    #[test]
    fn depth_and_syntax() {
        let nested = |depth: usize| "[".repeat(depth) + &"]".repeat(depth);
        assert!(value(&nested(MAX_DEPTH)).is_ok());
        let broken = value(&nested(MAX_DEPTH + 1)).unwrap_err();
        assert_eq!((broken.line, broken.column), (1, MAX_DEPTH + 1));
        assert!(value(&"[".repeat(1 << 20)).is_err());
        assert!(value("\"[[[[\\\"[[[\"").is_ok());
        assert!(value("{\"a\":1").unwrap_err().cut_off);
        assert!(value("1 2").unwrap_err().syntax);
        let long = format!("{{\"{}\": 1}}", "x".repeat(1 << 20));
        assert!(parse::<u32>(&long).unwrap_err().what.len() < 500);
    }
}
