//! The schema of documents, from the same tables that reading uses.

use crate::beats::{BEAT_KEYS, MAX_BEATS};
use crate::bodies::schema as body_schemas;
use crate::expect::schema::{
    alarm, alarm_limit, alarm_limits as alarm_limits_schema, alarms_or_readings, limit, limits as limits_schema, line,
    lines as lines_schema, quantity,
};
use crate::field_schema::{ramp_duration, settings};
use crate::keys::EACH;
use crate::limits::{MAX_STEP_S, MAX_STEPS};
use crate::noise::read as noise;
use crate::noise_ratio;
use crate::number::number;
use crate::recording;
use crate::rhythms::schema::schema as rhythm_schema;
use crate::rhythms::word;
use crate::series::MOST_SERIES_BEATS;
use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::script::{MAX_NESTING, MIN_STEP, SHORTEST_RR};
use pulsewright_core::truth::BeatCode;
use serde_json::{Map, Value, json};

/// JSON Schema (2020-12) of script documents.
///
/// The rest is left to [`crate::parse`]: rates that a rhythm allows, pressures in order, repeats nested too
/// deeply, ramps in steps that hold, the length of the whole.
pub fn schema() -> Value {
    let mut schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Pulsewright script",
        "description": "Timed steps of rhythms, breathing and pressures.",
        "type": "object",
        "required": ["version", "steps"],
        "additionalProperties": false,
        "properties": {
            "version": {"const": 1},
            "title": line("Its title."),
            "notes": {"type": "string", "description": "Remarks for the reader; JSON has no comments."},
            "seed": {
                "type": "integer", "minimum": 0, "maximum": u64::MAX, "default": 0,
                "description": "Seed of everything left to chance."
            },
            "asset_class": line("The kind of equipment that it checks."),
            "kit": lines_schema("Kit to take out before and bring back after."),
            "cautions": lines_schema("Dangers to people and things."),
            "prepare": lines_schema("Preparations before the first step."),
            "limits": limits_schema(),
            "alarm_limits": alarm_limits_schema(),
            "bodies": {
                "type": "object",
                "description": "Bodies of one's own, each under its word: a document, or the name of a file beside the script that holds one.",
                "maxProperties": body_schemas::MOST,
                "propertyNames": {"pattern": word::PATTERN},
                "additionalProperties": {"anyOf": [{"$ref": "#/$defs/body"}, {"type": "string", "minLength": 1}]}
            },
            "rhythms": {
                "type": "object",
                "description": "Rhythms of one's own, each under its word: a document, or the name of a file beside the script that holds one.",
                "maxProperties": word::MOST,
                "propertyNames": {"pattern": word::PATTERN},
                "additionalProperties": {"anyOf": [{"$ref": "#/$defs/rhythm"}, {"type": "string", "minLength": 1}]}
            },
            "steps": {"$ref": "#/$defs/steps"}
        },
        "$defs": {
            "alarm": alarm(),
            "alarm_limit": alarm_limit(),
            "limit": limit(),
            "quantity": quantity(),
            "ramp_duration": ramp_duration(),
            "rhythm": rhythm_schema(),
            "series": series(),
            "steps": {
                "type": "array", "minItems": 1, "maxItems": MAX_STEPS,
                "items": {
                    "if": {"required": ["repeat"]},
                    "then": {"$ref": "#/$defs/repeat"},
                    "else": {"$ref": "#/$defs/step"}
                }
            },
            "repeat": {
                "type": "object",
                "description": format!("Plays steps several times; repeats nest up to {MAX_NESTING} deep."),
                "required": ["repeat", "steps"],
                "additionalProperties": false,
                "properties": {
                    "repeat": {"type": "integer", "minimum": 1, "maximum": u32::MAX, "description": "How often in all."},
                    "steps": {"$ref": "#/$defs/steps"}
                }
            },
            "step": step()
        }
    });
    for (name, own) in body_schemas::named() {
        schema["$defs"][name] = own;
    }
    schema
}

