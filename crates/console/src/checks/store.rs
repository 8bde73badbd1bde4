//! The files of checks: drafts and records in the folder, by asset.

use pulsewright_files::atomic::Set;
use pulsewright_record::record::{PlayedLog, Record, date};
use pulsewright_record::session::draft::Draft;
use pulsewright_record::{Plan, seal};
use pulsewright_text::source;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};

/// End of the names of drafts.
const DRAFT: &str = ".draft";

/// Most records of an asset on a day.
const MOST_A_DAY: usize = 1000;

/// The folder.
pub struct Store {
    folder: PathBuf,
    plan: String,
}

impl Store {
    /// For the records of a plan.
    pub fn new(folder: PathBuf, plan: &Plan) -> Store {
        Store { folder, plan: plan.digest.clone() }
    }

    /// The draft of an asset: each asset and each plan has its own.
    pub fn draft(&self, asset: &str) -> PathBuf {
        // Names that differ in other characters alone differ in the digest.
        let digest = seal::digest(format!("{asset}\n{}", self.plan).as_bytes());
        let mark = digest.trim_start_matches("sha256:").get(..12).unwrap_or_default().to_owned();
        self.folder.join(format!("record-{}-{mark}{DRAFT}", plain(asset)))
    }

    /// The assets whose drafts of this plan are there, and when each was saved last.
    pub fn unfinished(&self, plan: &Plan) -> Vec<Value> {
        let names = fs::read_dir(&self.folder).into_iter().flatten().flatten().map(|entry| entry.path());
        let mut drafts: Vec<PathBuf> = names.filter(|path| path.to_string_lossy().ends_with(DRAFT)).collect();
        drafts.sort();
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

    /// A record of the folder, by its name.
    pub fn record(&self, name: &str) -> Option<Record> {
        let plain_name = Path::new(name).file_name().is_some_and(|of| of == name);
        let bytes = plain_name.then(|| source::file(&self.folder.join(name), source::DOCUMENT).ok()).flatten()?;
        Record::from_json(&bytes, name).ok()
    }

    /// Writes a record under a name that is free, with the log of what was played; gives the path and the record as written.
    ///
    /// # Errors
    /// When it can't be written; there is no file of it then.
    pub fn publish(&self, mut record: Record, log: Option<Vec<u8>>) -> Result<(PathBuf, Record), String> {
        let stem = format!("record-{}-{}", plain(record.about("asset")), plain(date(&record)));
        let named = |number: usize| if number == 1 { stem.clone() } else { format!("{stem}-{number}") };
        let free = |stem: &String| {
            ["json", "played.json"].iter().all(|end| !self.folder.join(format!("{stem}.{end}")).exists())
        };
        let stem = (1..=MOST_A_DAY).map(named).find(free).ok_or("there are too many records of this asset and day")?;
        let path = self.folder.join(format!("{stem}.json"));
        let log = log.map(|text| (self.folder.join(format!("{stem}.played.json")), text));
        if let (Some((log, text)), Some(played)) = (&log, &mut record.played) {
            let name = log.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
            played.log = Some(PlayedLog { name, digest: seal::digest(text) });
        }
        let text = record.sealed_json();
        let mut files: Vec<(&Path, &[u8])> = vec![(&path, text.as_bytes())];
        files.extend(log.iter().map(|(path, text)| (path.as_path(), text.as_slice())));
        let paths: Vec<&Path> = files.iter().map(|(path, _)| *path).collect();
        let set = Set::of_files(&paths, false).map_err(|error| error.to_string())?;
        set.write(&files).map_err(|error| error.to_string())?;
        let record =
            Record::from_json(text.as_bytes(), &path.display().to_string()).map_err(|error| error.to_string())?;
        Ok((path, record))
    }
}

/// Fit for the name of a file anywhere.
fn plain(text: &str) -> String {
    let fit = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '-' };
    text.trim().chars().map(fit).take(40).collect()
}
