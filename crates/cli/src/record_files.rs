//! Files of the technician's record: scripts with their text, rigs, records in JSON or CSV.

use crate::diagnostics::VerbFailure;
use crate::script_file;
use pulsewright_record::{Plan, PlanRig, Record, record_csv, seal};
use pulsewright_script::Document;
use pulsewright_text::source;
use std::path::Path;

fn bytes(path: &Path) -> Result<Vec<u8>, VerbFailure> {
    source::file(path, source::DOCUMENT).map_err(VerbFailure::input)
}

/// A script with the plan that it makes.
pub fn plan(script: &Path, rig: Option<&Path>, seed: Option<u64>) -> Result<(Document, Plan), VerbFailure> {
    let text = bytes(script)?;
    let name = source::name(script);
    let document = script_file::document(script, &text, &name).map_err(VerbFailure::Script)?;
    let document = seed.into_iter().fold(document, Document::with_seed);
    let rig = rig.map(self::rig).transpose()?;
    let plan = Plan::new(&document, &text, rig).map_err(|error| VerbFailure::input(format!("{name}: {error}")))?;
    Ok((document, plan))
}

fn rig(path: &Path) -> Result<PlanRig, VerbFailure> {
    let name = path.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
    Ok(PlanRig { name, digest: seal::digest(&bytes(path)?) })
}

/// A file of the folder of a record, by its plain name.
pub fn beside(record: &Path, name: &str) -> Result<Vec<u8>, String> {
    if Path::new(name).file_name().is_none_or(|plain| plain != name) {
        return Err("its name is not one of a file in the folder of the record".to_owned());
    }
    source::file(&record.with_file_name(name), source::TABLE).map_err(|error| error.to_string())
}

/// A record: CSV when its name ends in .csv, else JSON.
pub fn record(path: &Path) -> Result<Record, VerbFailure> {
    let text = bytes(path)?;
    let name = source::name(path);
    let csv = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("csv"));
    let record = if csv { record_csv::read(&text, &name) } else { Record::from_json(&text, &name) };
    record.map_err(VerbFailure::input)
}
