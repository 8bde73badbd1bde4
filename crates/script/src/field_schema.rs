//! The schema of the fields of a step.

use crate::keys::{self, Branch};
use crate::limits::MAX_STEP_S;
use crate::number::number;
use crate::words::range;
use pulsewright_core::script::MIN_STEP;
use pulsewright_core::settings::{Field, FieldInfo, FieldKind};
use serde_json::{Map, Value, json};

/// Properties of the keys below `group`.
pub(crate) fn group(group: &str) -> Map<String, Value> {
    let property = |child: keys::Child| match child.what {
        Branch::Field(field) => (child.key.to_owned(), field_schema(field)),
        Branch::Group(below) => {
            let below = json!({"type": "object", "additionalProperties": false, "properties": self::group(below)});
            (child.key.to_owned(), below)
        }
    };
    keys::children(group).into_iter().map(property).collect()
}

fn field_schema(field: Field) -> Value {
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
                    "from": number,
                    "to": number,
                    "over_s": {
                        "type": "number", "minimum": crate::number::number(MIN_STEP.as_secs()), "maximum": MAX_STEP_S as u64,
                        "description": "How long the ramp takes, if not the whole step."
                    }
                }
            }
        ]
    })
}
