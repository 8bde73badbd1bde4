//! Records written by hand as a table: a spreadsheet saved as CSV.
//!
//! Columns `item`, `value`, and if wanted `priority`, `heard`, `skip`, `remark`. An item is an id of the plan
//! (`3.heart-rate`), or one of: `about.asset` and the other words, `kit.1` (value `out` or `back`), `1.prepare-1` (value
//! `yes`), `signed.done` and `signed.checked` (value: name), `instrument` (value: what, remark: its number).

use crate::record::{ABOUT, BadRecord, Entry, Instrument, KitState, Record, Signature, utf8};

const COLUMNS: [&str; 6] = ["item", "value", "priority", "heard", "skip", "remark"];

/// Reads a record from CSV; semicolons or tabs may stand for commas.
///
/// # Errors
/// The first thing that is wrong, with its line.
pub fn read(text: &[u8], name: &str) -> Result<Record, BadRecord> {
    let text = utf8(text, name)?;
    let head = text.lines().next().unwrap_or_default();
    let delimiter = [b';', b'\t'].into_iter().find(|sign| head.as_bytes().contains(sign)).unwrap_or(b',');
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let broken = |error: csv::Error| {
        let line = error.position().map_or(1, csv::Position::line);
        BadRecord::at(name, line as usize, 1, format!("not CSV: {error}"))
    };
    let heads: Vec<String> = reader.headers().map_err(broken)?.iter().map(str::to_lowercase).collect();
    for column in ["item", "value"] {
        if !heads.iter().any(|head| head == column) {
            let what = format!("no column \"{column}\"; a record's columns are {}", COLUMNS.join(", "));
            return Err(BadRecord::at(name, 1, 1, what));
        }
    }
    if let Some(other) = heads.iter().find(|head| !COLUMNS.contains(&head.as_str())) {
        let what = format!("unknown column \"{other}\"; allowed: {}", COLUMNS.join(", "));
        return Err(BadRecord::at(name, 1, 1, what));
    }
    let mut record = Record { record: 1, ..Record::default() };
    for row in reader.records() {
        let row = row.map_err(broken)?;
        let line = row.position().map_or(1, csv::Position::line) as usize;
        let cell = |column: &str| {
            let index = heads.iter().position(|head| head == column);
            index.and_then(|index| row.get(index)).unwrap_or_default().to_owned()
        };
        let item = cell("item");
        if item.is_empty() {
            continue;
        }
        take(&mut record, &item, &cell).map_err(|what| BadRecord::at(name, line, 1, what))?;
    }
    Ok(record)
}

fn take(record: &mut Record, item: &str, cell: &dyn Fn(&str) -> String) -> Result<(), String> {
    let value = cell("value");
    if let Some(word) = item.strip_prefix("about.") {
        if !ABOUT.iter().any(|(known, _)| *known == word) {
            let words: Vec<&str> = ABOUT.iter().map(|(word, _)| *word).collect();
            return Err(format!("unknown word \"{word}\" after about.; allowed: {}", words.join(", ")));
        }
        record.about.insert(word.to_owned(), value);
    } else if let Some(number) = item.strip_prefix("kit.") {
        let state: &mut KitState = record.kit.entry(number.to_owned()).or_default();
        match value.to_lowercase().as_str() {
            "out" => state.out = "yes".to_owned(),
            "back" => (state.out, state.back) = ("yes".to_owned(), "yes".to_owned()),
            _ => return Err(format!("kit can't be \"{value}\"; allowed: out, back")),
        }
    } else if let Some(role) = item.strip_prefix("signed.") {
        if !matches!(role, "done" | "checked") {
            return Err(format!("unknown role \"{role}\" after signed.; allowed: done, checked"));
        }
        record.signatures.insert(role.to_owned(), Signature { name: value, at: cell("remark") });
    } else if item == "instrument" {
        record.instruments.push(Instrument { what: value, id: cell("remark"), due: String::new() });
    } else if item.contains(".prepare-") {
        record.prepared.insert(item.to_owned(), value);
    } else {
        let entry = Entry {
            value,
            priority: cell("priority"),
            heard: cell("heard"),
            skip: cell("skip"),
            remark: cell("remark"),
            verdict: String::new(),
        };
        if record.items.insert(item.to_owned(), entry).is_some() {
            return Err(format!("item \"{item}\" is given twice"));
        }
    }
    Ok(())
}
