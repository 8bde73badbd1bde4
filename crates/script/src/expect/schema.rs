//! The schema of expectations, from the tables that reading uses.

use super::quantity::Quantity;
use super::read::{MAX_ENTRIES, PRIORITIES, USUAL};
use super::settings::{OFF, SETTING_KEYS};
use crate::reader::MAX_LINE;
use pulsewright_core::expect::{AlarmKind, AlarmLimit};
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

/// The words of alarms.
pub(crate) fn alarm() -> Value {
    let words: Vec<Value> =
        AlarmKind::ALL.iter().map(|kind| json!({"const": kind.id(), "title": kind.name()})).collect();
    json!({"oneOf": words})
}

/// The words of quantities.
pub(crate) fn quantity() -> Value {
    let words: Vec<Value> = Quantity::ALL
        .iter()
        .map(|quantity| json!({"const": quantity.id(), "title": format!("{}, {}", quantity.name(), quantity.unit())}))
        .collect();
    json!({"oneOf": words})
}

/// A limit of the document.
pub(crate) fn limit() -> Value {
    json!({
        "type": "object", "additionalProperties": false, "minProperties": 2, "required": ["source"],
        "properties": limit_members()
    })
}

/// Limits of the document, by quantity.
pub(crate) fn limits() -> Value {
    let limit = json!({"$ref": "#/$defs/limit"});
    let quantities: Map<String, Value> =
        Quantity::ALL.iter().map(|quantity| (quantity.id().to_owned(), limit.clone())).collect();
    json!({
        "description": "Limits that take the place of the standards' defaults: the maker's, as a rule.",
        "type": "object", "additionalProperties": false, "properties": quantities
    })
}

/// One alarm limit.
pub(crate) fn alarm_limit() -> Value {
    json!({
        "type": "object", "additionalProperties": false, "required": SETTING_KEYS,
        "properties": {
            "value": {"anyOf": [{"type": "number", "minimum": -1000, "maximum": 1000}, {"const": OFF}]},
            "source": line("Where the limit comes from.")
        }
    })
}

/// The alarm limits.
pub(crate) fn alarm_limits() -> Value {
    let one = |limit: &AlarmLimit| {
        let description = format!("{}, {}.", limit.words(), limit.unit());
        (limit.id().to_owned(), json!({"description": description, "$ref": "#/$defs/alarm_limit"}))
    };
    let limits: Map<String, Value> = AlarmLimit::ALL.iter().map(one).collect();
    json!({
        "description": "Limits of the monitor's alarms, where they are not the usual ones.",
        "type": "object", "additionalProperties": false, "properties": limits
    })
}

/// The expectations of a step.
pub(crate) fn alarms_or_readings() -> Value {
    let quantity = json!({"$ref": "#/$defs/quantity"});
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
            "name": line("Its word, or a name of its own; the most urgent alarm that is played when left out."),
            "priority": {"enum": priorities},
            "within_s": {"type": "number", "minimum": 0, "maximum": 3600},
            "source": line("Where the time limit comes from.")
        }
    });
    let word = json!({"$ref": "#/$defs/alarm"});
    let either = |object: Value| json!({"if": {"type": "string"}, "then": word, "else": object});
    let silence = json!({
        "type": "object", "additionalProperties": false, "required": ["name"],
        "properties": {"name": line("Its name.")}
    });
    let clear = json!({
        "type": "object", "additionalProperties": false, "required": ["name"],
        "dependentRequired": {"within_s": ["source"]},
        "properties": {
            "name": word,
            "within_s": {"type": "number", "minimum": 0, "maximum": 3600},
            "source": line("Where the time limit comes from.")
        }
    });
    json!({
        "description": "Readings and alarms that a monitor must give while the step plays.",
        "type": "object", "additionalProperties": false,
        "properties": {
            "readings": {
                "type": "array", "maxItems": MAX_ENTRIES,
                "items": {"if": {"type": "string"}, "then": quantity, "else": reading}
            },
            "alarms": {
                "anyOf": [{"const": USUAL}, {"type": "array", "maxItems": MAX_ENTRIES, "items": either(alarm)}]
            },
            "silent": {
                "description": "Alarms that must not sound.",
                "type": "array", "maxItems": MAX_ENTRIES, "items": either(silence)
            },
            "clears": {
                "description": "Alarms of the step before that must end.",
                "type": "array", "maxItems": MAX_ENTRIES, "items": either(clear)
            },
            "manual": {
                "description": "Checks by hand, for which no signal is played.",
                "type": "array", "maxItems": MAX_ENTRIES, "items": manual_check()
            }
        }
    })
}

/// The schema of a check by hand.
fn manual_check() -> Value {
    let mut members = limit_members();
    members.insert("name".into(), line("The check."));
    members.insert("unit".into(), line("Unit of the number; left out for a check that is in order or not."));
    members.insert("value".into(), json!({"type": "number", "minimum": -1e6, "maximum": 1e6}));
    json!({
        "type": "object", "additionalProperties": false, "required": ["name", "source"],
        "dependentRequired": sourced(), "properties": members
    })
}

/// Text that fits a line of a table.
pub(crate) fn line(description: &str) -> Value {
    let pattern = "^[^\\u0000-\\u001f\\u007f-\\u009f]*$";
    json!({"type": "string", "maxLength": MAX_LINE, "pattern": pattern, "description": description})
}
