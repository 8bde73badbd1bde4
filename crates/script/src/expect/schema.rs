//! The schema of what documents expect, from the same tables that reading uses.

use super::Quantity;
use super::read::{MAX_ENTRIES, PRIORITIES, USUAL};
use crate::schema::line;
use serde_json::{Map, Value, json};

/// A list of lines.
pub(crate) fn lines(description: &str) -> Value {
    json!({"type": "array", "maxItems": MAX_ENTRIES, "description": description, "items": line("A line.")})
}

/// The members of a limit.
fn limit_members() -> Map<String, Value> {
    let tolerance = json!({"type": "number", "minimum": 0, "maximum": 1e6});
    let bound = json!({"type": "number", "minimum": -1e6, "maximum": 1e6});
    let mut members = Map::new();
    members.insert("tolerance".into(), tolerance.clone());
    members.insert("tolerance_percent".into(), tolerance);
    members.insert("min".into(), bound.clone());
    members.insert("max".into(), bound);
    members.insert("source".into(), line("Where the limit comes from."));
    members
}

/// A limit names its source.
fn sourced() -> Value {
    let source = json!(["source"]);
    json!({"tolerance": source, "tolerance_percent": source, "min": source, "max": source})
}

/// Limits of the document, by quantity.
pub(crate) fn limits() -> Value {
    let limit = json!({
        "type": "object", "additionalProperties": false, "minProperties": 2, "required": ["source"],
        "properties": limit_members()
    });
    let quantities: Map<String, Value> =
        Quantity::ALL.iter().map(|quantity| (quantity.id().to_owned(), limit.clone())).collect();
    json!({
        "description": "Limits that take the place of the standards' defaults: the maker's, as a rule.",
        "type": "object", "additionalProperties": false, "properties": quantities
    })
}

/// What a step expects.
pub(crate) fn alarms_or_readings() -> Value {
    let quantities: Vec<Value> = Quantity::ALL
        .iter()
        .map(|quantity| json!({"const": quantity.id(), "title": format!("{}, {}", quantity.name(), quantity.unit())}))
        .collect();
    let quantity = json!({"oneOf": quantities});
    let mut members = limit_members();
    members.insert("quantity".into(), quantity.clone());
    members.insert("value".into(), json!({"type": "number", "minimum": -1e6, "maximum": 1e6}));
    let reading = json!({
        "type": "object", "additionalProperties": false, "required": ["quantity"],
        "dependentRequired": sourced(), "properties": members
    });
    let priorities: Vec<&str> = PRIORITIES.iter().map(|priority| priority.id()).collect();
    let alarm = json!({
        "type": "object", "additionalProperties": false, "dependentRequired": {"within_s": ["source"]},
        "properties": {
            "name": line("What to call it; the rhythm's name when left out."),
            "priority": {"enum": priorities},
            "within_s": {"type": "number", "minimum": 0, "maximum": 3600},
            "source": line("Where the time limit comes from.")
        }
    });
    json!({
        "description": "What a monitor must show and sound while the step plays.",
        "type": "object", "additionalProperties": false,
        "properties": {
            "readings": {
                "type": "array", "maxItems": MAX_ENTRIES,
                "items": {"if": {"type": "string"}, "then": quantity, "else": reading}
            },
            "alarms": {
                "anyOf": [{"const": USUAL}, {"type": "array", "maxItems": MAX_ENTRIES, "items": alarm}]
            }
        }
    })
}
