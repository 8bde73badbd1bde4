//! `report`.

use crate::diagnostics::VerbFailure;
use crate::report::{ReportFormat, ReportRequest, Request};
use crate::signatures::SignatureRequest;
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
    pulsewright report by-hand.csv --script plan.json\n  \
    pulsewright report --new-key anna.pem\n  \
    pulsewright report record.json --sign anna.pem --signer 'Anna Example' --meaning reviewed\n  \
    pulsewright report record.json --verify anna.pem.pub")]
pub struct ReportVerbFlags {
    /// The record, JSON or CSV.
    #[arg(required_unless_present = "new_key")]
    record: Option<PathBuf>,
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

    /// Sign the record with this private key (Ed25519, PEM); the signature is added to RECORD.signatures. Not for tables.
    #[arg(long, value_name = "KEY", requires_all = ["signer", "meaning"], conflicts_with_all = ["output", "verify"], help_heading = "Signatures")]
    sign: Option<PathBuf>,
    /// Name of the person who signs.
    #[arg(long, value_name = "NAME", requires = "sign", help_heading = "Signatures")]
    signer: Option<String>,
    /// The meaning of the signature, such as performed, reviewed or approved.
    #[arg(long, value_name = "WORDS", requires = "sign", help_heading = "Signatures")]
    meaning: Option<String>,
    /// Verify the signatures in RECORD.signatures with this public key (PEM), which must have signed; may be given several times.
    #[arg(long, value_name = "PUBLIC_KEY", help_heading = "Signatures")]
    verify: Vec<PathBuf>,
    /// Only make a key: KEY for its owner alone, KEY.pub for those who verify.
    #[arg(long, value_name = "KEY", exclusive = true, help_heading = "Signatures")]
    new_key: Option<PathBuf>,
}

impl ReportVerbFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let record = match (self.new_key, self.record) {
            (Some(key), _) => return Ok(Request::NewKey(key)),
            (None, Some(record)) => record,
            (None, None) => return Err(VerbFailure::input("no record is named")),
        };
        let outputs = self.output.into_iter().map(|path| form(&path).map(|form| (path, form)));
        let signing = |(key, (signer, meaning))| SignatureRequest { key, signer, meaning };
        Ok(Request::Report(Box::new(ReportRequest {
            record,
            script: self.script,
            rig: self.rig,
            earlier: self.earlier,
            outputs: outputs.collect::<Result<_, VerbFailure>>()?,
            force: self.force,
            signing: self.sign.zip(self.signer.zip(self.meaning)).map(signing),
            verify: self.verify,
        })))
    }
}

fn form(path: &Path) -> Result<ReportFormat, VerbFailure> {
    let extension = path.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
    match extension.as_deref() {
        Some("html") => Ok(ReportFormat::Html),
        Some("json") => Ok(ReportFormat::Json),
        Some("csv") => Ok(ReportFormat::Csv),
        _ => Err(VerbFailure::input(format!(
            "'{}' does not say its format: end it in .html, .json or .csv",
            path.display()
        ))),
    }
}
