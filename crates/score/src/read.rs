//! Readers: annotation files, CSV, JSON.
//!
//! Text becomes a [`table::Table`] first (CSV and JSON alike); what its columns mean is settled in
//! one place per subject: [`beats`] here, [`readings`](crate::readings), [`alarms`](crate::alarms).
//! Every error says where: byte, line or item.

use std::path::{Path, PathBuf};

use crate::annotations::Annotations;

pub mod annotation_file;
pub mod beats;
pub mod header;
pub mod json;
pub mod table;

pub use beats::TimeUnit;
use table::Table;

/// Why something could not be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file could not be opened or read.
    #[error("{path}: {source}", path = path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The content is wrong.
    #[error("{path}: {problem}", path = path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What and where.
        problem: Problem,
    },
}

/// What is wrong in a content, and where.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{place}: {what}")]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What is wrong and what is allowed.
    pub what: String,
}

/// A place in an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Offset in an annotation file.
    Byte(usize),
    /// Line of a text, from 1.
    Line(u64),
    /// Line and column of a text, from 1.
    LineColumn(usize, usize),
    /// Item of a JSON array, from 1.
    Item(u64),
    /// The input as a whole.
    Whole,
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Place::Byte(byte) => write!(f, "byte {byte}"),
            Place::Line(line) => write!(f, "line {line}"),
            Place::LineColumn(line, column) => write!(f, "line {line}, column {column}"),
            Place::Item(item) => write!(f, "item {item}"),
            Place::Whole => write!(f, "input"),
        }
    }
}

impl Problem {
    /// A problem at a place.
    pub fn new(place: Place, what: impl Into<String>) -> Problem {
        Problem { place, what: what.into() }
    }
}

/// What the caller knows about a file that the file may not say itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Unit of times whose column name does not tell it.
    pub unit: Option<TimeUnit>,
    /// Frames per second, for times in frames; goes before what a file or its header says.
    pub rate_hz: Option<f64>,
    /// Column that holds the times, if not one of the usual names.
    pub time_column: Option<String>,
    /// Column that holds the beat codes, if not one of the usual names.
    pub code_column: Option<String>,
    /// Ignore columns of codes (pulses and breaths have none of the beat codes).
    pub times_only: bool,
    /// Only rows whose column `channel` holds this; needed where that column holds more than one name.
    pub channel: Option<String>,
    /// Delimiter of a CSV, if it cannot be seen.
    pub delimiter: Option<u8>,
}

/// Reads the beats, episodes and shutdown of one side from a file of any known form.
///
/// The form is told by the name (`.json`, `.csv`, `.tsv`, `.txt`), else by the content. For an annotation
/// file, frame rate and length come from the options, the header (`.hea`) beside it, or the file itself.
pub fn read_annotations(path: &Path, options: &ReadOptions) -> Result<Annotations, ReadError> {
    let bytes = read_bytes(path)?;
    let wrong = |problem| ReadError::Content { path: path.to_owned(), problem };
    if !looks_like_text(path, &bytes) {
        let header = read_header_beside(path)?;
        return annotation_file::parse(&bytes, options.rate_hz, header).map_err(wrong);
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
pub fn read_table(path: &Path, options: &ReadOptions) -> Result<Table, ReadError> {
    let bytes = read_bytes(path)?;
    parse_table(path, bytes, options).map_err(|problem| ReadError::Content { path: path.to_owned(), problem })
}

/// Attaches the file's name to a problem found in its table.
pub fn in_file(path: &Path) -> impl Fn(Problem) -> ReadError + '_ {
    |problem| ReadError::Content { path: path.to_owned(), problem }
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    std::fs::read(path).map_err(|source| ReadError::Io { path: path.to_owned(), source })
}

fn extension(path: &Path) -> String {
    path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default()
}

/// By the name, else by the content: annotation files hold bytes that no text has. A file without content and without a
/// telling name is a truncated annotation file, not a detector that found nothing.
fn looks_like_text(path: &Path, bytes: &[u8]) -> bool {
    let printable = |byte: &u8| *byte >= b' ' || matches!(byte, b'\t' | b'\n' | b'\r');
    matches!(extension(path).as_str(), "json" | "csv" | "tsv" | "txt")
        || (!bytes.is_empty() && std::str::from_utf8(bytes).is_ok() && bytes.iter().all(printable))
}

fn parse_table(path: &Path, bytes: Vec<u8>, options: &ReadOptions) -> Result<Table, Problem> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        Problem::new(Place::Byte(valid), "not UTF-8 text")
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let json = match extension(path).as_str() {
        "json" => true,
        "csv" | "tsv" | "txt" => false,
        _ => text.trim_start().starts_with(['[', '{']),
    };
    if json { json::parse(text) } else { table::parse(text, options.delimiter) }
}

fn read_header_beside(path: &Path) -> Result<Option<header::Header>, ReadError> {
    let beside = path.with_extension("hea");
    match std::fs::read(&beside) {
        Ok(bytes) => header::parse(&String::from_utf8_lossy(&bytes))
            .map(Some)
            .map_err(|problem| ReadError::Content { path: beside, problem }),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(source) => Err(ReadError::Io { path: beside, source }),
    }
}
