//! Reading the script that an argument names.

use crate::diagnostics::VerbFailure;
use pulsewright_script::{Document, MAX_BESIDE_BYTES, Problems, parse_beside};
use pulsewright_text::source;
use std::io;
use std::path::Path;

/// Name of standard input in messages.
const STANDARD_INPUT: &str = "standard input";

/// The script in the file at `path`; `-` is standard input.
pub fn load(path: &Path) -> Result<Document, VerbFailure> {
    let (text, name) = bytes(path)?;
    document(path, &text, &name).map_err(VerbFailure::Script)
}

/// The script of a text that stands at `path`, or would stand there, called `name` in messages.
pub fn document(path: &Path, text: &[u8], name: &str) -> Result<Document, Box<Problems>> {
    parse_beside(text, name, &|file| beside(path, file)).map_err(Box::new)
}

/// The bytes of a file in the folder of the script at `path`.
fn beside(path: &Path, file: &str) -> Result<Vec<u8>, String> {
    if path == Path::new("-") {
        return Err("a script on standard input has no folder".to_owned());
    }
    source::file(&path.with_file_name(file), MAX_BESIDE_BYTES).map_err(|error| error.why())
}

/// The bytes of a document that a person wrote, and its name in messages; `-` is standard input.
pub fn bytes(path: &Path) -> Result<(Vec<u8>, String), VerbFailure> {
    let read = if path == Path::new("-") {
        let text = source::stream(io::stdin().lock(), STANDARD_INPUT, source::DOCUMENT);
        text.map(|text| (text, STANDARD_INPUT.to_owned()))
    } else {
        source::file(path, source::DOCUMENT).map(|text| (text, source::name(path)))
    };
    read.map_err(VerbFailure::input)
}
