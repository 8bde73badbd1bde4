//! `report`: the verdicts of a record, worked out anew.

use crate::diagnostics::{Failure, Outcome, print};
use crate::plot::write_whole;
use crate::record_files;
use clap::Args;
use pulsewright_files::atomic::check_free;
use pulsewright_record::report::{Report, data, page};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Report on a record: work every verdict out anew, tell what was changed, where to look, how readings moved.
///
/// The record is what a worksheet or a session saved, or one written by hand as JSON or CSV; it is only read. Exit code 0
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
    check_free(args.output.iter().map(PathBuf::as_path), args.force).map_err(Failure::input)?;
    for input in args.earlier.iter().chain([&args.record]).chain(&args.script) {
        let same = |output: &PathBuf| {
            fs::canonicalize(output).is_ok_and(|output| fs::canonicalize(input).is_ok_and(|input| input == output))
        };
        if args.output.iter().any(same) {
            return Err(Failure::input(format!("{} is read; choose another name to write", input.display())));
        }
    }
    let record = record_files::record(&args.record)?;
    // The seed that the record was made with, so that another one on the command line then is not taken for a change.
    let seed = record.plan.as_ref().and_then(|plan| plan.seed.parse().ok());
    let fresh = args.script.as_ref().map(|script| record_files::plan(script, args.rig.as_deref(), seed)).transpose()?;
    let earlier = args.earlier.iter().map(|path| record_files::record(path)).collect::<Result<Vec<_>, _>>()?;
    let report = Report::new(&record, fresh.as_ref().map(|(_, plan)| plan), &earlier)
        .map_err(|error| Failure::input(format!("{}: {error}", args.record.display())))?;
    for (path, form) in outputs {
        let text = match form {
            Form::Html => page::html(&report),
            Form::Json => data::json(&report),
            Form::Csv => data::csv(&report),
        };
        write_whole(path, text.as_bytes(), args.force).map_err(Failure::input)?;
    }
    print(|out| out.write_all(report.text().as_bytes()))?;
    if report.passed() { Ok(()) } else { Err(Failure::Failed) }
}

/// What is written.
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
