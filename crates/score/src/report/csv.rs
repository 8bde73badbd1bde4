//! CSV: one row per record, then gross and average; and the list of beats.

use crate::metrics::METRICS;
use crate::record::RecordReport;
use crate::report::Report;
use pulsewright_text::fit;
use pulsewright_text::number::short;

/// Joins cells to one line, each fit for a spreadsheet, quoted where needed.
pub fn line<'a>(cells: impl IntoIterator<Item = &'a str>) -> String {
    let mut line = String::new();
    for (index, cell) in cells.into_iter().enumerate() {
        if index > 0 {
            line.push(',');
        }
        let cell = fit::cell(cell);
        if cell.contains([',', '"']) {
            line.extend(["\"", &cell.replace('"', "\"\""), "\""]);
        } else {
            line.push_str(&cell);
        }
    }
    line + "\n"
}

/// A number as a cell: shortest form that reads back the same; empty if there is none.
pub fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, short)
}

/// All figures of all records.
pub fn render(report: &Report) -> String {
    let mut out = line(["record"].into_iter().chain(METRICS.iter().map(|metric| metric.name)));
    let figures = report.records.iter().map(|record| (record.record.as_str(), &record.figures));
    for (name, figures) in figures.chain([("gross", &report.gross)]) {
        let values: Vec<String> = METRICS.iter().map(|metric| number((metric.value)(figures))).collect();
        out += &line([name].into_iter().chain(values.iter().map(String::as_str)));
    }
    let means: Vec<String> = report.average.iter().map(|average| number(average.mean)).collect();
    out += &line(["average"].into_iter().chain(means.iter().map(String::as_str)));
    out
}

/// Beat by beat: the match of each reference beat, and the extra test beats.
pub fn beats(records: &[RecordReport]) -> String {
    let mut out = String::from("record,reference_s,reference_code,test_s,test_code,outcome\n");
    for record in records {
        for outcome in &record.outcomes {
            let side = |beat: Option<crate::AnnotatedBeat>| match beat {
                Some(beat) => (format!("{:.6}", beat.at.s()), beat.code.to_string()),
                None => Default::default(),
            };
            let (reference, test) = (side(outcome.reference), side(outcome.test));
            let what = match (outcome.reference, outcome.test) {
                (Some(_), Some(_)) => "match",
                (Some(_), None) => "missed",
                _ => "extra",
            };
            out += &line([record.record.as_str(), &reference.0, &reference.1, &test.0, &test.1, what]);
        }
    }
    out
}
