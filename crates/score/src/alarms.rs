//! The alarm log of a monitor against expected alarms.
//!
//! Expected: a table with `alarm`, `time_s` (when the condition begins), `within_s` (time limit), and optionally `end_s`
//! (when the condition ends) and `priority`. Log: a table with a time, `alarm`, and optionally `priority`.
//!
//! The first log entry of that alarm from `time_s` to the end of the condition answers an expectation; it is in time up to and
//! including `time_s + within_s`. Without `end_s` the condition ends with the limit. Later entries of the alarm in the condition
//! are repeats. Entries that belong to no expectation are unexpected.
//! Conditions of one alarm that come again within the time limit count as one: a monitor that sounds, or has just sounded, need
//! not begin anew for each. Its limit is that of the first that is required.
//! With `begin_s`, the begin of the condition, an entry from then on answers too: a monitor may have a shorter limit.
//! With `yes` in a column `silent` the alarm must not come from `time_s` to `end_s`.
//! With `no` in a column `required` it may come, and need not.
//! With `clear_within_s` the alarm must end within so long after `end_s`; the log then needs a column `end_s` of its own, in the
//! unit s, whose cell is empty while an alarm goes on.

use std::collections::HashMap;

use pulsewright_text::number::short;
use serde::Serialize;

use crate::instant::RecordInstant;
use crate::read::beats::TimeColumn;
use crate::read::{InputPosition, ReadOptions, Table, TableProblem};
use crate::report::TestCase;
use crate::report::csv::{line, number};
use crate::report::text::{aligned, number as shown};

/// One alarm that must come.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DueAlarm {
    /// Its name, such as `asystole`.
    pub alarm: String,
    /// When the condition begins, s.
    pub time_s: f64,
    /// Longest delay allowed, s.
    pub within_s: f64,
    /// When the condition ends, s.
    pub end_s: f64,
    /// Priority that must be shown; empty for any.
    pub priority: String,
    /// Soonest that it may come, s.
    pub begin_s: f64,
    /// Whether it must not come.
    pub silent: bool,
    /// Whether it must come.
    pub required: bool,
    /// Longest time from the end of the condition to the end of the alarm, s; `None` when it may go on.
    pub clear_within_s: Option<f64>,
}

/// One line of the log.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedAlarm {
    /// When.
    pub at: RecordInstant,
    /// Its name.
    pub alarm: String,
    /// Its priority; empty if the log has none.
    pub priority: String,
    /// When it ended, s; `None` while it goes on.
    pub end_s: Option<f64>,
}

/// An alarm log.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AlarmLog {
    /// Its lines, in order of time.
    pub entries: Vec<LoggedAlarm>,
    /// Whether it says when alarms end.
    pub has_ends: bool,
}

/// The outcome of an expected alarm, or of an unexpected log entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmOutcome {
    /// Came in time with the right priority.
    InTime,
    /// Came after the limit.
    Late,
    /// Came with another priority.
    WrongPriority,
    /// Never came.
    Missed,
    /// Stayed silent, as it must.
    Silent,
    /// Came although it must stay silent.
    Sounded,
    /// Did not come, and need not.
    NotRequired,
    /// Ended in time after its condition.
    Cleared,
    /// Ended after the limit.
    ClearedLate,
    /// Never ended.
    GoesOn,
    /// Came without being expected.
    Unexpected,
}

/// One line of the result.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlarmResult {
    /// Name of the alarm.
    pub alarm: String,
    /// When the condition begins, or when an unexpected alarm came, s.
    pub time_s: f64,
    /// Longest delay allowed, s; `None` for unexpected alarms.
    pub within_s: Option<f64>,
    /// Delay from the start of the condition, s; `None` if it never came or was unexpected.
    pub delay_s: Option<f64>,
    /// Its outcome.
    pub outcome: AlarmOutcome,
}

impl AlarmResult {
    /// True if the alarm did what was expected.
    pub fn passed(&self) -> bool {
        use AlarmOutcome::{Cleared, InTime, NotRequired, Silent};
        matches!(self.outcome, InTime | Silent | NotRequired | Cleared)
    }
}

