//! Reading the bodies of a script: every mistake at its place.

use super::kept::{self, MOST_KEPT};
use super::word::{self, KEYS, MOST, brings};
use crate::beside::BesideKind;
use crate::carry::{StepChange, StepValue};
use crate::keys;
use crate::reader::{DocumentKind, JsonNode, NodeEntry, Path, join, nearest, quoted};
use crate::walk::DocumentWalk;
use pulsewright_core::body::{ADULT, Age, BODIES, Body, RESTING_BPM};
use pulsewright_core::heart::catalogue;
use pulsewright_core::internal::ecg::Residuals;
use pulsewright_core::script::{MIN_STEP, Step};
use pulsewright_core::settings::{Field, Settings};

const BESIDE: BesideKind = BesideKind {
    kind: DocumentKind { noun: "a body", shape: "a body's document", help: "docs/script.md shows one" },
    noun: "body",
    plural: "bodies",
    most: MOST,
    file: "my-body.json",
};

impl DocumentWalk<'_> {
    /// The bodies of the document, each under its word.
    pub(crate) fn bodies(&mut self, node: JsonNode<'_>, path: &Path<'_>) {
        let Some(entries) = self.entries(node, path, "words with bodies") else { return };
        for entry in &entries {
            let path = path.key(&entry.key);
            let word = entry.key.as_str();
            if !self.admits(entry, &path, &BESIDE, Body::find(word).is_some(), self.own_bodies.len()) {
                continue;
            }
            let read =
                |walk: &mut DocumentWalk<'_>, node: JsonNode<'_>, path: &Path<'_>| walk.body_document(word, node, path);
            match self.here_or_beside(entry.value, &path, &BESIDE, read) {
                Some(body) => self.own_bodies.push(body),
                // Steps that name it are not wrong.
                None => self.refused_bodies.push(word.to_owned()),
            }
        }
    }

    /// A body's word: of the script's own bodies, or of the catalogue.
    pub(crate) fn body_word(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static Body> {
        let word = self.text(node, path)?;
        if let Some(own) = self.own_bodies.iter().find(|body| body.id == word) {
            return Some(own);
        }
        if self.refused_bodies.contains(&word) {
            return None;
        }
        let known = Body::find(&word);
        if known.is_none() {
            let words = || self.own_bodies.iter().chain(BODIES).map(|body| body.id);
            let (allowed, near) = (join(words()), nearest(&word, words()).map(quoted));
            let what = format!("unknown body {}", quoted(&word));
            self.report(node, path, |p| p.allowed(allowed).nearest(near), what);
        }
        known
    }

    fn body_document(&mut self, word: &str, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static Body> {
        let entries = self.entries(node, path, "a body")?;
        let before = self.found.count();
        let mut base = Some(&ADULT);
        // The shapes differ from those of the base, in any order of the text.
        if let Some(entry) = entries.iter().find(|entry| entry.key == "extends") {
            base = self.body_word(entry.value, &path.key("extends"));
        }
        let known = base.is_some();
        let base = base.unwrap_or(&ADULT);
        let (mut name, mut age, mut resting_bpm) = (None, base.age, base.resting_bpm);
        let (mut values, mut templates) = (base.values.to_vec(), *base.templates);
        // What the base has beside waves that the document replaces is not theirs.
        let mut residuals = templates.residuals.map_or(Residuals::NONE, |residuals| *residuals);
        let mut forget = |place: usize| residuals.0.get_mut(place).into_iter().for_each(|residual| *residual = None);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "version" => self.own_version(entry.value, &path),
                "extends" => {}
                "name" => name = self.line(entry.value, &path),
                "age" => {
                    let place = self.found.word(entry.value, &path, &Age::ALL.map(Age::id));
                    age = place.and_then(|place| Age::ALL.get(place)).copied().unwrap_or(age);
                }
                "resting_bpm" => {
                    resting_bpm = self.single(entry.value, &path, &RESTING_BPM, "bpm").unwrap_or(resting_bpm);
                }
                "settings" => self.resting_values(entry, &path, &mut values),
                "complexes" => {
                    let of = |walk: &mut Self, place: usize, node: JsonNode<'_>, path: &Path<'_>| {
                        walk.complex(base.templates.complexes.get(place)?, node, path)
                    };
                    for (place, complex) in self.shapes(entry.value, &path, word::complexes(), of) {
                        templates.complexes.get_mut(place).into_iter().for_each(|old| *old = complex);
                        [Residuals::qrs(place), Residuals::t(place)].into_iter().for_each(&mut forget);
                    }
                }
                "p_waves" => {
                    let of = |walk: &mut Self, _, node: JsonNode<'_>, path: &Path<'_>| walk.p_wave(node, path);
                    for (place, waves) in self.shapes(entry.value, &path, word::p_waves(), of) {
                        templates.p.get_mut(place).into_iter().for_each(|old| *old = waves);
                        forget(Residuals::p(place));
                    }
                }
                "residuals" => {}
                key => self.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
            }
        }
        templates.residuals = kept::residuals(&residuals);
        // They go with waves that the document may name after them.
        if let Some(entry) = entries.iter().find(|entry| entry.key == "residuals") {
            self.residuals(entry.value, &path.key("residuals"), &mut templates);
        }
        if !known || self.found.count() > before {
            return None;
        }
        let kept = kept::body((word, name.as_deref().unwrap_or(word)), age, resting_bpm, &values, templates);
        let Some(body) = kept else {
            let allowed = format!("at most {MOST_KEPT} different bodies in one run of a program");
            self.report(node, path, |p| p.allowed(allowed), "too many bodies".into());
            return None;
        };
        // At rest in sinus rhythm its values must go together.
        let step = Step::lasting(MIN_STEP, Settings::new(body, &catalogue::SINUS));
        if let Some(conflict) = step.conflicts().next() {
            self.report(node, path, |p| p, conflict.to_string());
            return None;
        }
        Some(body)
    }

    /// Changes the resting values that the document names.
    fn resting_values(&mut self, entry: &NodeEntry<'_>, path: &Path<'_>, values: &mut [(Field, f32)]) {
        let Some(entries) = self.entries(entry.value, path, "resting values") else { return };
        let paths = || ADULT.values.iter().map(|(field, _)| field.info().path);
        let mut groups: Vec<&str> = paths().filter_map(|path| path.split('.').next()).collect();
        groups.dedup();
        let mut known = Vec::new();
        for entry in entries {
            match keys::find("", &entry.key) {
                Some(_) => known.push(entry),
                None => {
                    let near = nearest(&entry.key, groups.iter().copied()).map(quoted);
                    self.unknown(&entry, &path.key(&entry.key), &groups, near);
                }
            }
        }
        let (mut change, mut named) = (StepChange::default(), Vec::new());
        self.group(&known, "", path, &mut change, &mut named);
        for (field, node) in named {
            let info = field.info();
            let path = path.key(info.path);
            if !brings(field) {
                let allowed = join(paths());
                self.report(node, &path, |p| p.allowed(allowed), format!("{} can't belong to a body", info.path));
                continue;
            }
            match change.values.iter().rev().find(|(other, _)| *other == field).map(|(_, value)| *value) {
                Some(StepValue::Held(value)) => {
                    values.iter_mut().filter(|(other, _)| *other == field).for_each(|(_, old)| *old = value);
                }
                Some(StepValue::Ramp { .. }) => {
                    let what = format!("{} ramps in a body", info.path);
                    self.report(node, &path, |p| p.allowed("ramps in steps"), what);
                }
                None => {}
            }
        }
    }
}
