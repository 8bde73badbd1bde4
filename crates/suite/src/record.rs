//! One record of a plan: its settings.

use crate::recorded::{AnnotatedRecording, is_fit};
use pulsewright_core::body::Body;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_script::Document;
use std::path::Path;
use std::sync::Arc;

/// One record of a plan.
#[derive(Clone, Debug)]
pub struct SuiteRecord {
    /// Its name: number and settings, unique in the plan and fit for a file.
    pub name: String,
    /// Rhythm.
    pub rhythm: &'static Rhythm,
    /// Body.
    pub body: &'static Body,
    /// Ventricular rate, bpm; `None` is the usual one of rhythm and body.
    pub rate_bpm: Option<f32>,
    /// Further settings, by their paths.
    pub values: Arc<[(&'static str, f32)]>,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Seed.
    pub seed: u64,
    /// The drawn patient; `None` for a record of a matrix.
    pub patient: Option<DrawnPatient>,
    /// The script, shared by the records of it; the seed is the record's own. A recording has one without steps.
    pub document: Arc<Document>,
    /// The recording that is played in place of a script; rhythm, body, rate and seed say nothing about it.
    pub recording: Option<Arc<AnnotatedRecording>>,
    /// The script as the plan names it, for a record of a script; rhythm, body and rate say nothing about it.
    pub script: Option<Arc<str>>,
    /// Noise of a recording beside the signal.
    pub noise: Option<RecordNoise>,
}

/// Noise of a recording in a record.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordNoise {
    /// Its file as the plan names it.
    pub file: Arc<str>,
    /// Ratio of the signal to it in lead II, dB.
    pub snr_db: f32,
}

/// A patient of a plan's people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrawnPatient {
    /// Number among the people.
    pub number: u64,
    /// Name of the group.
    pub group: String,
}

/// Longest name, bytes; file systems take 255 with what follows the name.
const LONGEST_NAME: usize = 160;

/// The name of the `number`th record.
pub(crate) fn name(number: usize, digits: usize, record: &SuiteRecord) -> String {
    let mut name = format!("{number:0digits$}-{}-{}", record.rhythm.id, record.body.id);
    if let Some(recording) = &record.recording {
        return format!("{number:0digits$}-recording-{}-{}hz", recording.name, record.frame_rate.as_hz());
    }
    if let Some(patient) = &record.patient {
        return name + &format!("-patient{}-{}hz", patient.number, record.frame_rate.as_hz());
    }
    if let Some(script) = &record.script {
        name = format!("{number:0digits$}-script-{}", short(script));
    }
    if let Some(bpm) = record.rate_bpm {
        name += &format!("-{bpm}bpm");
    }
    for (path, value) in record.values.iter() {
        name += &format!("-{path}={value}");
    }
    if let Some(RecordNoise { file, snr_db }) = &record.noise {
        name += &format!("-noise={}-snr_db={snr_db}", short(file));
    }
    name += &format!("-{}hz-seed{}", record.frame_rate.as_hz(), record.seed);
    // All ASCII; the number alone makes it unique.
    name.truncate(LONGEST_NAME);
    name
}

/// The name of a file without folder and ending, with letters that fit.
fn short(file: &str) -> String {
    let stem = Path::new(file).file_stem().unwrap_or_default().to_string_lossy();
    stem.chars().map(|c| if is_fit(c) { c } else { '-' }).collect()
}

impl SuiteRecord {
    /// Values of the record in each dimension of the matrix, seeds aside: pairs of dimension and value. Of a drawn patient the
    /// values of settings are left out, as no two have the same.
    pub fn dimensions(&self) -> Vec<(&'static str, String)> {
        if let Some(recording) = &self.recording {
            return vec![
                ("recording", recording.header.clone()),
                ("frame_rate_hz", self.frame_rate.as_hz().to_string()),
            ];
        }
        if let Some(patient) = &self.patient {
            return vec![
                ("group", patient.group.clone()),
                ("rhythm", self.rhythm.id.to_owned()),
                ("body", self.body.id.to_owned()),
                ("frame_rate_hz", self.frame_rate.as_hz().to_string()),
            ];
        }
        let noise = self.noise.iter().flat_map(|RecordNoise { file, snr_db }| {
            [("noise", file.to_string()), ("noise.snr_db", snr_db.to_string())]
        });
        if let Some(script) = &self.script {
            let own = [("script", script.to_string()), ("frame_rate_hz", self.frame_rate.as_hz().to_string())];
            return own.into_iter().chain(noise).collect();
        }
        let rate = self.rate_bpm.map_or("usual".to_owned(), |bpm| bpm.to_string());
        let rate = if self.rhythm.beats() { rate } else { "none".to_owned() };
        let mut all = vec![
            ("rhythm", self.rhythm.id.to_owned()),
            ("body", self.body.id.to_owned()),
            (Field::RateBpm.info().path, rate),
            ("frame_rate_hz", self.frame_rate.as_hz().to_string()),
        ];
        all.extend(self.values.iter().map(|(path, value)| (*path, value.to_string())).chain(noise));
        all
    }
}
