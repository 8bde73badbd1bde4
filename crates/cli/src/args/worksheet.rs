//! `worksheet`.

use super::values;
use crate::diagnostics::VerbFailure;
use crate::worksheet::Request;
use clap::Args;
use std::path::PathBuf;

/// Make a worksheet of a script whose steps say what to expect: one page to fill in at the bench.
///
/// The page holds everything and needs no network. It judges readings as they are entered, times alarms, keeps drafts
/// over a reload, saves a record for `pulsewright report`, and prints.
#[derive(Args, Debug)]
#[command(after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\n\
    Example:\n  pulsewright worksheet examples/plan-adult-monitor.json -o worksheet.html")]
pub struct WorksheetFlags {
    /// The script; docs/script.md specifies the expectations of its steps.
    script: PathBuf,
    /// Page to write, ending in .html.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// Description of the rig with its correction, whose digest goes into the record.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
    seed: Option<u64>,
    /// Overwrite a page that is there.
    #[arg(long)]
    force: bool,
}

impl WorksheetFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        if !self.output.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("html")) {
            return Err(VerbFailure::input(format!("'{}' must be a page: end it in .html", self.output.display())));
        }
        Ok(Request { script: self.script, output: self.output, rig: self.rig, seed: self.seed, force: self.force })
    }
}
