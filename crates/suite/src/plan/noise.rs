//! Noise of recordings as an axis of a block.

use super::beside::{OF_PLAN, PlanFolder, joined};
use super::file::NoiseFile;
use crate::record::RecordNoise;
use pulsewright_script::{Document, Problem, Problems};
use serde_json::{Map, Value};

/// Every file of noise at every ratio; without noise one signal as it is.
pub(super) struct Noises<'p> {
    beside: &'p PlanFolder<'p>,
    all: Vec<(RecordNoise, Value)>,
}

impl<'p> Noises<'p> {
    pub(super) fn of(file: Option<&NoiseFile>, beside: &'p PlanFolder<'p>) -> Result<Noises<'p>, String> {
        let mut all = Vec::new();
        let Some(noise) = file else { return Ok(Noises { beside, all }) };
        for (key, empty) in [("file", noise.file.is_empty()), ("snr_db", noise.snr_db.is_empty())] {
            if empty {
                return Err(format!("noise.{key}: an empty list makes no record; name at least one value"));
            }
        }
        for file in &noise.file {
            beside.bytes(file).map_err(|what| format!("noise.file: {file}: {what}"))?;
            for snr_db in &noise.snr_db {
                let mut object = Map::new();
                object.insert("file".into(), format!("{OF_PLAN}{file}").into());
                object.insert("snr_db".into(), (*snr_db).into());
                let more = [
                    ("channels", noise.channels.clone().map(Value::from)),
                    ("start_s", noise.start_s.map(Value::from)),
                    ("end_s", noise.end_s.map(Value::from)),
                    ("loop", noise.repeats.clone().map(Value::from)),
                ];
                object.extend(more.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))));
                let label = RecordNoise { file: file.as_str().into(), snr_db: *snr_db };
                all.push((label, Value::Object(object)));
            }
        }
        Ok(Noises { beside, all })
    }

    /// How many signals a script makes.
    pub(super) fn len(&self) -> usize {
        self.all.len().max(1)
    }

    /// The script with every noise, or why it can't have it.
    pub(super) fn with(&self, script: &Document) -> Vec<(Option<RecordNoise>, Result<Document, String>)> {
        if self.all.is_empty() {
            return vec![(None, Ok(script.clone()))];
        }
        self.noisy(&script.to_json(), "plan", |_| String::new())
    }

    /// The script of a text that lies at `name` with every noise in the steps that have none of their own; `place` words the
    /// place of a problem, before the problem itself.
    pub(super) fn noisy(
        &self,
        script: &Value,
        name: &str,
        place: impl Fn(&Problem) -> String,
    ) -> Vec<(Option<RecordNoise>, Result<Document, String>)> {
        let one = |(label, noise): &(RecordNoise, Value)| {
            let mut script = script.clone();
            if let Some(steps) = script.get_mut("steps") {
                add(steps, noise);
            }
            let document = self.beside.script(script.to_string().as_bytes(), name);
            let RecordNoise { file, snr_db } = label;
            let why = |problems: Problems| {
                let what = joined(&problems, |problem| place(problem) + &problem.what);
                format!("noise of {file} at {snr_db} dB: {}", what.replace(OF_PLAN, ""))
            };
            (Some(label.clone()), document.map_err(why))
        };
        self.all.iter().map(one).collect()
    }

    /// Whether there is none.
    pub(super) fn is_empty(&self) -> bool {
        self.all.is_empty()
    }
}

/// Adds noise to the steps of a list and of the blocks in it.
fn add(steps: &mut Value, noise: &Value) {
    for item in steps.as_array_mut().into_iter().flatten() {
        let Some(item) = item.as_object_mut() else { continue };
        if let (true, Some(steps)) = (item.contains_key("repeat"), item.get_mut("steps")) {
            add(steps, noise);
        } else {
            item.entry("noise").or_insert_with(|| noise.clone());
        }
    }
}
