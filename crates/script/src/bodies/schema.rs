//! The schema of a body's document.

use super::schema_parts::{ranged, shapes};
use super::{residuals, word};
use crate::expect::schema::line;
use crate::field_schema::brought;
use crate::number::number;
use crate::rhythms::word::PATTERN;
use pulsewright_core::body::{Age, BODIES, RESTING_BPM};
use pulsewright_core::internal::ecg::{
    FALL_MS, HOLD_MS, MOST_P_WAVES, MOST_QRS_WAVES, MV, P_AT_MS, QRS_AT_MS, QRS_MS, QT_MS, T_AT_MS,
};
use serde_json::{Value, json};
use std::ops::RangeInclusive;

pub(crate) use super::word::MOST;

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
            "xyz_mv": {"$ref": "#/$defs/xyz_mv"}
        }
    })
}

/// Schemas that a body's document refers to by name, and its own.
pub(crate) fn named() -> impl Iterator<Item = (String, Value)> {
    let peak = json!({
        "description": "Peak on X (left), Y (down) and Z (back) of the heart vector, mV.",
        "type": "array", "minItems": 3, "maxItems": 3,
        "items": {"type": "number", "minimum": number(*MV.start()), "maximum": number(*MV.end())}
    });
    let own = [
        ("body", body()),
        ("complex", complex()),
        ("p_wave", p_wave()),
        ("t_wave", wave(&T_AT_MS, "the end of the QRS")),
        ("xyz_mv", peak),
    ];
    own.into_iter().chain(residuals::named()).map(|(name, schema)| (name.to_owned(), schema))
}

/// Schema of a complex.
fn complex() -> Value {
    let t = |doc: &str| json!({"description": doc, "$ref": "#/$defs/t_wave"});
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
            "tail": t("The wave after T.")
        }
    })
}

/// Schema of a P wave.
fn p_wave() -> Value {
    json!({
        "type": "array", "minItems": 1, "maxItems": MOST_P_WAVES, "items": wave(&P_AT_MS, "P onset")
    })
}

/// Schema of one document.
fn body() -> Value {
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
                "properties": brought(&word::brings)
            },
            "complexes": shapes("QRS and T of each way to activate the ventricles.", word::complexes(), "#/$defs/complex"),
            "p_waves": shapes("P of each place where the atria are activated.", word::p_waves(), "#/$defs/p_wave"),
            "residuals": residuals::schema()
        }
    })
}
