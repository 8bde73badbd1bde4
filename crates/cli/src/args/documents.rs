//! `check`, `schema` and `completions`.

use crate::schema::SchemaKind;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Validate scripts and print their timelines.
#[derive(Args)]
pub struct CheckFlags {
    /// The scripts; - reads one from standard input.
    #[arg(required = true, value_name = "SCRIPT")]
    pub scripts: Vec<PathBuf>,
}

/// Print the JSON Schema of scripts or rigs, for editors and other checkers.
#[derive(Args)]
pub struct SchemaFlags {
    /// Kind of document.
    #[arg(value_enum, default_value = "script")]
    document: SchemaWord,
}

/// A kind of document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaWord {
    /// Scripts.
    Script,
    /// Rigs.
    Rig,
}

impl SchemaFlags {
    /// The kind of document.
    pub fn request(self) -> SchemaKind {
        match self.document {
            SchemaWord::Script => SchemaKind::Script,
            SchemaWord::Rig => SchemaKind::Rig,
        }
    }
}

/// Print the completions of a shell.
#[derive(Args)]
pub struct CompletionsFlags {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}
