//! Which test file belongs to which reference file.
//!
//! Two files are one record. Two folders are as many records as the reference folder has files with the reference
//! suffix; each must have a test file of the same name with the test suffix, so that a detector which gave nothing
//! for a record is noticed and not left out.

use std::path::{Path, PathBuf};

use crate::read::ReadError;

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
    Read(#[from] ReadError),
    /// One is a folder, the other is not.
    #[error("{reference} and {test} must both be files or both be folders")]
    Mixed {
        /// Reference.
        reference: PathBuf,
        /// Test.
        test: PathBuf,
    },
    /// The reference folder has no record.
    #[error("{folder}: no file ends in '{suffix}'")]
    Empty {
        /// The folder.
        folder: PathBuf,
        /// What its records would end in.
        suffix: String,
    },
    /// Records without a test file.
    #[error("no test file for {} of the records: {}", missing.len(), first(missing))]
    NoTest {
        /// The files that should be there.
        missing: Vec<PathBuf>,
    },
}

fn first(missing: &[PathBuf]) -> String {
    const TOLD: usize = 5;
    let names: Vec<_> = missing.iter().take(TOLD).map(|path| path.display().to_string()).collect();
    let more = if missing.len() > TOLD { ", ..." } else { "" };
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
    let entries = std::fs::read_dir(reference).and_then(|entries| entries.collect::<Result<Vec<_>, _>>());
    let entries = entries.map_err(|source| ReadError::Io { path: reference.to_owned(), source })?;
    let mut records = Vec::new();
    for entry in entries {
        let file = entry.file_name().to_string_lossy().into_owned();
        let Some(name) = file.strip_suffix(reference_suffix).filter(|name| !name.is_empty()) else { continue };
        let test = test.join(format!("{name}{test_suffix}"));
        records.push(RecordFiles { name: name.into(), reference: entry.path(), test });
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
    Ok(records)
}
