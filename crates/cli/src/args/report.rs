//! `report`.

use crate::diagnostics::Failure;
use crate::report::{Form, Request};
use clap::Args;
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
pub struct Report {
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

impl Report {
    /// The request.
    pub fn request(self) -> Result<Request, Failure> {
        let outputs = self.output.into_iter().map(|path| form(&path).map(|form| (path, form)));
        Ok(Request {
            record: self.record,
            script: self.script,
            rig: self.rig,
            earlier: self.earlier,
            outputs: outputs.collect::<Result<_, Failure>>()?,
            force: self.force,
        })
    }
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
