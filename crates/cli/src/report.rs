//! `report`: the verdicts of a record, computed again.

use crate::diagnostics::{Failure, Outcome, print};
use crate::output::claim;
use crate::record_files;
use pulsewright_record::report::{Report, data, page};
use std::io::Write;
use std::path::{Path, PathBuf};

/// A report to make.
pub struct Request {
    /// The record.
    pub record: PathBuf,
    /// The script that it was made from.
    pub script: Option<PathBuf>,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Earlier records of the same asset.
    pub earlier: Vec<PathBuf>,
    /// Reports to write.
    pub outputs: Vec<(PathBuf, Form)>,
    /// Whether reports that are there may be replaced.
    pub force: bool,
}

/// Form of a report.
pub enum Form {
    Html,
    Json,
    Csv,
}

/// Reports.
pub fn run(args: Request) -> Outcome {
    let paths: Vec<&Path> = args.outputs.iter().map(|(path, _)| path.as_path()).collect();
    let inputs = args.earlier.iter().chain([&args.record]).chain(&args.script).chain(&args.rig).map(PathBuf::as_path);
    let set = claim(&paths, inputs, args.force)?;
    let record = record_files::record(&args.record)?;
    // The record's own seed: a seed given on its command line must not count as a change.
    let seed = record.plan.as_ref().and_then(|plan| plan.seed.parse().ok());
    let fresh = args.script.as_ref().map(|script| record_files::plan(script, args.rig.as_deref(), seed)).transpose()?;
    let earlier = args.earlier.iter().map(|path| record_files::record(path)).collect::<Result<Vec<_>, _>>()?;
    let report = Report::new(&record, fresh.as_ref().map(|(_, plan)| plan), &earlier)
        .map_err(|error| Failure::input(format!("{}: {error}", args.record.display())))?;
    let made = args.outputs.iter().map(|(path, form)| {
        let text = match form {
            Form::Html => page::html(&report),
            Form::Json => data::json(&report),
            Form::Csv => data::csv(&report),
        };
        (path.as_path(), text)
    });
    let made: Vec<(&Path, String)> = made.collect();
    let files: Vec<(&Path, &[u8])> = made.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
    set.write(&files).map_err(Failure::input)?;
    print(|out| out.write_all(report.text().as_bytes()))?;
    if report.passed() { Ok(()) } else { Err(Failure::Failed) }
}
