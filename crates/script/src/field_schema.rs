//! The schema of the fields of a step.

use crate::keys::{self, Branch};
use crate::limits::MAX_STEP_S;
use crate::noise_ratio;
use crate::number::number;
use crate::words::range;
use pulsewright_core::script::MIN_STEP;
use pulsewright_core::settings::{Field, FieldInfo, FieldKind};
use serde_json::{Map, Value, json};

/// Where the schema has the keys of a step.
const STEP: &str = "#/$defs/step/properties";

/// Properties of the keys of a step that are settings.
pub(crate) fn settings() -> Map<String, Value> {
    group("", STEP)
}

/// Properties of the settings that another document brings, those that `keep` keeps: the numbers of a step, never a ramp.
pub(crate) fn brought(keep: &dyn Fn(Field) -> bool) -> Map<String, Value> {
    brought_group("", STEP, keep)
}

/// The duration of a ramp.
pub(crate) fn ramp_duration() -> Value {
    json!({
        "type": "number", "minimum": number(MIN_STEP.as_secs()), "maximum": MAX_STEP_S as u64,
        "description": "How long the ramp takes, if not the whole step."
    })
}

/// Properties of the keys below `group`, which the schema has at the pointer `at`.
fn group(group: &str, at: &str) -> Map<String, Value> {
    let property = |child: keys::Child| {
        let at = format!("{at}/{}", child.key);
        let property = match child.what {
            Branch::Field(field) => field_schema(field, &at),
            Branch::Group(below) => object(self::group(below, &format!("{at}/properties"))),
        };
        (child.key.to_owned(), property)
    };
    keys::children(group).into_iter().map(property).chain(ratios(group)).collect()
}

fn brought_group(group: &str, at: &str, keep: &dyn Fn(Field) -> bool) -> Map<String, Value> {
    let property = |child: keys::Child| {
        let at = format!("{at}/{}", child.key);
        let property = match child.what {
            Branch::Field(field) if !keep(field) => return None,
            Branch::Field(field) if field.info().ramps => json!({"$ref": number_of_ramp(&at)}),
            Branch::Field(_) => json!({"$ref": at}),
            Branch::Group(below) => {
                let below = brought_group(below, &format!("{at}/properties"), keep);
                if below.is_empty() {
                    return None;
                }
                object(below)
            }
        };
        Some((child.key.to_owned(), property))
    };
    keys::children(group).into_iter().filter_map(property).collect()
}

fn object(properties: Map<String, Value>) -> Value {
    json!({"type": "object", "additionalProperties": false, "properties": properties})
}

/// The pointer to the number of a setting that can ramp: the first of two, beside the ramp.
fn number_of_ramp(at: &str) -> String {
    format!("{at}/anyOf/0")
}

/// Properties of the ratios below `group`.
fn ratios(group: &str) -> impl Iterator<Item = (String, Value)> {
    noise_ratio::RATIOS.into_iter().filter_map(move |(path, field)| {
        let key = path.strip_prefix(group).filter(|key| !group.is_empty() && !key.contains('.'))?;
        let what = field.info().path;
        let description = format!(
            "In the place of {what}: ratio of the QRS in lead II to this artefact, as the noise stress test has it."
        );
        let (least, most) = (*noise_ratio::RANGE_DB.start(), *noise_ratio::RANGE_DB.end());
        Some((key.to_owned(), json!({"description": description, "type": "number", "minimum": least, "maximum": most})))
    })
}

/// The schema of a setting at the pointer `at`.
fn field_schema(field: Field, at: &str) -> Value {
    let info: &FieldInfo = field.info();
    let description = format!("{} Allowed: {}.", info.doc, range(info));
    if !info.words().is_empty() {
        return json!({"description": info.doc, "enum": info.words()});
    }
    let number = match info.kind {
        FieldKind::Switch => json!({"enum": [0, 1]}),
        FieldKind::Count => json!({"type": "integer", "minimum": number(info.min), "maximum": number(info.max)}),
        _ => json!({"type": "number", "minimum": number(info.min), "maximum": number(info.max)}),
    };
    if !info.ramps {
        let mut number = number;
        number["description"] = description.into();
        return number;
    }
    json!({
        "description": format!("{description} A number, or a ramp over the step."),
        "anyOf": [
            number,
            {
                "type": "object", "required": ["to"], "additionalProperties": false,
                "properties": {
                    "from": {"$ref": number_of_ramp(at)},
                    "to": {"$ref": number_of_ramp(at)},
                    "over_s": {"$ref": "#/$defs/ramp_duration"}
                }
            }
        ]
    })
}
