//! The tables of a cohort: every drawn value of each patient, and every beat.

use crate::error::CohortError;
use crate::folder::{CohortFolder, CohortFormat, INDEX_COLUMNS, Packs};
#[cfg(feature = "parquet")]
use crate::parquet_index::ParquetIndex;
use crate::people::Patient;
use crate::plan::CohortPlan;
use pulsewright_core::truth::{Event, Observer};
use pulsewright_files::atomic::{FileError, FileSet, FinishedPart, UnfinishedPart};
use pulsewright_files::truth::{BeatRows, quoted};
use std::fmt;
use std::io::Write;

/// Index of the patients.
pub const PATIENTS: &str = "patients.csv";

/// Index of the patients beside packs of Parquet.
#[cfg(feature = "parquet")]
const PATIENTS_PARQUET: &str = "patients.parquet";

/// Table of all beats.
pub const BEATS: &str = "beats.csv";

/// The first line of the index.
pub fn index_head(plan: &CohortPlan) -> String {
    let columns: Vec<&str> = INDEX_COLUMNS.into_iter().chain(plan.people.names()).collect();
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

/// Rows of the index, as its file takes them.
pub(crate) enum IndexRows {
    /// Lines of CSV.
    Lines(String),
    /// The patients, and the packs that they are in.
    #[cfg(feature = "parquet")]
    Patients(Vec<(Patient, Packs)>),
}

impl IndexRows {
    /// None yet, for a cohort of this form.
    pub(crate) fn of(form: CohortFormat) -> IndexRows {
        match form {
            #[cfg(feature = "parquet")]
            CohortFormat::Parquet => IndexRows::Patients(Vec::new()),
            _ => IndexRows::Lines(String::new()),
        }
    }

    /// Forgets all rows.
    pub(crate) fn clear(&mut self) {
        match self {
            IndexRows::Lines(lines) => lines.clear(),
            #[cfg(feature = "parquet")]
            IndexRows::Patients(patients) => patients.clear(),
        }
    }

    /// Appends the row of a patient.
    pub(crate) fn push(&mut self, patient: Patient, packs: &Packs) {
        match self {
            IndexRows::Lines(lines) => lines.push_str(&index_row(&patient, packs)),
            #[cfg(feature = "parquet")]
            IndexRows::Patients(patients) => patients.push((patient, *packs)),
        }
    }
}

/// The index of a folder, being written.
enum IndexFile {
    Csv(Box<UnfinishedPart>),
    #[cfg(feature = "parquet")]
    Parquet(Box<ParquetIndex>),
}

impl IndexFile {
    /// File name of the index of a cohort of this form.
    fn name(form: CohortFormat) -> &'static str {
        match form {
            #[cfg(feature = "parquet")]
            CohortFormat::Parquet => PATIENTS_PARQUET,
            _ => PATIENTS,
        }
    }

    fn begin(plan: &CohortPlan, form: CohortFormat, mut part: UnfinishedPart) -> Result<IndexFile, CohortError> {
        match form {
            #[cfg(feature = "parquet")]
            CohortFormat::Parquet => Ok(IndexFile::Parquet(Box::new(ParquetIndex::begin(plan, part)?))),
            _ => {
                put(&mut part, index_head(plan).as_bytes())?;
                Ok(IndexFile::Csv(Box::new(part)))
            }
        }
    }

    fn put(&mut self, rows: &IndexRows) -> Result<(), CohortError> {
        match (self, rows) {
            (IndexFile::Csv(part), IndexRows::Lines(lines)) => put(part, lines.as_bytes()),
            #[cfg(feature = "parquet")]
            (IndexFile::Parquet(index), IndexRows::Patients(patients)) => {
                patients.iter().try_for_each(|(patient, packs)| index.put(patient, packs))
            }
            #[cfg(feature = "parquet")]
            _ => Ok(()),
        }
    }

    fn finish(self) -> Result<FinishedPart, CohortError> {
        match self {
            IndexFile::Csv(part) => Ok(part.finish()?),
            #[cfg(feature = "parquet")]
            IndexFile::Parquet(index) => index.finish(),
        }
    }
}

/// The tables of a folder, being written.
pub(crate) struct Tables {
    set: FileSet,
    index: IndexFile,
    beats: UnfinishedPart,
}

impl Tables {
    /// The tables with their first lines; `None` where they are there already.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn begin(plan: &CohortPlan, folder: &CohortFolder) -> Result<Option<Tables>, CohortError> {
        let form = folder.packs.form;
        let [index, beats] = [IndexFile::name(form), BEATS].map(|name| folder.file(name));
        if index.is_file() && beats.is_file() {
            return Ok(None);
        }
        let set = FileSet::of_files(&[&index, &beats], true)?;
        let index = IndexFile::begin(plan, form, set.part(&index)?)?;
        let mut beats = set.part(&beats)?;
        put(&mut beats, beats_head().as_bytes())?;
        Ok(Some(Tables { set, index, beats }))
    }

    /// Appends rows of the index and lines of beats.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn put(&mut self, index: &IndexRows, beats: &[u8]) -> Result<(), CohortError> {
        self.index.put(index)?;
        put(&mut self.beats, beats)
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

fn put(part: &mut UnfinishedPart, bytes: &[u8]) -> Result<(), CohortError> {
    Ok(part.write_all(bytes).map_err(|error| FileError::of(part.path())(error))?)
}
