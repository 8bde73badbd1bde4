//! The script to play: a file, or one step made of flags.

use crate::diagnostics::{VerbFailure, warn};
use crate::script_file;
use pulsewright_core::body::Body;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_script::{Document, OneStep};
use pulsewright_stream::command::unused_rate;
use std::path::{Path, PathBuf};

/// The script to play, and its seed.
pub struct SeededScript {
    /// The script of a file, or one step.
    pub played: ScriptSource,
    /// Seed in place of the script's.
    pub seed: Option<u64>,
}

/// The script of a file, or one step.
pub enum ScriptSource {
    /// The script of a file; `-` is standard input.
    Script(PathBuf),
    /// One step without a script.
    Step(SingleStep),
}

/// One step: a resting adult in sinus rhythm, except for what it names.
pub struct SingleStep {
    /// Rhythm.
    pub rhythm: Option<&'static Rhythm>,
    /// Body.
    pub body: Option<&'static Body>,
    /// Settings; the last value of a field counts.
    pub values: Vec<(Field, f32)>,
}

impl SeededScript {
    /// The file that is read.
    pub fn file(&self) -> Option<&Path> {
        match &self.played {
            ScriptSource::Script(path) => Some(path),
            ScriptSource::Step(_) => None,
        }
    }

    /// The script, with its seed.
    pub fn document(&self) -> Result<Document, VerbFailure> {
        let document = match &self.played {
            ScriptSource::Script(path) => script_file::load(path)?,
            ScriptSource::Step(step) => step.document()?,
        };
        Ok(self.seed.into_iter().fold(document, Document::with_seed))
    }
}

impl SingleStep {
    fn document(&self) -> Result<Document, VerbFailure> {
        let values: Vec<(&str, f32)> = self.values.iter().map(|(field, value)| (field.info().path, *value)).collect();
        let rate = self.values.iter().any(|(field, _)| *field == Field::RateBpm);
        if let Some(remark) = self.rhythm.filter(|_| rate).and_then(unused_rate) {
            warn(&remark);
        }
        let step = OneStep {
            rhythm: self.rhythm.map(|rhythm| rhythm.id),
            body: self.body.map(|body| body.id),
            values: &values,
            ..OneStep::default()
        };
        step.document("command line").map_err(|problems| VerbFailure::Script(Box::new(problems)))
    }
}
