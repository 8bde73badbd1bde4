//! The report as a table for people.

use std::fmt::Write;

use crate::compare::{Comparison, RecordChange};
use crate::matrix::{LETTERS, Proportion};
use crate::metrics::{FigureKind, Metric, by_name};
use crate::record::Figures;
use crate::report::Report;
use crate::runs::RunFigures;
use pulsewright_text::fit;
use pulsewright_text::number::{self, fixed, short};

/// Columns of the record table: title and name of the figure.
type Column = (&'static str, &'static str);

const DETECTION: [Column; 9] = [
    ("found", "found"),
    ("missed", "missed"),
    ("extra", "extra"),
    ("Se %", "se"),
    ("+P %", "ppv"),
    ("offset ms", "offset_mean_ms"),
    ("RR rms ms", "rr_rms_ms"),
    ("intact ms", "rr_intact_rms_ms"),
    ("rate rms bpm", "rate_rms_bpm"),
];

const CLASSES: [Column; 6] = [
    ("VEB Se %", "veb_se"),
    ("VEB +P %", "veb_ppv"),
    ("VEB FPR %", "veb_fpr"),
    ("SVEB Se %", "sveb_se"),
    ("SVEB +P %", "sveb_ppv"),
    ("SVEB FPR %", "sveb_fpr"),
];

/// Percent with two decimals, rounded; but 100.00 means all, and 0.00 none. A dash where there is nothing to count.
pub fn percent(value: Option<f64>) -> String {
    let rounded = |value: f64| match (value * 100.0).round() / 100.0 {
        100.0 if value < 100.0 => 99.99,
        0.0 if value > 0.0 => 0.01,
        rounded => rounded,
    };
    value.map_or("-".into(), |value| format!("{:.2}", rounded(value)))
}

/// Two decimals; a dash for none.
pub fn number(value: Option<f64>) -> String {
    value.map_or("-".into(), |value| fixed(value, 2))
}

/// Rows under titles, columns aligned (the first to the left), two spaces between; every cell fit for a terminal.
pub fn aligned(rows: &[Vec<String>]) -> String {
    let rows: Vec<Vec<_>> = rows.iter().map(|row| row.iter().map(|cell| fit::line(cell)).collect()).collect();
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|c| c.chars().count()).max();
    let widths: Vec<usize> = (0..columns).map(|column| width(column).unwrap_or(0)).collect();
    let mut out = String::new();
    for row in &rows {
        let cells = row.iter().zip(&widths).enumerate();
        let cells: Vec<String> =
            cells.map(|(i, (cell, &w))| if i == 0 { format!("{cell:<w$}") } else { format!("{cell:>w$}") }).collect();
        out += cells.join("  ").trim_end();
        out.push('\n');
    }
    out
}

/// How many records were compared, and how many became better and worse.
pub fn records_compared(against: &Comparison) -> String {
    let Comparison { records, only_here, only_earlier, better, worse, .. } = against;
    let more = [(*only_here, "here alone"), (*only_earlier, "in the earlier one alone")];
    let more: String =
        more.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!(", {count} {what}")).collect();
    let records = number::counted(*records as u64, "record");
    format!("{records} in both reports{more}; fewer events missed and extra in {better}, more in {worse}")
}

/// A row of titles, then one for each figure.
pub fn changes(against: &Comparison) -> Vec<Vec<String>> {
    let titles = ["figure", "before", "now", "change", "95 % from", "to", ""];
    let mut rows = vec![titles.map(str::to_owned).to_vec()];
    let signed = |value: f64| format!("{:+.3}", value + 0.0);
    for change in &against.figures {
        let end = |end: Option<f64>| end.map_or("-".to_owned(), signed);
        let numbers = [fixed(change.earlier, 3), fixed(change.now, 3), signed(change.change)];
        let ends = [end(change.low), end(change.high), change.verdict.word().to_owned()];
        rows.push([change.metric.to_owned()].into_iter().chain(numbers).chain(ends).collect());
    }
    rows
}

/// A row of titles, then the records whose events missed and extra changed most; nothing where none did.
pub fn changed_most(against: &Comparison) -> Vec<Vec<String>> {
    if against.changed_most.is_empty() {
        return Vec::new();
    }
    let mut rows = vec![["record, missed and extra", "before", "now"].map(str::to_owned).to_vec()];
    let row = |one: &RecordChange| vec![one.record.clone(), one.earlier.to_string(), one.now.to_string()];
    rows.extend(against.changed_most.iter().map(row));
    rows
}

