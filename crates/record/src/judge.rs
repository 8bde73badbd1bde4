//! Verdicts, derived from the entries alone: never taken over from the page that showed them.

use crate::plan::{Plan, PlanItem, PlanStep};
use crate::record::{ItemEntry, Record};
use crate::rules::EntryRule;
use crate::written;
use serde::Serialize;

/// How an item fared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Within its limits.
    Pass,
    /// Outside its limits.
    Fail,
    /// Left out, with a reason.
    Skipped,
    /// Not entered, or not readable.
    Open,
}

impl Verdict {
    /// Word in records and reports.
    pub const fn id(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail => "fail",
            Verdict::Skipped => "skipped",
            Verdict::Open => "open",
        }
    }
}

/// An item with its verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedItem<'a> {
    /// The verdict.
    pub verdict: Verdict,
    /// Why, in a few words; empty for a reading that passes.
    pub why: String,
    /// The number that was read, in the item's unit: a reading's value, an alarm's delay in seconds.
    pub value: Option<f64>,
    /// The entry.
    pub entry: &'a ItemEntry,
}

static NOTHING: ItemEntry = ItemEntry {
    value: String::new(),
    priority: String::new(),
    heard: String::new(),
    skip: String::new(),
    remark: String::new(),
    verdict: String::new(),
};

/// Judges what was entered for an item.
pub fn judge<'a>(item: PlanItem<'_>, record: &'a Record) -> JudgedItem<'a> {
    let entry = record.items.get(item.id()).unwrap_or(&NOTHING);
    if !entry.skip.trim().is_empty() {
        return JudgedItem { verdict: Verdict::Skipped, why: entry.skip.trim().to_owned(), value: None, entry };
    }
    match EntryRule::of(item) {
        rule @ EntryRule::Reading { .. } => of_reading(rule, entry),
        rule @ EntryRule::Alarm { .. } => of_alarm(rule, entry),
        EntryRule::Silence => of_silence(entry),
        EntryRule::Clear { due_s, latest_s } => of_clear(due_s, latest_s, entry),
        EntryRule::Check => of_check(entry),
    }
}

fn open(why: impl Into<String>, entry: &ItemEntry) -> JudgedItem<'_> {
    JudgedItem { verdict: Verdict::Open, why: why.into(), value: None, entry }
}

fn of_reading<'a>(rule: EntryRule<'_>, entry: &'a ItemEntry) -> JudgedItem<'a> {
    let EntryRule::Reading { unit, passes, value: expected, band, allowed } = rule else { return open("", entry) };
    if entry.value.trim().is_empty() {
        return open("not entered", entry);
    }
    let Some(value) = written::number(&entry.value, unit) else {
        return open(format!("\"{}\" is not a number in {unit}", entry.value.trim()), entry);
    };
    if passes.is_some_and(|[least, most]| value >= least && value <= most) {
        return JudgedItem { verdict: Verdict::Pass, why: String::new(), value: Some(value), entry };
    }
    let why = match (band, expected) {
        (Some([low, high]), _) if value < low || value > high => {
            let (side, by) = if value < low { ("below", low - value) } else { ("above", value - high) };
            format!("{} {unit} {side} the band", plain(by))
        }
        (_, Some(expected)) => format!("off by {} {unit}", signed(value - expected)),
        (_, None) => format!("not {allowed}"),
    };
    JudgedItem { verdict: Verdict::Fail, why, value: Some(value), entry }
}

fn of_alarm<'a>(rule: EntryRule<'_>, entry: &'a ItemEntry) -> JudgedItem<'a> {
    let EntryRule::Alarm { priority, soonest_s, earliest_s, due_s, latest_s } = rule else { return open("", entry) };
    let missed = entry.heard.trim().eq_ignore_ascii_case("no");
    let delay = if missed { None } else { written::number(&entry.value, "s").filter(|delay| *delay >= 0.0) };
    if !missed && entry.value.trim().is_empty() {
        return open("not entered", entry);
    }
    if !missed && delay.is_none() {
        return open(format!("\"{}\" is not a time in seconds", entry.value.trim()), entry);
    }
    if !missed && entry.priority.trim().is_empty() {
        return open("priority not entered", entry);
    }
    let Some(delay) = delay else {
        return JudgedItem { verdict: Verdict::Fail, why: "not heard".to_owned(), value: None, entry };
    };
    if delay < earliest_s {
        let why =
            format!("{} s is too soon: no monitor can know before {} s; time it again", plain(delay), plain(soonest_s));
        return JudgedItem { verdict: Verdict::Open, why, value: Some(delay), entry };
    }
    let late = delay > latest_s;
    let shown = entry.priority.trim();
    let wrong = !shown.eq_ignore_ascii_case(priority);
    let late_by = || format!("late by {} s", plain(delay - due_s));
    let in_place = || format!("{shown} in place of {priority}");
    let why = match (late, wrong) {
        (true, true) => format!("{}, and {}", late_by(), in_place()),
        (true, false) => late_by(),
        (false, true) => in_place(),
        (false, false) => String::new(),
    };
    let verdict = if late || wrong { Verdict::Fail } else { Verdict::Pass };
    JudgedItem { verdict, why, value: Some(delay), entry }
}

fn of_silence(entry: &ItemEntry) -> JudgedItem<'_> {
    let heard = entry.heard.trim();
    if heard.eq_ignore_ascii_case("no") {
        return JudgedItem { verdict: Verdict::Pass, why: String::new(), value: None, entry };
    }
    if !heard.is_empty() || !entry.value.trim().is_empty() {
        return JudgedItem { verdict: Verdict::Fail, why: "it sounded".to_owned(), value: None, entry };
    }
    open("not entered", entry)
}

