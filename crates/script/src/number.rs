//! Numbers as JSON, and values at dotted paths.

use serde_json::{Map, Value};

/// Puts `value` below a dotted path.
pub(crate) fn insert(object: &mut Map<String, Value>, path: &str, value: Value) {
    match path.split_once('.') {
        None => {
            object.insert(path.to_owned(), value);
        }
        Some((group, rest)) => {
            let group = object.entry(group).or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(group) = group {
                insert(group, rest, value);
            }
        }
    }
}

/// The shortest decimal that reads back as this value.
pub(crate) fn number(value: f32) -> Value {
    shortest(&value.to_string())
}

/// A decimal as a number; a whole one without a point.
pub(crate) fn shortest(decimal: &str) -> Value {
    match (decimal.parse::<u64>(), decimal.parse::<f64>()) {
        (Ok(whole), _) => whole.into(),
        (_, Ok(value)) => value.into(),
        _ => Value::Null,
    }
}
