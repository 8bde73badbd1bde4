//! Reading the rhythms of a script: every mistake at its place.

use super::kept::{MOST_KEPT, keep};
use super::word::{KEYS, MOST, groups, is_taken};
use crate::beside::BesideKind;
use crate::carry::{StepChange, StepValue};
use crate::keys::{self, Branch, Child};
use crate::problem::Problem;
use crate::reader::{DocumentKind, JsonNode, NodeEntry, Path, nearest, quoted};
use crate::units;
use crate::walk::DocumentWalk;
use crate::words::rhythms;
use pulsewright_core::heart::catalogue::{self, RHYTHMS};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::heart::rhythm::parameter::Parameter;
use pulsewright_core::settings::Field;

const BESIDE: BesideKind = BesideKind {
    kind: DocumentKind { noun: "a rhythm", shape: "a rhythm's document", help: "docs/script.md shows one" },
    noun: "rhythm",
    plural: "rhythms",
    most: MOST,
    file: "my-rhythm.json",
};

/// Settings that a rhythm can't bring: its rate is a parameter, and life is the person's.
const NOT_BROUGHT: [Field; 2] = [Field::RateBpm, Field::Life];

/// Whether a rhythm can bring a setting.
pub(super) fn can_bring(field: Field) -> bool {
    !NOT_BROUGHT.contains(&field)
}

/// A parameter that a document names, with where.
type Named<'a> = (Parameter, f32, JsonNode<'a>, String);

