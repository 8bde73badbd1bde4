//! `schema`: the JSON Schema of documents.

use crate::diagnostics::{Outcome, print_document};
use std::io::Write;

/// A kind of document.
#[derive(Clone, Copy)]
pub enum Kind {
    /// Scripts.
    Script,
    /// Rigs.
    Rig,
}

/// Prints a schema.
pub fn run(kind: Kind) -> Outcome {
    let schema = match kind {
        Kind::Script => pulsewright_script::schema(),
        Kind::Rig => pulsewright_rig::schema::schema(),
    };
    print_document(|out| writeln!(out, "{schema:#}"))
}
