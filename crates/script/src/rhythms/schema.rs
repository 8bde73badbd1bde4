//! The schema of a rhythm's document.

use super::read::can_bring;
use super::word::{PATTERN, groups};
use crate::expect::schema::line;
use crate::field_schema::brought;
use crate::number::number;
use crate::units;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::parameter::Parameter;
use serde_json::{Map, Value, json};

/// Schema of one document.
pub(crate) fn schema() -> Value {
    let mut properties = Map::new();
    properties.insert("version".into(), json!({"const": 1}));
    let extends: Vec<Value> = RHYTHMS.iter().map(|rhythm| json!({"const": rhythm.id, "title": rhythm.name})).collect();
    properties.insert(
        "extends".into(),
        json!({
            "description": "The rhythm that this one differs from where it says so: of the catalogue, or one above it; sinus rhythm without.",
            "anyOf": [{"oneOf": extends}, {"type": "string", "pattern": PATTERN}]
        }),
    );
    properties.insert("name".into(), line("As printed; the word without."));
    properties.insert(
        "settings".into(),
        json!({
            "type": "object",
            "description": "Settings of a step that choosing the rhythm sets, as an adult has them.",
            "additionalProperties": false,
            "properties": brought(&can_bring)
        }),
    );
    for parameter in Parameter::ALL {
        let path = parameter.info().path;
        if !path.contains('.') {
            properties.insert(path.into(), one(*parameter));
        }
    }
    for name in groups() {
        let inside = |parameter: &&Parameter| parameter.info().path.split('.').next() == Some(name);
        let below = |parameter: &Parameter| {
            let key = parameter.info().path.rsplit('.').next().unwrap_or_default();
            (key.to_owned(), one(*parameter))
        };
        let below: Map<String, Value> = Parameter::ALL.iter().filter(inside).map(below).collect();
        properties.insert(name.into(), json!({"type": "object", "additionalProperties": false, "properties": below}));
    }
    json!({
        "type": "object",
        "description": "A rhythm of one's own: the parameters in which it differs from the one that it extends.",
        "additionalProperties": false,
        "properties": properties
    })
}

fn one(parameter: Parameter) -> Value {
    let info = parameter.info();
    if !info.words.is_empty() {
        return json!({"description": info.doc, "enum": info.words});
    }
    let kind = if info.whole { "integer" } else { "number" };
    let unit = units::after_number(info.unit);
    json!({
        "description": format!("{} Allowed: {} to {}{unit}.", info.doc, info.min, info.max),
        "type": kind, "minimum": number(info.min), "maximum": number(info.max)
    })
}
