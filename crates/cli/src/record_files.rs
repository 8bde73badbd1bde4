//! Files of the technician's record: scripts with their text, rigs, records in JSON or CSV.

use crate::diagnostics::Failure;
use pulsewright_files::atomic::reason;
use pulsewright_record::{Plan, Record, Rig, record_csv, seal};
use pulsewright_script::{Document, parse};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Most bytes read of any of them: 16 MiB, and one more by which too large a file is known.
const MOST: u64 = (16 << 20) + 1;

fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut text = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MOST).read_to_end(&mut text));
    read.map_err(|error| Failure::input(format!("cannot read {}: {}", path.display(), reason(&error))))?;
    Ok(text)
}

/// A script with the plan that it makes.
pub fn plan(script: &Path, rig: Option<&Path>, seed: Option<u64>) -> Result<(Document, Plan), Failure> {
    let text = bytes(script)?;
    let name = script.display().to_string();
    let document = parse(&text, &name).map_err(|problems| Failure::Script(Box::new(problems)))?;
    let document = seed.into_iter().fold(document, Document::with_seed);
    let rig = rig.map(self::rig).transpose()?;
    let plan = Plan::new(&document, &text, rig).map_err(|error| Failure::input(format!("{name}: {error}")))?;
    Ok((document, plan))
}

fn rig(path: &Path) -> Result<Rig, Failure> {
    let name = path.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
    Ok(Rig { name, digest: seal::digest(&bytes(path)?) })
}

/// A record: CSV when its name ends in .csv, else JSON.
pub fn record(path: &Path) -> Result<Record, Failure> {
    let text = bytes(path)?;
    let name = path.display().to_string();
    let csv = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("csv"));
    let record = if csv { record_csv::read(&text, &name) } else { Record::from_json(&text, &name) };
    record.map_err(Failure::input)
}
