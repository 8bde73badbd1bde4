//! Reading what a document expects: `expect` of a step, `limits` of the document, and the lists of lines beside them.

use super::{ALARM_SOURCE, ALARM_WITHIN_S, Expectations, ExpectedAlarm, ExpectedReading, Limit, Named, Quantity};
use crate::carry;
use crate::document::Step;
use crate::parse::{Path, Walk};
use crate::reader::{Entry, Kind, Node};
use crate::words::{join, nearest, quoted, shown};
use pulsewright_core::heart::rhythm::Priority;

/// Most readings or alarms of one step, and lines of one list.
pub(crate) const MAX_ENTRIES: usize = 50;

/// The word for the alarm that the rhythm's class says.
pub(crate) const USUAL: &str = "usual";

pub(crate) const EXPECT_KEYS: [&str; 2] = ["readings", "alarms"];
pub(crate) const LIMIT_KEYS: [&str; 5] = ["tolerance", "tolerance_percent", "min", "max", "source"];
const READING_KEYS: [&str; 7] = ["quantity", "value", "tolerance", "tolerance_percent", "min", "max", "source"];
const ALARM_KEYS: [&str; 4] = ["name", "priority", "within_s", "source"];

/// Priorities that an alarm can have.
pub(crate) const PRIORITIES: [Priority; 3] = [Priority::High, Priority::Medium, Priority::Low];

/// The document's own limits, by quantity.
pub(crate) type Limits = Vec<(Quantity, Limit)>;

impl Walk {
    /// A list of short lines, such as cautions.
    pub(crate) fn lines(&mut self, node: Node<'_>, path: &Path<'_>) -> Vec<String> {
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = format!("{path} can't be {}", node.kind().noun());
            self.tell(node, path, |p| p.allowed("a list of lines of text, [\"...\"]"), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut lines = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            if let Some(line) = self.line(node, &path) {
                if line.trim().is_empty() {
                    self.tell(node, &path, |p| p.allowed("a line of text"), "an empty line".into());
                }
                lines.push(line);
            }
        }
        lines
    }

    fn not_too_many(&mut self, node: Node<'_>, path: &Path<'_>, count: usize) {
        if count > MAX_ENTRIES {
            let allowed = format!("at most {MAX_ENTRIES}");
            self.tell(node, path, |p| p.allowed(allowed), format!("{count} entries in {path}"));
        }
    }