/// The series of a step; which keys go together is left to [`crate::parse`].
fn series() -> Value {
    let times = |least: f32| json!({"type": "array", "minItems": 1, "maxItems": MOST_SERIES_BEATS, "items": {"type": "number", "minimum": number(least)}});
    let letters: String = BeatCode::ALL.iter().map(|code| code.symbol()).chain("B?".chars()).collect();
    json!({
        "anyOf": [
            {"type": "string", "minLength": 1, "description": "A table with a header line (csv, tsv, txt, json) or an annotation file."},
            {
                "type": "object",
                "additionalProperties": false,
                "properties": {
                    "rr_s": times(SHORTEST_RR.as_secs()),
                    "at_s": times(0.0),
                    "codes": {"type": "string", "pattern": format!("^[{letters}]+$"), "description": "A letter for each beat; N for all without."},
                    "length_s": {"type": "number", "minimum": 0, "description": "Beside at_s: the list begins again after this time."},
                    "file": {"type": "string", "minLength": 1},
                    "hz": {"type": "number", "minimum": 1, "maximum": 1_000_000, "description": "Frame rate of an annotation file that has no header beside it."}
                },
                "oneOf": [{"required": ["rr_s"]}, {"required": ["at_s"]}, {"required": ["file"]}]
            }
        ]
    })
}

/// The recording of a step; which keys go together is left to [`crate::parse`].
fn recording() -> Value {
    let time = |what: &str| json!({"type": "number", "minimum": 0, "maximum": MAX_STEP_S as u64, "description": what});
    let leads = Lead::INDEPENDENT.map(|lead| (Channel::Lead(lead).id().to_owned(), json!({"type": "string"})));
    json!({
        "description": "An open recording whose leads the step plays in the place of drawn waves, with its annotated beats as truth.",
        "anyOf": [
            {"type": "string", "minLength": 1, "description": "The header (.hea) of a waveform-database record, or an .edf, .csv or .wav file, beside the script."},
            {
                "type": "object",
                "required": ["file"],
                "additionalProperties": false,
                "properties": {
                    "file": {"type": "string", "minLength": 1, "description": "The header (.hea) of a waveform-database record, or an .edf, .csv or .wav file, beside the script."},
                    "scale_mv": {"type": "number", "minimum": recording::SCALES_MV.start(), "maximum": recording::SCALES_MV.end(), "description": "mV of 1 in a CSV file, or of a stored number of a WAV file."},
                    "leads": {
                        "type": "object",
                        "description": "Leads, each with the name of its channel in the recording; without it, channels that are called after a lead.",
                        "additionalProperties": false,
                        "minProperties": 1,
                        "properties": Value::Object(leads.into_iter().collect())
                    },
                    "beats": {
                        "description": "The beats of the whole recording; without it, the annotation file (.atr) of its name.",
                        "$ref": "#/$defs/series"
                    },
                    "start_s": time("Where in the recording the stretch begins."),
                    "end_s": time("Where it ends; without it, the end of the recording."),
                    "loop": {
                        "description": "Whether the stretch begins again after its end: not at all, as it is, or cut on beats.",
                        "enum": recording::loop_words()
                    },
                    "passed_s": time("Time of the stretch that is over when the step begins, in logs.")
                }
            }
        ]
    })
}

