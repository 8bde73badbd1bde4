//! Flags that choose the script, or make one step.

use super::values;
use crate::diagnostics::VerbFailure;
use crate::source::{ScriptSource, SeededScript, SingleStep};
use clap::Args;
use pulsewright_core::body::{ADULT, Body};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use std::path::PathBuf;

/// One step without a script.
#[derive(Args)]
#[group(id = "patient", multiple = true, conflicts_with = "script")]
pub struct StepFlags {
    /// Rhythm; `pulsewright catalog rhythms` lists them.
    #[arg(long, value_name = "WORD", value_parser = values::rhythm, help_heading = "Without a script")]
    rhythm: Option<&'static Rhythm>,

    /// Body; `pulsewright catalog bodies` lists them.
    #[arg(long, value_name = "WORD", value_parser = values::body, help_heading = "Without a script")]
    body: Option<&'static Body>,

    /// Mean ventricular rate, bpm.
    #[arg(long, value_name = "BPM", value_parser = values::rate, help_heading = "Without a script")]
    rate: Option<f32>,

    /// Arterial pressure, systolic/diastolic in mmHg.
    #[arg(long, value_name = "120/80", value_parser = values::pressure, help_heading = "Without a script")]
    pressure: Option<(f32, f32)>,

    /// Breaths a minute; 0 is apnoea.
    #[arg(long, value_name = "PER_MIN", value_parser = values::breaths, help_heading = "Without a script")]
    breaths: Option<f32>,

    /// Any other setting, as ecg.gain=2; `pulsewright catalog fields` lists them. May be given several times.
    #[arg(long, value_name = "FIELD=VALUE", value_parser = values::setting, help_heading = "Without a script")]
    set: Vec<(Field, f32)>,
}

impl StepFlags {
    /// The script at `script`; without one, the step that these flags make.
    pub fn source(self, script: Option<PathBuf>, seed: Option<u64>) -> Result<SeededScript, VerbFailure> {
        let played = match script {
            Some(path) => ScriptSource::Script(path),
            None => ScriptSource::Step(self.step()?),
        };
        Ok(SeededScript { played, seed })
    }

    fn step(self) -> Result<SingleStep, VerbFailure> {
        if let (Some(rhythm), Some(rate)) = (self.rhythm, self.rate) {
            let (min, max) = rhythm.allowed_bpm(self.body.unwrap_or(&ADULT).resting_bpm, rhythm.usual_ratio());
            if !(min..=max).contains(&rate) {
                let name = rhythm.name.to_lowercase();
                return Err(VerbFailure::input(format!("--rate {rate}: {name} allows {min} to {max} bpm")));
            }
        }
        let flags = [
            (Field::RateBpm, self.rate),
            (Field::ArterialSystolic, self.pressure.map(|pressure| pressure.0)),
            (Field::ArterialDiastolic, self.pressure.map(|pressure| pressure.1)),
            (Field::BreathsPerMin, self.breaths),
        ];
        let values = flags.into_iter().filter_map(|(field, value)| Some((field, value?))).chain(self.set);
        Ok(SingleStep { rhythm: self.rhythm, body: self.body, values: values.collect() })
    }
}
