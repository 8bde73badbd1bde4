//! The tables of a cohort: every drawn value of each patient, and every beat.

use crate::error::CohortError;
use crate::folder::Packs;
use crate::people::Patient;
use crate::plan::CohortPlan;
use pulsewright_files::truth::{BeatRows, quoted};
use std::fmt::Write;

/// Columns of the index before the variables.
const COLUMNS: [&str; 8] = ["patient", "pack", "row", "group", "rhythm", "body", "seed", "redraws"];

/// The first line of the index.
pub fn index_head(plan: &CohortPlan) -> String {
    let columns: Vec<&str> = COLUMNS.into_iter().chain(plan.people.names()).collect();
    columns.join(",") + "\n"
}

/// A patient's line of the index: an empty cell where a value is not drawn.
pub fn index_row(patient: &Patient, packs: &Packs) -> String {
    let (pack, row) = packs.place(patient.number);
    let group = quoted(&patient.group);
    let Patient { number, rhythm, body, seed, redraws, .. } = patient;
    let mut line = format!("{number},{},{row},{group},{},{},{seed},{redraws}", packs.name(pack), rhythm.id, body.id);
    for value in &patient.values {
        // Writing to a String cannot fail. The shortest decimals that give the same float.
        let _ = match value {
            Some(value) => write!(line, ",{value}"),
            None => write!(line, ","),
        };
    }
    line + "\n"
}

/// The first line of the table of beats.
pub fn beats_head() -> String {
    format!("patient,{}\n", BeatRows::COLUMNS)
}

/// The lines of one patient in both tables.
///
/// # Errors
/// When no script can be made.
pub fn rows(plan: &CohortPlan, packs: &Packs, frames: usize, number: u64) -> Result<(String, Vec<u8>), CohortError> {
    let patient = plan.patient(number)?;
    let mut beats = Vec::new();
    plan.beats(&patient, frames, &mut beats)?;
    Ok((index_row(&patient, packs), beats))
}
