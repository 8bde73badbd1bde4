//! Files beside a plan: scripts, and what they and the plan name.

use crate::recorded::inside;
use pulsewright_files::sha256::Sha256Writer;
use pulsewright_script::{Document, MAX_BESIDE_BYTES, Problem, Problems, ReadRecordings, parse_among};
use pulsewright_text::source;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

/// So many bytes of files are kept to be read again.
const MOST_KEPT: usize = 256 << 20;

/// So many samples of recordings are kept for the scripts that follow.
const MOST_SAMPLES: usize = 64 << 20;

/// Stands before the names of the plan's own files in a script of another folder.
pub(super) const OF_PLAN: &str = "(plan)/";

/// The folder of a plan. Plans of one text differ by the digests of all files that were read.
pub(super) struct PlanFolder<'p> {
    folder: Option<&'p Path>,
    read: RefCell<Read>,
    /// Recordings that the scripts of each folder name.
    recordings: RefCell<BTreeMap<String, ReadRecordings>>,
}

#[derive(Default)]
struct Read {
    digests: BTreeMap<String, String>,
    kept: BTreeMap<String, Vec<u8>>,
    bytes: usize,
}

impl<'p> PlanFolder<'p> {
    pub(super) fn new(folder: Option<&'p Path>) -> PlanFolder<'p> {
        PlanFolder { folder, read: RefCell::default(), recordings: RefCell::default() }
    }

    /// The folder; `None` for a plan that is no file.
    pub(super) fn folder(&self) -> Option<&'p Path> {
        self.folder
    }

    /// The bytes of a file in the folder or below.
    pub(super) fn bytes(&self, name: &str) -> Result<Vec<u8>, String> {
        if let Some(bytes) = self.read.borrow().kept.get(name) {
            return Ok(bytes.clone());
        }
        let folder = self.folder.ok_or("this plan is not read from a file, so no file lies beside it")?;
        let bytes = source::file(&inside(folder, name)?, MAX_BESIDE_BYTES).map_err(|error| error.why())?;
        let mut sum = Sha256Writer::default();
        sum.write_all(&bytes).map_err(|error| error.to_string())?;
        let mut read = self.read.borrow_mut();
        read.digests.insert(name.to_owned(), sum.digest().to_string());
        if read.bytes + bytes.len() <= MOST_KEPT {
            read.bytes += bytes.len();
            read.kept.insert(name.to_owned(), bytes.clone());
        }
        Ok(bytes)
    }

    /// Names and digests of the files that were read.
    pub(super) fn digests(&self) -> Vec<String> {
        self.read.borrow().digests.iter().map(|(name, digest)| format!("{name} {digest}")).collect()
    }

    /// The script of a text that lies at `name`, with the files that it names.
    pub(super) fn script(&self, text: &[u8], name: &str) -> Result<Document, Problems> {
        let folder = name.rsplit_once('/').map_or("", |(folder, _)| folder);
        let file = |file: &str| match file.strip_prefix(OF_PLAN) {
            Some(of_plan) => self.bytes(of_plan),
            None if folder.is_empty() => self.bytes(file),
            None => self.bytes(&format!("{folder}/{file}")),
        };
        let mut all = self.recordings.borrow_mut();
        let recordings = all.entry(folder.to_owned()).or_default();
        let script = parse_among(text, name, &file, recordings);
        if all.values().map(ReadRecordings::samples).sum::<usize>() > MOST_SAMPLES {
            all.clear();
        }
        script
    }
}

/// Every problem with its place in the text.
pub(super) fn on_one_line(problems: &Problems) -> String {
    joined(problems, |problem| match problems.place(problem) {
        Some((line, column)) => format!("line {line}, column {column}: {}", problem.what),
        None => problem.what.clone(),
    })
}

/// Every problem in the words of `one`, each once.
pub(super) fn joined(problems: &Problems, one: impl Fn(&Problem) -> String) -> String {
    let mut all: Vec<String> = problems.list().iter().map(one).collect();
    all.dedup();
    all.join("; ")
}
