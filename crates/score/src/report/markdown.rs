//! Markdown with tables, for the summary page of a build.

use super::{Report, TestCase};
use crate::metrics::{FigureKind, METRICS, Metric};
use crate::record::{Figures, RecordReport};
use crate::report::text::{changed_most, changes, number, percent, records_compared};
use pulsewright_text::fit;
use std::cmp::Reverse;
use std::fmt::Write;

/// Rows of a list that may be long.
const MOST: usize = 20;

/// Figures of the table of records.
const OF_RECORDS: [&str; 6] = ["found", "missed", "extra", "se", "ppv", "rr_rms_ms"];

/// The whole report under a heading.
pub fn render(report: &Report) -> String {
    let mut out = heading(&format!("{} against the reference", report.rules.options.events.name()), report.passed());
    out += &body(report);
    out
}

/// The report without a heading: limits, all records pooled, the records with the most events missed and extra.
pub fn body(report: &Report) -> String {
    let mut out = limits(report);
    if let Some(against) = &report.against {
        let _ = write!(out, "\nAgainst the earlier report: {}\n\n", records_compared(against));
        out += &table(&changes(against));
        let changed = changed_most(against);
        if !changed.is_empty() {
            out.push('\n');
            out += &table(&changed);
        }
    }
    out += "\nAll records pooled\n\n";
    let mut rows = vec![["figure", "value", "meaning"].map(str::to_owned).to_vec()];
    for metric in METRICS {
        if let Some(value) = (metric.value)(&report.gross) {
            rows.push(vec![metric.name.to_owned(), shown(metric, Some(value)), metric.what.to_owned()]);
        }
    }
    out += &table(&rows);
    let wrong = |record: &&RecordReport| record.figures.detection.missed + record.figures.detection.extra;
    let mut records: Vec<&RecordReport> = report.records.iter().collect();
    records.sort_by_key(|record| Reverse(wrong(record)));
    let title = match records.len() {
        0..=MOST => "Records".to_owned(),
        all => format!("{MOST} of {all} records, those with the most events missed and extra"),
    };
    let _ = write!(out, "\n{title}\n\n");
    let metrics = || METRICS.iter().filter(|metric| OF_RECORDS.contains(&metric.name));
    let row = |name: &str, figures: &Figures| {
        let cells = metrics().map(|metric| shown(metric, (metric.value)(figures)));
        [name.to_owned()].into_iter().chain(cells).collect::<Vec<_>>()
    };
    let titles = ["record".to_owned()].into_iter().chain(metrics().map(|metric| metric.name.to_owned()));
    let mut rows = vec![titles.collect::<Vec<_>>()];
    rows.extend(records.iter().take(MOST).map(|record| row(&record.record, &record.figures)));
    out += &table(&rows);
    out
}

/// Cases under a heading: those that failed, and the number of the others.
pub fn of_cases(title: &str, cases: &[TestCase]) -> String {
    let failed: Vec<(&TestCase, &str)> =
        cases.iter().filter_map(|case| Some((case, case.failure.as_deref()?))).collect();
    let mut out = heading(title, failed.is_empty());
    let _ = writeln!(out, "{} of {} cases passed", cases.len() - failed.len(), cases.len());
    if !failed.is_empty() {
        let mut rows = vec![["case", "", "why it failed"].map(str::to_owned).to_vec()];
        let row = |(case, why): &(&TestCase, &str)| vec![case.subject.clone(), case.name.clone(), (*why).to_owned()];
        rows.extend(failed.iter().map(row));
        out.push('\n');
        out += &table(&rows);
    }
    out
}

/// A heading that says whether all is well, and an empty line.
pub fn heading(title: &str, passed: bool) -> String {
    format!("## {}: {}\n\n", escaped(title), if passed { "passed" } else { "FAILED" })
}

/// A table whose first row holds the titles; the first column stands to the left, the others to the right.
pub fn table(rows: &[Vec<String>]) -> String {
    let mut out = String::new();
    for (index, row) in rows.iter().enumerate() {
        let cells: Vec<String> = row.iter().map(|cell| escaped(cell)).collect();
        let _ = writeln!(out, "| {} |", cells.join(" | "));
        if index == 0 {
            let _ = writeln!(out, "|---{}|", "|---:".repeat(row.len().saturating_sub(1)));
        }
    }
    out
}

fn limits(report: &Report) -> String {
    if report.verdicts.is_empty() {
        return "No limits were set.\n".to_owned();
    }
    let broken: Vec<_> = report.verdicts.iter().filter(|verdict| !verdict.passed).collect();
    let mut out = format!("{} of {} limits hold.\n", report.verdicts.len() - broken.len(), report.verdicts.len());
    for verdict in broken.iter().take(MOST) {
        let _ = writeln!(out, "- FAIL {}", escaped(&verdict.line()));
    }
    if broken.len() > MOST {
        let _ = writeln!(out, "- and {} more", broken.len() - MOST);
    }
    out
}

fn shown(metric: &Metric, value: Option<f64>) -> String {
    match (metric.kind, value) {
        (FigureKind::Percent, value) => percent(value),
        (FigureKind::Count, Some(value)) => format!("{value:.0}"),
        (_, value) => number(value),
    }
}

/// Text within a line or a cell: characters that mark up a page get a backslash or a reference.
pub fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in fit::page(&fit::line(text)).chars() {
        if matches!(c, '\\' | '|' | '`' | '*' | '_' | '[' | ']' | '#' | '~' | '!') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_can_not_leave_its_cell() {
        let rows = [vec!["record".to_owned(), "Se %".to_owned()], vec!["a|b\n<b>[x](y)".to_owned(), "1".to_owned()]];
        let table = table(&rows);
        assert_eq!(table.lines().count(), 3, "{table}");
        assert!(table.ends_with("| a\\|b\\\\n&lt;b&gt;\\[x\\](y) | 1 |\n"), "{table}");
    }

    #[test]
    fn failed_cases_are_listed() {
        let cases = [TestCase::new("hr", "from 0 s", None), TestCase::new("map", "from 0 s", Some("too low".into()))];
        let page = of_cases("readings", &cases);
        assert!(page.starts_with("## readings: FAILED\n\n1 of 2 cases passed\n"), "{page}");
        assert!(page.ends_with("| map | from 0 s | too low |\n"), "{page}");
    }
}
