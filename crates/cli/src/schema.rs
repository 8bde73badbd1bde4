//! `schema`: the JSON Schema of documents.

use crate::diagnostics::{VerbOutcome, print_document};
use std::io::Write;

/// A kind of document.
#[derive(Clone, Copy)]
pub enum SchemaKind {
    /// Scripts.
    Script,
    /// Rigs.
    Rig,
}

/// Prints a schema.
pub fn run(kind: SchemaKind) -> VerbOutcome {
    let schema = match kind {
        SchemaKind::Script => pulsewright_script::schema(),
        SchemaKind::Rig => pulsewright_rig::schema::schema(),
    };
    print_document(|out| writeln!(out, "{schema:#}"))
}
