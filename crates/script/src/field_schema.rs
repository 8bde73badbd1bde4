//! The schema of the fields of a step.

use crate::keys::{self, Branch};
use crate::limits::MAX_STEP_S;
use crate::noise_ratio;
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
    keys::children(group).into_iter().map(property).chain(ratios(group)).collect()
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
