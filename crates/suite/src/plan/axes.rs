//! A block of a plan multiplied out.

use super::beside::PlanFolder;
use super::file::{PlanBlock, Rate, Seeds};
use super::noise::Noises;
use crate::record::{RecordNoise, SuiteRecord};
use pulsewright_core::body::{BODIES, Body};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_script::typed::{self, unknown_of};
use pulsewright_script::{Document, OneStep, units};
use std::sync::Arc;

/// Most records of a plan.
pub const MOST_RECORDS: usize = 1_000_000;

/// A block with every word found.
pub(super) struct Axes<'p> {
    rhythms: Vec<&'static Rhythm>,
    bodies: Vec<&'static Body>,
    rates: Vec<Option<f32>>,
    frame_rates: Vec<FrameRate>,
    seeds: Vec<u64>,
    settings: Vec<(&'static str, Vec<f32>)>,
    noises: Noises<'p>,
}

impl<'p> Axes<'p> {
    pub(super) fn of(block: &PlanBlock, beside: &'p PlanFolder<'p>) -> Result<Axes<'p>, String> {
        let rhythms = found("rhythm", &block.rhythm, RHYTHMS, |rhythm| rhythm.id)?;
        let bodies = found("body", &block.body, BODIES, |body| body.id)?;
        let mut rates = Vec::new();
        for rate in &block.rate_bpm {
            rates.push(match rate {
                Rate::Usual(_) => None,
                Rate::Bpm(bpm) => Some(in_range(Field::RateBpm, *bpm)?),
            });
        }
        let frame_rates = frame_rates(&block.frame_rate_hz)?;
        let seeds = seeds(block.seed.as_ref())?.unwrap_or(vec![0]);
        let mut settings = Vec::new();
        for (path, values) in &block.set {
            if let Some((ratio, _)) = typed::ratio(path) {
                settings.push((ratio, values.clone()));
                continue;
            }
            let field =
                typed::field(path).ok_or_else(|| format!("set: {}", unknown_of("setting", path, typed::paths())))?;
            let values: Result<Vec<f32>, String> = values.iter().map(|value| in_range(field, *value)).collect();
            settings.push((field.info().path, values.map_err(|what| format!("set.{what}"))?));
        }
        let noises = Noises::of(block.noise.as_ref(), beside)?;
        let axes = Axes { rhythms, bodies, rates, frame_rates, seeds, settings, noises };
        let empty = [
            ("rhythm", axes.rhythms.is_empty()),
            ("body", axes.bodies.is_empty()),
            ("rate_bpm", axes.rates.is_empty()),
            ("frame_rate_hz", axes.frame_rates.is_empty()),
            ("seed", axes.seeds.is_empty()),
        ];
        let empty_setting = axes.settings.iter().find(|(_, values)| values.is_empty());
        let empty = empty.iter().find(|(_, empty)| *empty).map(|(key, _)| *key);
        match empty.or(empty_setting.map(|(path, _)| *path)) {
            Some(key) => Err(format!("{key}: an empty list makes no record; name at least one value")),
            None => Ok(axes),
        }
    }

    /// How many scripts there are to make.
    pub(super) fn scripts(&self) -> usize {
        let axes = [self.rhythms.len(), self.bodies.len(), self.rates.len()];
        let settings = self.settings.iter().map(|(_, values)| values.len());
        axes.into_iter().chain(settings).chain([self.noises.len()]).fold(1, usize::saturating_mul)
    }

    /// Appends every combination that is possible, and the reasons of those that are not.
    pub(super) fn multiply(
        &self,
        duration_s: f64,
        records: &mut Vec<SuiteRecord>,
        left_out: &mut Vec<String>,
    ) -> Result<(), String> {
        let settings = self.combined_settings();
        for rhythm in &self.rhythms {
            let no_rate = [None];
            let rates = if rhythm.beats() { &self.rates[..] } else { &no_rate };
            for body in &self.bodies {
                for rate in rates {
                    for values in &settings {
                        let at = (*rhythm, *body, *rate);
                        let script = match steps(at, values, duration_s) {
                            Ok(script) => script,
                            Err(why) => {
                                left_out.push(why);
                                continue;
                            }
                        };
                        for (noise, script) in self.noises.with(&script) {
                            match script {
                                Ok(script) => self.add(&Arc::new(script), at, (values, noise), records)?,
                                Err(why) => left_out.push(format!("{}: {why}", words(at))),
                            }
                        }
                    }
                }
            }
        }
        Ok(())
    }

    fn add(
        &self,
        script: &Arc<Document>,
        (rhythm, body, rate_bpm): Combination,
        (values, noise): (&Values, Option<RecordNoise>),
        records: &mut Vec<SuiteRecord>,
    ) -> Result<(), String> {
        for frame_rate in &self.frame_rates {
            for seed in &self.seeds {
                if records.len() >= MOST_RECORDS {
                    return Err(format!("more than {MOST_RECORDS} records"));
                }
                records.push(SuiteRecord {
                    name: String::new(),
                    rhythm,
                    body,
                    rate_bpm,
                    values: values.clone(),
                    frame_rate: *frame_rate,
                    seed: *seed,
                    patient: None,
                    document: script.clone(),
                    recording: None,
                    script: None,
                    noise: noise.clone(),
                });
            }
        }
        Ok(())
    }

    fn combined_settings(&self) -> Vec<Values> {
        let mut combined = vec![Vec::new()];
        for (path, values) in &self.settings {
            combined = combined
                .iter()
                .flat_map(|before: &Vec<(&'static str, f32)>| {
                    values.iter().map(|value| before.iter().copied().chain([(*path, *value)]).collect::<Vec<_>>())
                })
                .collect();
        }
        combined.into_iter().map(Arc::from).collect()
    }
}

