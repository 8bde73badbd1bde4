//! What a worksheet asks and a report judges by: a script's steps with what to expect, and the identity of what is played.

use crate::seal;
use crate::walk::Walk;
use pulsewright_core::settings::Field;
use pulsewright_core::time::Span;
use pulsewright_script::{Document, Step};
use serde::{Deserialize, Serialize};

/// Most steps of a plan, repeats played out.
pub const MAX_STEPS: usize = 500;

/// A plan: everything that a verdict depends on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// Title of the script.
    pub title: String,
    /// Its notes.
    pub notes: String,
    /// The kind of equipment that it checks.
    pub asset_class: String,
    /// The program that made it.
    pub made_by: String,
    /// SHA-256 of the script's text.
    pub script_digest: String,
    /// Seed; text, since it may be larger than a page's numbers.
    pub seed: String,
    /// The rig's description, when one was named.
    pub rig: Option<Rig>,
    /// What is played.
    pub frames: Frames,
    /// What to take out and bring back.
    pub kit: Vec<String>,
    /// What can hurt somebody or something.
    pub cautions: Vec<String>,
    /// What to do before the first step.
    pub prepare: Vec<String>,
    /// The steps, repeats played out.
    pub steps: Vec<PlanStep>,
    /// SHA-256 of all the above.
    pub digest: String,
}

/// The rig that turns frames into volts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rig {
    /// Name of its file.
    pub name: String,
    /// SHA-256 of its description with its correction.
    pub digest: String,
}

/// Identity of the frames that the script makes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Frames {
    /// Frames a second.
    pub rate_hz: u32,
    /// How many, with steps that hold played for [`crate::walk::HOLD_S`] and at most [`crate::walk::MAX_S`] in all.
    pub count: u64,
    /// Their digest, 16 hexadecimal digits.
    pub digest: String,
}

/// A step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanStep {
    /// Its number in playing order, from 1.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What is played, in words.
    pub plays: String,
    /// How long, in words.
    pub lasts: String,
    /// What can hurt somebody or something.
    pub cautions: Vec<String>,
    /// What to do before it.
    pub prepare: Vec<String>,
    /// Readings to take.
    pub readings: Vec<PlanReading>,
    /// Alarms to hear.
    pub alarms: Vec<PlanAlarm>,
}

impl PlanStep {
    /// Whether there is anything to read, hear or heed in it.
    pub fn asks(&self) -> bool {
        !(self.readings.is_empty() && self.alarms.is_empty() && self.cautions.is_empty() && self.prepare.is_empty())
    }
}

/// A reading to take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanReading {
    /// Step and quantity, such as `3.heart-rate`.
    pub id: String,
    /// Word of the quantity.
    pub quantity: String,
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// What the monitor should read.
    pub value: Option<f64>,
    /// Largest error, in the unit.
    pub tolerance: Option<f64>,
    /// Largest error, percent of the value.
    pub tolerance_percent: Option<f64>,
    /// Smallest reading.
    pub min: Option<f64>,
    /// Largest reading.
    pub max: Option<f64>,
    /// The limit in words.
    pub allowed: String,
    /// Where it comes from.
    pub source: String,
}

/// An alarm to hear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanAlarm {
    /// Step and number, such as `3.alarm-1`.
    pub id: String,
    /// What to call it.
    pub name: String,
    /// Priority wanted: `high`, `medium` or `low`.
    pub priority: String,
    /// Longest time from the start of the step, s.
    pub within_s: f64,
    /// Where that comes from.
    pub source: String,
}

/// Why a document makes no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// No step expects anything.
    #[error("no step of the script says what to expect; add \"expect\" to its steps (docs/script.md, expectations)")]
    NothingExpected,
    /// Too many steps for a page.
    #[error("the script plays more than {MAX_STEPS} steps, repeats counted; too many for a worksheet")]
    TooManySteps,
    /// The core refuses the script.
    #[error("{0}")]
    Script(String),
}

impl Plan {
    /// The plan of a document read from `text`.
    ///
    /// # Errors
    /// When it expects nothing, or has more than [`MAX_STEPS`] steps.
    pub fn new(document: &Document, text: &[u8], rig: Option<Rig>) -> Result<Plan, PlanError> {
        if !document.expects() {
            return Err(PlanError::NothingExpected);
        }
        let walk = Walk::new(document)?;
        let mut plan = Plan {
            title: document.title().unwrap_or("Untitled plan").to_owned(),
            notes: document.notes().unwrap_or_default().to_owned(),
            asset_class: document.asset_class().unwrap_or_default().to_owned(),
            made_by: format!("pulsewright {}", env!("CARGO_PKG_VERSION")),
            script_digest: seal::digest(text),
            seed: document.seed().to_string(),
            rig,
            frames: walk.frames(),
            kit: document.kit().to_vec(),
            cautions: document.cautions().to_vec(),
            prepare: document.prepare().to_vec(),
            steps: Vec::new(),
            digest: String::new(),
        };
        for (index, placed) in walk.placed().iter().enumerate() {
            if let Some(step) = document.step(placed.item) {
                plan.steps.push(plan_step(&(index + 1).to_string(), document.label(placed.item), step));
            }
        }
        plan.digest = plan.own_digest();
        Ok(plan)
    }

