//! The schema of rig descriptions, from the same table that reading uses.

use crate::description::{TERMINALS, bridge_channels};
use crate::quantities::{
    ATTENUATION, BASE, BITS, CORNER, CORRECTION_OFFSET, COUPLING, EXCITATION, GAIN, HIGH, LOAD, LOW, OFFSET, OHM_PER_V,
    ORDERS, Quantity, SENSITIVITY, SOURCE,
};
use crate::read::{CODINGS, MAX_OUTPUTS, POLARITIES, REFERENCES};
use crate::table::coding_word;
use serde_json::{Map, Value, json};

fn number(quantity: &Quantity) -> Value {
    let Quantity { range, unit, doc, .. } = quantity;
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}.") };
    json!({"type": "number", "minimum": range.start(), "maximum": range.end(), "description": format!("{doc}{unit}")})
}

fn properties(quantities: &[&Quantity]) -> Map<String, Value> {
    quantities.iter().map(|quantity| (quantity.key.to_owned(), number(quantity))).collect()
}

/// An output whose signal is one of `words` under `key`.
fn output(key: &str, words: Value, needed: &[&Quantity], more: &[&Quantity]) -> Value {
    let mut all = Map::new();
    all.insert(key.to_owned(), words);
    all.extend(properties(needed));
    all.extend(properties(more));
    all.extend(properties(&[&LOW, &HIGH]));
    all.insert("polarity".into(), json!({"enum": POLARITIES, "default": POLARITIES[0]}));
    all.insert("correction".into(), json!({"$ref": "#/$defs/correction"}));
    all.insert("calibrations".into(), json!({"$ref": "#/$defs/calibrations"}));
    let required: Vec<&str> = [key].into_iter().chain(needed.iter().map(|quantity| quantity.key)).collect();
    json!({"type": "object", "required": required, "additionalProperties": false, "properties": all})
}

/// The bridge of a pressure.
fn bridge(words: Value) -> Value {
    let mut output = output("pressure", words, &[&ATTENUATION, &SENSITIVITY, &EXCITATION], &[&OFFSET, &SOURCE, &LOAD]);
    output["properties"]["reference"] = json!({
        "enum": REFERENCES, "default": REFERENCES[0],
        "description": "Reference of the converter; with \"excitation\" its range is the monitor's excitation either way, and there is no low_v and high_v."
    });
    output
}

/// JSON Schema (2020-12) of rig descriptions.
///
/// [`crate::read::parse`] checks two more rules: no output stands twice, and low lies below high.
pub fn schema() -> Value {
    let labels: Vec<&str> = TERMINALS.iter().flat_map(|row| [row.0, row.1]).collect();
    let pressures: Vec<&str> = bridge_channels().map(|channel| channel.id()).collect();
    let drive = [&SOURCE, &LOAD];
    let filter = properties(&[&CORNER]);
    let corner = filter.get("corner_hz").cloned().unwrap_or_default();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Pulsewright rig",
        "description": "Converters of a test bench and what stands behind them. Never to a person, nor to equipment connected to one.",
        "type": "object",
        "required": ["version", "converter", "outputs"],
        "additionalProperties": false,
        "properties": {
            "version": {"const": 1},
            "title": {"type": "string", "maxLength": 200},
            "notes": {"type": "string"},
            "converter": {
                "type": "object",
                "required": ["bits", "low_v", "high_v", "coding"],
                "additionalProperties": false,
                "properties": {
                    "bits": {"type": "integer", "minimum": BITS.start(), "maximum": BITS.end(), "description": "Bits of a code."},
                    "low_v": number(&LOW),
                    "high_v": number(&HIGH),
                    "coding": {"enum": CODINGS.map(coding_word)}
                }
            },
            "filter": {
                "type": "object",
                "description": "Low-pass filter behind every converter.",
                "required": ["corner_hz", "order"],
                "additionalProperties": false,
                "properties": {
                    "corner_hz": corner,
                    "order": {"type": "integer", "minimum": ORDERS.start(), "maximum": ORDERS.end()}
                }
            },
            COUPLING.key: number(&COUPLING),
            "outputs": {
                "type": "array", "minItems": 1, "maxItems": MAX_OUTPUTS,
                "description": "In the order of the codes in a frame.",
                "items": {"oneOf": [
                    output("electrode", json!({"enum": labels, "description": "AHA or IEC label; RL (N) is the reference."}), &[&ATTENUATION], &drive),
                    bridge(json!({"enum": pressures})),
                    output("respiration", json!({"const": "resistor"}), &[&BASE, &OHM_PER_V], &[])
                ]}
            }
        },
        "$defs": {
            "correction": {
                "type": "object",
                "description": "The result of a two-point measurement: measured = gain * nominal + offset.",
                "additionalProperties": false,
                "properties": properties(&[&GAIN, &CORRECTION_OFFSET])
            },
            "calibrations": {
                "type": "array",
                "description": "Measurements, the latest last; written by `pulsewright calibrate`, read by people."
            }
        }
    })
}
