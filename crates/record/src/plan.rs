//! The plan behind worksheet and report: a script's steps with their expectations, and the identity of the script.

use crate::seal;
use crate::walk::EndedSteps;
pub use crate::walk::{FramesIdentity, MAX_STEPS, PlanWalkError};
use pulsewright_core::settings::Field;
use pulsewright_core::time::Span;
use pulsewright_score::tolerance::Tolerance;
use pulsewright_script::expect::{AlarmSetting, ManualCheck};
use pulsewright_script::{Document, DocumentStep};
use serde::{Deserialize, Serialize};

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
    pub rig: Option<PlanRig>,
    /// The script.
    pub frames: FramesIdentity,
    /// Kit to take out and bring back.
    pub kit: Vec<String>,
    /// Dangers to people and things.
    pub cautions: Vec<String>,
    /// Preparations before the first step.
    pub prepare: Vec<String>,
    /// The steps, repeats played out.
    pub steps: Vec<PlanStep>,
    /// SHA-256 of all the above.
    pub digest: String,
}

/// The rig that turns frames into volts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanRig {
    /// Name of its file.
    pub name: String,
    /// SHA-256 of its description with its correction.
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
    /// The signal, in words.
    pub plays: String,
    /// How long, in words.
    pub lasts: String,
    /// Dangers to people and things.
    pub cautions: Vec<String>,
    /// Preparations before it.
    pub prepare: Vec<String>,
    /// Readings to take.
    pub readings: Vec<PlanReading>,
    /// Alarms to hear.
    pub alarms: Vec<PlanAlarm>,
    /// Alarms that must not sound.
    #[serde(default)]
    pub silent: Vec<PlanSilence>,
    /// Alarms that must end.
    #[serde(default)]
    pub clears: Vec<PlanClear>,
    /// Checks by hand that are in order or not.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<PlanCheck>,
}

impl PlanStep {
    /// Its items.
    pub fn items(&self) -> impl Iterator<Item = PlanItem<'_>> {
        let readings = self.readings.iter().map(PlanItem::Reading);
        let alarms = self.alarms.iter().map(PlanItem::Alarm);
        let silent = self.silent.iter().map(PlanItem::Silence);
        let clears = self.clears.iter().map(PlanItem::Clear);
        let checks = self.checks.iter().map(PlanItem::Check);
        readings.chain(alarms).chain(silent).chain(clears).chain(checks)
    }

    /// Whether there is anything to read or to hear in it.
    pub fn has_items(&self) -> bool {
        self.items().next().is_some()
    }

    /// Whether there is anything to read, hear or heed in it.
    pub fn asks(&self) -> bool {
        self.has_items() || !(self.cautions.is_empty() && self.prepare.is_empty())
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
    /// The right reading; the mean when it moves.
    pub value: Option<f64>,
    /// Lowest value that a correct monitor shows.
    #[serde(default)]
    pub low: Option<f64>,
    /// Highest value that a correct monitor shows.
    #[serde(default)]
    pub high: Option<f64>,
    /// Why it is so, in words; may be empty.
    #[serde(default)]
    pub why: String,
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

impl PlanReading {
    /// The band of a correct monitor: lowest and highest value.
    pub fn band(&self) -> Option<[f64; 2]> {
        self.low.zip(self.high).map(|(low, high)| [low, high]).or(self.value.map(|value| [value; 2]))
    }

    /// Its limits.
    pub fn limits(&self) -> Tolerance {
        Tolerance { absolute: self.tolerance, percent: self.tolerance_percent, min: self.min, max: self.max }
    }

    /// Whether it moves by more than the tolerance of a single value: then the band is asked for.
    pub fn moves(&self) -> bool {
        let width = self.value.and_then(|value| self.limits().width(value)).unwrap_or(0.0);
        self.band().is_some_and(|[low, high]| high - low > width)
    }

    /// The expectation in words, such as "70 bpm" or "between 90 and 120 mmHg"; may be empty.
    pub fn expected(&self) -> String {
        match (self.band(), self.value) {
            (Some([low, high]), _) if self.moves() => format!("between {low} and {high} {}", self.unit),
            (_, Some(value)) => format!("{value} {}", self.unit),
            _ => String::new(),
        }
    }

    /// The reason, where the value by itself does not show it: a sentence, or nothing.
    pub fn because(&self) -> String {
        let mut letters = self.why.chars();
        let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
        if self.why.is_empty() { String::new() } else { format!("{first}{}.", letters.as_str()) }
    }
}

/// An alarm to hear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanAlarm {
    /// Step and number, such as `3.alarm-1`.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Priority wanted: `high`, `medium` or `low`.
    pub priority: String,
    /// When its limit is reached, s from the start of the step.
    #[serde(default)]
    pub onset_s: f64,
    /// Soonest that a monitor can know, s from the start of the step.
    #[serde(default = "soonest_s")]
    pub soonest_s: f64,
    /// Longest time from the onset, s.
    pub within_s: f64,
    /// Where that comes from.
    pub source: String,
}

