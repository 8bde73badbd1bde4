//! Many rendered records through a detector under test, scored together.
//!
//! A [`Plan`] spans a matrix of rhythms, rates, bodies, settings, frame rates and seeds. Each of its [`Record`]s is
//! rendered, given to the [`Detector`] (a command of the user's), and the answer is kept in a [`Folder`]. The
//! [`SuiteReport`] is made from the plan and the answers alone.
//!
//! # Map
//! [`plan`] reads the plan, [`record`] renders a record and its truth, [`detector`] runs the command, [`mod@repeats`] finds
//! records that are equal, [`folder`] keeps answers, [`mod@run`] spreads the work over cores, [`mod@merge`] joins shards,
//! [`report`] scores.
//!
//! # What holds
//! - The report depends on plan, answers and limits only: not on the number of cores, the order in which records were
//!   run, how often the run was interrupted, or into how many shards it was cut.
//! - An answer appears whole or not at all, so a run that was killed goes on where it was.
//! - The truth is the one that a render writes beside its signal, through the same code.
#![forbid(unsafe_code)]

pub mod detector;
pub mod folder;
pub mod merge;
pub mod plan;
mod pool;
pub mod record;
pub mod repeats;
pub mod report;
pub mod run;

pub use detector::Detector;
pub use folder::{Folder, Manifest};
pub use merge::merge;
pub use plan::Plan;
pub use record::Record;
pub use repeats::{Repeat, repeats};
pub use report::SuiteReport;
pub use run::{Shard, run};

use pulsewright_files::RenderError;
use pulsewright_files::atomic::FileError;
use pulsewright_score::read::ReadError;
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
    Answer(#[source] ReadError),
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
    fn io(path: &Path) -> impl FnOnce(io::Error) -> SuiteError + use<'_> {
        move |error| SuiteError::Folder { folder: path.to_owned(), what: error.to_string() }
    }
}
