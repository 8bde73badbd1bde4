//! Reading the expectations of a document: `expect` of a step, `limits` of the document, and the lists of lines beside them.

use super::expected::{
    Expectations, ExpectedAlarm, ExpectedClear, ExpectedReading, ExpectedSilence, ReadingLimits, TextPosition,
    WrittenAlarm, WrittenParts,
};
use super::foresee::kind_of;
use super::limit::ReadingLimit;
use super::quantity::Quantity;
use crate::document::DocumentStep;
use crate::reader::Path;
use crate::reader::{JsonNode, NodeEntry, NodeKind};
use crate::walk::DocumentWalk;
use crate::words::{join, nearest, quoted, shown};
use pulsewright_core::expect::AlarmKind;
use pulsewright_core::heart::rhythm::Priority;

/// Most readings or alarms of one step, and lines of one list.
pub(crate) const MAX_ENTRIES: usize = 50;

/// The word for the alarm of the rhythm's class.
pub(crate) const USUAL: &str = "usual";

pub(crate) const EXPECT_KEYS: [&str; 5] = ["readings", "alarms", "silent", "clears", "manual"];
pub(crate) const LIMIT_KEYS: [&str; 5] = ["tolerance", "tolerance_percent", "min", "max", "source"];
const READING_KEYS: [&str; 7] = ["quantity", "value", "tolerance", "tolerance_percent", "min", "max", "source"];
const ALARM_KEYS: [&str; 4] = ["name", "priority", "within_s", "source"];

pub(crate) const CLEAR_KEYS: [&str; 3] = ["name", "within_s", "source"];

/// Priorities that an alarm can have.
pub(crate) const PRIORITIES: [Priority; 3] = [Priority::High, Priority::Medium, Priority::Low];

fn place(node: JsonNode<'_>, path: &Path<'_>) -> TextPosition {
    TextPosition { span: node.mark(), path: path.to_string() }
}

/// An alarm before its step is played.
fn unfilled(written: WrittenAlarm, node: JsonNode<'_>, path: &Path<'_>) -> ExpectedAlarm {
    ExpectedAlarm {
        name: written.name.clone().unwrap_or_default(),
        kind: None,
        priority: written.priority.unwrap_or(Priority::None),
        onset_s: 0.0,
        soonest_s: 0.0,
        within_s: written.within_s.unwrap_or_default(),
        source: written.source.clone().unwrap_or_default(),
        written,
        place: place(node, path),
    }
}

