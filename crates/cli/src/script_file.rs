//! Reading the script that an argument names.

use crate::diagnostics::Failure;
use pulsewright_files::atomic::reason;
use pulsewright_script::{Document, read};
use std::fs::File;
use std::io;
use std::path::Path;

/// The script in the file at `path`; `-` is standard input.
pub fn load(path: &Path) -> Result<Document, Failure> {
    let document = if path == Path::new("-") {
        read(io::stdin().lock(), "standard input")
    } else {
        let name = path.display().to_string();
        let file =
            File::open(path).map_err(|error| Failure::input(format!("cannot read {name}: {}", reason(&error))))?;
        read(file, &name)
    };
    document.map_err(|problems| Failure::Script(Box::new(problems)))
}