/// The whole report.
pub fn render(report: &Report) -> String {
    let options = &report.rules.options;
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(out, "{} against reference", capital(options.events.name()));
    let _ = writeln!(
        out,
        "window {} ms inclusive, nearer pair wins with the 2002 refinement; learning period {} s; detector delay taken off {} ms",
        options.window_s * 1e3,
        options.learning_s,
        options.delay_s * 1e3
    );
    let labelled = report.gross.ventricular.is_some();
    if labelled {
        let _ = writeln!(out, "classes by {}", report.rules.class_map);
    } else if options.events == crate::record::Events::Beats {
        let _ = writeln!(out, "the test gives no beat labels: no class figures, its beats stand in column n");
        let _ = writeln!(out, "classes of the reference by {}", report.rules.class_map);
    }
    out.push('\n');
    record_table(&mut out, report, &DETECTION);
    if labelled {
        out.push('\n');
        record_table(&mut out, report, &CLASSES);
    }
    if options.events == crate::record::Events::Beats {
        out += "\nGross matrix (row: reference, column: test; o missed, x missed in shutdown, O and X extra)\n";
        out += &matrix(&report.gross);
    }
    for (name, runs) in
        [("Ventricular", report.gross.ventricular_runs), ("Supraventricular", report.gross.supraventricular_runs)]
    {
        out += &runs.filter(any_run).map(|runs| run_table(name, &runs)).unwrap_or_default();
    }
    if !report.gross.episodes.is_empty() {
        out += "\nGross episodes\n";
        out += &episode_table(&report.gross);
    }
    let shutdown = &report.gross.shutdown;
    if shutdown.test_s > 0.0 || shutdown.reference_s > 0.0 {
        let _ = writeln!(out, "\nShutdown: test {:.3} s, reference {:.3} s", shutdown.test_s, shutdown.reference_s);
        let lost =
            [("beats", shutdown.beats), ("N", shutdown.n), ("S", shutdown.s), ("V", shutdown.v), ("F", shutdown.f)];
        let lost: Vec<String> = lost.iter().map(|(name, share)| format!("{name} {}", counted(share))).collect();
        let _ = writeln!(out, "missed in test shutdown: {}", lost.join(", "));
    }
    if let Some(against) = &report.against {
        out += "\nAgainst the earlier report\n";
        let _ = writeln!(out, "{}", records_compared(against));
        out += &aligned(&changes(against));
        out += &aligned(&changed_most(against));
    }
    if !report.verdicts.is_empty() {
        out += "\nLimits\n";
        for verdict in &report.verdicts {
            let _ = writeln!(out, "{}  {}", if verdict.passed { "pass" } else { "FAIL" }, fit::line(&verdict.line()));
        }
    }
    out
}

fn record_table(out: &mut String, report: &Report, columns: &[Column]) {
    let titles = columns.iter().map(|(title, _)| (*title).to_owned());
    let mut rows: Vec<Vec<String>> = vec![std::iter::once("record".to_owned()).chain(titles).collect()];
    let row = |name: &str, value: &dyn Fn(&Metric) -> Option<f64>, counts: bool| {
        let cells = columns
            .iter()
            .map(|(_, metric)| by_name(metric).map_or_else(String::new, |metric| shown(metric, value(metric), counts)));
        std::iter::once(name.to_owned()).chain(cells).collect::<Vec<_>>()
    };
    for record in &report.records {
        rows.push(row(&record.record, &|metric| (metric.value)(&record.figures), true));
    }
    if report.records.len() > 1 {
        rows.push(row("gross", &|metric| (metric.value)(&report.gross), true));
        let mean = |metric: &Metric| report.average.iter().find(|a| a.metric == metric.name)?.mean;
        rows.push(row("average", &mean, false));
    }
    *out += &aligned(&rows);
}

fn shown(metric: &Metric, value: Option<f64>, counts: bool) -> String {
    match (metric.kind, value) {
        (FigureKind::Percent, _) => percent(value),
        (FigureKind::Count, Some(value)) if counts => short(value),
        _ => number(value),
    }
}

fn matrix(figures: &Figures) -> String {
    let mut rows = vec![
        std::iter::once(String::new()).chain(LETTERS.iter().map(|l| l.to_ascii_lowercase().to_string())).collect(),
    ];
    for (letter, counts) in LETTERS.iter().zip(&figures.matrix.0) {
        rows.push(std::iter::once(letter.to_string()).chain(counts.iter().map(u64::to_string)).collect::<Vec<_>>());
    }
    aligned(&rows)
}

fn any_run(runs: &RunFigures) -> bool {
    let shares = [
        runs.couplet_sensitivity,
        runs.couplet_predictivity,
        runs.short_sensitivity,
        runs.short_predictivity,
        runs.long_sensitivity,
        runs.long_predictivity,
    ];
    shares.iter().any(|share| share.whole > 0)
}

fn run_table(name: &str, runs: &RunFigures) -> String {
    let row = |name: &str, se: &Proportion, ppv: &Proportion| vec![name.to_owned(), counted(se), counted(ppv)];
    let rows = [
        vec![format!("{name} runs, gross"), "Se".into(), "+P".into()],
        row("couplets", &runs.couplet_sensitivity, &runs.couplet_predictivity),
        row("3 to 5", &runs.short_sensitivity, &runs.short_predictivity),
        row("6 or more", &runs.long_sensitivity, &runs.long_predictivity),
    ];
    format!("\n{}", aligned(&rows))
}

fn episode_table(figures: &Figures) -> String {
    let titles = ["kind", "Se", "+P", "reference s", "test s", "time Se %", "time +P %"];
    let mut rows = vec![titles.map(str::to_owned).to_vec()];
    for episode in &figures.episodes {
        rows.push(vec![
            episode.kind.name().into(),
            counted(&episode.sensitivity),
            counted(&episode.predictivity),
            format!("{:.3}", episode.reference_s),
            format!("{:.3}", episode.test_s),
            percent(episode.duration_sensitivity_percent),
            percent(episode.duration_predictivity_percent),
        ]);
    }
    aligned(&rows)
}

fn counted(share: &Proportion) -> String {
    format!("{} % ({}/{})", percent(share.percent), share.part, share.whole)
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percents_are_rounded_and_all_means_all() {
        // The sensitivity of 2270 of 2273 beats is 99.868 %.
        assert_eq!(percent(Some(100.0 * 2270.0 / 2273.0)), "99.87");
        assert_eq!(percent(Some(0.001)), "0.01");
        assert_eq!(percent(Some(0.0)), "0.00");
        assert_eq!(percent(Some(100.0)), "100.00");
        assert_eq!(percent(Some(99.9999)), "99.99");
        assert_eq!(percent(Some(99.95)), "99.95");
        assert_eq!(percent(None), "-");
    }
}