/// Reads expected alarms; without any, every alarm of the log is unexpected.
///
/// # Errors
/// Missing columns, broken rows.
pub fn expected(table: &Table) -> Result<Vec<DueAlarm>, TableProblem> {
    let (alarm, time) = (table.required(&["alarm", "name"])?, table.required(&["time_s", "start_s"])?);
    let within = table.required(&["within_s", "limit_s"])?;
    let (end, priority) = (table.column(&["end_s"]), table.column(&["priority"]));
    let (begin, silent) = (table.column(&["begin_s"]), table.column(&["silent"]));
    let (required, clear) = (table.column(&["required"]), table.column(&["clear_within_s"]));
    let mut found = Vec::new();
    table.rows(|row| {
        let time_s = table.required_number(row, time)?;
        let says = |column: Option<usize>, word: &str| {
            column.is_some_and(|column| row.cell(column).trim().eq_ignore_ascii_case(word))
        };
        let (silent, required) = (says(silent, "yes"), !says(required, "no"));
        let within_s = if silent { 0.0 } else { table.required_number(row, within)? };
        let begin_s = begin.map_or(Ok(None), |begin| table.number(row, begin))?.unwrap_or(time_s).min(time_s);
        let end_s = end.map_or(Ok(None), |end| table.number(row, end))?.unwrap_or(time_s + within_s);
        let clear_within_s = clear.map_or(Ok(None), |clear| table.number(row, clear))?;
        if within_s < 0.0 || end_s < time_s || clear_within_s.is_some_and(|within_s| within_s < 0.0) {
            let what = "within_s and clear_within_s must not be negative, and end_s not before time_s";
            return Err(TableProblem::new(row.place, what));
        }
        let priority = priority.map_or("", |column| row.cell(column)).to_owned();
        let alarm = row.cell(alarm).into();
        found.push(DueAlarm { alarm, time_s, within_s, end_s, priority, begin_s, silent, required, clear_within_s });
        Ok(())
    })?;
    Ok(found)
}

/// Reads an alarm log.
///
/// # Errors
/// Missing columns, broken rows.
pub fn logged(table: &Table, options: &ReadOptions) -> Result<AlarmLog, TableProblem> {
    if table.is_blank() {
        return Ok(AlarmLog { entries: Vec::new(), has_ends: true });
    }
    let times = TimeColumn::find(table, options)?;
    let (alarm, priority) = (table.required(&["alarm", "name"])?, table.column(&["priority"]));
    let end = table.column(&["end_s"]);
    let mut entries = Vec::new();
    table.rows(|row| {
        let at = times.instant(table, row)?;
        let priority = priority.map_or("", |column| row.cell(column)).to_owned();
        let end_s = end.map_or(Ok(None), |end| table.number(row, end))?;
        entries.push(LoggedAlarm { at, alarm: row.cell(alarm).into(), priority, end_s });
        Ok(())
    })?;
    entries.sort_by_key(|entry| entry.at);
    Ok(AlarmLog { entries, has_ends: end.is_some() })
}

/// Compares a log with expectations; the result is in order of time.
///
/// # Errors
/// When an expectation says how soon an alarm must end, and the log does not say when alarms end.
pub fn score(expected: &[DueAlarm], log: &AlarmLog) -> Result<Vec<AlarmResult>, TableProblem> {
    if !log.has_ends && expected.iter().any(|expected| expected.clear_within_s.is_some()) {
        let what = "the reference says how soon alarms must end (clear_within_s), so the log needs a column end_s";
        return Err(TableProblem::new(InputPosition::Whole, what));
    }
    let mut used = vec![false; log.entries.len()];
    let mut results: Vec<AlarmResult> =
        merged(expected).iter().flat_map(|of| answer(of, &log.entries, &mut used)).flatten().collect();
    for (entry, _) in log.entries.iter().zip(&used).filter(|(_, used)| !**used) {
        results.push(AlarmResult {
            alarm: entry.alarm.clone(),
            time_s: entry.at.s(),
            within_s: None,
            delay_s: None,
            outcome: AlarmOutcome::Unexpected,
        });
    }
    results.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    Ok(results)
}