/// Frame rates of a block.
pub(super) fn frame_rates(all: &[u32]) -> Result<Vec<FrameRate>, String> {
    let rate = |hz: &u32| {
        let allowed = || format!("frame_rate_hz: {hz}; allowed {} to {}", FrameRate::MIN_HZ, FrameRate::MAX_HZ);
        FrameRate::hz(*hz).map_err(|_| allowed())
    };
    all.iter().map(rate).collect()
}

fn found<T>(
    key: &str,
    words: &[String],
    all: &[&'static T],
    id: fn(&T) -> &'static str,
) -> Result<Vec<&'static T>, String> {
    let find = |(i, word): (usize, &String)| {
        let one = all.iter().copied().find(|one| id(one) == word.as_str());
        one.ok_or_else(|| format!("{key}[{i}]: {}", unknown_of(key, word, all.iter().map(|one| id(one)))))
    };
    words.iter().enumerate().map(find).collect()
}

fn in_range(field: Field, value: f32) -> Result<f32, String> {
    let info = field.info();
    if info.allows(value) {
        Ok(value)
    } else {
        let unit = units::after_number(info.unit);
        Err(format!("{}: {value}; allowed {} to {}{unit}", info.path, info.min, info.max))
    }
}

/// Settings by their paths.
type Values = Arc<[(&'static str, f32)]>;

/// Rhythm, body and rate.
type Combination = (&'static Rhythm, &'static Body, Option<f32>);

/// The script of one combination, or why it can't be.
fn steps(
    (rhythm, body, rate_bpm): Combination,
    values: &[(&'static str, f32)],
    duration_s: f64,
) -> Result<Document, String> {
    let rate = rate_bpm.map(|bpm| (Field::RateBpm.info().path, bpm));
    let values: Vec<(&str, f32)> = rate.into_iter().chain(values.iter().copied()).collect();
    let step = OneStep {
        seed: 0,
        rhythm: Some(rhythm.id),
        body: Some(body.id),
        duration_s: Some(duration_s),
        values: &values,
    };
    step.document("plan").map_err(|problems| {
        let what: Vec<&str> = problems.list().iter().map(|problem| problem.what.as_str()).collect();
        format!("{}: {}", words((rhythm, body, rate_bpm)), what.join("; "))
    })
}

/// A combination, for messages.
fn words((rhythm, body, rate_bpm): Combination) -> String {
    let rate = rate_bpm.map_or(String::new(), |bpm| format!(" at {bpm} bpm"));
    format!("{}{rate}, {}", rhythm.id, body.id)
}

/// Seeds that a block names.
pub(super) fn seeds(named: Option<&Seeds>) -> Result<Option<Vec<u64>>, String> {
    Ok(Some(match named {
        None => return Ok(None),
        Some(Seeds::List(list)) => list.clone(),
        Some(Seeds::Range(range)) if range.count > MOST_RECORDS as u64 => {
            return Err(format!("seed: at most {MOST_RECORDS} of them"));
        }
        Some(Seeds::Range(range)) => (0..range.count).map(|i| range.from.wrapping_add(i)).collect(),
    }))
}
