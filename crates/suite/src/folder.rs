//! A folder of answers: what was asked, and per record what the detector said.
//!
//! | name | holds |
//! |---|---|
//! | `suite.json` | the plan, the command, the shard: what the answers belong to |
//! | `answers/RECORD.csv` | the detector's answer as it gave it (another suffix if asked for) |
//! | `answers/RECORD.failure.txt` | why there is none; take it away to have the record heard again |
//! | `signals/` | signals and truth, if they are kept |
//! | `work/` | passing files of a run under way |

use crate::detector::Heard;
use crate::record::Record;
use crate::run::Shard;
use crate::{Detector, Plan, SuiteError};
use pulsewright_files::atomic::{FileError, Unfinished, publish};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

const MANIFEST: &str = "suite.json";

/// What the answers in a folder belong to. Answers to one thing are never taken for answers to another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Format of the folder.
    pub version: u32,
    /// The program that rendered the signals.
    pub made_by: String,
    /// The plan as it was read.
    pub plan: Value,
    /// The detector's command.
    pub command: Vec<String>,
    /// Whether it is started once per core.
    pub stays: bool,
    /// What answers end in.
    pub suffix: String,
    /// The shard, `None` for all records.
    pub shard: Option<Shard>,
}

impl Manifest {
    /// For a plan, a detector, and a shard of it.
    pub fn new(plan: &Plan, detector: &Detector, suffix: &str, shard: Option<Shard>) -> Manifest {
        Manifest {
            version: 1,
            made_by: format!("pulsewright {}", env!("CARGO_PKG_VERSION")),
            plan: plan.document.clone(),
            command: detector.words().to_vec(),
            stays: detector.stays(),
            suffix: suffix.to_owned(),
            shard,
        }
    }

    /// Reads the manifest of a folder; `None` where there is none.
    ///
    /// # Errors
    /// When it is there but can't be read.
    pub fn read(folder: &Path) -> Result<Option<Manifest>, SuiteError> {
        let path = folder.join(MANIFEST);
        match fs::read(&path) {
            Ok(bytes) => {
                let manifest = serde_json::from_slice(&bytes);
                manifest.map(Some).map_err(|error| SuiteError::Folder { folder: path, what: error.to_string() })
            }
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => Ok(None),
            Err(error) => Err(SuiteError::io(&path)(error)),
        }
    }

    /// What differs from `other`, for people.
    fn difference(&self, other: &Manifest) -> Option<&'static str> {
        [
            ("program version", self.made_by == other.made_by && self.version == other.version),
            ("plan", self.plan == other.plan),
            ("command", self.command == other.command && self.stays == other.stays),
            ("suffix of answers", self.suffix == other.suffix),
            ("shard", self.shard == other.shard),
        ]
        .into_iter()
        .find(|(_, same)| !same)
        .map(|(what, _)| what)
    }

    /// Refuses answers that belong to something else.
    pub(crate) fn check_same(&self, folder: &Path, there: &Manifest) -> Result<(), SuiteError> {
        match there.difference(self) {
            Some(what) => Err(SuiteError::Folder {
                folder: folder.to_owned(),
                what: format!("holds answers of another {what}; choose another folder, or take this one away"),
            }),
            None => Ok(()),
        }
    }
}

/// A folder of answers.
#[derive(Clone, Debug)]
pub struct Folder {
    root: PathBuf,
    suffix: String,
}

impl Folder {
    /// Opens a folder to go on in, or makes it.
    ///
    /// # Errors
    /// When it holds something else, or can't be made.
    pub fn open(root: &Path, manifest: &Manifest) -> Result<Folder, SuiteError> {
        let folder = Folder::existing(root, manifest);
        let answers = folder.answers();
        match Manifest::read(root)? {
            // Without an answer there is nothing to be mistaken: a misspelt command costs no folder.
            Some(there) if !is_empty(&answers)? => manifest.check_same(root, &there)?,
            None if !is_empty(root)? => {
                let what = "is not empty and holds no suite; choose another folder".to_owned();
                return Err(SuiteError::Folder { folder: root.to_owned(), what });
            }
            _ => {
                fs::create_dir_all(root).map_err(SuiteError::io(root))?;
                let text = serde_json::to_string_pretty(manifest).unwrap_or_default();
                write_whole(&root.join(MANIFEST), text.as_bytes())?;
            }
        }
        fs::create_dir_all(&answers).map_err(SuiteError::io(&answers))?;
        Ok(folder)
    }