    /// What its digest must be.
    pub fn own_digest(&self) -> String {
        seal::of_object(&serde_json::to_value(self).unwrap_or_default())
    }

    /// Every item with the step that it belongs to.
    pub fn items(&self) -> impl Iterator<Item = (&PlanStep, Item<'_>)> {
        self.steps.iter().flat_map(|step| {
            let readings = step.readings.iter().map(Item::Reading);
            readings.chain(step.alarms.iter().map(Item::Alarm)).map(move |item| (step, item))
        })
    }

    /// Every line to be ticked before work: its id and its words.
    pub fn preparations(&self) -> Vec<(String, &str)> {
        let document = self.prepare.iter().enumerate().map(|(i, line)| (format!("0.prepare-{}", i + 1), line.as_str()));
        let steps = self.steps.iter().flat_map(|step| {
            let lines = step.prepare.iter().enumerate();
            lines.map(|(i, line)| (format!("{}.prepare-{}", step.id, i + 1), line.as_str()))
        });
        document.chain(steps).collect()
    }
}

/// One thing to be judged.
#[derive(Clone, Copy, Debug)]
pub enum Item<'a> {
    /// A reading.
    Reading(&'a PlanReading),
    /// An alarm.
    Alarm(&'a PlanAlarm),
}

impl<'a> Item<'a> {
    /// Its id.
    pub fn id(&self) -> &'a str {
        match self {
            Item::Reading(reading) => &reading.id,
            Item::Alarm(alarm) => &alarm.id,
        }
    }

    /// Its name for people.
    pub fn name(&self) -> &'a str {
        match self {
            Item::Reading(reading) => &reading.name,
            Item::Alarm(alarm) => &alarm.name,
        }
    }
}

fn plan_step(id: &str, label: &str, step: &Step) -> PlanStep {
    let reading = |reading: &pulsewright_script::expect::ExpectedReading| {
        let (quantity, limit) = (reading.quantity, &reading.limit);
        PlanReading {
            id: format!("{id}.{}", quantity.id()),
            quantity: quantity.id().to_owned(),
            name: quantity.name().to_owned(),
            unit: quantity.unit().to_owned(),
            value: reading.value,
            tolerance: limit.tolerance,
            tolerance_percent: limit.tolerance_percent,
            min: limit.min,
            max: limit.max,
            allowed: limit.words(quantity.unit()),
            source: limit.source.clone(),
        }
    };
    let alarm = |(index, alarm): (usize, &pulsewright_script::expect::ExpectedAlarm)| PlanAlarm {
        id: format!("{id}.alarm-{}", index + 1),
        name: alarm.name.clone(),
        priority: alarm.priority.id().to_owned(),
        within_s: alarm.within_s,
        source: alarm.source.clone(),
    };
    PlanStep {
        id: id.to_owned(),
        name: label.to_owned(),
        plays: plays(step),
        lasts: step.duration.map_or("until told to go on".to_owned(), |span| format!("{} s", seconds(span))),
        cautions: step.cautions.clone(),
        prepare: step.prepare.clone(),
        readings: step.expect.readings.iter().map(reading).collect(),
        alarms: step.expect.alarms.iter().enumerate().map(alarm).collect(),
    }
}

fn seconds(span: Span) -> f64 {
    (span.as_secs_f64() * 1000.0).round() / 1000.0
}

/// Rhythm, body and what moves, in words.
fn plays(step: &Step) -> String {
    let settings = &step.settings;
    let rhythm = settings.rhythm();
    let mut parts = vec![format!("{}, {}", rhythm.name, settings.body().name.to_lowercase())];
    let moving = |field: Field| {
        let ramp = step.ramps.iter().find(|ramp| ramp.field == field);
        let from = settings.get(field);
        ramp.map_or_else(|| from.to_string(), |ramp| format!("{from} to {}", ramp.to))
    };
    if rhythm.beats() {
        parts.push(format!("{} bpm", moving(Field::RateBpm)));
        let (systolic, diastolic) = (moving(Field::ArterialSystolic), moving(Field::ArterialDiastolic));
        parts.push(format!("arterial {systolic}/{diastolic} mmHg"));
    }
    parts.push(match settings.get(Field::BreathsPerMin) {
        0.0 if step.ramps.iter().all(|ramp| ramp.field != Field::BreathsPerMin) => "no breaths".to_owned(),
        _ => format!("{} breaths/min", moving(Field::BreathsPerMin)),
    });
    parts.join(" \u{b7} ")
}
