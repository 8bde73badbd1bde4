//! The steps of a plan: as they are played, and as a view shows them.

use pulsewright_core::script::Ramp;
use pulsewright_core::time::Span;
use pulsewright_record::instruments::KINDS;
use pulsewright_record::judge::plain;
use pulsewright_record::plan::{PlanItem, PlanStep};
use pulsewright_record::record::ABOUT;
use pulsewright_record::walk::EndedSteps;
use pulsewright_record::{Plan, PlanWalkError};
use pulsewright_script::expect::Expectations;
use pulsewright_script::{Document, DocumentStep};
use serde_json::{Value, json};

/// The steps of a plan.
pub struct PlannedSteps {
    /// Each as it is played: it holds until the next order; its ramps keep their lengths.
    pub steps: Vec<DocumentStep>,
    /// The plan as a view shows it, JSON.
    pub page: Value,
    /// The plan itself.
    pub plan: Plan,
}

impl PlannedSteps {
    /// The steps of a plan that was made of `document`, in playing order.
    ///
    /// # Errors
    /// As [`EndedSteps::new`].
    pub fn new(plan: Plan, document: &Document) -> Result<PlannedSteps, PlanWalkError> {
        let walk = EndedSteps::new(document)?;
        let placed = walk.placed();
        let scripted: Vec<&DocumentStep> = placed.iter().filter_map(|placed| document.step(placed.item)).collect();
        let shown: Vec<Value> = plan.steps.iter().zip(&scripted).map(|(step, of)| on_page(step, of.duration)).collect();
        let page = json!({
            "title": plan.title, "cautions": plan.cautions, "prepare": plan.prepare, "kit": plan.kit, "steps": shown,
            "about": ABOUT, "instruments": KINDS,
        });
        Ok(PlannedSteps { steps: scripted.into_iter().map(held).collect(), page, plan })
    }
}

impl PlannedSteps {
    /// How long each step plays that has nothing to read, s; `None` for one that holds.
    pub fn rests(&self) -> Vec<Option<f64>> {
        let steps = self.page.get("steps").and_then(Value::as_array).into_iter().flatten();
        steps.map(|step| step.get("rest_s").and_then(Value::as_f64)).collect()
    }
}

/// The step until the next order. What it expects is no part of the log: it may last too short for it.
fn held(step: &DocumentStep) -> DocumentStep {
    let own = |ramp: &Ramp| Ramp { over: ramp.over.or(step.duration), ..*ramp };
    DocumentStep {
        name: Some(step.name.clone().unwrap_or_else(|| step.settings.rhythm().name.to_owned())),
        duration: None,
        ramps: step.ramps.iter().map(own).collect(),
        expect: Expectations::default(),
        // They loop, as the step is held for as long as it is wanted.
        recording: step.recording.as_ref().map(|recording| recording.from(Span::ZERO)),
        noise: step.noise.as_ref().map(|noise| noise.from(Span::ZERO)),
        ..step.clone()
    }
}

fn on_page(step: &PlanStep, lasts: Option<Span>) -> Value {
    let items: Vec<Value> = step.items().map(item).collect();
    // Only a step with nothing to read has an end of its own.
    let rest_s = lasts.filter(|_| items.is_empty()).map(Span::as_secs_f64);
    json!({
        "id": step.id, "name": step.name, "plays": step.plays, "cautions": step.cautions, "prepare": step.prepare,
        "items": items, "rest_s": rest_s,
    })
}

/// The expectation of an item, its reason, and the source of its limit.
fn item(item: PlanItem<'_>) -> Value {
    let (kind, unit) = match item {
        PlanItem::Reading(reading) => ("reading", reading.unit.as_str()),
        PlanItem::Alarm(_) => ("alarm", "s"),
        PlanItem::Silence(_) => ("silence", ""),
        PlanItem::Clear(_) => ("clear", "s"),
        PlanItem::Check(_) => ("check", ""),
    };
    let (expect, why, source) = match item {
        PlanItem::Reading(reading) => {
            let expected = reading.expected();
            let sign = if expected.is_empty() { "" } else { ", " };
            (format!("{expected}{sign}{}", reading.allowed), reading.because(), reading.source.as_str())
        }
        PlanItem::Alarm(alarm) => {
            let onset = match alarm.onset_s > 0.0 {
                true => format!("Its limit is reached after {} s.", plain(alarm.onset_s)),
                false => String::new(),
            };
            let within =
                format!("{} priority, {} s after the start at the latest", alarm.priority, plain(alarm.latest_s()));
            (within, onset, alarm.source.as_str())
        }
        PlanItem::Silence(_) => ("stays silent".to_owned(), String::new(), ""),
        PlanItem::Check(check) => ("in order".to_owned(), String::new(), check.source.as_str()),
        PlanItem::Clear(clear) => {
            let ends = format!("ends {} s after the start at the latest", plain(clear.latest_s()));
            (ends, String::new(), clear.source.as_str())
        }
    };
    json!({"id": item.id(), "name": item.name(), "expect": expect, "why": why, "source": source, "kind": kind, "unit": unit})
}
