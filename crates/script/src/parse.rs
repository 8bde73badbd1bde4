//! Text to document: the frame around the steps, the list of steps and repeats, and the limits on both.

use crate::carry;
use crate::document::{Document, DocumentPart, too_long};
use crate::limits::{MAX_BYTES, MAX_STEPS};
use crate::problem::{Problem, ProblemCollector, Problems};
use crate::reader::{DocumentKind, JsonNode, NodeEntry, NodeKind, Path, open};
use crate::walk::{DocumentWalk, FilesBeside, ReadRecordings, nothing_beside};
use crate::words::{nearest, quoted, shown};
use pulsewright_core::script::MAX_NESTING;
use std::io::{self, Read};

/// The kind of document, for messages.
const KIND: DocumentKind =
    DocumentKind { noun: "a script", shape: "a script document", help: "docs/script.md shows one" };

const DOCUMENT_KEYS: [&str; 13] = [
    "version",
    "title",
    "notes",
    "seed",
    "asset_class",
    "kit",
    "cautions",
    "prepare",
    "limits",
    "alarm_limits",
    "bodies",
    "rhythms",
    "steps",
];
const REPEAT_KEYS: [&str; 2] = ["repeat", "steps"];

/// Reads the document in `text`, called `name` in messages.
///
/// # Errors
/// Every problem of the document at once; only the first syntax error. A document that names files beside it has one problem for
/// each: [`parse_beside`] reads them.
pub fn parse(text: &[u8], name: &str) -> Result<Document, Problems> {
    parse_beside(text, name, &nothing_beside)
}

/// As [`parse`]; `beside` gives the bytes of a file beside the script, by a path in its folder, or says why it can't.
///
/// # Errors
/// As [`parse`].
pub fn parse_beside(text: &[u8], name: &str, beside: &FilesBeside<'_>) -> Result<Document, Problems> {
    parse_among(text, name, beside, &mut ReadRecordings::default())
}

/// As [`parse_beside`], for one of many documents of a folder: recordings that were read for the others are not read again.
///
/// # Errors
/// As [`parse`].
pub fn parse_among(
    text: &[u8],
    name: &str,
    beside: &FilesBeside<'_>,
    recordings: &mut ReadRecordings,
) -> Result<Document, Problems> {
    let (text, root) = open(text, name, &KIND)?;
    let mut walk = DocumentWalk::new(beside);
    walk.recordings = std::mem::take(recordings);
    let mut document = walk.document(root);
    *recordings = std::mem::take(&mut walk.recordings);
    if walk.found.is_empty() {
        for problem in document.fill_in() {
            walk.found.push(problem);
        }
    }
    if walk.found.is_empty() { Ok(document) } else { Err(Problems::of(name, text, walk.found)) }
}

/// Reads the document that `source` gives, up to [`MAX_BYTES`].
///
/// # Errors
/// As [`parse`], and when `source` can't be read.
pub fn read(source: impl Read, name: &str) -> Result<Document, Problems> {
    let mut text = Vec::new();
    let limited: io::Result<usize> = source.take(MAX_BYTES as u64 + 1).read_to_end(&mut text);
    match limited {
        Ok(_) => parse(&text, name),
        Err(error) => {
            Err(Problems::of(name, "", ProblemCollector::one(Problem::new(format!("can't read it: {error}")))))
        }
    }
}

