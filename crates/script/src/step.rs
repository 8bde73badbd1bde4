//! One step of a document: its words, its numbers and ramps, and settings that exclude each other.

use crate::carry::{StepChange, StepValue};
use crate::document::DocumentStep;
use crate::expect::expected::Expectations;
use crate::keys::{self, Branch, EACH, STEP_WORDS};
use crate::limits::MAX_STEP_S;
use crate::noise_ratio;
use crate::reader::Path;
use crate::reader::{JsonNode, NodeEntry, NodeKind};
use crate::recording::part::StepLength;
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, range, shown, unit};
use pulsewright_core::heart::catalogue::{RECORDED, RHYTHMS};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::{Conflict, MIN_STEP};
use pulsewright_core::settings::Field;
use pulsewright_core::time::{Span, TICKS_PER_SECOND};

const RAMP_KEYS: [&str; 3] = ["from", "to", "over_s"];

/// Fields named by a step, with where.
type Named<'a> = Vec<(Field, JsonNode<'a>)>;

impl DocumentWalk<'_> {
    /// The step; one for each rhythm of the catalogue when its rhythm is the word [`EACH`].
    pub(crate) fn step(&mut self, node: JsonNode<'_>, entries: &[NodeEntry<'_>], path: &Path<'_>) -> Vec<DocumentStep> {
        let mut each = false;
        let mut beats = None;
        let mut series = None;
        let mut recording = None;
        let mut noise = None;
        let mut expect = None;
        let (mut cautions, mut prepare) = (Vec::new(), Vec::new());
        let mut name = None;
        let mut duration = None;
        let mut holds = false;
        let mut change = StepChange::default();
        let mut named = Named::new();
        let mut choice = None;
        let mut doubtful_body = false;
        for entry in entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "name" => name = self.line(entry.value, &path),
                "duration_s" if entry.value.text().as_deref() == Some("hold") => holds = true,
                "duration_s" => duration = self.seconds("duration_s", entry.value, &path),
                "rhythm" if entry.value.text().as_deref() == Some(EACH) => each = true,
                "beats" => beats = Some(entry),
                "series" => series = Some(entry),
                "recording" => recording = Some(entry),
                "noise" => noise = Some(entry),
                "expect" => expect = Some(entry),
                "cautions" => cautions = self.lines(entry.value, &path),
                "prepare" => prepare = self.lines(entry.value, &path),
                "rhythm" => {
                    change.rhythm = self.rhythm_word(entry.value, &path);
                    let known = change.rhythm.is_some() && !doubtful_body;
                    self.doubt(Field::RateBpm, !known);
                    choice = Some(entry.value);
                }
                "body" => {
                    change.body = self.body_word(entry.value, &path);
                    doubtful_body = change.body.is_none();
                    if doubtful_body {
                        self.doubt(Field::RateBpm, true);
                    }
                    choice = choice.or(Some(entry.value));
                }
                _ => {}
            }
        }
        if recording.is_some() {
            self.recording_alone(entries, path);
            (beats, series, each) = (None, None, false);
            change.rhythm = Some(&RECORDED);
        }
        // Numbers after words, in any order of the text: the words decide which numbers are doubtful.
        self.group(entries, "", path, &mut change, &mut named);
        if !entries.iter().any(|entry| entry.key == "duration_s") {
            self.missing(node, path, "duration_s", "\"duration_s\": seconds, or \"hold\"");
        }
        if holds {
            for ramp in change.ramps() {
                let place = named.iter().find(|(field, _)| *field == ramp).map_or(node, |(_, place)| *place);
                let what = format!("{} ramps in a step that holds", ramp.info().path);
                let path = path.key(ramp.info().path);
                self.report(
                    place,
                    &path,
                    |p| {
                        p.allowed(
                            "ramps in steps with a duration in seconds, or that say how long they take, \"over_s\"",
                        )
                    },
                    what,
                );
            }
        }
        let (mut settings, ramps) = change.apply(&self.carried).unwrap_or((self.carried, Vec::new()));
        if series.is_some() {
            let each = entries.iter().find(|entry| each && entry.key == "rhythm").map(|entry| entry.value);
            self.series_alone(beats.take(), each, path);
        }
        let series = series.and_then(|entry| {
            choice = choice.or(Some(entry.value));
            self.series(entry.value, &path.key("series"))
        });
        let recorded = recording.and_then(|entry| {
            choice = choice.or(Some(entry.value));
            self.recording(entry.value, &path.key("recording"), StepLength { duration, holds })
        });
        let (recording, series) = match recorded {
            Some((recording, beats)) => (Some(recording), Some(beats)),
            None => (None, series),
        };
        if let Some(series) = series.as_ref().filter(|_| !named.iter().any(|(field, _)| *field == Field::RateBpm)) {
            settings = series.at_its_rate(settings);
        }
        let beats = beats.map_or(Vec::new(), |entry| self.beats(entry.value, &path.key("beats"), duration));
        let step = DocumentStep {
            name,
            duration,
            settings,
            ramps,
            beats,
            series,
            recording,
            noise: None,
            expect: Expectations::default(),
            cautions,
            prepare,
        };
        let step = self.at_ratios(step, &change, &named, each, path);
        let noise = noise.and_then(|entry| self.noise(entry.value, &path.key("noise"), &step, each, holds));
        let step = DocumentStep { noise, ..step };
        if each {
            return self.one_of_each(&step, &named, expect, node, path);
        }
        self.conflicts(&step, &named, choice, node, path);
        let expect =
            expect.map_or(Expectations::default(), |entry| self.expect(entry.value, &path.key("expect"), &step));
        vec![DocumentStep { expect, ..step }]
    }

    /// The step once for every rhythm, each at its usual rate and called by its name.
    fn one_of_each(
        &mut self,
        step: &DocumentStep,
        named: &Named<'_>,
        expect: Option<&NodeEntry<'_>>,
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Vec<DocumentStep> {
        if let Some(entry) = expect {
            let allowed = "expectations in steps with one rhythm";
            let what = "expectations differ from rhythm to rhythm".to_owned();
            self.report(entry.key_node, &path.key("expect"), |p| p.allowed(allowed), what);
        }
        if let Some((_, place)) = named.iter().find(|(field, _)| *field == Field::RateBpm) {
            let path = path.key("rate_bpm");
            let allowed = "no rate beside \"each\": every rhythm plays at its usual rate";
            self.report(*place, &path, |p| p.allowed(allowed), "one rate does not suit every rhythm".into());
        } else if step.duration.is_none() {
            let allowed = "a duration in seconds, for each of the rhythms";
            self.report(node, path, |p| p.allowed(allowed), "a step that holds never comes to the next rhythm".into());
        }
        let one = |rhythm: &&'static Rhythm| DocumentStep {
            name: Some(rhythm.name.to_owned()),
            settings: step.settings.with_rhythm(rhythm),
            ..step.clone()
        };
        RHYTHMS.iter().map(one).collect()
    }

    /// Seconds, at least [`MIN_STEP`].
    fn seconds(&mut self, key: &str, node: JsonNode<'_>, path: &Path<'_>) -> Option<Span> {
        let seconds = match node.kind() {
            NodeKind::Number => node.raw().parse().unwrap_or(f64::NAN),
            _ => f64::NAN,
        };
        let span = span_of(seconds);
        if span.is_none() {
            let min = MIN_STEP.as_secs();
            let hold = if key == "duration_s" { ", or \"hold\"" } else { "" };
            let allowed = format!("seconds from {min} to {MAX_STEP_S}{hold}");
            let what = match node.kind() {
                NodeKind::Number => format!("{key} can't be {} s", shown(node.raw())),
                NodeKind::Text => format!("{key} can't be {}", shown(node.raw())),
                kind => format!("{key} can't be {}", kind.noun()),
            };
            self.report(node, path, |p| p.allowed(allowed), what);
        }
        span
    }

    /// The fields below `group`, and the keys that are none.
    pub(crate) fn group<'a>(
        &mut self,
        entries: &[NodeEntry<'a>],
        group: &str,
        path: &Path<'_>,
        change: &mut StepChange,
        named: &mut Named<'a>,
    ) {
        for entry in entries {
            if group.is_empty() && STEP_WORDS.contains(&entry.key.as_str()) {
                continue;
            }
            let path = path.key(&entry.key);
            match keys::find(group, &entry.key) {
                Some(Branch::Field(field)) => {
                    let value = self.value(field, entry.value, &path);
                    self.doubt(field, value.is_none());
                    named.push((field, entry.value));
                    change.values.extend(value.map(|value| (field, value)));
                }
                Some(Branch::Group(below)) => {
                    if let Some(entries) = self.entries(entry.value, &path, "a group of settings") {
                        self.group(&entries, below, &path, change, named);
                    }
                }
                None if noise_ratio::of_path(&format!("{group}{}", entry.key)).is_some() => {
                    self.ratio(&format!("{group}{}", entry.key), entry.value, &path, change, named);
                }
                None => {
                    let words = STEP_WORDS.iter().filter(|_| group.is_empty()).copied();
                    let allowed: Vec<&str> = words.chain(keys::children(group).iter().map(|child| child.key)).collect();
                    let nearest = meant(&entry.key, group, &allowed);
                    self.unknown(entry, &path, &allowed, nearest);
                }
            }
        }
    }

    /// The ratio of a signal to an artefact.
    fn ratio<'a>(
        &mut self,
        key: &str,
        node: JsonNode<'a>,
        path: &Path<'_>,
        change: &mut StepChange,
        named: &mut Named<'a>,
    ) {
        let Some(field) = noise_ratio::of_path(key) else { return };
        let db = self.found.number(node, path, noise_ratio::RANGE_DB, "dB");
        named.push((field, node));
        change.ratios.extend(db.map(|db| (field, db)));
    }

    /// The step with the amplitudes that give the ratios asked for.
    fn at_ratios(
        &mut self,
        mut step: DocumentStep,
        change: &StepChange,
        named: &Named<'_>,
        each: bool,
        path: &Path<'_>,
    ) -> DocumentStep {
        for (field, db) in &change.ratios {
            let places: Vec<JsonNode<'_>> =
                named.iter().filter(|(one, _)| one == field).map(|(_, node)| *node).collect();
            let Some(node) = places.last() else { continue };
            let path = path.key(field.info().path);
            if places.len() > 1 || each {
                let what = if each { "a ratio differs from rhythm to rhythm" } else { "an amplitude beside its ratio" };
                self.report(*node, &path, |p| p.allowed("one of the two, in a step with one rhythm"), what.into());
            } else if self.found.is_empty() {
                match self.measurements.amplitude_mv(&step, *field, *db, self.seed) {
                    Ok(mv) => step.settings = step.settings.with(*field, mv).unwrap_or(step.settings),
                    Err(what) => self.report(*node, &path, |p| p, what),
                }
            }
        }
        step
    }

    /// A number or a ramp.
    fn value(&mut self, field: Field, node: JsonNode<'_>, path: &Path<'_>) -> Option<StepValue> {
        match node.kind() {
            NodeKind::Object if field.info().ramps => {
                let entries = self.entries(node, path, "a ramp")?;
                let (mut from, mut to, mut over, mut good) = (None, None, None, true);
                for entry in &entries {
                    let path = path.key(&entry.key);
                    let end = match entry.key.as_str() {
                        "from" => &mut from,
                        "to" => &mut to,
                        "over_s" => {
                            over = self.seconds("over_s", entry.value, &path);
                            good &= over.is_some();
                            continue;
                        }
                        key => {
                            self.unknown(entry, &path, &RAMP_KEYS, nearest(key, RAMP_KEYS).map(quoted));
                            good = false;
                            continue;
                        }
                    };
                    *end = self.number(field, entry.value, &path);
                    good &= end.is_some();
                }
                if !entries.iter().any(|entry| entry.key == "to") {
                    self.missing(node, path, "to", "{\"to\": number} or {\"from\": number, \"to\": number}");
                    good = false;
                }
                to.filter(|_| good).map(|to| StepValue::Ramp { from, to, over })
            }
            NodeKind::Object => {
                let allowed = format!("one number, {}, for the whole step", range(field.info()));
                let what = format!("{} can't ramp", field.info().path);
                self.report(node, path, |p| p.allowed(allowed), what);
                None
            }
            _ => self.number(field, node, path).map(StepValue::Held),
        }
    }

    /// A number within the field's range, or the place of a word among its words.
    fn number(&mut self, field: Field, node: JsonNode<'_>, path: &Path<'_>) -> Option<f32> {
        let info = field.info();
        if !info.words().is_empty() {
            let word = self.text(node, path)?;
            let place = info.words().iter().position(|known| *known == word);
            if place.is_none() {
                let near = nearest(&word, info.words().iter().copied()).map(quoted);
                let what = format!("{} can't be {}", info.path, quoted(&word));
                self.report(node, path, |p| p.allowed(range(info)).nearest(near), what);
            }
            return place.map(|place| place as f32);
        }
        let number = (node.kind() == NodeKind::Number).then(|| node.raw().parse().unwrap_or(f32::NAN));
        // Adding zero turns -0 into 0: values that are equal to a reader get the same bits.
        let good = number.filter(|number| info.allows(*number)).map(|number| number + 0.0);
        if good.is_none() {
            let ramp = if info.ramps { ", or a ramp {\"to\": number}" } else { "" };
            let what = match number {
                Some(_) => format!("{} can't be {}{}", info.path, shown(node.raw()), unit(info)),
                None => format!("{} can't be {}", info.path, node.kind().noun()),
            };
            let allowed = format!("{}{}", range(info), if number.is_some() { "" } else { ramp });
            self.report(node, path, |p| p.allowed(allowed), what);
        }
        good
    }

    /// Reports settings that exclude each other: at the step that sets them, not again where they carry over.
    fn conflicts(
        &mut self,
        step: &DocumentStep,
        named: &Named<'_>,
        choice: Option<JsonNode<'_>>,
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) {
        let mut reported: Vec<&[Field]> = Vec::new();
        let found: Vec<Conflict> = step.item().conflicts().collect();
        let before = std::mem::replace(&mut self.conflicting, found.clone());
        for conflict in found {
            let fields = conflict.fields();
            let place = named.iter().find(|(field, _)| fields.contains(field));
            let carried = place.is_none() && !fields.is_empty() && before.contains(&conflict);
            let doubtful = fields.iter().any(|field| self.doubtful.get(*field as usize).copied().unwrap_or(false));
            let brought = choice.is_some() || place.is_some();
            if doubtful || !brought || carried || reported.contains(&fields) {
                continue;
            }
            reported.push(fields);
            let at = place.map(|(_, node)| *node).or(choice).unwrap_or(node);
            match place {
                Some((field, _)) => self.report(at, &path.key(field.info().path), |p| p, conflict.to_string()),
                None => self.report(at, path, |p| p, conflict.to_string()),
            }
        }
    }
}

