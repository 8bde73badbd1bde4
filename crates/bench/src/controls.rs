//! The controls that a view offers: which fields, in which groups, and the size of a step.

use pulsewright_core::settings::{Field, Settings};
use pulsewright_script::units;
use serde_json::{Value, json};

/// A control.
struct Control {
    field: Field,
    label: &'static str,
    /// Change by one press of its buttons.
    step: f32,
}

const fn control(field: Field, label: &'static str, step: f32) -> Control {
    Control { field, label, step }
}

/// Groups of controls, the first ones the most used.
static GROUPS: &[(&str, &[Control])] = &[
    ("Heart", &[control(Field::RateBpm, "Heart rate", 5.0), control(Field::EcgGain, "ECG amplitude, factor", 0.1)]),
    (
        "Pressures",
        &[
            control(Field::ArterialSystolic, "Arterial systolic", 5.0),
            control(Field::ArterialDiastolic, "Arterial diastolic", 5.0),
            control(Field::VenousMean, "Central venous, mean", 1.0),
            control(Field::PulmonarySystolic, "Pulmonary systolic", 1.0),
            control(Field::PulmonaryDiastolic, "Pulmonary diastolic", 1.0),
        ],
    ),
    (
        "Breathing",
        &[
            control(Field::BreathsPerMin, "Breathing rate", 2.0),
            control(Field::BreathDepthOhm, "Depth of a breath", 0.1),
        ],
    ),
    (
        "Noise",
        &[
            control(Field::MainsMv, "Mains hum", 0.1),
            control(Field::MuscleMv, "Muscle noise", 0.1),
            control(Field::WanderMv, "Baseline wander", 0.1),
            control(Field::MotionMv, "Motion", 0.1),
        ],
    ),
    (
        "Pacing",
        &[control(Field::PacingMv, "Pulse height in lead II", 1.0), control(Field::PacingMs, "Pulse width", 0.1)],
    ),
];

/// The controls as a view takes them.
pub fn list() -> Value {
    let groups = GROUPS.iter().map(|(name, controls)| {
        let controls: Vec<Value> = controls
            .iter()
            .map(|control| {
                let info = control.field.info();
                let unit = units::shown(info.unit);
                json!({
                    "field": info.path, "label": control.label, "unit": unit, "step": plain(control.step),
                    "min": plain(info.min), "max": plain(info.max), "doc": info.doc,
                })
            })
            .collect();
        json!({"name": name, "controls": controls})
    });
    groups.collect()
}

/// The value of every control, with the limits that the rhythm sets now; without a value where the rhythm has no such thing.
pub fn values(settings: &Settings) -> Value {
    let controls = GROUPS.iter().flat_map(|(_, controls)| *controls);
    let of = |control: &Control| {
        let field = control.field;
        let value = plain(settings.get(field));
        let state = match field {
            Field::RateBpm => rate(settings).map_or(
                json!({"value": null}),
                |(min, max)| json!({"value": value, "min": plain(min), "max": plain(max)}),
            ),
            Field::PacingMv | Field::PacingMs if settings.rhythm().pacing.is_none() => json!({"value": null}),
            _ => json!({"value": value}),
        };
        (field.info().path.to_owned(), state)
    };
    controls.map(of).collect()
}

/// Rates that the rhythm allows, bpm; `None` for one without beats.
pub fn rate(settings: &Settings) -> Option<(f32, f32)> {
    let rhythm = settings.rhythm();
    let ratio = settings.get(Field::AvRatio);
    rhythm.beats().then(|| rhythm.allowed_bpm(settings.body().resting_bpm, ratio))
}

/// A number as short as its `f32` prints.
pub fn plain(value: f32) -> Value {
    value.to_string().parse::<f64>().map_or(Value::Null, Value::from)
}
