//! The script to play: the file that an argument names, or one step made of flags.

use crate::args::Patient;
use crate::diagnostics::Failure;
use crate::script_file;
use pulsewright_core::body::ADULT;
use pulsewright_core::settings::Field;
use pulsewright_script::{Document, OneStep};
use std::path::Path;

/// The script at `path`; without one, the step that the flags make.
pub fn document(path: Option<&Path>, patient: &Patient) -> Result<Document, Failure> {
    match path {
        Some(path) => script_file::load(path),
        None => one_step(patient),
    }
}

fn one_step(patient: &Patient) -> Result<Document, Failure> {
    if let (Some(rhythm), Some(rate)) = (patient.rhythm, patient.rate) {
        let (min, max) = rhythm.allowed_bpm(patient.body.unwrap_or(&ADULT).resting_bpm, rhythm.usual_ratio());
        if !(min..=max).contains(&rate) {
            let name = rhythm.name.to_lowercase();
            return Err(Failure::input(format!("--rate {rate}: {name} allows {min} to {max} bpm")));
        }
    }
    let mut values = Vec::new();
    let mut set = |field: Field, value: Option<f32>| values.extend(value.map(|value| (field.info().path, value)));
    set(Field::RateBpm, patient.rate);
    set(Field::ArterialSystolic, patient.pressure.map(|pressure| pressure.0));
    set(Field::ArterialDiastolic, patient.pressure.map(|pressure| pressure.1));
    set(Field::BreathsPerMin, patient.breaths);
    for (field, value) in &patient.set {
        set(*field, Some(*value));
    }
    let step = OneStep {
        rhythm: patient.rhythm.map(|rhythm| rhythm.id),
        body: patient.body.map(|body| body.id),
        values: &values,
        ..OneStep::default()
    };
    step.document("command line").map_err(|problems| Failure::Script(Box::new(problems)))
}