/// Conditions of one alarm, each within the time limit of the one before.
struct Conditions {
    /// The first that is required, from the begin of the first to the end of the last.
    expected: DueAlarm,
    /// Until then an alarm belongs to them, s.
    until_s: f64,
}

fn merged(expected: &[DueAlarm]) -> Vec<Conditions> {
    let mut ordered: Vec<&DueAlarm> = expected.iter().collect();
    ordered.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let mut found: Vec<Conditions> = Vec::new();
    let mut latest: HashMap<(String, &String), usize> = HashMap::new();
    for next in ordered {
        let until_s = next.end_s.max(next.time_s + next.within_s);
        // Only the last of the same alarm can reach as far.
        let key = (next.alarm.to_lowercase(), &next.priority);
        let last = latest.get(&key).and_then(|index| found.get_mut(*index));
        let reached = |of: &&mut Conditions| next.time_s <= of.expected.end_s + of.expected.within_s;
        let Some(of) = last.filter(|of| !next.silent && reached(of)) else {
            if !next.silent {
                latest.insert(key, found.len());
            }
            found.push(Conditions { expected: next.clone(), until_s });
            continue;
        };
        of.until_s = of.until_s.max(until_s);
        let last = &mut of.expected;
        if next.required && !last.required {
            (last.time_s, last.within_s, last.required) = (next.time_s, next.within_s, true);
        }
        last.end_s = last.end_s.max(next.end_s);
        last.clear_within_s = next.clear_within_s.or(last.clear_within_s);
    }
    found
}

/// Times written in decimals are compared with the slack of a microsecond.
const SLACK_S: f64 = 1e-6;

/// The outcome of an alarm that came after `delay_s` (`None`: never) with the priority `shown`. Wanted: the priority `wanted`
/// within `within_s`; an empty `wanted` takes any priority.
pub fn outcome(delay_s: Option<f64>, shown: &str, within_s: f64, wanted: &str) -> AlarmOutcome {
    match delay_s {
        None => AlarmOutcome::Missed,
        Some(delay_s) if delay_s > within_s + SLACK_S => AlarmOutcome::Late,
        Some(_) if !wanted.is_empty() && !shown.eq_ignore_ascii_case(wanted) => AlarmOutcome::WrongPriority,
        Some(_) => AlarmOutcome::InTime,
    }
}

/// How the alarm came, and how it ended where that is asked.
fn answer(of: &Conditions, log: &[LoggedAlarm], used: &mut [bool]) -> [Option<AlarmResult>; 2] {
    let (expected, last_s) = (&of.expected, of.until_s + SLACK_S);
    let mut first: Option<&LoggedAlarm> = None;
    let mut last: Option<&LoggedAlarm> = None;
    let from = log.partition_point(|entry| entry.at.s() < expected.begin_s - SLACK_S);
    let until = log.partition_point(|entry| entry.at.s() <= last_s);
    for (entry, used) in log.iter().zip(used.iter_mut()).take(until).skip(from) {
        if entry.alarm.eq_ignore_ascii_case(&expected.alarm) && !*used {
            *used = true;
            first = first.or(Some(entry));
            last = Some(entry);
        }
    }
    let delay_s = first.map(|entry| (entry.at.s() - expected.time_s).max(0.0));
    let shown = first.map_or("", |entry| entry.priority.as_str());
    let outcome = match (expected.silent, first) {
        (false, None) if !expected.required => AlarmOutcome::NotRequired,
        (false, _) => outcome(delay_s, shown, expected.within_s, &expected.priority),
        (true, None) => AlarmOutcome::Silent,
        (true, Some(_)) => AlarmOutcome::Sounded,
    };
    let within_s = (!expected.silent).then_some(expected.within_s);
    let came = AlarmResult { alarm: expected.alarm.clone(), time_s: expected.time_s, within_s, delay_s, outcome };
    let ended = last.zip(expected.clear_within_s).map(|(last, within_s)| {
        let delay_s = last.end_s.map(|end_s| (end_s - expected.end_s).max(0.0));
        let outcome = match delay_s {
            None => AlarmOutcome::GoesOn,
            Some(delay_s) if delay_s > within_s + SLACK_S => AlarmOutcome::ClearedLate,
            Some(_) => AlarmOutcome::Cleared,
        };
        let (alarm, within_s) = (expected.alarm.clone(), Some(within_s));
        AlarmResult { alarm, time_s: expected.end_s, within_s, delay_s, outcome }
    });
    [Some(came), ended]
}

