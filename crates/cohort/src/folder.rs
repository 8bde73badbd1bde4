//! The folder of a cohort.
//!
//! | name | holds |
//! |---|---|
//! | `cohort.json` | the plan, the number of patients and of packs, the program |
//! | `pack-01-of-10.npy` | signals: patients by channels by frames, `float32`; beside it `pack-01-of-10.manifest.json` with its digest |
//! | `pack-01-of-10.parquet` | the same as a table: a row for each frame, columns `patient`, `frame` and the channels |
//! | `records/000017.hea` ... | in place of packs: a record of the open waveform database for each patient |
//! | `patients.csv` | a line for each patient: where the signal is, and every drawn value; beside packs of Parquet `patients.parquet` |
//! | `beats.csv` | a line for each beat: the number of the patient, then the columns of a table of beats |

use crate::error::CohortError;
use crate::plan::CohortPlan;
use crate::record::SAMPLE;
use pulsewright_files::atomic::Claim;
use pulsewright_text::json;
use pulsewright_text::source::{self, SourceError};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fs;
use std::io::ErrorKind;
use std::ops::Range;
use std::path::{Path, PathBuf};

const MANIFEST: &str = "cohort.json";

/// Columns of the index before the variables.
pub(crate) const INDEX_COLUMNS: [&str; 8] = ["patient", "pack", "row", "group", "rhythm", "body", "seed", "redraws"];

/// Form of the signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CohortFormat {
    /// Packs of arrays.
    Npy,
    /// A record of the open waveform database for each patient, 16 bits.
    Wfdb,
    /// Packs and index as Parquet.
    #[cfg(feature = "parquet")]
    Parquet,
}

impl CohortFormat {
    /// Whether signals are in packs, not in a file for each patient.
    pub fn is_packed(self) -> bool {
        self != CohortFormat::Wfdb
    }

    /// Bytes of a sample.
    pub fn sample_bytes(self) -> usize {
        match self {
            CohortFormat::Wfdb => 2,
            _ => SAMPLE,
        }
    }
}

/// Patients cut into packs of neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Packs {
    /// Number of patients.
    pub patients: u64,
    /// Number of packs.
    pub packs: u32,
    /// Form of the signals.
    pub form: CohortFormat,
}

/// The cohort that the files of a folder belong to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CohortManifest {
    /// Format of the folder.
    pub version: u32,
    /// The program that rendered the signals.
    pub made_by: String,
    /// Patients and packs.
    pub packs: Packs,
    /// The plan as it was read.
    pub plan: Value,
}

/// A folder that holds this cohort, or will.
#[derive(Clone, Debug)]
pub struct CohortFolder {
    root: PathBuf,
    /// Patients and packs.
    pub packs: Packs,
}

impl Packs {
    /// The patients of a pack, which is counted from 0.
    pub fn of(&self, pack: u32) -> Range<u64> {
        let start = |pack: u64| (u128::from(self.patients) * u128::from(pack) / u128::from(self.packs)) as u64;
        start(u64::from(pack))..start(u64::from(pack) + 1)
    }

    /// The pack of a patient, and the row in it.
    pub fn place(&self, patient: u64) -> (u32, u64) {
        // The last pack that starts at the patient or before.
        let pack = (u128::from(patient) + 1) * u128::from(self.packs);
        let pack = (pack.div_ceil(u128::from(self.patients.max(1))) - 1) as u32;
        (pack, patient - self.of(pack).start)
    }

    /// File name of a pack; of records, that of their folder.
    pub fn name(&self, pack: u32) -> String {
        let ending = match self.form {
            CohortFormat::Npy => "npy",
            #[cfg(feature = "parquet")]
            CohortFormat::Parquet => "parquet",
            CohortFormat::Wfdb => return "records".to_owned(),
        };
        let digits = self.packs.to_string().len();
        format!("pack-{:0digits$}-of-{}.{ending}", u64::from(pack) + 1, self.packs)
    }
}

impl CohortManifest {
    /// For a plan cut into packs.
    pub fn new(plan: &CohortPlan, packs: Packs) -> CohortManifest {
        CohortManifest { version: 1, made_by: made_by(), packs, plan: plan.document.clone() }
    }