impl DocumentWalk<'_> {
    /// The rhythms of the document, each under its word.
    pub(crate) fn rhythms(&mut self, node: JsonNode<'_>, path: &Path<'_>) {
        let Some(entries) = self.entries(node, path, "words with rhythms") else { return };
        for entry in &entries {
            let path = path.key(&entry.key);
            let word = entry.key.as_str();
            if !self.admits(entry, &path, &BESIDE, is_taken(word), self.own.len()) {
                continue;
            }
            let read = |walk: &mut DocumentWalk<'_>, node: JsonNode<'_>, path: &Path<'_>| {
                walk.rhythm_document(word, node, path)
            };
            match self.here_or_beside(entry.value, &path, &BESIDE, read) {
                Some(rhythm) => self.own.push(rhythm),
                // Steps that name it are not wrong.
                None => self.refused.push(word.to_owned()),
            }
        }
    }

    /// A rhythm's document.
    fn rhythm_document(&mut self, word: &str, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static Rhythm> {
        let entries = self.entries(node, path, "a rhythm")?;
        let before = self.found.count();
        let mut base = Some(&catalogue::SINUS);
        let mut name = None;
        let mut named = Vec::new();
        let mut settings = None;
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "version" => self.own_version(entry.value, &path),
                "extends" => base = self.rhythm_word(entry.value, &path),
                "name" => name = self.line(entry.value, &path),
                "settings" => settings = Some(entry),
                _ => self.parameters(entry, &path, &mut named),
            }
        }
        let known = base.is_some();
        let base = base.unwrap_or(&catalogue::SINUS);
        let mut rhythm = *base;
        // In the order of the table, where a kind comes before what belongs to it; the order in the text does not count.
        named.sort_by_key(|(parameter, ..)| *parameter);
        for (parameter, value, node, at) in named {
            match rhythm.with_parameter(parameter, value) {
                Ok(changed) => rhythm = changed,
                Err(_) if known => self.absent(&rhythm, parameter, node, &at),
                // Of a base that has problems it is not known whether it has the parameter.
                Err(_) => {}
            }
        }
        let values = self.brought(base, settings, path);
        if known && rhythm.min_bpm > rhythm.max_bpm {
            let what = format!("min_bpm {} is above max_bpm {}", rhythm.min_bpm, rhythm.max_bpm);
            self.report(node, path, |p| p, what);
        }
        if !known || self.found.count() > before {
            return None;
        }
        let kept = keep(rhythm, word, name.as_deref().unwrap_or(word), &values);
        if kept.is_none() {
            let allowed = format!("at most {MOST_KEPT} different rhythms in one run of a program");
            self.report(node, path, |p| p.allowed(allowed), "too many rhythms".into());
        }
        kept
    }

    /// The settings that the rhythm brings: those of the one that it extends, but for its own.
    fn brought(&mut self, base: &Rhythm, entry: Option<&NodeEntry<'_>>, path: &Path<'_>) -> Vec<(Field, f32)> {
        let mut values = base.values.to_vec();
        let Some(entry) = entry else { return values };
        let path = path.key("settings");
        let Some(entries) = self.entries(entry.value, &path, "settings of a step") else { return values };
        let is_brought = |child: &Child| !matches!(child.what, Branch::Field(field) if !can_bring(field));
        let all: Vec<&str> =
            keys::children("").iter().filter(|child| is_brought(child)).map(|child| child.key).collect();
        let mut known = Vec::new();
        for entry in entries {
            let path = path.key(&entry.key);
            match keys::find("", &entry.key) {
                Some(Branch::Field(field)) if !can_bring(field) => {
                    let allowed = match field {
                        Field::RateBpm => "the parameter \"usual\": {\"bpm\": ...} of the rhythm",
                        _ => "in a step",
                    };
                    let what = format!("{} can't belong to a rhythm", entry.key);
                    self.report(entry.value, &path, |p| p.allowed(allowed), what);
                }
                Some(_) => known.push(entry),
                None => {
                    let near = nearest(&entry.key, all.iter().copied()).map(quoted);
                    self.unknown(&entry, &path, &all, near);
                }
            }
        }
        let (mut change, mut named) = (StepChange::default(), Vec::new());
        self.group(&known, "", &path, &mut change, &mut named);
        for (field, node) in named {
            let value = change.values.iter().rev().find(|(other, _)| *other == field).map(|(_, value)| *value);
            match value {
                Some(StepValue::Held(value)) => {
                    values.retain(|(other, _)| *other != field);
                    values.push((field, value));
                }
                Some(StepValue::Ramp { .. }) => {
                    let what = format!("{} ramps in a rhythm", field.info().path);
                    self.report(node, &path.key(field.info().path), |p| p.allowed("ramps in steps"), what);
                }
                None if change.ratios.iter().any(|(other, _)| *other == field) => {
                    let what = format!("{} at a ratio in a rhythm", field.info().path);
                    self.report(node, &path.key(field.info().path), |p| p.allowed("ratios in steps"), what);
                }
                None => {}
            }
        }
        values
    }

    /// A parameter, or a group of them.
    fn parameters<'a>(&mut self, entry: &NodeEntry<'a>, path: &Path<'_>, named: &mut Vec<Named<'a>>) {
        let key = entry.key.as_str();
        if let Some(parameter) = find(key) {
            named.extend(self.parameter(parameter, entry.value, path));
        } else if groups().any(|group| group == key) {
            let Some(entries) = self.entries(entry.value, path, "a group of parameters") else { return };
            let paths = || Parameter::ALL.iter().map(|parameter| parameter.info().path);
            let keys: Vec<&str> = paths().filter_map(|path| path.strip_prefix(key)?.strip_prefix('.')).collect();
            for entry in &entries {
                let path = path.key(&entry.key);
                match find(&format!("{key}.{}", entry.key)) {
                    Some(parameter) => named.extend(self.parameter(parameter, entry.value, &path)),
                    None => {
                        let near = nearest(&entry.key, keys.iter().copied()).map(quoted);
                        self.unknown(entry, &path, &keys, near);
                    }
                }
            }
        } else {
            let alone = Parameter::ALL.iter().map(|parameter| parameter.info().path).filter(|path| !path.contains('.'));
            let keys: Vec<&str> = KEYS.into_iter().chain(alone).chain(groups()).collect();
            self.unknown(entry, path, &keys, nearest(key, keys.iter().copied()).map(quoted));
        }
    }

    /// A number of a parameter's range, or the place of a word among its words.
    fn parameter<'a>(&mut self, parameter: Parameter, node: JsonNode<'a>, path: &Path<'_>) -> Option<Named<'a>> {
        let info = parameter.info();
        let value = if !info.words.is_empty() {
            self.found.word(node, path, info.words)? as f32
        } else if info.whole {
            self.found.whole(node, path, info.min as u64, info.max as u64)? as f32
        } else {
            let unit = units::shown(info.unit);
            self.found.number(node, path, f64::from(info.min)..=f64::from(info.max), unit)?;
            // Read anew, or a decimal would be rounded twice.
            node.raw().parse::<f32>().ok()?.clamp(info.min, info.max) + 0.0
        };
        Some((parameter, value, node, path.to_string()))
    }

    /// Reports a parameter of a kind that the rhythm does not have.
    fn absent(&mut self, rhythm: &Rhythm, parameter: Parameter, node: JsonNode<'_>, at: &str) {
        let path = parameter.info().path;
        let group = path.split('.').next().unwrap_or(path);
        let here = Parameter::ALL.iter().filter(|other| other.info().path.split('.').next() == Some(group));
        let has = here.filter_map(|other| {
            let place = rhythm.parameter(*other)?;
            let word = other.info().words.get(place as usize)?;
            Some(format!("{} is \"{word}\"", other.info().path))
        });
        let has: Vec<String> = has.collect();
        let problem = Problem::new(format!("{path} has no meaning where {}", has.join(", "))).at(node.mark()).path(at);
        self.found.push(problem);
    }

    /// A rhythm's word: of the script's own rhythms, or of the catalogue.
    pub(crate) fn rhythm_word(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static Rhythm> {
        let word = self.text(node, path)?;
        if let Some(own) = self.own.iter().find(|rhythm| rhythm.id == word) {
            return Some(own);
        }
        if self.refused.contains(&word) {
            return None;
        }
        let known = catalogue::find(&word);
        if known.is_none() {
            let words = || self.own.iter().chain(RHYTHMS).map(|rhythm| rhythm.id);
            let near = nearest(&word, words()).map(quoted);
            let allowed = rhythms(self.own.iter().map(|rhythm| rhythm.id), near.is_some());
            let what = format!("unknown rhythm {}", quoted(&word));
            self.report(node, path, |p| p.allowed(allowed).nearest(near), what);
        }
        known
    }
}

/// The parameter with this path.
fn find(path: &str) -> Option<Parameter> {
    Parameter::ALL.iter().copied().find(|parameter| parameter.info().path == path)
}
