//! Why a suite could not go on.

use pulsewright_files::RenderError;
use pulsewright_files::atomic::FileError;
use pulsewright_score::read::ScoreReadError;
use std::io;
use std::path::{Path, PathBuf};

/// Why a suite could not go on. Failures of the detector are not errors but part of the report.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SuiteError {
    /// The plan is wrong; the message gives the place and the allowed values.
    #[error("{0}")]
    Plan(String),
    /// A record can't be rendered.
    #[error("{record}: {source}")]
    Render {
        /// Its name.
        record: String,
        /// Why.
        source: Box<RenderError>,
    },
    /// A record's truth can't be read back: a fault of the program.
    #[error("truth of {record}: {what}")]
    Truth {
        /// Its name.
        record: String,
        /// Why.
        what: String,
    },
    /// The detector's command can't be used.
    #[error("{0}")]
    Command(String),
    /// An answer can't be read.
    #[error("the detector's answer can't be read: {0}")]
    Answer(#[source] ScoreReadError),
    /// A results folder is not usable.
    #[error("{}: {what}", .folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// The fault.
        what: String,
    },
    /// A file could not be made.
    #[error(transparent)]
    File(#[from] FileError),
    /// The caller stopped the run; finished records are kept.
    #[error("stopped")]
    Stopped,
}

impl SuiteError {
    /// A folder that refused to be read or written.
    pub(crate) fn io(path: &Path) -> impl FnOnce(io::Error) -> SuiteError + use<'_> {
        move |error| SuiteError::Folder { folder: path.to_owned(), what: error.to_string() }
    }
}
