//! Parts of the schema of a body's document.

use crate::number::number;
use serde_json::{Map, Value, json};
use std::ops::RangeInclusive;

/// A number within a range.
pub(super) fn ranged(doc: &str, range: &RangeInclusive<f32>, unit: &str) -> Value {
    let (min, max) = (*range.start(), *range.end());
    json!({
        "description": format!("{doc} Allowed: {min} to {max} {unit}."),
        "type": "number", "minimum": number(min), "maximum": number(max)
    })
}

/// Shapes, each under one of `words`: what the schema has at the pointer `at`.
pub(super) fn shapes(doc: &str, words: &[&str], at: &str) -> Value {
    let properties: Map<String, Value> = words.iter().map(|word| ((*word).to_owned(), json!({"$ref": at}))).collect();
    json!({"type": "object", "description": doc, "additionalProperties": false, "properties": properties})
}
