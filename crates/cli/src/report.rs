//! `report`: the verdicts of a record, computed again.

use crate::diagnostics::{Failure, Outcome, print};
use crate::output::claim;
use crate::record_files;
use clap::Args;
use pulsewright_record::report::{Report, data, page};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Report on a record: compute every verdict again, list changes, say where to look, and show how readings moved.
///
/// The record comes from a worksheet or a session, or is written by hand as JSON or CSV; it is only read. Exit code 0
/// when everything passed (or was skipped for a reason), 1 when something failed, is missing or was changed, 2 when the
/// record can't be read.
#[derive(Args, Debug)]
#[command(after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\n\
    Examples:\n  \
    pulsewright report record.json -o report.html -o report.json\n  \
    pulsewright report record.json --script plan.json --earlier 2025.json --earlier 2024.json -o report.html\n  \
    pulsewright report by-hand.csv --script plan.json")]
pub struct ReportArgs {
    /// The record, JSON or CSV.
    record: PathBuf,
    /// The script that it was made from: needed when the record holds no plan, else held against it.
    #[arg(long, value_name = "FILE")]
    script: Option<PathBuf>,
    /// Description of the rig with its correction, held against the one in the record.
    #[arg(long, value_name = "FILE", requires = "script")]
    rig: Option<PathBuf>,
    /// An earlier record of the same asset, for trends; may be given several times.
    #[arg(long, value_name = "FILE")]
    earlier: Vec<PathBuf>,
    /// Report to write, ending in .html, .json or .csv; may be given several times. The summary is printed anyway.
    #[arg(short, long, value_name = "OUT")]
    output: Vec<PathBuf>,
    /// Overwrite reports that are there.
    #[arg(long)]
    force: bool,
}

/// Reports.
pub fn run(args: &ReportArgs) -> Outcome {
    let outputs = args.output.iter().map(|path| Ok((path, form(path)?))).collect::<Result<Vec<_>, Failure>>()?;
    let paths: Vec<&Path> = args.output.iter().map(PathBuf::as_path).collect();
    let inputs = args.earlier.iter().chain([&args.record]).chain(&args.script).chain(&args.rig).map(PathBuf::as_path);
    let set = claim(&paths, inputs, args.force)?;
    let record = record_files::record(&args.record)?;
    // The record's own seed: a seed given on its command line must not count as a change.
    let seed = record.plan.as_ref().and_then(|plan| plan.seed.parse().ok());
    let fresh = args.script.as_ref().map(|script| record_files::plan(script, args.rig.as_deref(), seed)).transpose()?;
    let earlier = args.earlier.iter().map(|path| record_files::record(path)).collect::<Result<Vec<_>, _>>()?;
    let report = Report::new(&record, fresh.as_ref().map(|(_, plan)| plan), &earlier)
        .map_err(|error| Failure::input(format!("{}: {error}", args.record.display())))?;
    let made = outputs.into_iter().map(|(path, form)| {
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

/// Form of a report.
enum Form {
    Html,
    Json,
    Csv,
}

fn form(path: &Path) -> Result<Form, Failure> {
    let extension = path.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
    match extension.as_deref() {
        Some("html") => Ok(Form::Html),
        Some("json") => Ok(Form::Json),
        Some("csv") => Ok(Form::Csv),
        _ => {
            Err(Failure::input(format!("'{}' does not say its format: end it in .html, .json or .csv", path.display())))
        }
    }
}