impl DocumentWalk<'_> {
    /// A list of short lines, such as cautions.
    pub(crate) fn lines(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Vec<String> {
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = format!("{path} can't be {}", node.kind().noun());
            self.report(node, path, |p| p.allowed("a list of lines of text, [\"...\"]"), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut lines = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            if let Some(line) = self.line(node, &path) {
                if line.trim().is_empty() {
                    self.report(node, &path, |p| p.allowed("a line of text"), "an empty line".into());
                }
                lines.push(line);
            }
        }
        lines
    }

    fn not_too_many(&mut self, node: JsonNode<'_>, path: &Path<'_>, count: usize) {
        if count > MAX_ENTRIES {
            let allowed = format!("at most {MAX_ENTRIES}");
            self.report(node, path, |p| p.allowed(allowed), format!("{count} entries in {path}"));
        }
    }

    /// The document's limits: an object of quantities.
    pub(crate) fn limits(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> ReadingLimits {
        let mut limits = ReadingLimits::new();
        let Some(entries) = self.entries(node, path, "limits by quantity") else { return limits };
        for entry in &entries {
            let path = path.key(&entry.key);
            let Some(quantity) = self.quantity(&entry.key, entry.key_node, &path) else { continue };
            let Some(members) = self.entries(entry.value, &path, "a limit") else { continue };
            for member in members.iter().filter(|member| !LIMIT_KEYS.contains(&member.key.as_str())) {
                let near = nearest(&member.key, LIMIT_KEYS).map(quoted);
                self.unknown(member, &path.key(&member.key), &LIMIT_KEYS, near);
            }
            match self.limit(&members, entry.value, &path) {
                Some(limit) => limits.push((quantity, limit)),
                None if members.is_empty() => {
                    self.missing(
                        entry.value,
                        &path,
                        "tolerance",
                        "\"tolerance\", \"tolerance_percent\", \"min\" or \"max\"",
                    );
                }
                None => {}
            }
        }
        limits
    }

    /// The limit among the members of an object; `None` when it names none, or a bad one.
    pub(super) fn limit(
        &mut self,
        members: &[NodeEntry<'_>],
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<ReadingLimit> {
        let mut limit = ReadingLimit::default();
        let (mut named, mut good, mut source) = (false, true, None);
        for member in members {
            let path = path.key(&member.key);
            let (slot, least) = match member.key.as_str() {
                "tolerance" => (&mut limit.tolerance, 0.0),
                "tolerance_percent" => (&mut limit.tolerance_percent, 0.0),
                "min" => (&mut limit.min, -1e6),
                "max" => (&mut limit.max, -1e6),
                "source" => {
                    source = self.line(member.value, &path);
                    continue;
                }
                _ => continue,
            };
            named = true;
            *slot = self.plain_number(member.value, &path, least, 1e6);
            good &= slot.is_some();
        }
        if limit.min.zip(limit.max).is_some_and(|(min, max)| min > max) {
            let allowed = "a smallest reading that is not above the largest";
            self.report(node, path, |p| p.allowed(allowed), "min is above max".into());
            good = false;
        }
        if !named {
            return None;
        }
        match source.filter(|source| !source.trim().is_empty()) {
            Some(source) => limit.source = source,
            None => {
                self.missing(
                    node,
                    path,
                    "source",
                    "\"source\": where the limit comes from, such as the service manual's section",
                );
                good = false;
            }
        }
        good.then_some(limit)
    }

    /// The expectations of a step; read once the step's settings are known.
    pub(crate) fn expect(&mut self, node: JsonNode<'_>, path: &Path<'_>, step: &DocumentStep) -> Expectations {
        let mut expect = Expectations::default();
        let Some(entries) = self.entries(node, path, "expectations") else { return expect };
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "readings" => expect.readings = self.readings(entry.value, &path, step),
                "alarms" => expect.alarms = self.alarms(entry.value, &path),
                "silent" => expect.silent = self.silent(entry.value, &path),
                "clears" => expect.clears = self.clears(entry.value, &path),
                "manual" => expect.manual = self.manual(entry.value, &path),
                key => self.unknown(entry, &path, &EXPECT_KEYS, nearest(key, EXPECT_KEYS).map(quoted)),
            }
        }
        expect
    }

    fn readings(&mut self, node: JsonNode<'_>, path: &Path<'_>, step: &DocumentStep) -> Vec<ExpectedReading> {
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = format!("readings can't be {}", node.kind().noun());
            self.report(node, path, |p| p.allowed("a list of quantities: words, or objects with \"quantity\""), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut readings: Vec<ExpectedReading> = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            let Some(reading) = self.reading(node, &path, step) else { continue };
            if readings.iter().any(|other| other.quantity == reading.quantity) {
                let what = format!("{} is expected twice", reading.quantity.id());
                self.report(node, &path, |p| p.allowed("each quantity once in a step"), what);
            }
            readings.push(reading);
        }
        readings
    }

    fn reading(&mut self, node: JsonNode<'_>, path: &Path<'_>, step: &DocumentStep) -> Option<ExpectedReading> {
        if node.kind() == NodeKind::Text {
            let word = self.text(node, path)?;
            let quantity = self.quantity(&word, node, path)?;
            return self.filled(quantity, None, None, node, path, step);
        }
        let entries = self.entries(node, path, "a quantity's word, or an object with \"quantity\"")?;
        let (mut quantity, mut value, mut bad) = (None, None, false);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "quantity" => {
                    let word = self.text(entry.value, &path);
                    quantity = word.and_then(|word| self.quantity(&word, entry.value, &path));
                    bad |= quantity.is_none();
                }
                "value" => {
                    value = self.plain_number(entry.value, &path, -1e6, 1e6);
                    bad |= value.is_none();
                }
                key if LIMIT_KEYS.contains(&key) => {}
                key => self.unknown(entry, &path, &READING_KEYS, nearest(key, READING_KEYS).map(quoted)),
            }
        }
        let before = self.found.count();
        let limit = self.limit(&entries, node, path);
        bad |= self.found.count() > before;
        if !entries.iter().any(|entry| entry.key == "quantity") {
            self.missing(node, path, "quantity", "\"quantity\": one of the words of docs/tolerances.md");
        }
        if bad {
            return None;
        }
        self.filled(quantity?, value, limit, node, path, step)
    }

    /// A reading, filled in where the document leaves it out: the value from the step, the limit from document or table.
    fn filled(
        &mut self,
        quantity: Quantity,
        value: Option<f64>,
        limit: Option<ReadingLimit>,
        node: JsonNode<'_>,
        path: &Path<'_>,
        step: &DocumentStep,
    ) -> Option<ExpectedReading> {
        let named = WrittenParts { value: value.is_some(), limit: limit.is_some() };
        let of_document = self.limits.iter().find(|(other, _)| *other == quantity).map(|(_, limit)| limit.clone());
        let Some(limit) = limit.or(of_document).or_else(|| quantity.limit(&step.settings)) else {
            let allowed = "\"tolerance\" or \"max\" with its \"source\", here or in the document's \"limits\"";
            let what = format!("{} has no limit: no standard gives one", quantity.id());
            self.report(node, path, |p| p.allowed(allowed), what);
            return None;
        };
        // A range of its own needs no value, but a known value helps to find the fault.
        let place = place(node, path);
        Some(ExpectedReading { quantity, value, band: None, why: String::new(), limit, named, place })
    }

    fn alarms(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Vec<ExpectedAlarm> {
        if node.text().as_deref() == Some(USUAL) {
            return vec![unfilled(WrittenAlarm::default(), node, path)];
        }
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = match node.kind() {
                NodeKind::Text => format!("alarms can't be {}", shown(node.raw())),
                kind => format!("alarms can't be {}", kind.noun()),
            };
            let near = (node.kind() == NodeKind::Text).then(|| quoted(USUAL));
            self.report(node, path, |p| p.allowed("\"usual\", or a list of alarms").nearest(near), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut alarms = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            alarms.extend(self.alarm(node, &path).map(|written| unfilled(written, node, &path)));
        }
        alarms
    }

    fn alarm(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<WrittenAlarm> {
        if node.kind() == NodeKind::Text {
            let name = self.known_alarm(node, path)?.id().to_owned();
            return Some(WrittenAlarm { name: Some(name), ..WrittenAlarm::default() });
        }
        let entries = self.entries(node, path, "an alarm")?;
        let mut written = WrittenAlarm::default();
        let mut bad = false;
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "name" => written.name = self.line(entry.value, &path),
                "priority" => {
                    written.priority = self.priority(entry.value, &path);
                    bad |= written.priority.is_none();
                }
                "within_s" => {
                    written.within_s = self.plain_number(entry.value, &path, 0.0, 3600.0);
                    bad |= written.within_s.is_none();
                }
                "source" => written.source = self.line(entry.value, &path),
                key => self.unknown(entry, &path, &ALARM_KEYS, nearest(key, ALARM_KEYS).map(quoted)),
            }
        }
        if bad {
            return None;
        }
        if written.within_s.is_some() && written.source.is_none() {
            self.missing(node, path, "source", "\"source\": where the time limit comes from");
            return None;
        }
        Some(written)
    }

    /// The word of an alarm that depends on the signal.
    fn known_alarm(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<AlarmKind> {
        let word = self.text(node, path)?;
        let found = kind_of(&word);
        if found.is_none() {
            let near = nearest(&word, AlarmKind::ALL.iter().map(|kind| kind.id())).map(quoted);
            let what = format!("unknown alarm {}", quoted(&word));
            self.report(
                node,
                path,
                |p| p.allowed("a word of the table of alarms in docs/script.md").nearest(near),
                what,
            );
        }
        found
    }

    /// Alarms that must not sound: words, or names of one's own as `{"name": ...}`.
    fn silent(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Vec<ExpectedSilence> {
        let mut silent = Vec::new();
        for (index, node) in self.entries_of(node, path, "a list of alarms").into_iter().enumerate() {
            let path = Path::Index(path, index);
            let (name, kind) = if node.kind() == NodeKind::Text {
                let Some(kind) = self.known_alarm(node, &path) else { continue };
                (kind.name().to_owned(), Some(kind))
            } else {
                let Some(entries) = self.entries(node, &path, "the word of an alarm, or an object with \"name\"")
                else {
                    continue;
                };
                let mut name = None;
                for entry in &entries {
                    let path = path.key(&entry.key);
                    match entry.key.as_str() {
                        "name" => name = self.line(entry.value, &path),
                        _ => self.unknown(entry, &path, &["name"], None),
                    }
                }
                if entries.is_empty() {
                    self.missing(node, &path, "name", "\"name\": what to call the alarm");
                }
                let Some(name) = name else { continue };
                let kind = kind_of(&name);
                (name, kind)
            };
            silent.push(ExpectedSilence { name, kind, place: place(node, &path) });
        }
        silent
    }

    /// Alarms that must end: words, or objects with a time limit.
    fn clears(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Vec<ExpectedClear> {
        let mut clears = Vec::new();
        for (index, node) in self.entries_of(node, path, "a list of alarms").into_iter().enumerate() {
            let path = Path::Index(path, index);
            let (mut kind, mut within_s, mut source) = (None, None, None);
            if node.kind() == NodeKind::Text {
                kind = self.known_alarm(node, &path);
            } else if let Some(entries) = self.entries(node, &path, "the word of an alarm, or an object with \"name\"")
            {
                for entry in &entries {
                    let path = path.key(&entry.key);
                    match entry.key.as_str() {
                        "name" => kind = self.known_alarm(entry.value, &path),
                        "within_s" => within_s = self.plain_number(entry.value, &path, 0.0, 3600.0),
                        "source" => source = self.line(entry.value, &path),
                        key => self.unknown(entry, &path, &CLEAR_KEYS, nearest(key, CLEAR_KEYS).map(quoted)),
                    }
                }
                if !entries.iter().any(|entry| entry.key == "name") {
                    self.missing(node, &path, "name", "\"name\": the word of an alarm");
                }
                if within_s.is_some() && source.is_none() {
                    self.missing(node, &path, "source", "\"source\": where the time limit comes from");
                }
            }
            let Some(kind) = kind else { continue };
            clears.push(ExpectedClear {
                kind,
                end_s: 0.0,
                within_s: within_s.unwrap_or_default(),
                source: source.unwrap_or_default(),
                written_within_s: within_s,
                place: place(node, &path),
            });
        }
        clears
    }

    /// The entries of a list, which is `allowed`.
    pub(super) fn entries_of<'n>(&mut self, node: JsonNode<'n>, path: &Path<'_>, allowed: &str) -> Vec<JsonNode<'n>> {
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = format!("{path} can't be {}", node.kind().noun());
            self.report(node, path, |p| p.allowed(allowed), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        list
    }

    fn priority(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<Priority> {
        let word = self.text(node, path)?;
        let found = PRIORITIES.into_iter().find(|priority| priority.id() == word);
        if found.is_none() {
            let words = || PRIORITIES.iter().map(|priority| priority.id());
            let near = nearest(&word, words()).map(quoted);
            let what = format!("unknown priority {}", quoted(&word));
            self.report(node, path, |p| p.allowed(join(words())).nearest(near), what);
        }
        found
    }

    fn quantity(&mut self, word: &str, node: JsonNode<'_>, path: &Path<'_>) -> Option<Quantity> {
        let found = Quantity::find(word);
        if found.is_none() {
            let words = || Quantity::ALL.iter().map(|quantity| quantity.id());
            let near = nearest(word, words()).map(quoted);
            let what = format!("unknown quantity {}", quoted(word));
            self.report(node, path, |p| p.allowed(join(words())).nearest(near), what);
        }
        found
    }

    /// A finite number within bounds.
    pub(crate) fn plain_number(&mut self, node: JsonNode<'_>, path: &Path<'_>, min: f64, max: f64) -> Option<f64> {
        let number = if node.kind() == NodeKind::Number { node.raw().parse().unwrap_or(f64::NAN) } else { f64::NAN };
        if (min..=max).contains(&number) {
            return Some(number + 0.0);
        }
        let what = match node.kind() {
            NodeKind::Number => format!("{path} can't be {}", shown(node.raw())),
            kind => format!("{path} can't be {}", kind.noun()),
        };
        self.report(node, path, |p| p.allowed(format!("a number, {min} to {max}")), what);
        None
    }
}
