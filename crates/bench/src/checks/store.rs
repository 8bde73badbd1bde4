//! The files of checks: drafts and records in the folder, by asset; or the one record that was named in advance.

use crate::{kept, photos};
use pulsewright_files::atomic::{FileError, FileSet, write_whole};
use pulsewright_record::record::{PlaybackLog, Record, date};
use pulsewright_record::session::draft::{self, Draft};
use pulsewright_record::{Plan, seal};
use pulsewright_text::source;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};

/// Most records of an asset on a day.
const MOST_A_DAY: usize = 1000;

/// The file of a record that is named in advance.
pub struct RecordFile {
    /// Its path; the draft has the same name with .draft added, the log of what was played ends in .played.json.
    pub path: PathBuf,
    /// Whether a record that is there may be replaced.
    pub force: bool,
}

/// Where records go.
pub struct RecordFolder {
    folder: PathBuf,
    /// The one record, claimed until it is written.
    named: Option<Named>,
}

/// A record that was named in advance.
struct Named {
    record: PathBuf,
    log: PathBuf,
    /// `None` once it was written.
    set: Option<FileSet>,
}

impl RecordFolder {
    /// A folder, for a record of each asset; or one record.
    ///
    /// # Errors
    /// When the record is there already or is being written by another process.
    pub fn new(folder: PathBuf, record: Option<RecordFile>) -> Result<RecordFolder, FileError> {
        let named = record.map(|RecordFile { path: record, force }| {
            let log = record.with_extension(PLAYED);
            let set = Some(FileSet::of_files(&[&record, &log], force)?);
            Ok(Named { record, log, set })
        });
        Ok(RecordFolder { folder, named: named.transpose()? })
    }
}

/// End of the names of logs beside records.
const PLAYED: &str = "played.json";

/// The records of a plan.
pub struct Store {
    folder: PathBuf,
    named: Option<Named>,
    plan: String,
}

impl Store {
    /// For the records of a plan.
    pub fn new(place: RecordFolder, plan: &Plan) -> Store {
        Store { folder: place.folder, named: place.named, plan: plan.digest.clone() }
    }

    /// Whether its one record was named in advance.
    pub fn is_named(&self) -> bool {
        self.named.is_some()
    }

    /// Whether another record can be begun.
    pub fn has_room(&self) -> bool {
        self.named.as_ref().is_none_or(|named| named.set.is_some())
    }

    /// The draft of an asset: each asset and each plan has its own.
    pub fn draft(&self, asset: &str) -> PathBuf {
        if let Some(named) = &self.named {
            return draft::of_record(&named.record);
        }
        // Names that differ in other characters alone differ in the digest.
        let digest = seal::digest(format!("{asset}\n{}", self.plan).as_bytes());
        self.folder.join(format!("record-{}-{}{}", plain(asset), start(&digest, 12), draft::ENDING))
    }

    /// The assets whose drafts of this plan are there, and when each was saved last.
    pub fn unfinished(&self, plan: &Plan) -> Vec<Value> {
        let drafts = match &self.named {
            Some(_) => vec![self.draft("")],
            None => {
                let names = fs::read_dir(&self.folder).into_iter().flatten().flatten().map(|entry| entry.path());
                let mut drafts: Vec<PathBuf> =
                    names.filter(|path| path.to_string_lossy().ends_with(draft::ENDING)).collect();
                drafts.sort();
                drafts
            }
        };
        drafts
            .iter()
            .filter_map(|path| {
                let text = Draft::open(path).ok()?.1?;
                let record = Record::from_json(text.as_bytes(), "draft").ok()?;
                let of_plan = record.plan.as_ref().is_some_and(|of| of.digest == plan.digest);
                of_plan.then(|| json!({"asset": record.about("asset"), "saved_at": record.saved_at}))
            })
            .collect()
    }

    /// Writes a photo under a name of its own, unless the same one is there; gives its name and digest.
    ///
    /// # Errors
    /// When it is no picture, or can't be written.
    pub fn photo(&self, of: &str, bytes: &[u8]) -> Result<(String, String), String> {
        let kind = photos::kind(bytes).ok_or("a photo is a JPEG, PNG or WebP file")?;
        let digest = seal::digest(bytes);
        let name = format!("{}{}-{}.{}", photos::START, plain(of), start(&digest, 16), kind.ending);
        let path = self.folder.join(&name);
        let there = source::file(&path, source::DOCUMENT).is_ok_and(|there| there == bytes);
        if !there {
            write_whole(&path, bytes, true).map_err(|error| error.to_string())?;
        }
        Ok((name, digest))
    }

    /// A record of the folder, by its name.
    pub fn record(&self, name: &str) -> Option<Record> {
        let bytes = kept::file(&self.folder, name, source::DOCUMENT)?;
        Record::from_json(&bytes, name).ok()
    }

    /// Writes a record under its name, or one that is free, with the log of what was played; gives the path and the record as written.
    ///
    /// # Errors
    /// When it can't be written; there is no file of it then.
    pub fn publish(&mut self, record: Record, log: Option<Vec<u8>>) -> Result<(PathBuf, Record), String> {
        if let Some(Named { record: path, log: of_log, set }) = &mut self.named {
            let set = set.take().ok_or("the record was written already")?;
            let (path, of_log) = (path.clone(), of_log.clone());
            return write(set, path, record, log.map(|text| (of_log, text)));
        }
        let (path, log_path) = self.free_names(&record)?;
        let log = log.map(|text| (log_path, text));
        let paths: Vec<&Path> =
            [path.as_path()].into_iter().chain(log.iter().map(|(path, _)| path.as_path())).collect();
        let set = FileSet::of_files(&paths, false).map_err(|error| error.to_string())?;
        write(set, path.clone(), record, log)
    }

    /// Names of a record and its log that no file has.
    fn free_names(&self, record: &Record) -> Result<(PathBuf, PathBuf), String> {
        let stem = format!("record-{}-{}", plain(record.about("asset")), plain(date(record)));
        let named = |number: usize| if number == 1 { stem.clone() } else { format!("{stem}-{number}") };
        let free =
            |stem: &String| ["json", PLAYED].iter().all(|end| !self.folder.join(format!("{stem}.{end}")).exists());
        let stem = (1..=MOST_A_DAY).map(named).find(free).ok_or("there are too many records of this asset and day")?;
        Ok((self.folder.join(format!("{stem}.json")), self.folder.join(format!("{stem}.{PLAYED}"))))
    }
}

/// Writes a record, and the log of what was played beside it.
fn write(
    set: FileSet,
    path: PathBuf,
    mut record: Record,
    log: Option<(PathBuf, Vec<u8>)>,
) -> Result<(PathBuf, Record), String> {
    if let (Some((log, text)), Some(played)) = (&log, &mut record.played) {
        let name = log.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
        played.log = Some(PlaybackLog { name, digest: seal::digest(text) });
    }
    let text = record.sealed_json();
    let mut files: Vec<(&Path, &[u8])> = vec![(&path, text.as_bytes())];
    files.extend(log.iter().map(|(path, text)| (path.as_path(), text.as_slice())));
    set.write(&files).map_err(|error| error.to_string())?;
    let record = Record::from_json(text.as_bytes(), &path.display().to_string()).map_err(|error| error.to_string())?;
    Ok((path, record))
}

/// The first digits of a digest.
fn start(digest: &str, digits: usize) -> &str {
    digest.trim_start_matches("sha256:").get(..digits).unwrap_or_default()
}

/// Fit for the name of a file anywhere.
fn plain(text: &str) -> String {
    let fit = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '-' };
    text.trim().chars().map(fit).take(40).collect()
}
