//! `schema`: the JSON Schema of documents.

use crate::args::{Schema, SchemaWord};
use crate::diagnostics::{Outcome, print_document};
use std::io::Write;

/// Prints a schema.
pub fn run(schema: &Schema) -> Outcome {
    let schema = match schema.document {
        SchemaWord::Script => pulsewright_script::schema(),
        SchemaWord::Rig => pulsewright_rig::schema::schema(),
    };
    print_document(|out| writeln!(out, "{schema:#}"))
}
