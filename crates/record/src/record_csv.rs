//! Records written by hand as a table: a spreadsheet saved as CSV.
//!
//! Columns `item`, `value`, and if wanted `priority`, `heard`, `skip`, `remark`, `due`. An item is an id of the plan
//! (`3.heart-rate`), or one of: `about.asset` and the other words, `kit.1` (value `out` or `back`), `1.prepare-1` (value
//! `yes`), `signed.done` and `signed.checked` (value: name), `instrument` (value: what, remark: its number,
//! due: when its calibration runs out, as 2027-03-01).

use crate::record::{ABOUT, Instrument, ItemEntry, KitState, Record, RecordError, RecordOrigin, Signature};
use pulsewright_text::fit::cut;
use pulsewright_text::table::{self, InputPosition, TableProblem};

const COLUMNS: [&str; 7] = ["item", "value", "priority", "heard", "skip", "remark", "due"];

/// Reads a record from CSV; semicolons or tabs may stand for commas.
///
/// # Errors
/// The first thing that is wrong, with its line.
pub fn read(text: &[u8], name: &str) -> Result<Record, RecordError> {
    let wrong = |problem: TableProblem| {
        let line = if let InputPosition::Line(line) = problem.place { line as usize } else { 1 };
        RecordError::at(name, line, 1, problem.what)
    };
    let table = table::read(text.to_vec(), Some(false), None).map_err(wrong)?;
    let heads: Vec<String> = table.columns.iter().flatten().map(|head| head.trim().to_lowercase()).collect();
    for column in ["item", "value"] {
        if !heads.iter().any(|head| head == column) {
            let what = format!("no column \"{column}\"; a record's columns are {}", COLUMNS.join(", "));
            return Err(RecordError::at(name, 1, 1, what));
        }
    }
    for (index, head) in heads.iter().enumerate() {
        if !COLUMNS.contains(&head.as_str()) {
            let what = format!("unknown column \"{}\"; allowed: {}", cut(head, 40), COLUMNS.join(", "));
            return Err(RecordError::at(name, 1, 1, what));
        }
        if heads.iter().take(index).any(|other| other == head) {
            return Err(RecordError::at(name, 1, 1, format!("column \"{head}\" is given twice")));
        }
    }
    let mut record = Record { record: 1, origin: RecordOrigin::Table, name: name.to_owned(), ..Record::default() };
    table
        .rows(|row| {
            let cell = |column: &str| {
                let index = heads.iter().position(|head| head == column);
                index.map_or("", |index| row.cell(index)).to_owned()
            };
            let item = cell("item");
            if item.is_empty() {
                return Ok(());
            }
            take(&mut record, &item, &cell).map_err(|what| TableProblem::new(row.place, what))
        })
        .map_err(wrong)?;
    Ok(record)
}

fn take(record: &mut Record, item: &str, cell: &dyn Fn(&str) -> String) -> Result<(), String> {
    let value = cell("value");
    let twice = || Err(format!("item \"{}\" is given twice", cut(item, 40)));
    if let Some(word) = item.strip_prefix("about.") {
        if !ABOUT.iter().any(|(known, _)| *known == word) {
            let words: Vec<&str> = ABOUT.iter().map(|(word, _)| *word).collect();
            return Err(format!("unknown word \"{}\" after about.; allowed: {}", cut(word, 40), words.join(", ")));
        }
        if record.about.insert(word.to_owned(), value).is_some() {
            return twice();
        }
    } else if let Some(number) = item.strip_prefix("kit.") {
        let state: &mut KitState = record.kit.entry(number.to_owned()).or_default();
        match value.to_lowercase().as_str() {
            "out" if !state.out.is_empty() => return twice(),
            "back" if !state.back.is_empty() => return twice(),
            "out" => state.out = "yes".to_owned(),
            "back" => (state.out, state.back) = ("yes".to_owned(), "yes".to_owned()),
            _ => return Err(format!("kit can't be \"{}\"; allowed: out, back", cut(&value, 40))),
        }
    } else if let Some(role) = item.strip_prefix("signed.") {
        if !matches!(role, "done" | "checked") {
            return Err(format!("unknown role \"{}\" after signed.; allowed: done, checked", cut(role, 40)));
        }
        let signature = Signature { name: value, at: cell("remark") };
        if record.signatures.insert(role.to_owned(), signature).is_some() {
            return twice();
        }
    } else if item == "instrument" {
        record.instruments.push(Instrument { what: value, id: cell("remark"), due: cell("due") });
    } else if item.contains(".prepare-") {
        if record.prepared.insert(item.to_owned(), value).is_some() {
            return twice();
        }
    } else {
        let entry = ItemEntry {
            value,
            priority: cell("priority"),
            heard: cell("heard"),
            skip: cell("skip"),
            remark: cell("remark"),
            verdict: String::new(),
        };
        if record.items.insert(item.to_owned(), entry).is_some() {
            return twice();
        }
    }
    Ok(())
}