    /// A folder known to hold this.
    pub(crate) fn existing(root: &Path, manifest: &Manifest) -> Folder {
        Folder { root: root.to_owned(), suffix: manifest.suffix.clone() }
    }

    fn answers(&self) -> PathBuf {
        self.root.join("answers")
    }

    /// Where the answer to a record is, or will be.
    pub fn answer(&self, record: &Record) -> PathBuf {
        self.answers().join(format!("{}{}", record.name, self.suffix))
    }

    fn failure_path(&self, record: &Record) -> PathBuf {
        self.answers().join(format!("{}.failure.txt", record.name))
    }

    /// Where signals are kept.
    pub(crate) fn signals(&self) -> PathBuf {
        self.root.join("signals")
    }

    /// Where passing files go.
    pub(crate) fn work(&self) -> PathBuf {
        self.root.join("work")
    }

    /// Takes away what a killed run left: passing files, and answers that never became whole.
    pub(crate) fn tidy(&self) -> Result<(), SuiteError> {
        let work = self.work();
        if work.exists() {
            fs::remove_dir_all(&work).map_err(SuiteError::io(&work))?;
        }
        let answers = self.answers();
        for entry in fs::read_dir(&answers).map_err(SuiteError::io(&answers))? {
            let path = entry.map_err(SuiteError::io(&answers))?.path();
            // As the atomic writer calls them.
            if path.extension().is_some_and(|extension| extension == "partial") {
                fs::remove_file(&path).map_err(SuiteError::io(&path))?;
            }
        }
        Ok(())
    }

    /// Whether the record has been heard.
    pub fn holds(&self, record: &Record) -> bool {
        self.answer(record).is_file() || self.failure_path(record).is_file()
    }

    /// Why there is no answer; `None` if there is one.
    ///
    /// # Errors
    /// When there is neither, or it can't be read.
    pub fn failure(&self, record: &Record) -> Result<Option<String>, SuiteError> {
        if self.answer(record).is_file() {
            return Ok(None);
        }
        let path = self.failure_path(record);
        fs::read_to_string(&path).map(|why| Some(why.trim_end().to_owned())).map_err(SuiteError::io(&path))
    }

    /// Keeps what was heard.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn keep(&self, record: &Record, heard: &Heard) -> Result<(), SuiteError> {
        match heard {
            Heard::Answer(bytes) => write_whole(&self.answer(record), bytes),
            Heard::Failure(why) => write_whole(&self.failure_path(record), format!("{why}\n").as_bytes()),
        }
    }

    /// Copies what another folder holds of a record, if it holds it.
    pub(crate) fn take_from(&self, other: &Folder, record: &Record) -> Result<bool, SuiteError> {
        for (from, to) in
            [(other.answer(record), self.answer(record)), (other.failure_path(record), self.failure_path(record))]
        {
            match fs::read(&from) {
                Ok(bytes) => {
                    write_whole(&to, &bytes)?;
                    return Ok(true);
                }
                Err(error) if error.kind() == ErrorKind::NotFound => {}
                Err(error) => return Err(SuiteError::io(&from)(error)),
            }
        }
        Ok(false)
    }
}

/// Whether nothing is in a folder, or the folder is not there.
fn is_empty(folder: &Path) -> Result<bool, SuiteError> {
    match fs::read_dir(folder) {
        Ok(mut entries) => Ok(entries.next().is_none()),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(true),
        Err(error) => Err(SuiteError::io(folder)(error)),
    }
}

/// Writes a file that appears whole or not at all, in place of one that is there.
fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), SuiteError> {
    let mut file = Unfinished::new(path)?;
    file.write_all(bytes).map_err(FileError::of(path))?;
    publish(vec![file.finish()?], true)?;
    Ok(())
}
