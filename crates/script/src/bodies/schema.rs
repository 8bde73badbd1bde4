//! The schema of a body's document.

use super::{residuals, word};
use crate::expect::schema::line;
use crate::keys::{self, Branch};
use crate::number::number;
use crate::rhythms::word::PATTERN;
use pulsewright_core::body::{Age, BODIES, RESTING_BPM};
use pulsewright_core::internal::ecg::{
    FALL_MS, HOLD_MS, MOST_P_WAVES, MOST_QRS_WAVES, MV, P_AT_MS, QRS_AT_MS, QRS_MS, QT_MS, T_AT_MS,
};
use serde_json::{Map, Value, json};
use std::ops::RangeInclusive;

pub(crate) use super::word::MOST;

/// Schemas of the settings below `group` that a body brings: those of a step, found at the pointer `at`, and never a ramp.
fn brought(group: &str, at: &str) -> Map<String, Value> {
    let property = |child: keys::Child| {
        let at = format!("{at}/{}", child.key);
        let property = match child.what {
            Branch::Field(field) if !word::brings(field) => return None,
            // The first of two is the number, the second the ramp.
            Branch::Field(field) if field.info().ramps => json!({"$ref": format!("{at}/anyOf/0")}),
            Branch::Field(_) => json!({"$ref": at}),
            Branch::Group(below) => {
                let below = brought(below, &format!("{at}/properties"));
                if below.is_empty() {
                    return None;
                }
                json!({"type": "object", "additionalProperties": false, "properties": below})
            }
        };
        Some((child.key.to_owned(), property))
    };
    keys::children(group).into_iter().filter_map(property).collect()
}

fn ranged(doc: &str, range: &RangeInclusive<f32>, unit: &str) -> Value {
    let (min, max) = (*range.start(), *range.end());
    json!({
        "description": format!("{doc} Allowed: {min} to {max} {unit}."),
        "type": "number", "minimum": number(min), "maximum": number(max)
    })
}

/// A wave that starts within a range.
fn wave(at: &RangeInclusive<f32>, from: &str) -> Value {
    json!({
        "type": "object",
        "additionalProperties": false,
        "required": ["at_ms", "rise_ms", "fall_ms", "xyz_mv"],
        "properties": {
            "at_ms": ranged(&format!("Start after {from}."), at, "ms"),
            "rise_ms": ranged("Rise.", &FALL_MS, "ms"),
            "hold_ms": ranged("Plateau; 0 without.", &HOLD_MS, "ms"),
            "fall_ms": ranged("Fall.", &FALL_MS, "ms"),
            "xyz_mv": {
                "description": "Peak on X (left), Y (down) and Z (back) of the heart vector, mV.",
                "type": "array", "minItems": 3, "maxItems": 3,
                "items": {"type": "number", "minimum": number(*MV.start()), "maximum": number(*MV.end())}
            }
        }
    })
}

fn shapes(doc: &str, words: &[&str], one: &Value) -> Value {
    let properties: Map<String, Value> = words.iter().map(|word| ((*word).to_owned(), one.clone())).collect();
    json!({"type": "object", "description": doc, "additionalProperties": false, "properties": properties})
}

/// Schema of a complex.
pub(crate) fn complex() -> Value {
    let t = |doc: &str| {
        let mut wave = wave(&T_AT_MS, "the end of the QRS");
        wave["description"] = doc.into();
        wave
    };
    json!({
        "type": "object",
        "description": "QRS and T of one kind of beat.",
        "additionalProperties": false,
        "properties": {
            "qrs_ms": ranged("QRS duration of the waves.", &QRS_MS, "ms"),
            "qt_ms": ranged("QT interval of the waves.", &QT_MS, "ms"),
            "qrs": {
                "description": "Waves of the QRS.",
                "type": "array", "minItems": 1, "maxItems": MOST_QRS_WAVES, "items": wave(&QRS_AT_MS, "QRS onset")
            },
            "t": t("The T wave."),
            "st": t("The ST segment, under the end of the QRS and the start of T."),
            "tail": t("What follows T.")
        }
    })
}

/// Schema of a P wave.
pub(crate) fn p_wave() -> Value {
    json!({
        "type": "array", "minItems": 1, "maxItems": MOST_P_WAVES, "items": wave(&P_AT_MS, "P onset")
    })
}

/// Schema of one document.
pub(crate) fn schema() -> Value {
    let extends: Vec<Value> = BODIES.iter().map(|body| json!({"const": body.id, "title": body.name})).collect();
    json!({
        "type": "object",
        "description": "A body of one's own: the values and shapes in which it differs from the one that it extends.",
        "additionalProperties": false,
        "properties": {
            "version": {"const": 1},
            "extends": {
                "description": "The body that this one differs from where it says so: of the catalogue, or one above it; the adult without.",
                "anyOf": [{"oneOf": extends}, {"type": "string", "pattern": PATTERN}]
            },
            "name": line("As printed; the word without."),
            "age": {"description": "Whose usual alarm limits a monitor has.", "enum": Age::ALL.map(Age::id)},
            "resting_bpm": ranged("Resting sinus rate.", &RESTING_BPM, "bpm"),
            "settings": {
                "type": "object",
                "description": "Resting values: settings of a step that choosing the body sets.",
                "additionalProperties": false,
                "properties": brought("", "#/$defs/step/properties")
            },
            "complexes": shapes("QRS and T of each way to activate the ventricles.", word::complexes(), &json!({"$ref": "#/$defs/complex"})),
            "p_waves": shapes("P of each place where the atria are activated.", word::p_waves(), &json!({"$ref": "#/$defs/p_wave"})),
            "residuals": residuals::schema(ranged)
        }
    })
}
