//! The tables of a cohort: every drawn value of each patient, and every beat.

use crate::error::CohortError;
use crate::folder::{CohortFolder, Packs};
use crate::people::Patient;
use crate::plan::CohortPlan;
use pulsewright_core::truth::{Event, Observer};
use pulsewright_files::atomic::{FileError, FileSet, UnfinishedPart};
use pulsewright_files::truth::{BeatRows, quoted};
use std::fmt;
use std::io::Write;

/// Index of the patients.
pub const PATIENTS: &str = "patients.csv";

/// Table of all beats.
pub const BEATS: &str = "beats.csv";

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
            Some(value) => fmt::Write::write_fmt(&mut line, format_args!(",{value}")),
            None => fmt::Write::write_str(&mut line, ","),
        };
    }
    line + "\n"
}

/// The first line of the table of beats.
pub fn beats_head() -> String {
    format!("patient,{}\n", BeatRows::COLUMNS)
}

/// Appends a line for each beat of a patient to `lines`.
pub(crate) struct BeatLines<'l> {
    patient: u64,
    rows: BeatRows,
    lines: &'l mut Vec<u8>,
}

impl<'l> BeatLines<'l> {
    /// For a patient's signal of `frames` frames.
    pub(crate) fn new(plan: &CohortPlan, patient: &Patient, frames: usize, lines: &'l mut Vec<u8>) -> BeatLines<'l> {
        BeatLines { patient: patient.number, rows: BeatRows::new(plan.frame_rate, frames as u64), lines }
    }
}

impl Observer for BeatLines<'_> {
    fn observe(&mut self, event: Event) {
        let Event::Beat(beat) = event else { return };
        let begins = self.lines.len();
        // Writing to a Vec cannot fail.
        let _ = write!(self.lines, "{},", self.patient);
        if self.rows.put(&beat, self.lines) {
            self.lines.push(b'\n');
        } else {
            self.lines.truncate(begins);
        }
    }
}

/// The tables of a folder, being written.
pub(crate) struct Tables {
    set: FileSet,
    index: UnfinishedPart,
    beats: UnfinishedPart,
}

impl Tables {
    /// The tables with their first lines; `None` where they are there already.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn begin(plan: &CohortPlan, folder: &CohortFolder) -> Result<Option<Tables>, CohortError> {
        let [index, beats] = [PATIENTS, BEATS].map(|name| folder.file(name));
        if index.is_file() && beats.is_file() {
            return Ok(None);
        }
        let set = FileSet::of_files(&[&index, &beats], true)?;
        let (index, beats) = (set.part(&index)?, set.part(&beats)?);
        let mut tables = Tables { set, index, beats };
        tables.put(index_head(plan).as_bytes(), beats_head().as_bytes())?;
        Ok(Some(tables))
    }

    /// Appends lines to both.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn put(&mut self, index: &[u8], beats: &[u8]) -> Result<(), CohortError> {
        for (part, lines) in [(&mut self.index, index), (&mut self.beats, beats)] {
            part.write_all(lines).map_err(|error| FileError::of(part.path())(error))?;
        }
        Ok(())
    }

    /// Gives both their names.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn finish(self) -> Result<(), CohortError> {
        let parts = vec![self.index.finish()?, self.beats.finish()?];
        self.set.publish(parts, &[])?;
        Ok(())
    }
}