fn of_clear(due_s: f64, latest_s: f64, entry: &ItemEntry) -> JudgedItem<'_> {
    if entry.heard.trim().eq_ignore_ascii_case("yes") {
        return JudgedItem { verdict: Verdict::Fail, why: "it went on".to_owned(), value: None, entry };
    }
    if entry.value.trim().is_empty() {
        return open("not entered", entry);
    }
    let Some(ended) = written::number(&entry.value, "s").filter(|ended| *ended >= 0.0) else {
        return open(format!("\"{}\" is not a time in seconds", entry.value.trim()), entry);
    };
    if ended > latest_s {
        let why = format!("ended late by {} s", plain(ended - due_s));
        return JudgedItem { verdict: Verdict::Fail, why, value: Some(ended), entry };
    }
    JudgedItem { verdict: Verdict::Pass, why: String::new(), value: Some(ended), entry }
}

fn of_check(entry: &ItemEntry) -> JudgedItem<'_> {
    let value = entry.value.trim();
    if value.eq_ignore_ascii_case("yes") {
        return JudgedItem { verdict: Verdict::Pass, why: String::new(), value: None, entry };
    }
    if value.eq_ignore_ascii_case("no") {
        return JudgedItem { verdict: Verdict::Fail, why: "not in order".to_owned(), value: None, entry };
    }
    open(if value.is_empty() { "not entered".to_owned() } else { format!("\"{value}\" is neither yes nor no") }, entry)
}

/// A number with at most two decimals.
pub fn plain(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    format!("{}", rounded + 0.0)
}

/// The same with its sign.
pub fn signed(value: f64) -> String {
    if value > 0.0 { format!("+{}", plain(value)) } else { plain(value) }
}

/// How the whole record fared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum OverallVerdict {
    /// Everything passed, or was skipped for a reason.
    Passed,
    /// Something failed.
    Failed,
    /// Nothing failed, but something is missing.
    Incomplete,
}

impl OverallVerdict {
    /// Word in reports.
    pub const fn id(self) -> &'static str {
        match self {
            OverallVerdict::Passed => "passed",
            OverallVerdict::Failed => "failed",
            OverallVerdict::Incomplete => "incomplete",
        }
    }
}

/// A record held against its plan.
#[derive(Clone, Debug)]
pub struct Judgement<'a> {
    /// Every item in the plan's order.
    pub items: Vec<(&'a PlanStep, PlanItem<'a>, JudgedItem<'a>)>,
    /// Missing besides items: preparations, kit, signature.
    pub missing: Vec<String>,
    /// Items whose page verdict differs from the one derived here.
    pub disagreements: Vec<String>,
    /// Entries for items that the plan does not have.
    pub strangers: Vec<String>,
    /// How it fared.
    pub overall: OverallVerdict,
}

impl<'a> Judgement<'a> {
    /// Judges a record by a plan.
    pub fn new(plan: &'a Plan, record: &'a Record) -> Judgement<'a> {
        let items: Vec<_> = plan.items().map(|(step, item)| (step, item, judge(item, record))).collect();
        let mut missing = Vec::new();
        let ticked = |id: &str| record.prepared.get(id).is_some_and(|word| yes(word));
        let unprepared = plan.preparations().into_iter().filter(|(id, _)| !ticked(id));
        missing.extend(unprepared.map(|(_, line)| format!("preparation not ticked: {line}")));
        for (index, line) in plan.kit.iter().enumerate() {
            let state = record.kit.get(&(index + 1).to_string()).cloned().unwrap_or_default();
            match (yes(&state.out), yes(&state.back)) {
                (true, true) => {}
                (true, false) => missing.push(format!("kit not brought back: {}", state.words(line))),
                (false, _) => missing.push(format!("kit not taken out: {}", state.words(line))),
            }
        }
        if record.signatures.get("done").is_none_or(|signature| signature.name.trim().is_empty()) {
            missing.push("not signed by who did the work".to_owned());
        }
        if record.about("asset").is_empty() {
            missing.push("no asset number".to_owned());
        }
        missing.extend(crate::instruments::missing(record));
        let disagree = |(_, item, judged): &(_, PlanItem<'_>, JudgedItem<'_>)| {
            let shown = judged.entry.verdict.trim();
            let found = judged.verdict.id();
            (!shown.is_empty() && shown != found)
                .then(|| format!("{}: the record says {shown}, its numbers say {found}", item.id()))
        };
        let disagreements = items.iter().filter_map(disagree).collect();
        let known = |id: &String| items.iter().any(|(_, item, _)| item.id() == id);
        let strangers = record.items.keys().filter(|id| !known(id)).cloned().collect();
        let any = |verdict: Verdict| items.iter().any(|(_, _, judged)| judged.verdict == verdict);
        let overall = if any(Verdict::Fail) {
            OverallVerdict::Failed
        } else if any(Verdict::Open) || !missing.is_empty() {
            OverallVerdict::Incomplete
        } else {
            OverallVerdict::Passed
        };
        Judgement { items, missing, disagreements, strangers, overall }
    }

    /// How many items have this verdict.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.items.iter().filter(|(_, _, judged)| judged.verdict == verdict).count()
    }

    /// `12 passed, 1 failed, 1 skipped, 0 open`.
    pub fn counts(&self) -> String {
        format!(
            "{} passed, {} failed, {} skipped, {} open",
            self.count(Verdict::Pass),
            self.count(Verdict::Fail),
            self.count(Verdict::Skipped),
            self.count(Verdict::Open)
        )
    }
}

/// Whether a tick of a record says yes.
pub(crate) fn yes(word: &str) -> bool {
    let word = word.trim();
    !word.is_empty() && !word.eq_ignore_ascii_case("no")
}