impl DocumentWalk<'_> {
    fn document(&mut self, root: JsonNode<'_>) -> Document {
        let path = Path::Root;
        let mut document = Document::default();
        let Some(entries) = self.entries(root, &path, "a script document") else {
            return document;
        };
        let mut version = false;
        let mut steps = None;
        // Steps are checked against these, in any order of the text.
        if let Some(entry) = entries.iter().find(|entry| entry.key == "limits") {
            self.limits = self.limits(entry.value, &path.key("limits"));
        }
        if let Some(entry) = entries.iter().find(|entry| entry.key == "bodies") {
            self.bodies(entry.value, &path.key("bodies"));
        }
        if let Some(entry) = entries.iter().find(|entry| entry.key == "rhythms") {
            self.rhythms(entry.value, &path.key("rhythms"));
        }
        let seed = entries.iter().find(|entry| entry.key == "seed");
        self.seed = seed.and_then(|entry| entry.value.raw().parse().ok()).unwrap_or(0);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "version" => {
                    version = true;
                    if entry.value.raw() != "1" {
                        let written = shown(entry.value.raw());
                        self.report(
                            entry.value,
                            &path,
                            |p| p.allowed("1"),
                            format!("version {written} is not known here"),
                        );
                    }
                }
                "title" => document.title = self.line(entry.value, &path),
                "notes" => document.notes = self.text(entry.value, &path),
                "seed" => document.seed = self.whole(entry.value, &path, 0, u64::MAX).unwrap_or(0),
                "asset_class" => document.asset_class = self.line(entry.value, &path),
                "kit" => document.kit = self.lines(entry.value, &path),
                "cautions" => document.cautions = self.lines(entry.value, &path),
                "prepare" => document.prepare = self.lines(entry.value, &path),
                "limits" | "bodies" | "rhythms" => {}
                "alarm_limits" => document.alarm_limits = self.alarm_settings(entry.value, &path),
                "steps" => {
                    steps = Some(entry);
                    self.steps(entry.value, &path, 0);
                }
                key => self.unknown(entry, &path, &DOCUMENT_KEYS, nearest(key, DOCUMENT_KEYS).map(quoted)),
            }
        }
        if !version {
            self.missing(root, &path, "version", "\"version\": 1");
        }
        document.limits = std::mem::take(&mut self.limits);
        document.parts = std::mem::take(&mut self.parts);
        match steps {
            None => self.missing(root, &path, "steps", "\"steps\": [a list of steps]"),
            Some(entry) if self.found.is_empty() && too_long(&document) => {
                let path = path.key("steps");
                let allowed = "at most 136 years, the longest time of 64 bits";
                self.report(entry.key_node, &path, |p| p.allowed(allowed), "the script plays for too long".into());
            }
            Some(_) => {}
        }
        document
    }

    /// A list of steps and repeats at nesting `depth`; gives the level that a repeat around it has.
    fn steps(&mut self, node: JsonNode<'_>, path: &Path<'_>, depth: usize) -> u8 {
        // Room for one more than allowed, so that the step too many is reported at its place.
        let room = (MAX_STEPS + 1).saturating_sub(self.parts.len());
        let Some((list, _)) = node.list(room) else {
            self.wrong_kind(node, path, NodeKind::List);
            return 0;
        };
        if list.is_empty() && room > 0 {
            self.report(node, path, |p| p.allowed("a list of at least one step"), "no steps".into());
        }
        let mut level = 0;
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            if self.found.is_flood() {
                break;
            }
            if self.parts.len() >= MAX_STEPS {
                if self.parts.len() == MAX_STEPS {
                    let allowed = format!("at most {MAX_STEPS}; a repeat plays steps more than once");
                    self.report(node, &path, |p| p.allowed(allowed), "too many steps and repeats".into());
                    // Never read: it keeps the lists around this one from reporting the message again.
                    self.parts.push(DocumentPart::Repeat { first: 0, times: 0, level: 0 });
                }
                break;
            }
            let Some(entries) = self.entries(node, &path, "a step") else {
                continue;
            };
            if entries.iter().any(|entry| entry.key == "repeat") {
                level = level.max(self.repeat(node, &entries, &path, depth) + 1);
            } else {
                for step in self.step(node, &entries, &path) {
                    self.carried = carry::carried(&step);
                    self.parts.push(DocumentPart::Step(step));
                }
            }
        }
        level
    }

    /// A repeat at nesting `depth`; gives its level.
    fn repeat(&mut self, node: JsonNode<'_>, entries: &[NodeEntry<'_>], path: &Path<'_>, depth: usize) -> u8 {
        let first = self.parts.len() as u32;
        let mut times = 1;
        let mut level = None;
        for entry in entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "repeat" if depth >= MAX_NESTING => {
                    let allowed = format!("repeats in repeats up to {MAX_NESTING} deep");
                    self.report(entry.key_node, &path, |p| p.allowed(allowed), "repeats are nested too deeply".into());
                }
                "repeat" => times = self.whole(entry.value, &path, 1, u64::from(u32::MAX)).unwrap_or(1) as u32,
                "steps" if depth >= MAX_NESTING => level = Some(0),
                "steps" => level = Some(self.steps(entry.value, &path, depth + 1)),
                key => self.unknown(entry, &path, &REPEAT_KEYS, nearest(key, REPEAT_KEYS).map(quoted)),
            }
        }
        if level.is_none() {
            self.missing(node, path, "steps", "\"steps\": [a list of steps] beside \"repeat\"");
        }
        let level = level.unwrap_or(0);
        self.parts.push(DocumentPart::Repeat { first, times, level });
        level
    }
}
