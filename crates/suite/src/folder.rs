//! A folder of answers: the plan and the command, and the detector's answer to each record.
//!
//! | name | holds |
//! |---|---|
//! | `suite.json` | the plan, the command, the shard to which the answers belong |
//! | `answers/RECORD.csv` | the detector's answer as it gave it (another suffix if asked for) |
//! | `answers/RECORD.failure.txt` | why there is none; remove it to run the record again |
//! | `times.csv` | seconds that the detector took for each record, written when a run ends; for JUnit alone |
//! | `signals/` | signals and truth, if they are kept |
//! | `work/` | temporary files of a run under way |

use crate::detector::Detector;
use crate::detector::Outcome;
use crate::error::SuiteError;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use crate::shard::Shard;
use pulsewright_files::atomic::Claim;
use pulsewright_text::json;
use pulsewright_text::source::{self, SourceError};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const MANIFEST: &str = "suite.json";
const TIMES: &str = "times.csv";

/// Plan, command and shard of the answers in a folder. Answers to another plan or command are refused.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AnswerManifest {
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
    /// Suffix of answers.
    pub suffix: String,
    /// The shard, `None` for all records.
    pub shard: Option<Shard>,
}

impl AnswerManifest {
    /// For a plan, a detector, and a shard of it.
    pub fn new(plan: &SuitePlan, detector: &Detector, suffix: &str, shard: Option<Shard>) -> AnswerManifest {
        AnswerManifest {
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
    pub fn read(folder: &Path) -> Result<Option<AnswerManifest>, SuiteError> {
        let path = folder.join(MANIFEST);
        let wrong = |what: String| SuiteError::Folder { folder: path.clone(), what };
        match source::file(&path, source::DOCUMENT) {
            Ok(bytes) => {
                let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
                json::parse(text).map(Some).map_err(|broken| wrong(broken.to_string()))
            }
            Err(error) if error.is_missing() => Ok(None),
            Err(error) => Err(unreadable(&path, error)),
        }
    }

    /// Name of the first difference from `other`.
    fn difference(&self, other: &AnswerManifest) -> Option<&'static str> {
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
    pub(crate) fn check_same(&self, folder: &Path, there: &AnswerManifest) -> Result<(), SuiteError> {
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
pub struct AnswerFolder {
    root: PathBuf,
    suffix: String,
    /// The right to write in it; `None` where it is only read.
    claims: Option<Arc<Claims>>,
}

/// The right of one process to write a suite: its folder and the folder of its answers.
#[derive(Debug)]
struct Claims {
    root: Claim,
    answers: Claim,
}

impl AnswerFolder {
    /// Opens a folder to go on in, or makes it.
    ///
    /// # Errors
    /// When it holds something else, or can't be made.
    pub fn open(root: &Path, manifest: &AnswerManifest) -> Result<AnswerFolder, SuiteError> {
        let mut folder = AnswerFolder::existing(root, manifest);
        let answers = folder.answers();
        // Before anything is made there.
        if AnswerManifest::read(root)?.is_none() && !is_empty(root)? {
            let what = "is not empty and holds no suite; choose another folder".to_owned();
            return Err(SuiteError::Folder { folder: root.to_owned(), what });
        }
        fs::create_dir_all(root).map_err(SuiteError::io(root))?;
        let path = root.join(MANIFEST);
        let claim = Claim::new(&path)?;
        match AnswerManifest::read(root)? {
            // Without answers the manifest is replaced: a misspelt command costs no folder.
            Some(there) if !is_empty(&answers)? => manifest.check_same(root, &there)?,
            _ => {
                let text = serde_json::to_string_pretty(manifest).unwrap_or_default();
                claim.write_whole(&path, text.as_bytes())?;
                claim.sync_names()?;
            }
        }
        fs::create_dir_all(&answers).map_err(SuiteError::io(&answers))?;
        let answers = Claim::new(&answers.join(MANIFEST))?;
        folder.claims = Some(Arc::new(Claims { root: claim, answers }));
        Ok(folder)
    }

    /// A folder known to hold this, to be read.
    pub(crate) fn existing(root: &Path, manifest: &AnswerManifest) -> AnswerFolder {
        AnswerFolder { root: root.to_owned(), suffix: manifest.suffix.clone(), claims: None }
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> Result<(), SuiteError> {
        match &self.claims {
            Some(claims) => Ok(claims.answers.write_whole(path, bytes)?),
            None => Err(SuiteError::Folder { folder: self.root.clone(), what: "is only read".to_owned() }),
        }
    }

    fn answers(&self) -> PathBuf {
        self.root.join("answers")
    }

    /// Where the answer to a record is, or will be.
    pub fn answer(&self, record: &SuiteRecord) -> PathBuf {
        self.answers().join(format!("{}{}", record.name, self.suffix))
    }

    fn failure_path(&self, record: &SuiteRecord) -> PathBuf {
        self.answers().join(format!("{}.failure.txt", record.name))
    }

    /// Where signals are kept.
    pub(crate) fn signals(&self) -> PathBuf {
        self.root.join("signals")
    }

    /// Where temporary files go.
    pub(crate) fn work(&self) -> PathBuf {
        self.root.join("work")
    }

    /// Takes away the temporary files that a killed run left. Answers that never became whole went when the folder was claimed.
    pub(crate) fn tidy(&self) -> Result<(), SuiteError> {
        let work = self.work();
        if work.exists() {
            fs::remove_dir_all(&work).map_err(SuiteError::io(&work))?;
        }
        Ok(())
    }

    /// Whether the folder has an outcome of the record.
    pub fn holds(&self, record: &SuiteRecord) -> bool {
        self.answer(record).is_file() || self.failure_path(record).is_file()
    }

    /// Why there is no answer; `None` if there is one.
    ///
    /// # Errors
    /// When there is neither, or it can't be read.
    pub fn failure(&self, record: &SuiteRecord) -> Result<Option<String>, SuiteError> {
        if self.answer(record).is_file() {
            return Ok(None);
        }
        let path = self.failure_path(record);
        let bytes = source::file(&path, source::DOCUMENT).map_err(|error| unreadable(&path, error))?;
        Ok(Some(String::from_utf8_lossy(&bytes).trim_end().to_owned()))
    }

    /// Keeps an outcome.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn keep(&self, record: &SuiteRecord, outcome: &Outcome) -> Result<(), SuiteError> {
        match outcome {
            Outcome::Answer(bytes) => self.write(&self.answer(record), bytes),
            Outcome::Failure(why) => self.write(&self.failure_path(record), format!("{why}\n").as_bytes()),
        }
    }

    /// Seconds that the detector took, by record. Of the records of a run that was killed they are not known.
    pub fn times_s(&self) -> BTreeMap<String, f64> {
        let table = source::file(&self.root.join(TIMES), source::TABLE).unwrap_or_default();
        let table = String::from_utf8_lossy(&table);
        let row = |line: &str| {
            let (record, seconds) = line.rsplit_once(',')?;
            Some((record.to_owned(), seconds.parse().ok().filter(|s: &f64| s.is_finite() && *s >= 0.0)?))
        };
        // They decide nothing, so a line that can't be read is left out.
        table.lines().skip(1).filter_map(row).collect()
    }

    /// Whether it has times.
    pub(crate) fn has_times(&self) -> bool {
        self.root.join(TIMES).is_file()
    }

    /// Keeps the seconds that the detector took.
    ///
    /// # Errors
    /// When they can't be written.
    pub(crate) fn keep_times_s(&self, times_s: &BTreeMap<String, f64>) -> Result<(), SuiteError> {
        let mut table = "record,seconds\n".to_owned();
        for (record, seconds) in times_s {
            // Writing to a String cannot fail.
            let _ = writeln!(table, "{record},{seconds:.6}");
        }
        match &self.claims {
            Some(claims) => Ok(claims.root.write_whole(&self.root.join(TIMES), table.as_bytes())?),
            None => Err(SuiteError::Folder { folder: self.root.clone(), what: "is only read".to_owned() }),
        }
    }

    /// Copies the outcome of a record from another folder; false when that has none.
    pub(crate) fn take_from(&self, other: &AnswerFolder, record: &SuiteRecord) -> Result<bool, SuiteError> {
        for (from, to) in
            [(other.answer(record), self.answer(record)), (other.failure_path(record), self.failure_path(record))]
        {
            match source::file(&from, source::TABLE) {
                Ok(bytes) => {
                    self.write(&to, &bytes)?;
                    return Ok(true);
                }
                Err(error) if error.is_missing() => {}
                Err(error) => return Err(unreadable(&from, error)),
            }
        }
        Ok(false)
    }
}

fn unreadable(path: &Path, error: SourceError) -> SuiteError {
    match error {
        SourceError::Io { source, .. } => SuiteError::io(path)(source),
        error => SuiteError::Folder { folder: path.to_owned(), what: error.to_string() },
    }
}

/// Whether nothing is in a folder, temporary files aside, or the folder is not there.
fn is_empty(folder: &Path) -> Result<bool, SuiteError> {
    match fs::read_dir(folder) {
        Ok(entries) => {
            let mut names = entries.filter_map(Result::ok).map(|entry| entry.file_name());
            Ok(names.all(|name| name.to_string_lossy().starts_with(".pulsewright-")))
        }
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(true),
        Err(error) => Err(SuiteError::io(folder)(error)),
    }
}