impl AlarmOutcome {
    /// Name in reports.
    pub fn name(self) -> &'static str {
        match self {
            AlarmOutcome::InTime => "in-time",
            AlarmOutcome::Late => "late",
            AlarmOutcome::WrongPriority => "wrong-priority",
            AlarmOutcome::Missed => "missed",
            AlarmOutcome::Silent => "silent",
            AlarmOutcome::Sounded => "sounded",
            AlarmOutcome::NotRequired => "not-required",
            AlarmOutcome::Cleared => "cleared",
            AlarmOutcome::ClearedLate => "cleared-late",
            AlarmOutcome::GoesOn => "goes-on",
            AlarmOutcome::Unexpected => "unexpected",
        }
    }
}

/// The results as a table for people.
pub fn text(results: &[AlarmResult]) -> String {
    let mut rows = vec![["alarm", "time s", "limit s", "delay s", "verdict"].map(str::to_owned).to_vec()];
    for result in results {
        let verdict = if result.passed() { "pass" } else { "FAIL" };
        rows.push(vec![
            result.alarm.clone(),
            short(result.time_s),
            result.within_s.map_or("-".into(), short),
            shown(result.delay_s),
            format!("{verdict} {}", result.outcome.name()),
        ]);
    }
    aligned(&rows)
}

/// The results as CSV.
pub fn csv(results: &[AlarmResult]) -> String {
    let mut out = String::from("alarm,time_s,within_s,delay_s,outcome,passed\n");
    for result in results {
        let cells = [short(result.time_s), number(result.within_s), number(result.delay_s)];
        let passed = result.passed().to_string();
        let cells = [result.alarm.as_str(), &cells[0], &cells[1], &cells[2], result.outcome.name(), &passed];
        out += &line(cells);
    }
    out
}

