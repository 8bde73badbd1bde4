//! Series in files beside a script.

use super::{MOST_SERIES_BEATS, StepSeries, code, span};
use pulsewright_core::script::SeriesBeat;
use pulsewright_core::time::Span;
use pulsewright_core::truth::BeatCode;
use pulsewright_text::table::{self, Table, TableProblem};
use pulsewright_text::{annotation, annotation_file, header, source};

/// Endings of tables; every other file is taken for an annotation file.
const TABLES: [&str; 4] = ["csv", "tsv", "txt", "json"];

/// Names of the columns of a table.
const TIMES: [&str; 3] = ["at_s", "time_s", "peak_s"];
const INTERVALS: [&str; 1] = ["rr_s"];
const INTERVALS_MS: [&str; 1] = ["rr_ms"];
const CODES: [&str; 2] = ["code", "type"];

/// Ending of a file, without the point.
fn ending(name: &str) -> &str {
    let file = name.rsplit('/').next().unwrap_or(name);
    file.rsplit_once('.').map_or("", |(_, ending)| ending)
}

fn is_table(name: &str) -> bool {
    TABLES.iter().any(|table| ending(name).eq_ignore_ascii_case(table))
}

/// The header that an annotation file has beside it.
pub(super) fn header_name(name: &str) -> Option<String> {
    let stem = name.strip_suffix(ending(name)).filter(|_| !is_table(name))?;
    Some(format!("{}.hea", stem.strip_suffix('.').unwrap_or(stem)))
}

/// The series of a file; `header` is the content of the one beside it.
pub(super) fn read(name: &str, bytes: Vec<u8>, hz: Option<f64>, header: Option<Vec<u8>>) -> Result<StepSeries, String> {
    if is_table(name) {
        if hz.is_some() {
            return Err("hz is for annotation files; times of a table are in seconds".to_owned());
        }
        return of_table(bytes);
    }
    of_annotations(&bytes, hz, header)
}

fn too_many() -> String {
    format!("more than {MOST_SERIES_BEATS} beats")
}

fn of_table(bytes: Vec<u8>) -> Result<StepSeries, String> {
    let text = |problem: TableProblem| problem.to_string();
    let table = table::read(bytes, None, None).map_err(text)?;
    let names = [TIMES.as_slice(), &INTERVALS, &INTERVALS_MS].concat();
    let times = table.column(&TIMES);
    let column = match times {
        Some(column) => column,
        None => table.required(&names).map_err(text)?,
    };
    let intervals = times.is_none();
    let factor = if Some(column) == table.column(&INTERVALS_MS) { 0.001 } else { 1.0 };
    let codes = table.column(&CODES);
    let (mut beats, mut sum) = (Vec::new(), Span::ZERO);
    let row_of = |row: &table::TableRow<'_>| beat_of(&table, row, column, codes, factor);
    table
        .rows(|row| {
            let (time, code) = row_of(row)?;
            sum = if intervals { sum.plus(time) } else { time };
            beats.push(SeriesBeat { after: sum, code });
            if beats.len() > MOST_SERIES_BEATS { Err(TableProblem::new(row.place, too_many())) } else { Ok(()) }
        })
        .map_err(text)?;
    StepSeries::new(beats, intervals.then_some(sum)).map_err(|(index, what)| format!("beat {}: {what}", index + 1))
}

fn beat_of(
    table: &Table,
    row: &table::TableRow<'_>,
    column: usize,
    codes: Option<usize>,
    factor: f64,
) -> Result<(Span, BeatCode), TableProblem> {
    let seconds = factor * table.required_number(row, column)?;
    let time = span(seconds)
        .ok_or_else(|| TableProblem::new(row.place, format!("{seconds} s is no time after the start of a series")))?;
    let letter = codes.map_or("", |column| row.cell(column));
    let mut letters = letter.chars();
    let code = match (letters.next(), letters.next()) {
        (None, _) => Some(BeatCode::Normal),
        (Some(letter), None) => code(letter),
        _ => None,
    };
    let code = code.ok_or_else(|| TableProblem::new(row.place, format!("'{letter}' is no code of a beat")))?;
    Ok((time, code))
}

fn of_annotations(bytes: &[u8], hz: Option<f64>, header: Option<Vec<u8>>) -> Result<StepSeries, String> {
    let text = |problem: TableProblem| problem.to_string();
    let noted = annotation_file::read(bytes).map_err(text)?;
    let header = match header.as_deref().map(source::utf8) {
        Some(Ok(header)) => Some(header::parse(header).map_err(|problem| format!("its header: {problem}"))?),
        Some(Err(_)) => return Err("its header is not UTF-8 text".to_owned()),
        None => None,
    };
    let own_hz = annotation_file::rate_hz(&noted).map_err(text)?;
    let rate_hz = hz
        .or(own_hz)
        .or(header.map(|header| header.rate_hz))
        .ok_or("its times are in frames; the frame rate comes from the header (.hea) beside it or from \"hz\"")?;
    let mut beats = Vec::new();
    for one in &noted {
        let Some(code) = annotation::code_of_number(one.number).and_then(code) else { continue };
        let after = span(one.frame as f64 / rate_hz)
            .ok_or_else(|| format!("byte {}: frame {} is no time after the start of a record", one.byte, one.frame))?;
        beats.push(SeriesBeat { after, code });
        if beats.len() > MOST_SERIES_BEATS {
            return Err(too_many());
        }
    }
    let unfit = |(index, what): (usize, String)| format!("beat {}: {what}", index + 1);
    let length = header.and_then(|header| span(header.frames? as f64 / header.rate_hz));
    // A record may end so close to its last beat that the first can't follow.
    if let Some(length) = length
        && let Ok(series) = StepSeries::new(beats.clone(), Some(length))
    {
        return Ok(series);
    }
    StepSeries::new(beats, None).map_err(unfit)
}
