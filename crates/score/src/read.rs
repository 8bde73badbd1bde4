//! Readers: annotation files, CSV, JSON.
//!
//! Text becomes a [`Table`] first (CSV and JSON alike); the meaning of its columns is set in
//! one place per subject: [`beats`] here, [`readings`](crate::readings), [`alarms`](crate::alarms).
//! Every error names its place: byte, line or item.

use std::path::{Path, PathBuf};

use crate::annotations::Annotations;

pub mod annotation_file;
pub mod beats;
mod options;

pub use options::{ReadOptions, TimeUnit};
pub use pulsewright_text::header;
use pulsewright_text::source::{self, SourceError, reason};
use pulsewright_text::table;
pub use pulsewright_text::table::{InputPosition, Table, TableProblem};

/// Why something could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ScoreReadError {
    /// A file could not be read.
    #[error(transparent)]
    Unreadable(#[from] SourceError),
    /// A folder could not be read.
    #[error("cannot read {}: {}", source::name(.path), reason(.source))]
    Io {
        /// The folder.
        path: PathBuf,
        /// The system's error.
        source: std::io::Error,
    },
    /// The content is wrong.
    #[error("{}: {problem}", source::name(.path))]
    Content {
        /// The file.
        path: PathBuf,
        /// The problem and its place.
        problem: TableProblem,
    },
}

/// Reads the beats, episodes and shutdown of one side from a file of any known form.
///
/// The name decides the form (`.json`, `.csv`, `.tsv`, `.txt`), else the content. For an annotation
/// file, frame rate and length come from the options, the header (`.hea`) beside it, or the file itself.
pub fn read_annotations(path: &Path, options: &ReadOptions) -> Result<Annotations, ScoreReadError> {
    let bytes = read_bytes(path)?;
    let wrong = |problem| ScoreReadError::Content { path: path.to_owned(), problem };
    if !looks_like_text(path, &bytes) {
        let header = read_header_beside(path)?;
        let found = annotation_file::parse(&bytes, options.rate_hz, header).map_err(wrong)?;
        let nothing = found.beats.is_empty() && found.episodes.is_empty() && found.shutdown.is_empty();
        if options.is_reference && nothing {
            return Err(wrong(TableProblem::new(InputPosition::Whole, "the reference holds no beat and no episode")));
        }
        return Ok(found);
    }
    let table = parse_table(path, bytes, options).map_err(wrong)?;
    let mut all = beats::from_table(&table, options).map_err(wrong)?;
    if let Some(beside) = episodes_beside(path) {
        let table = read_table(&beside, &ReadOptions::default())?;
        all.add_episodes(beats::episodes_from_table(&table).map_err(in_file(&beside))?);
    }
    Ok(all)
}

/// The truth beside a render keeps beats in `NAME.beats.csv` and episodes in `NAME.episodes.csv`.
fn episodes_beside(path: &Path) -> Option<PathBuf> {
    let name = path.file_name()?.to_str()?.strip_suffix(".beats.csv")?;
    Some(path.with_file_name(format!("{name}.episodes.csv"))).filter(|beside| beside.is_file())
}

/// Reads a CSV or JSON file as a table.
pub fn read_table(path: &Path, options: &ReadOptions) -> Result<Table, ScoreReadError> {
    let bytes = read_bytes(path)?;
    parse_table(path, bytes, options).map_err(|problem| ScoreReadError::Content { path: path.to_owned(), problem })
}

/// Attaches the file's name to a problem found in its table.
pub fn in_file(path: &Path) -> impl Fn(TableProblem) -> ScoreReadError + '_ {
    |problem| ScoreReadError::Content { path: path.to_owned(), problem }
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, ScoreReadError> {
    Ok(source::file(path, source::TABLE)?)
}

fn extension(path: &Path) -> String {
    path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default()
}

/// By the name, else by the content: annotation files hold bytes that no text has. A file without content and without one
/// of these endings is a truncated annotation file, not a detector that found nothing.
fn looks_like_text(path: &Path, bytes: &[u8]) -> bool {
    let printable = |byte: &u8| *byte >= b' ' || matches!(byte, b'\t' | b'\n' | b'\r');
    matches!(extension(path).as_str(), "json" | "csv" | "tsv" | "txt")
        || (!bytes.is_empty() && std::str::from_utf8(bytes).is_ok() && bytes.iter().all(printable))
}

fn parse_table(path: &Path, bytes: Vec<u8>, options: &ReadOptions) -> Result<Table, TableProblem> {
    let is_json = match extension(path).as_str() {
        "json" => Some(true),
        "csv" | "tsv" | "txt" => Some(false),
        _ => None,
    };
    table::read(bytes, is_json, options.delimiter)
}

fn read_header_beside(path: &Path) -> Result<Option<header::Header>, ScoreReadError> {
    let beside = path.with_extension("hea");
    match source::file(&beside, source::DOCUMENT) {
        Ok(bytes) => header::parse(&String::from_utf8_lossy(&bytes))
            .map(Some)
            .map_err(|problem| ScoreReadError::Content { path: beside, problem }),
        Err(error) if error.is_missing() => Ok(None),
        Err(error) => Err(error.into()),
    }
}