/// The results as test cases.
pub fn cases(results: &[AlarmResult]) -> Vec<TestCase> {
    let case = |result: &AlarmResult| {
        let why = || {
            format!("{}: delay {} s, limit {} s", result.outcome.name(), shown(result.delay_s), shown(result.within_s))
        };
        let name = format!("at {} s", short(result.time_s));
        TestCase::new(&result.alarm, &name, (!result.passed()).then(why))
    };
    results.iter().map(case).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_text::table;

    #[test]
    fn a_reference_must_be_one() {
        let read = |text: &str| expected(&table::read(text.into(), None, None).expect("reads"));
        for text in ["", "<html>", "<html>\n<p>1\n", "[]"] {
            assert!(read(text).is_err(), "{text}");
        }
        // Nothing may sound: that is an expectation.
        assert_eq!(read("alarm,time_s,within_s\n"), Ok(vec![]));
    }

    #[test]
    fn every_outcome() {
        let table = |text: &str| table::parse(text, None).expect("reads");
        let expected = expected(&table(
            "alarm,time_s,within_s,end_s,priority\nasystole,10,10,60,high\nvf,100,10,160,high\napnoea,200,20,260,high\nbrady,300,5,,\ntachy,400,5,450,medium\n",
        ))
        .expect("reads");
        let log = table(
            "time_s,alarm,priority\n20,ASYSTOLE,High\n30,asystole,high\n111,vf,high\n302,brady,low\n401,tachy,low\n500,vf,high\n",
        );
        let log = logged(&log, &ReadOptions::default()).expect("reads");
        let results = score(&expected, &log).expect("scores");
        let outcomes: Vec<_> = results.iter().map(|r| (r.alarm.as_str(), r.outcome, r.delay_s)).collect();
        assert_eq!(
            outcomes,
            [
                ("asystole", AlarmOutcome::InTime, Some(10.0)),
                ("vf", AlarmOutcome::Late, Some(11.0)),
                ("apnoea", AlarmOutcome::Missed, None),
                ("brady", AlarmOutcome::InTime, Some(2.0)),
                ("tachy", AlarmOutcome::WrongPriority, Some(1.0)),
                ("vf", AlarmOutcome::Unexpected, None),
            ]
        );
    }
    fn outcomes(reference: &str, log: &str) -> Result<Vec<AlarmOutcome>, TableProblem> {
        let table = |text: &str| table::parse(text, None).expect("reads");
        let expected = expected(&table(reference)).expect("reads");
        let log = logged(&table(log), &ReadOptions::default()).expect("reads");
        Ok(score(&expected, &log)?.iter().map(|result| result.outcome).collect())
    }

    #[test]
    fn an_alarm_ends_in_time_or_late_or_goes_on() {
        let reference = "alarm,time_s,within_s,end_s,clear_within_s\nvf,10,10,60,30\n";
        let ended = |end: &str| outcomes(reference, &format!("time_s,alarm,end_s\n12,vf,{end}\n"));
        let came = AlarmOutcome::InTime;
        assert_eq!(ended("61"), Ok(vec![came, AlarmOutcome::Cleared]));
        assert_eq!(ended("90"), Ok(vec![came, AlarmOutcome::Cleared]));
        assert_eq!(ended("90.1"), Ok(vec![came, AlarmOutcome::ClearedLate]));
        assert_eq!(ended(""), Ok(vec![came, AlarmOutcome::GoesOn]));
        // The last time that it came counts; an alarm that never came has no end.
        let twice = "time_s,alarm,end_s\n12,vf,20\n30,vf,\n";
        assert_eq!(outcomes(reference, twice), Ok(vec![came, AlarmOutcome::GoesOn]));
        assert_eq!(outcomes(reference, "time_s,alarm,end_s\n"), Ok(vec![AlarmOutcome::Missed]));
        assert!(outcomes(reference, "time_s,alarm\n12,vf\n").is_err(), "the log does not say when it ended");
    }

    #[test]
    fn an_alarm_that_is_not_required_may_come() {
        let reference = "alarm,time_s,within_s,end_s,required\nhigh-rate,10,10,12,no\n";
        assert_eq!(outcomes(reference, "time_s,alarm\n"), Ok(vec![AlarmOutcome::NotRequired]));
        assert_eq!(outcomes(reference, "time_s,alarm\n11,high-rate\n"), Ok(vec![AlarmOutcome::InTime]));
        let required = reference.replace(",no", ",yes");
        assert_eq!(outcomes(&required, "time_s,alarm\n"), Ok(vec![AlarmOutcome::Missed]));
    }
    #[test]
    fn conditions_that_come_again_at_once_are_one() {
        let reference = "alarm,time_s,within_s,end_s,required\nmissed-beat,10,10,11,no\nmissed-beat,13,10,14,yes\nmissed-beat,23,10,24,yes\nmissed-beat,40,10,41,yes\n";
        let (in_time, missed, late) = (AlarmOutcome::InTime, AlarmOutcome::Missed, AlarmOutcome::Late);
        let log = |times: &[&str]| {
            let lines: Vec<String> = times.iter().map(|time| format!("{time},missed-beat\n")).collect();
            outcomes(reference, &format!("time_s,alarm\n{}", lines.concat()))
        };
        assert_eq!(log(&["11", "14", "24", "41"]), Ok(vec![in_time, in_time]));
        assert_eq!(log(&["23", "50"]), Ok(vec![in_time, in_time]));
        assert_eq!(log(&["23.1", "24"]), Ok(vec![late, missed]));
    }
}
