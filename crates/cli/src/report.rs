//! `report`: the verdicts of a record, computed again.

use crate::diagnostics::{VerbFailure, VerbOutcome, print};
use crate::output::claim;
use crate::record_files;
use crate::signatures::{self, SignatureRequest};
use pulsewright_record::integrity::check_beside;
use pulsewright_record::report::{Report, data, page};
use std::io::Write;
use std::path::{Path, PathBuf};

/// The work.
pub enum Request {
    /// A report.
    Report(Box<ReportRequest>),
    /// A new key to sign with.
    NewKey(PathBuf),
}

/// A report to make.
pub struct ReportRequest {
    /// The record.
    pub record: PathBuf,
    /// The script that it was made from.
    pub script: Option<PathBuf>,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Earlier records of the same asset.
    pub earlier: Vec<PathBuf>,
    /// Reports to write.
    pub outputs: Vec<(PathBuf, ReportFormat)>,
    /// Whether reports that are there may be replaced.
    pub force: bool,
    /// A signature to add.
    pub signing: Option<SignatureRequest>,
    /// Public keys to verify signatures with.
    pub verify: Vec<PathBuf>,
}

/// Form of a report.
pub enum ReportFormat {
    Html,
    Json,
    Csv,
}

/// Reports.
pub fn run(request: Request) -> VerbOutcome {
    match request {
        Request::NewKey(key) => signatures::new_key(&key),
        Request::Report(args) => report(&args),
    }
}

fn report(args: &ReportRequest) -> VerbOutcome {
    let paths: Vec<&Path> = args.outputs.iter().map(|(path, _)| path.as_path()).collect();
    let keys = args.verify.iter().chain(args.signing.as_ref().map(|signing| &signing.key));
    let inputs = args
        .earlier
        .iter()
        .chain([&args.record])
        .chain(&args.script)
        .chain(&args.rig)
        .chain(keys)
        .map(PathBuf::as_path);
    let set = claim(&paths, inputs, args.force)?;
    let record = record_files::record(&args.record)?;
    // The record's own seed: a seed given on its command line must not count as a change.
    let seed = record.plan.as_ref().and_then(|plan| plan.seed.parse().ok());
    let fresh = args.script.as_ref().map(|script| record_files::plan(script, args.rig.as_deref(), seed)).transpose()?;
    let earlier = args.earlier.iter().map(|path| record_files::record(path)).collect::<Result<Vec<_>, _>>()?;
    let mut report = Report::new(&record, fresh.as_ref().map(|(_, plan)| plan), &earlier)
        .map_err(|error| VerbFailure::input(format!("{}: {error}", args.record.display())))?;
    check_beside(&record, |name| record_files::beside(&args.record, name), &mut report.integrity);
    if let Some(signing) = &args.signing {
        signatures::sign(&args.record, &record, signing)?;
    }
    if !args.verify.is_empty() {
        signatures::verify(&args.record, &record, &args.verify, &mut report.integrity)?;
    }
    let made = args.outputs.iter().map(|(path, form)| {
        let text = match form {
            ReportFormat::Html => page::html(&report),
            ReportFormat::Json => data::json(&report),
            ReportFormat::Csv => data::csv(&report),
        };
        (path.as_path(), text)
    });
    let made: Vec<(&Path, String)> = made.collect();
    let files: Vec<(&Path, &[u8])> = made.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
    set.write(&files).map_err(VerbFailure::input)?;
    print(|out| out.write_all(report.text().as_bytes()))?;
    if report.passed() { Ok(()) } else { Err(VerbFailure::Failed) }
}
