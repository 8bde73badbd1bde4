//! `check`, `schema` and `completions`.

use crate::schema::Kind;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Validate scripts and print their timelines.
#[derive(Args)]
pub struct Check {
    /// The scripts; - reads one from standard input.
    #[arg(required = true, value_name = "SCRIPT")]
    pub scripts: Vec<PathBuf>,
}

/// Print the JSON Schema of scripts or rigs, for editors and other checkers.
#[derive(Args)]
pub struct Schema {
    /// Of which documents.
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

impl Schema {
    /// The kind of document.
    pub fn request(self) -> Kind {
        match self.document {
            SchemaWord::Script => Kind::Script,
            SchemaWord::Rig => Kind::Rig,
        }
    }
}

/// Print the completions of a shell.
#[derive(Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}
