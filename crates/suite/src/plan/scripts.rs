//! A block of scripts.

use super::axes::{MOST_RECORDS, frame_rates, seeds};
use super::beside::{PlanFolder, on_one_line};
use super::file::PlanBlock;
use super::noise::Noises;
use crate::record::SuiteRecord;
use crate::recorded::is_fit;
use pulsewright_core::body::ADULT;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::script::Script;
use pulsewright_script::{Document, Problem};
use pulsewright_text::{json, source};
use std::path::Path;
use std::sync::Arc;

/// The records of a block with scripts, each longer than `learning_s`: every script with every noise, frame rate and seed.
pub(super) fn records(
    block: &PlanBlock,
    beside: &PlanFolder<'_>,
    learning_s: f64,
    left_out: &mut Vec<String>,
) -> Result<Vec<SuiteRecord>, String> {
    if !block.is_plain() || !block.recordings.is_empty() || block.people.is_some() || block.patients.is_some() {
        return Err("scripts: rhythms, bodies, rates and settings are those of the scripts; \
                    beside scripts a block has frame_rate_hz, seed and noise alone"
            .to_owned());
    }
    let frame_rates = frame_rates(&block.frame_rate_hz)?;
    let seeds = seeds(block.seed.as_ref())?;
    let noises = Noises::of(block.noise.as_ref(), beside)?;
    let (rates, most) = (frame_rates.len(), seeds.as_ref().map_or(1, Vec::len));
    let count = [rates, most, noises.len()].into_iter().fold(block.scripts.len(), usize::saturating_mul);
    if count == 0 || count > MOST_RECORDS {
        return Err(format!("scripts: {count} records; allowed 1 to {MOST_RECORDS}"));
    }
    let mut records = Vec::new();
    for (index, name) in block.scripts.iter().enumerate() {
        let wrong = |what: String| format!("scripts[{index}]: {name}: {what}");
        check_name(name).map_err(wrong)?;
        let bytes = beside.bytes(name).map_err(wrong)?;
        let plain = beside.script(&bytes, name).map_err(|problems| wrong(on_one_line(&problems)))?;
        check_end(&plain, learning_s).map_err(wrong)?;
        let all = if noises.is_empty() {
            vec![(None, Ok(plain))]
        } else {
            let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
            let value = json::value(text).map_err(|broken| wrong(broken.to_string()))?;
            noises.noisy(&value, name, step_of)
        };
        for (noise, document) in all {
            let document = match document {
                Ok(document) => Arc::new(document),
                Err(why) => {
                    left_out.push(format!("{name}: {why}"));
                    continue;
                }
            };
            for frame_rate in &frame_rates {
                let own = [document.seed()];
                for seed in seeds.as_deref().unwrap_or(&own) {
                    records.push(SuiteRecord {
                        name: String::new(),
                        rhythm: &SINUS,
                        body: &ADULT,
                        rate_bpm: None,
                        values: Arc::new([]),
                        frame_rate: *frame_rate,
                        seed: *seed,
                        patient: None,
                        document: document.clone(),
                        recording: None,
                        script: Some(name.as_str().into()),
                        noise: noise.clone(),
                    });
                }
            }
        }
    }
    match (records.is_empty(), left_out.last()) {
        (true, Some(why)) => Err(format!("scripts: no combination is possible; {why}")),
        _ => Ok(records),
    }
}

/// The step of a problem with noise, for a message: "steps[1]: ".
fn step_of(problem: &Problem) -> String {
    let step = problem.path.find(".noise").and_then(|end| problem.path.get(..end)).unwrap_or(&problem.path);
    format!("{step}: ")
}

/// Refuses a script whose name can't become part of those of files.
fn check_name(name: &str) -> Result<(), String> {
    let stem = Path::new(name).file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    if stem.is_empty() || !stem.chars().all(is_fit) {
        return Err("the name of a script has letters, digits, - and _".to_owned());
    }
    Ok(())
}

/// Refuses scripts without an end, and those that end before anything is scored.
fn check_end(document: &Document, learning_s: f64) -> Result<(), String> {
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(|error| error.to_string())?;
    match script.duration() {
        None => Err("a step holds; a record needs an end".to_owned()),
        Some(duration) if duration.as_secs_f64() <= learning_s => Err(format!(
            "it ends within the learning period of {learning_s} s, so nothing would be scored; \
             lengthen it or set \"score\": {{\"learning_s\": 2}}"
        )),
        Some(_) => Ok(()),
    }
}
