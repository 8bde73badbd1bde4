//! The alarm log of a monitor against expected alarms.
//!
//! Expected: a table with `alarm`, `time_s` (when the condition begins), `within_s` (time limit), and optionally `end_s`
//! (when the condition ends) and `priority`. Log: a table with a time, `alarm`, and optionally `priority`.
//!
//! The first log entry of that alarm from `time_s` to the end of the condition answers an expectation; it is in time up to and
//! including `time_s + within_s`. Without `end_s` the condition ends with the limit. Later entries of the alarm in the condition
//! are repeats. Entries that belong to no expectation are unexpected.
//! With `begin_s`, the begin of the condition, an entry from then on answers too: a monitor may have a shorter limit.
//! With `yes` in a column `silent` the alarm must not come from `time_s` to `end_s`.

use pulsewright_text::number::short;
use serde::Serialize;

use crate::instant::Instant;
use crate::read::beats::TimeColumn;
use crate::read::{Problem, ReadOptions, Table};
use crate::report::Case;
use crate::report::csv::{line, number};
use crate::report::text::{aligned, number as shown};

/// One alarm that must come.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExpectedAlarm {
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
}

/// One line of the log.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedAlarm {
    /// When.
    pub at: Instant,
    /// Its name.
    pub alarm: String,
    /// Its priority; empty if the log has none.
    pub priority: String,
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
        matches!(self.outcome, AlarmOutcome::InTime | AlarmOutcome::Silent)
    }
}

/// Reads expected alarms; without any, every alarm of the log is unexpected.
///
/// # Errors
/// Missing columns, broken rows.
pub fn expected(table: &Table) -> Result<Vec<ExpectedAlarm>, Problem> {
    let (alarm, time) = (table.required(&["alarm", "name"])?, table.required(&["time_s", "start_s"])?);
    let within = table.required(&["within_s", "limit_s"])?;
    let (end, priority) = (table.column(&["end_s"]), table.column(&["priority"]));
    let (begin, silent) = (table.column(&["begin_s"]), table.column(&["silent"]));
    let mut found = Vec::new();
    table.rows(|row| {
        let time_s = table.required_number(row, time)?;
        let silent = silent.is_some_and(|column| row.cell(column).trim().eq_ignore_ascii_case("yes"));
        let within_s = if silent { 0.0 } else { table.required_number(row, within)? };
        let begin_s = begin.map_or(Ok(None), |begin| table.number(row, begin))?.unwrap_or(time_s).min(time_s);
        let end_s = end.map_or(Ok(None), |end| table.number(row, end))?.unwrap_or(time_s + within_s);
        if within_s < 0.0 || end_s < time_s {
            return Err(Problem::new(row.place, "within_s must not be negative, and end_s not before time_s"));
        }
        let priority = priority.map_or("", |column| row.cell(column)).to_owned();
        found.push(ExpectedAlarm { alarm: row.cell(alarm).into(), time_s, within_s, end_s, priority, begin_s, silent });
        Ok(())
    })?;
    Ok(found)
}

/// Reads an alarm log.
///
/// # Errors
/// Missing columns, broken rows.
pub fn logged(table: &Table, options: &ReadOptions) -> Result<Vec<LoggedAlarm>, Problem> {
    if table.is_blank() {
        return Ok(Vec::new());
    }
    let times = TimeColumn::find(table, options)?;
    let (alarm, priority) = (table.required(&["alarm", "name"])?, table.column(&["priority"]));
    let mut found = Vec::new();
    table.rows(|row| {
        let at = times.instant(table, row)?;
        let priority = priority.map_or("", |column| row.cell(column)).to_owned();
        found.push(LoggedAlarm { at, alarm: row.cell(alarm).into(), priority });
        Ok(())
    })?;
    found.sort_by_key(|entry| entry.at);
    Ok(found)
}

/// Compares a log, in order of time, with expectations; the result is in order of time.
pub fn score(expected: &[ExpectedAlarm], log: &[LoggedAlarm]) -> Vec<AlarmResult> {
    let mut used = vec![false; log.len()];
    let mut results: Vec<AlarmResult> = expected.iter().map(|expected| answer(expected, log, &mut used)).collect();
    for (entry, _) in log.iter().zip(&used).filter(|(_, used)| !**used) {
        results.push(AlarmResult {
            alarm: entry.alarm.clone(),
            time_s: entry.at.s(),
            within_s: None,
            delay_s: None,
            outcome: AlarmOutcome::Unexpected,
        });
    }
    results.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    results
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

fn answer(expected: &ExpectedAlarm, log: &[LoggedAlarm], used: &mut [bool]) -> AlarmResult {
    let last_s = expected.end_s.max(expected.time_s + expected.within_s) + SLACK_S;
    let mut first: Option<&LoggedAlarm> = None;
    let from = log.partition_point(|entry| entry.at.s() < expected.begin_s - SLACK_S);
    let until = log.partition_point(|entry| entry.at.s() <= last_s);
    for (entry, used) in log.iter().zip(used.iter_mut()).take(until).skip(from) {
        if entry.alarm.eq_ignore_ascii_case(&expected.alarm) && !*used {
            *used = true;
            first = first.or(Some(entry));
        }
    }
    let delay_s = first.map(|entry| (entry.at.s() - expected.time_s).max(0.0));
    let shown = first.map_or("", |entry| entry.priority.as_str());
    let outcome = match (expected.silent, first) {
        (false, _) => outcome(delay_s, shown, expected.within_s, &expected.priority),
        (true, None) => AlarmOutcome::Silent,
        (true, Some(_)) => AlarmOutcome::Sounded,
    };
    let within_s = (!expected.silent).then_some(expected.within_s);
    AlarmResult { alarm: expected.alarm.clone(), time_s: expected.time_s, within_s, delay_s, outcome }
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
pub fn cases(results: &[AlarmResult]) -> Vec<Case> {
    let case = |result: &AlarmResult| {
        let why = || {
            format!("{}: delay {} s, limit {} s", result.outcome.name(), shown(result.delay_s), shown(result.within_s))
        };
        let name = format!("at {} s", short(result.time_s));
        Case { subject: result.alarm.clone(), name, failure: (!result.passed()).then(why) }
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
        let results = score(&expected, &logged(&log, &ReadOptions::default()).expect("reads"));
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
}
