//! `schema`: the JSON Schema of scripts.

use crate::diagnostics::{Outcome, print};
use std::io::Write;

/// Prints the schema.
pub fn run() -> Outcome {
    print(|out| writeln!(out, "{:#}", pulsewright_script::schema()))
}
