//! A script of one step made from words and numbers instead of a document, as on a command line.

use crate::carry::{self, StepChange, StepValue};
use crate::document::{Document, DocumentPart, DocumentStep};
use crate::keys;
use crate::limits::MAX_STEP_S;
use crate::noise_ratio;
use crate::problem::{Problem, ProblemCollector, Problems};
use crate::step::span_of;
use crate::words::{self, nearest, quoted, range, shown, unit};
use pulsewright_core::script::MIN_STEP;
use pulsewright_core::settings::Field;

/// A script of one step: a resting adult in sinus rhythm, except for the settings that it names.
#[derive(Clone, Debug, Default)]
pub struct OneStep<'a> {
    /// The seed of everything left to chance.
    pub seed: u64,
    /// Rhythm, by its word.
    pub rhythm: Option<&'a str>,
    /// Body, by its word.
    pub body: Option<&'a str>,
    /// Seconds; `None` holds.
    pub duration_s: Option<f64>,
    /// Fields by their path, such as `("arterial.systolic_mmhg", 150.0)`, and ratios of artefacts, such as
    /// `("artefact.muscle_snr_db", 6.0)`; the last value of a path counts, and a ratio before an amplitude.
    pub values: &'a [(&'a str, f32)],
}

impl OneStep<'_> {
    /// The document; messages call the source of the words `name` ("command line").
    ///
    /// # Errors
    /// Every problem at once, as for a document; the paths are the fields' own.
    pub fn document(&self, name: &str) -> Result<Document, Problems> {
        let mut found = ProblemCollector::default();
        let (mut refused_ratios, mut measurements) = (Vec::new(), noise_ratio::Measurements::default());
        let mut change = StepChange::default();
        if let Some(word) = self.rhythm {
            change.rhythm = words::rhythm(word).map_err(|unknown| found.push(refused("rhythm", unknown))).ok();
        }
        if let Some(word) = self.body {
            change.body = words::body(word).map_err(|unknown| found.push(refused("body", unknown))).ok();
        }
        let duration = self.duration_s.and_then(|seconds| {
            let span = span_of(seconds);
            if span.is_none() {
                let allowed = format!("seconds from {} to {MAX_STEP_S}", MIN_STEP.as_secs());
                let problem = Problem::new(format!("the duration can't be {seconds} s")).allowed(allowed);
                found.push(problem.path("duration_s"));
            }
            span
        });
        for (path, value) in self.values {
            if let Some(field) = noise_ratio::of_path(path) {
                if noise_ratio::RANGE_DB.contains(&f64::from(*value)) {
                    change.ratios.push((field, f64::from(*value)));
                } else {
                    let (least, most) = (noise_ratio::RANGE_DB.start(), noise_ratio::RANGE_DB.end());
                    let problem = Problem::new(format!("{path} can't be {value} dB")).path(path);
                    found.push(problem.allowed(format!("{least} to {most} dB")));
                }
                continue;
            }
            match keys::field(path) {
                Some(field) if field.info().allows(*value) => {
                    change.values.push((field, StepValue::Held(*value + 0.0)));
                }
                Some(field) => {
                    let what = format!("{path} can't be {value}{}", unit(field.info()));
                    found.push(Problem::new(what).path(path).allowed(range(field.info())));
                }
                None => {
                    let paths = || Field::ALL.iter().map(|field| field.info().path);
                    let problem = Problem::new(format!("unknown setting {}", quoted(path))).path(shown(path));
                    let leaf = Field::ALL.iter().find(|field| keys::leaf(**field) == *path);
                    let near = leaf.map(|field| field.info().path).or_else(|| nearest(path, paths()));
                    found.push(problem.allowed(words::join(paths())).nearest(near.map(quoted)));
                }
            }
        }
        let settings = change.apply(&carry::RESTING).map_or(carry::RESTING, |(settings, _)| settings);
        let mut step = DocumentStep::new(duration, settings);
        if found.is_empty() {
            for conflict in step.item().conflicts() {
                let path = conflict.fields().first().map_or("", |field| field.info().path);
                found.push(Problem::new(conflict.to_string()).path(path));
            }
        }
        for (field, db) in change.ratios.iter().filter(|_| found.is_empty()) {
            match measurements.amplitude_mv(&step, *field, *db, self.seed) {
                Ok(mv) => step.settings = step.settings.with(*field, mv).unwrap_or(step.settings),
                Err(what) => refused_ratios.push(Problem::new(what).path(field.info().path)),
            }
        }
        refused_ratios.into_iter().for_each(|problem| found.push(problem));
        if !found.is_empty() {
            return Err(Problems::of(name, "", found));
        }
        Ok(Document { seed: self.seed, parts: vec![DocumentPart::Step(step)], ..Document::default() })
    }
}

fn refused(path: &str, unknown: words::UnknownWord) -> Problem {
    Problem::new(unknown.what).path(path).allowed(unknown.allowed).nearest(unknown.nearest)
}
