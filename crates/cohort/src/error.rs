//! Why a cohort could not be made.

use pulsewright_files::RenderError;
use pulsewright_files::atomic::FileError;
use std::io;
use std::path::{Path, PathBuf};

/// Why a cohort could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CohortError {
    /// The plan is wrong; the message gives the place and the allowed values.
    #[error("{0}")]
    Plan(String),
    /// No script can be made for a patient.
    #[error("patient {patient}: {what}")]
    Patient {
        /// Number of the patient.
        patient: u64,
        /// Why.
        what: String,
    },
    /// A patient can't be rendered.
    #[error("patient {patient}: {source}")]
    Render {
        /// Number of the patient.
        patient: u64,
        /// Why.
        source: Box<RenderError>,
    },
    /// A folder is not usable.
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
    /// The caller stopped the work; finished packs are kept.
    #[error("stopped")]
    Stopped,
}

impl CohortError {
    /// A folder that refused to be read or written.
    pub(crate) fn io(path: &Path) -> impl FnOnce(io::Error) -> CohortError + use<'_> {
        move |error| CohortError::Folder { folder: path.to_owned(), what: error.to_string() }
    }
}
