//! Files to write, claimed before the work. A file is refused that exists, that another process writes, or that the work reads.

use crate::diagnostics::VerbFailure;
use pulsewright_files::atomic::{FileSet, refuse_inputs};
use std::path::Path;

/// Claims `outputs` for work that reads `inputs`; `-` is standard output or input, and no file.
pub fn claim<'i>(
    outputs: &[&Path],
    inputs: impl IntoIterator<Item = &'i Path> + Clone,
    force: bool,
) -> Result<FileSet, VerbFailure> {
    let files: Vec<&Path> = outputs.iter().copied().filter(|path| *path != Path::new("-")).collect();
    refuse_inputs(files.iter().copied(), inputs).map_err(VerbFailure::input)?;
    FileSet::of_files(&files, force).map_err(VerbFailure::input)
}