impl PlanAlarm {
    /// Latest time, s from the start of the step.
    pub fn latest_s(&self) -> f64 {
        ((self.onset_s + self.within_s) * 1000.0).round() / 1000.0
    }
}

/// Soonest that an alarm is heard after the start of its step, s.
fn soonest_s() -> f64 {
    0.1
}

/// An alarm that must not sound.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanSilence {
    /// Step and number, such as `3.silent-1`.
    pub id: String,
    /// Its name.
    pub name: String,
}

/// An alarm that must end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanClear {
    /// Step and number, such as `3.clear-1`.
    pub id: String,
    /// Its name.
    pub name: String,
    /// When its condition ends, s from the start of the step.
    pub end_s: f64,
    /// Longest time from then on, s.
    pub within_s: f64,
    /// Where that comes from.
    pub source: String,
}

impl PlanClear {
    /// Latest time, s from the start of the step.
    pub fn latest_s(&self) -> f64 {
        ((self.end_s + self.within_s) * 1000.0).round() / 1000.0
    }
}

/// A check by hand that is in order or not; one with a number is a [`PlanReading`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanCheck {
    /// Step and number, such as `3.manual-1`.
    pub id: String,
    /// The work to check.
    pub name: String,
    /// Where it comes from.
    pub source: String,
}

/// The quantity of a reading by hand begins with this; its number in the step follows.
const MANUAL: &str = "manual-";