    fn read(folder: &Path) -> Result<Option<CohortManifest>, CohortError> {
        let path = folder.join(MANIFEST);
        let wrong = |what: String| CohortError::Folder { folder: path.clone(), what };
        match source::file(&path, source::DOCUMENT) {
            Ok(bytes) => {
                let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
                json::parse(text).map(Some).map_err(|broken| wrong(broken.to_string()))
            }
            Err(error) if error.is_missing() => Ok(None),
            Err(SourceError::Io { source, .. }) => Err(CohortError::io(&path)(source)),
            Err(error) => Err(wrong(error.to_string())),
        }
    }

    /// Name of the first difference from `other`.
    fn difference(&self, other: &CohortManifest) -> Option<&'static str> {
        let Packs { patients, packs, form } = other.packs;
        [
            ("program version", self.made_by == other.made_by && self.version == other.version),
            ("plan", self.plan == other.plan),
            ("number of patients", self.packs.patients == patients),
            ("number of packs", self.packs.packs == packs),
            ("form", self.packs.form == form),
        ]
        .into_iter()
        .find(|(_, same)| !same)
        .map(|(what, _)| what)
    }
}

impl CohortFolder {
    /// Opens a folder to go on in, or makes it.
    ///
    /// # Errors
    /// When it holds something else, or can't be made.
    pub fn open(root: &Path, manifest: &CohortManifest) -> Result<CohortFolder, CohortError> {
        let wrong = |what: String| CohortError::Folder { folder: root.to_owned(), what };
        let found = CohortManifest::read(root)?;
        if found.is_none() && !is_empty(root)? {
            return Err(wrong("is not empty and holds no cohort; choose another folder".to_owned()));
        }
        fs::create_dir_all(root).map_err(CohortError::io(root))?;
        let path = root.join(MANIFEST);
        let claim = Claim::new(&path)?;
        match CohortManifest::read(root)? {
            Some(there) => {
                if let Some(what) = there.difference(manifest) {
                    return Err(wrong(format!(
                        "holds a cohort of another {what}; choose another folder, or take this one away"
                    )));
                }
            }
            None => {
                let text = serde_json::to_string_pretty(manifest).unwrap_or_default();
                claim.write_whole(&path, text.as_bytes())?;
                claim.sync_names()?;
            }
        }
        let packs = manifest.packs;
        if packs.form == CohortFormat::Wfdb {
            let records = root.join(packs.name(0));
            fs::create_dir_all(&records).map_err(CohortError::io(&records))?;
        }
        Ok(CohortFolder { root: root.to_owned(), packs })
    }

    /// Path of a file in it.
    pub fn file(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    /// Path of the header of a patient's record.
    pub fn record(&self, patient: u64) -> PathBuf {
        let digits = self.packs.patients.saturating_sub(1).to_string().len();
        self.root.join(self.packs.name(0)).join(format!("{patient:0digits$}.hea"))
    }
}

/// Name and version of the program.
pub(crate) fn made_by() -> String {
    format!("pulsewright {}", env!("CARGO_PKG_VERSION"))
}

/// Whether nothing is in a folder, temporary files aside, or the folder is not there.
fn is_empty(folder: &Path) -> Result<bool, CohortError> {
    match fs::read_dir(folder) {
        Ok(entries) => {
            let mut names = entries.filter_map(Result::ok).map(|entry| entry.file_name());
            Ok(names.all(|name| name.to_string_lossy().starts_with(".pulsewright-")))
        }
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(true),
        Err(error) => Err(CohortError::io(folder)(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_patient_has_one_place() {
        for (patients, packs) in [(1, 1), (10, 3), (10, 7), (10_000, 7), (13, 13), (1_000_000, 999)] {
            let packs = Packs { patients, packs, form: CohortFormat::Npy };
            let mut next = 0;
            for pack in 0..packs.packs {
                let range = packs.of(pack);
                assert_eq!(range.start, next);
                assert!(!range.is_empty());
                next = range.end;
                for patient in [range.start, range.end - 1] {
                    assert_eq!(packs.place(patient), (pack, patient - range.start), "{packs:?}");
                }
            }
            assert_eq!(next, patients);
        }
    }
}
