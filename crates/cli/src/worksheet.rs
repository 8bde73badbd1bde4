//! `worksheet`: a page to fill in at the bench.

use crate::diagnostics::{VerbFailure, VerbOutcome};
use crate::output::claim;
use crate::record_files;
use pulsewright_record::worksheet::page;
use std::path::PathBuf;

/// A worksheet to make.
pub struct Request {
    /// The script.
    pub script: PathBuf,
    /// Page to write.
    pub output: PathBuf,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Seed in place of the script's.
    pub seed: Option<u64>,
    /// Whether a page that is there may be replaced.
    pub force: bool,
}

/// Makes the page.
pub fn run(args: Request) -> VerbOutcome {
    let inputs = args.rig.iter().chain([&args.script]).map(PathBuf::as_path);
    let set = claim(&[&args.output], inputs, args.force)?;
    let (document, plan) = record_files::plan(&args.script, args.rig.as_deref(), args.seed)?;
    set.write(&[(&args.output, page(&plan, &document).as_bytes())]).map_err(VerbFailure::input)
}