impl Plan {
    /// The plan of a document read from `text`. Where no step says what to expect, each expects what a correct monitor shows.
    ///
    /// # Errors
    /// When there is nothing to expect, or it has more than [`MAX_STEPS`] steps.
    pub fn new(document: &Document, text: &[u8], rig: Option<PlanRig>) -> Result<Plan, PlanWalkError> {
        let document = &document.clone().with_shown_expected();
        if !document.expects() {
            return Err(PlanWalkError::NothingExpected);
        }
        let walk = EndedSteps::new(document)?;
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
            prepare: document.prepare().iter().cloned().chain(document.alarm_settings().iter().map(setting)).collect(),
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

    /// The digest that it must have.
    pub fn own_digest(&self) -> String {
        seal::of_object(&serde_json::to_value(self).unwrap_or_default())
    }

    /// Every item with the step that it belongs to.
    pub fn items(&self) -> impl Iterator<Item = (&PlanStep, PlanItem<'_>)> {
        self.steps.iter().flat_map(|step| step.items().map(move |item| (step, item)))
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
pub enum PlanItem<'a> {
    /// A reading.
    Reading(&'a PlanReading),
    /// An alarm.
    Alarm(&'a PlanAlarm),
    /// An alarm that must not sound.
    Silence(&'a PlanSilence),
    /// An alarm that must end.
    Clear(&'a PlanClear),
    /// A check by hand that is in order or not.
    Check(&'a PlanCheck),
}

impl<'a> PlanItem<'a> {
    /// Its id.
    pub fn id(&self) -> &'a str {
        match self {
            PlanItem::Reading(reading) => &reading.id,
            PlanItem::Alarm(alarm) => &alarm.id,
            PlanItem::Silence(silence) => &silence.id,
            PlanItem::Clear(clear) => &clear.id,
            PlanItem::Check(check) => &check.id,
        }
    }

    /// Whether it is checked by hand: no signal is played for it.
    pub fn is_manual(&self) -> bool {
        match self {
            PlanItem::Reading(reading) => reading.quantity.starts_with(MANUAL),
            PlanItem::Check(_) => true,
            PlanItem::Alarm(_) | PlanItem::Silence(_) | PlanItem::Clear(_) => false,
        }
    }

    /// Its name for people.
    pub fn name(&self) -> &'a str {
        match self {
            PlanItem::Reading(reading) => &reading.name,
            PlanItem::Alarm(alarm) => &alarm.name,
            PlanItem::Silence(silence) => &silence.name,
            PlanItem::Clear(clear) => &clear.name,
            PlanItem::Check(check) => &check.name,
        }
    }
}

/// An alarm limit that the monitor is to be set to, as a line to tick.
fn setting(setting: &AlarmSetting) -> String {
    let (limit, source) = (setting.limit, &setting.source);
    match setting.value {
        Some(value) => format!("Monitor set: {}, {value} {} ({source})", limit.words(), limit.unit()),
        None => format!("Monitor set: {}, off ({source})", limit.words()),
    }
}

fn plan_step(id: &str, label: &str, step: &DocumentStep) -> PlanStep {
    let reading = |reading: &pulsewright_script::expect::ExpectedReading| {
        let (quantity, limit) = (reading.quantity, &reading.limit);
        PlanReading {
            id: format!("{id}.{}", quantity.id()),
            quantity: quantity.id().to_owned(),
            name: quantity.name().to_owned(),
            unit: quantity.unit().to_owned(),
            value: reading.value,
            low: reading.band.map(|[low, _]| low),
            high: reading.band.map(|[_, high]| high),
            why: reading.why.clone(),
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
        onset_s: alarm.onset_s,
        soonest_s: alarm.soonest_s,
        within_s: alarm.within_s,
        source: alarm.source.clone(),
    };
    let silence = |(index, silence): (usize, &pulsewright_script::expect::ExpectedSilence)| PlanSilence {
        id: format!("{id}.silent-{}", index + 1),
        name: silence.name.clone(),
    };
    let clear = |(index, clear): (usize, &pulsewright_script::expect::ExpectedClear)| PlanClear {
        id: format!("{id}.clear-{}", index + 1),
        name: clear.kind.name().to_owned(),
        end_s: clear.end_s,
        within_s: clear.within_s,
        source: clear.source.clone(),
    };
    let manual_id = |index: usize| format!("{id}.{MANUAL}{}", index + 1);
    let check = |(index, check): (usize, &ManualCheck)| PlanCheck {
        id: manual_id(index),
        name: check.name.clone(),
        source: check.source.clone(),
    };
    let number = |(index, check): (usize, &ManualCheck)| {
        let limit = check.limit.clone()?;
        Some(PlanReading {
            id: manual_id(index),
            quantity: format!("{MANUAL}{}", index + 1),
            name: check.name.clone(),
            unit: check.unit.clone(),
            value: check.value,
            low: check.value,
            high: check.value,
            why: String::new(),
            tolerance: limit.tolerance,
            tolerance_percent: limit.tolerance_percent,
            min: limit.min,
            max: limit.max,
            allowed: limit.words(&check.unit),
            source: limit.source,
        })
    };
    let by_hand = step.expect.manual.iter().enumerate();
    let numbers = by_hand.clone().filter_map(number);
    PlanStep {
        id: id.to_owned(),
        name: label.to_owned(),
        plays: plays(step),
        lasts: step
            .duration
            .map_or("until the next step is called for".to_owned(), |span| format!("{} s", seconds(span))),
        cautions: step.cautions.clone(),
        prepare: step.prepare.clone(),
        readings: step.expect.readings.iter().map(reading).chain(numbers).collect(),
        alarms: step.expect.alarms.iter().enumerate().map(alarm).collect(),
        silent: step.expect.silent.iter().enumerate().map(silence).collect(),
        clears: step.expect.clears.iter().enumerate().map(clear).collect(),
        checks: by_hand.clone().filter(|(_, check)| check.limit.is_none()).map(check).collect(),
    }
}

fn seconds(span: Span) -> f64 {
    (span.as_secs_f64() * 1000.0).round() / 1000.0
}

/// Rhythm, body and what moves, in words.
fn plays(step: &DocumentStep) -> String {
    let settings = &step.settings;
    let rhythm = settings.rhythm();
    let mut parts = vec![format!("{}, {}", rhythm.name, settings.body().name.to_lowercase())];
    parts.extend(step.listed_words());
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
