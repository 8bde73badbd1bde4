//! Document to JSON: each step has only its differences from the step before.

use crate::bodies::write::own_json;
use crate::carry::{self, StepChange, StepValue};
use crate::document::{Document, DocumentPart, DocumentStep};
use crate::expect::{alarm_settings_json, expect_json, limits_json, lines_json};
use crate::noise::write::json as noise_json;
use crate::number::{insert, number, shortest};
use crate::recording::write::json as recording_json;
use crate::rhythms::write::json as rhythm_json;
use crate::series::write::json as series_json;
use crate::step::span_of;
use pulsewright_core::script::TimedBeat;
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::Span;
use serde_json::{Map, Value, json};

impl Document {
    /// The document as JSON; reading it gives the same document again.
    pub fn to_json(&self) -> Value {
        let mut carried = carry::RESTING;
        // Items of the lists under way, each with the index of its part.
        let mut list: Vec<(usize, Value)> = Vec::new();
        for (index, part) in self.parts.iter().enumerate() {
            match part {
                DocumentPart::Step(step) => {
                    list.push((index, step_json(step, &carried)));
                    carried = carry::carried(step);
                }
                DocumentPart::Repeat { first, times, .. } => {
                    let start = list.partition_point(|(part, _)| *part < *first as usize);
                    let steps: Vec<Value> = list.drain(start..).map(|(_, item)| item).collect();
                    list.push((*first as usize, json!({"repeat": times, "steps": steps})));
                }
            }
        }
        let mut document = Map::new();
        document.insert("version".into(), 1.into());
        if let Some(title) = &self.title {
            document.insert("title".into(), title.as_str().into());
        }
        if let Some(notes) = &self.notes {
            document.insert("notes".into(), notes.as_str().into());
        }
        document.insert("seed".into(), self.seed.into());
        if let Some(class) = &self.asset_class {
            document.insert("asset_class".into(), class.as_str().into());
        }
        insert_lines(&mut document, &[("kit", &self.kit), ("cautions", &self.cautions), ("prepare", &self.prepare)]);
        if !self.limits.is_empty() {
            document.insert("limits".into(), limits_json(&self.limits));
        }
        if !self.alarm_limits.is_empty() {
            document.insert("alarm_limits".into(), alarm_settings_json(&self.alarm_limits));
        }
        let bodies = self.own_bodies();
        if !bodies.is_empty() {
            let own = bodies.into_iter().map(|body| (body.id.to_owned(), own_json(body)));
            document.insert("bodies".into(), Value::Object(own.collect()));
        }
        let rhythms = self.own_rhythms();
        if !rhythms.is_empty() {
            let own = rhythms.into_iter().map(|rhythm| (rhythm.id.to_owned(), rhythm_json(rhythm)));
            document.insert("rhythms".into(), Value::Object(own.collect()));
        }
        document.insert("steps".into(), list.into_iter().map(|(_, item)| item).collect());
        Value::Object(document)
    }
}

fn step_json(step: &DocumentStep, carried: &Settings) -> Value {
    let mut object = Map::new();
    if let Some(name) = &step.name {
        object.insert("name".into(), name.as_str().into());
    }
    object.insert("duration_s".into(), step.duration.map_or("hold".into(), seconds));
    let change = difference(step, carried);
    if let Some(rhythm) = change.rhythm.filter(|_| step.recording.is_none()) {
        object.insert("rhythm".into(), rhythm.id.into());
    }
    if let Some(body) = change.body {
        object.insert("body".into(), body.id.into());
    }
    if !step.beats.is_empty() {
        let beat = |beat: &TimedBeat| json!({"at_s": beat.after.as_secs_f64(), "site": beat.site.id()});
        object.insert("beats".into(), step.beats.iter().map(beat).collect());
    }
    match (&step.recording, &step.series) {
        (Some(recording), _) => _ = object.insert("recording".into(), recording_json(recording)),
        (None, Some(series)) => _ = object.insert("series".into(), series_json(series)),
        (None, None) => {}
    }
    if let Some(noise) = &step.noise {
        object.insert("noise".into(), noise_json(noise));
    }
    if !step.expect.is_empty() {
        object.insert("expect".into(), expect_json(&step.expect));
    }
    insert_lines(&mut object, &[("cautions", &step.cautions), ("prepare", &step.prepare)]);
    for (field, named) in &change.values {
        let value = match named {
            StepValue::Held(value) => match field.info().words().get(*value as usize) {
                Some(word) => (*word).into(),
                None => number(*value),
            },
            StepValue::Ramp { from, to, over } => {
                let mut ramp = Map::new();
                ramp.extend(from.map(|from| ("from".to_owned(), number(from))));
                ramp.insert("to".into(), number(*to));
                ramp.extend(over.map(|over| ("over_s".to_owned(), seconds(over))));
                Value::Object(ramp)
            }
        };
        insert(&mut object, field.info().path, value);
    }
    Value::Object(object)
}

/// The lists of lines that are not empty.
fn insert_lines(object: &mut Map<String, Value>, lists: &[(&str, &[String])]) {
    for (key, lines) in lists.iter().filter(|(_, lines)| !lines.is_empty()) {
        object.insert((*key).into(), lines_json(lines));
    }
}

/// The settings that a step must name to follow from `carried`.
fn difference(step: &DocumentStep, carried: &Settings) -> StepChange {
    let settings = &step.settings;
    let mut change = StepChange::default();
    if settings.body().id != carried.body().id {
        change.body = Some(settings.body());
    }
    if settings.rhythm().id != carried.rhythm().id {
        change.rhythm = Some(settings.rhythm());
    }
    // A series sets the rate that a step does not name.
    let beside_a_series = step
        .series
        .as_ref()
        .is_some_and(|series| series.at_its_rate(*settings).get(Field::RateBpm) != settings.get(Field::RateBpm));
    // Settings that need no name; naming one field may set others, which come after it in the table.
    let mut chosen = change.choose(carried);
    for &field in Field::ALL {
        let value = settings.get(field);
        let moved = value != chosen.get(field);
        if moved {
            chosen = chosen.with(field, value).unwrap_or(chosen);
        }
        match step.ramps.iter().find(|ramp| ramp.field == field) {
            Some(ramp) => change
                .values
                .push((field, StepValue::Ramp { from: moved.then_some(value), to: ramp.to, over: ramp.over })),
            None if moved || field == Field::RateBpm && beside_a_series => {
                change.values.push((field, StepValue::Held(value)))
            }
            None => {}
        }
    }
    change
}

/// The shortest decimal of seconds that reads back as this span.
fn seconds(span: Span) -> Value {
    let exact = span.as_secs_f64();
    let written = (0..=10).map(|decimals| format!("{exact:.decimals$}"));
    let same = |text: &String| text.parse().ok().and_then(span_of) == Some(span);
    written.into_iter().find(same).map_or_else(|| exact.into(), |text| shortest(&text))
}