/// The noise of a step; which keys go together is left to [`crate::parse`].
fn recorded_noise() -> Value {
    let time = |what: &str| json!({"type": "number", "minimum": 0, "maximum": MAX_STEP_S as u64, "description": what});
    json!({
        "description": "Noise of an open recording beside the signal of the step; it does not carry over.",
        "type": "object",
        "required": ["file"],
        "additionalProperties": false,
        "properties": {
            "file": {"type": "string", "minLength": 1, "description": "The header (.hea) of a waveform-database record, or an .edf, .csv or .wav file, beside the script."},
            "channels": {
                "type": "array", "minItems": 1, "maxItems": 2, "uniqueItems": true, "items": {"type": "string"},
                "description": "One or two channels by their names; without it, the first ones that are potentials."
            },
            "snr_db": {"type": "number", "minimum": noise_ratio::RANGE_DB.start(), "maximum": noise_ratio::RANGE_DB.end(), "description": "Ratio of the signal to the noise in lead II."},
            "mv": {"type": "number", "minimum": noise::RANGE_MV.start(), "maximum": noise::RANGE_MV.end(), "description": "RMS of the noise in lead II, in place of the ratio."},
            "start_s": time("Where in the recording the stretch begins."),
            "end_s": time("Where it ends; without it, the end of the recording."),
            "loop": {
                "description": "Whether the stretch begins again at its end.",
                "enum": [noise::ONCE, noise::LOOPS], "default": noise::LOOPS
            },
            "passed_s": time("Time of the stretch that is over when the step begins, in logs.")
        },
        "oneOf": [{"required": ["snr_db"]}, {"required": ["mv"]}]
    })
}

fn step() -> Value {
    let mut properties = Map::new();
    properties.insert("name".into(), line("Name in timelines and in the truth."));
    properties.insert(
        "duration_s".into(),
        json!({
            "description": "Seconds, or \"hold\": until a command to go on, or the end of the render.",
            "anyOf": [
                {"type": "number", "minimum": number(MIN_STEP.as_secs()), "maximum": MAX_STEP_S as u64},
                {"const": "hold"}
            ]
        }),
    );
    let rhythms = RHYTHMS.iter().map(|rhythm| {
        let (min, max) = rhythm.allowed_bpm(ADULT.resting_bpm, rhythm.usual_ratio());
        json!({"const": rhythm.id, "title": rhythm.name, "description": format!("{min} to {max} bpm.")})
    });
    let each = json!({"const": EACH, "title": "Every rhythm in turn, each at its usual rate for duration_s"});
    let rhythms: Vec<Value> = rhythms.chain([each]).collect();
    properties.insert(
        "rhythm".into(),
        json!({
            "description": "The heart's rhythm, of the catalogue or of \"rhythms\"; sets its usual rate.",
            "anyOf": [{"oneOf": rhythms}, {"type": "string", "pattern": word::PATTERN}]
        }),
    );
    let bodies: Vec<Value> = BODIES.iter().map(|body| json!({"const": body.id, "title": body.name})).collect();
    properties.insert(
        "body".into(),
        json!({
            "description": "The patient, of the catalogue or of \"bodies\"; sets the body's resting values.",
            "anyOf": [{"oneOf": bodies}, {"type": "string", "pattern": word::PATTERN}]
        }),
    );
    let sites: Vec<&str> = EctopicSite::ALL.iter().map(|site| site.id()).collect();
    properties.insert(
        "beats".into(),
        json!({
            "description": "Premature beats at these times after the start of the step.",
            "type": "array",
            "maxItems": MAX_BEATS,
            "items": {
                "type": "object",
                "required": BEAT_KEYS,
                "additionalProperties": false,
                "properties": {"at_s": {"type": "number", "minimum": 0}, "site": {"enum": sites}}
            }
        }),
    );
    properties.insert(
        "series".into(),
        json!({
            "description": "Every beat of the step, in the place of those of its rhythm: intervals, times, or a file beside the script.",
            "$ref": "#/$defs/series"
        }),
    );
    properties.insert("recording".into(), recording());
    properties.insert("noise".into(), recorded_noise());
    properties.insert("expect".into(), alarms_or_readings());
    properties.insert("cautions".into(), lines_schema("Dangers to people and things in this step."));
    properties.insert("prepare".into(), lines_schema("Preparations before the step."));
    properties.extend(settings());
    json!({
        "type": "object",
        "description": "Names what changes; everything else carries over from the step before.",
        "required": ["duration_s"],
        "additionalProperties": false,
        "properties": properties
    })
}