/// The span of a step of so many seconds; `None` when too short, too long or not a number.
pub(crate) fn span_of(seconds: f64) -> Option<Span> {
    if !(0.0..=MAX_STEP_S).contains(&seconds) {
        return None;
    }
    let span = Span::from_ticks((seconds * TICKS_PER_SECOND as f64).round() as u64);
    (span >= MIN_STEP).then_some(span)
}

/// The key below `group` that an unknown key was probably meant to be.
fn meant(key: &str, group: &str, allowed: &[&str]) -> Option<String> {
    // A field's own name or path, but at another level.
    let elsewhere = Field::ALL.iter().find(|field| field.info().path == key || keys::leaf(**field) == key);
    if let Some(field) = elsewhere {
        let path = field.info().path;
        let (groups, leaf) = path.rsplit_once('.').unwrap_or(("", path));
        return Some(match groups {
            "" => format!("{} beside \"duration_s\"", quoted(leaf)),
            groups => format!("{} in {}", quoted(leaf), quoted(groups)),
        });
    }
    if let Some(word) = nearest(key, allowed.iter().copied()) {
        return Some(quoted(word));
    }
    let leaves = Field::ALL.iter().map(|field| keys::leaf(*field));
    let leaf = nearest(key, leaves)?;
    let field = Field::ALL.iter().find(|field| keys::leaf(**field) == leaf)?;
    let (groups, _) = field.info().path.rsplit_once('.')?;
    (format!("{groups}.") != group).then(|| format!("{} in {}", quoted(leaf), quoted(groups)))
}