    /// The document's limits: an object of quantities.
    pub(crate) fn limits(&mut self, node: Node<'_>, path: &Path<'_>) -> Limits {
        let mut limits = Limits::new();
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
    fn limit(&mut self, members: &[Entry<'_>], node: Node<'_>, path: &Path<'_>) -> Option<Limit> {
        let mut limit = Limit::default();
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
            self.tell(node, path, |p| p.allowed(allowed), "min is above max".into());
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

    /// What a step expects; told once the step's settings are known.
    pub(crate) fn expect(&mut self, node: Node<'_>, path: &Path<'_>, step: &Step) -> Expectations {
        let mut expect = Expectations::default();
        let Some(entries) = self.entries(node, path, "expectations") else { return expect };
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "readings" => expect.readings = self.readings(entry.value, &path, step),
                "alarms" => expect.alarms = self.alarms(entry.value, &path, step),
                key => self.unknown(entry, &path, &EXPECT_KEYS, nearest(key, EXPECT_KEYS).map(quoted)),
            }
        }
        expect
    }

    fn readings(&mut self, node: Node<'_>, path: &Path<'_>, step: &Step) -> Vec<ExpectedReading> {
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = format!("readings can't be {}", node.kind().noun());
            self.tell(node, path, |p| p.allowed("a list of quantities: words, or objects with \"quantity\""), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut readings: Vec<ExpectedReading> = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            let Some(reading) = self.reading(node, &path, step) else { continue };
            if readings.iter().any(|other| other.quantity == reading.quantity) {
                let what = format!("{} is expected twice", reading.quantity.id());
                self.tell(node, &path, |p| p.allowed("each quantity once in a step"), what);
            }
            readings.push(reading);
        }
        readings
    }

    fn reading(&mut self, node: Node<'_>, path: &Path<'_>, step: &Step) -> Option<ExpectedReading> {
        if node.kind() == Kind::Text {
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
        let told = self.found.count();
        let limit = self.limit(&entries, node, path);
        bad |= self.found.count() > told;
        if !entries.iter().any(|entry| entry.key == "quantity") {
            self.missing(node, path, "quantity", "\"quantity\": one of the words of docs/tolerances.md");
        }
        if bad {
            return None;
        }
        self.filled(quantity?, value, limit, node, path, step)
    }

    /// A reading with what the document leaves out: the value from the step, the limit from document or table.
    fn filled(
        &mut self,
        quantity: Quantity,
        value: Option<f64>,
        limit: Option<Limit>,
        node: Node<'_>,
        path: &Path<'_>,
        step: &Step,
    ) -> Option<ExpectedReading> {
        let named = Named { value: value.is_some(), limit: limit.is_some() };
        let of_document = self.limits.iter().find(|(other, _)| *other == quantity).map(|(_, limit)| limit.clone());
        let Some(limit) = limit.or(of_document).or_else(|| quantity.limit(&step.settings)) else {
            let allowed = "\"tolerance\" or \"max\" with its \"source\", here or in the document's \"limits\"";
            let what = format!("{} has no limit: no standard gives one", quantity.id());
            self.tell(node, path, |p| p.allowed(allowed), what);
            return None;
        };
        let start = quantity.value(&step.settings);
        let end = quantity.value(&carry::carried(step));
        let set = start.filter(|_| start == end);
        if limit.is_around_a_value() && value.is_none() && set.is_none() {
            let why = match (start, end) {
                (Some(start), Some(end)) if start != end => format!("moves from {start} to {end} {}", quantity.unit()),
                _ => "is not set by the script".to_owned(),
            };
            let what = format!("{} {why} in this step", quantity.id());
            self.tell(
                node,
                path,
                |p| p.allowed("\"value\": what the monitor should read, or \"min\" and \"max\""),
                what,
            );
            return None;
        }
        // A range of its own needs no value, but one that is known helps to judge what went wrong.
        Some(ExpectedReading { quantity, value: value.or(set), limit, named })
    }

    fn alarms(&mut self, node: Node<'_>, path: &Path<'_>, step: &Step) -> Vec<ExpectedAlarm> {
        if node.text().as_deref() == Some(USUAL) {
            let usual = ExpectedAlarm::of(step.settings.rhythm());
            if usual.is_none() {
                let what = format!("{} raises no alarm by itself", step.settings.rhythm().id);
                let allowed = "a list of alarms with \"name\", \"priority\" and \"within_s\"";
                self.tell(node, path, |p| p.allowed(allowed), what);
            }
            return usual.into_iter().collect();
        }
        let Some((list, count)) = node.list(MAX_ENTRIES) else {
            let what = match node.kind() {
                Kind::Text => format!("alarms can't be {}", shown(node.raw())),
                kind => format!("alarms can't be {}", kind.noun()),
            };
            let near = (node.kind() == Kind::Text).then(|| quoted(USUAL));
            self.tell(node, path, |p| p.allowed("\"usual\", or a list of alarms").nearest(near), what);
            return Vec::new();
        };
        self.not_too_many(node, path, count);
        let mut alarms = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            alarms.extend(self.alarm(node, &Path::Index(path, index), step));
        }
        alarms
    }

    fn alarm(&mut self, node: Node<'_>, path: &Path<'_>, step: &Step) -> Option<ExpectedAlarm> {
        let entries = self.entries(node, path, "an alarm")?;
        let (mut name, mut priority, mut within_s, mut source, mut bad) = (None, None, None, None, false);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "name" => name = self.line(entry.value, &path),
                "priority" => {
                    priority = self.priority(entry.value, &path);
                    bad |= priority.is_none();
                }
                "within_s" => {
                    within_s = self.plain_number(entry.value, &path, 0.0, 3600.0);
                    bad |= within_s.is_none();
                }
                "source" => source = self.line(entry.value, &path),
                key => self.unknown(entry, &path, &ALARM_KEYS, nearest(key, ALARM_KEYS).map(quoted)),
            }
        }
        if bad {
            return None;
        }
        if within_s.is_some() && source.is_none() {
            self.missing(node, path, "source", "\"source\": where the time limit comes from");
            return None;
        }
        let usual = ExpectedAlarm::of(step.settings.rhythm());
        let own = name.is_none();
        // An alarm with a name of its own is another one than the rhythm's: of that only the time limit may be left out.
        let usual_of_rhythm = usual.filter(|_| own || priority.is_some());
        let Some(priority) = priority.or(usual_of_rhythm.as_ref().map(|usual| usual.priority)) else {
            let allowed = "\"priority\": \"high\", \"medium\" or \"low\"";
            let what = match own {
                true => format!(
                    "{} raises no alarm by itself: \"name\" and \"priority\" are missing",
                    step.settings.rhythm().id
                ),
                false => "\"priority\" is missing".to_owned(),
            };
            self.tell(node, path, |p| p.allowed(allowed), what);
            return None;
        };
        let (within_s, source) = match within_s {
            Some(within_s) => (within_s, source.unwrap_or_default()),
            None => (ALARM_WITHIN_S, source.unwrap_or_else(|| ALARM_SOURCE.to_owned())),
        };
        let name = name.unwrap_or_else(|| step.settings.rhythm().name.to_owned());
        Some(ExpectedAlarm { name, priority, within_s, source })
    }

    fn priority(&mut self, node: Node<'_>, path: &Path<'_>) -> Option<Priority> {
        let word = self.text(node, path)?;
        let found = PRIORITIES.into_iter().find(|priority| priority.id() == word);
        if found.is_none() {
            let words = || PRIORITIES.iter().map(|priority| priority.id());
            let near = nearest(&word, words()).map(quoted);
            let what = format!("unknown priority {}", quoted(&word));
            self.tell(node, path, |p| p.allowed(join(words())).nearest(near), what);
        }
        found
    }

    fn quantity(&mut self, word: &str, node: Node<'_>, path: &Path<'_>) -> Option<Quantity> {
        let found = Quantity::find(word);
        if found.is_none() {
            let words = || Quantity::ALL.iter().map(|quantity| quantity.id());
            let near = nearest(word, words()).map(quoted);
            let what = format!("unknown quantity {}", quoted(word));
            self.tell(node, path, |p| p.allowed(join(words())).nearest(near), what);
        }
        found
    }

    /// A finite number within bounds.
    pub(crate) fn plain_number(&mut self, node: Node<'_>, path: &Path<'_>, min: f64, max: f64) -> Option<f64> {
        let number = if node.kind() == Kind::Number { node.raw().parse().unwrap_or(f64::NAN) } else { f64::NAN };
        if (min..=max).contains(&number) {
            return Some(number + 0.0);
        }
        let what = match node.kind() {
            Kind::Number => format!("{path} can't be {}", shown(node.raw())),
            kind => format!("{path} can't be {}", kind.noun()),
        };
        self.tell(node, path, |p| p.allowed(format!("a number, {min} to {max}")), what);
        None
    }
}
