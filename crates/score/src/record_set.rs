//! Which test file belongs to which reference file.
//!
//! Two files are one record. Two folders are as many records as the reference folder has files with the reference
//! suffix; each must have a test file of the same name with the test suffix, so that a missing answer
//! is noticed and not left out. A test file without a reference is an error for the same reason.

use std::fs;
use std::path::{Path, PathBuf};

use crate::read::ScoreReadError;
use pulsewright_text::fit;
use pulsewright_text::source;

/// The files of one record.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RecordFiles {
    /// Name of the record.
    pub name: String,
    /// Reference.
    pub reference: PathBuf,
    /// Test.
    pub test: PathBuf,
}

/// Why no records were found.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordSetError {
    /// A folder could not be read.
    #[error(transparent)]
    Read(#[from] ScoreReadError),
    /// One is a folder, the other is not.
    #[error("{} and {} must both be files or both be folders", source::name(reference), source::name(test))]
    Mixed {
        /// Reference.
        reference: PathBuf,
        /// Test.
        test: PathBuf,
    },
    /// The reference folder has no record.
    #[error("{}: no file ends in '{}'", source::name(folder), fit::line(suffix))]
    Empty {
        /// The folder.
        folder: PathBuf,
        /// The suffix that its records would have.
        suffix: String,
    },
    /// Test files without a record.
    #[error("no reference for {} of the test files: {}", strays.len(), first(strays))]
    NoReference {
        /// The files that no record asks for.
        strays: Vec<PathBuf>,
    },
    /// Records without a test file.
    #[error("no test file for {} of the records: {}", missing.len(), first(missing))]
    NoTest {
        /// The files that should be there.
        missing: Vec<PathBuf>,
    },
}

fn first(missing: &[PathBuf]) -> String {
    const MOST: usize = 5;
    let names: Vec<_> = missing.iter().take(MOST).map(|path| source::name(path)).collect();
    let more = if missing.len() > MOST { ", ..." } else { "" };
    names.join(", ") + more
}

/// Pairs two files or the files of two folders, sorted by name.
pub fn pair_files(
    reference: &Path,
    test: &Path,
    reference_suffix: &str,
    test_suffix: &str,
) -> Result<Vec<RecordFiles>, RecordSetError> {
    match (reference.is_dir(), test.is_dir()) {
        (true, true) => {}
        (false, false) => {
            let name = test.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            return Ok(vec![RecordFiles { name, reference: reference.to_owned(), test: test.to_owned() }]);
        }
        _ => return Err(RecordSetError::Mixed { reference: reference.to_owned(), test: test.to_owned() }),
    }
    let mut records = Vec::new();
    for file in names(reference)? {
        let Some(name) = stem(&file, reference_suffix) else { continue };
        let test = test.join(format!("{name}{test_suffix}"));
        records.push(RecordFiles { name: name.into(), reference: reference.join(&file), test });
    }
    if records.is_empty() {
        return Err(RecordSetError::Empty { folder: reference.to_owned(), suffix: reference_suffix.into() });
    }
    records.sort();
    let missing = records.iter().filter(|record| !record.test.is_file()).map(|record| record.test.clone());
    let missing: Vec<PathBuf> = missing.collect();
    if !missing.is_empty() {
        return Err(RecordSetError::NoTest { missing });
    }
    // Answers may stand in the folder of the truth, beside other tables.
    let same = fs::canonicalize(reference).is_ok_and(|one| fs::canonicalize(test).is_ok_and(|other| one == other));
    if !same {
        let strays = strays(&records, test, test_suffix)?;
        if !strays.is_empty() {
            return Err(RecordSetError::NoReference { strays });
        }
    }
    Ok(records)
}

/// Files that look like answers and belong to no record: the reference of one is missing, or its name is misspelt. Those named
/// after a record, such as `100.log.csv` beside `100.csv`, do not.
fn strays(records: &[RecordFiles], test: &Path, suffix: &str) -> Result<Vec<PathBuf>, ScoreReadError> {
    let belongs = |name: &str| {
        let parts = name.match_indices('.').map(|(at, _)| name.get(..at).unwrap_or_default()).chain([name]);
        parts.into_iter().any(|part| records.binary_search_by(|record| record.name.as_str().cmp(part)).is_ok())
    };
    let files = names(test)?.into_iter();
    let strays = files.filter(|file| stem(file, suffix).is_some_and(|name| !belongs(name)));
    let mut strays: Vec<PathBuf> = strays.map(|file| test.join(file)).collect();
    strays.sort();
    Ok(strays)
}

fn stem<'f>(file: &'f str, suffix: &str) -> Option<&'f str> {
    file.strip_suffix(suffix).filter(|name| !name.is_empty())
}

fn names(folder: &Path) -> Result<Vec<String>, ScoreReadError> {
    let entries = fs::read_dir(folder).and_then(|entries| {
        entries.map(|entry| entry.map(|entry| entry.file_name().to_string_lossy().into_owned())).collect()
    });
    entries.map_err(|source| ScoreReadError::Io { path: folder.to_owned(), source })
}
