//! `compile`.

use crate::compile::{Format, Request};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Make a compact image of a script, which a microcontroller keeps in flash and plays with the same bits.
///
/// Titles, notes, names of steps and expectations stay behind: the signal does not need them.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  pulsewright compile examples/ward-round.json -o ward-round.pwi\n  \
    pulsewright compile examples/ward-round.json --format c -o ward_round.h")]
pub struct Compile {
    /// The script; - is standard input.
    script: PathBuf,
    /// File to write; - is standard output.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// Form of the output; docs/image.md specifies the bytes.
    #[arg(long, value_enum, default_value = "image")]
    format: FormatWord,
    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER")]
    seed: Option<u64>,
    /// Overwrite a file that is there.
    #[arg(long)]
    force: bool,
}

/// A form of an image.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FormatWord {
    /// The bytes.
    Image,
    /// A Rust constant of the bytes, named after the script's file.
    Rust,
    /// A C constant of the bytes, named after the script's file.
    C,
}

impl Compile {
    /// The request.
    pub fn request(self) -> Request {
        let format = match self.format {
            FormatWord::Image => Format::Image,
            FormatWord::Rust => Format::Rust,
            FormatWord::C => Format::C,
        };
        Request { script: self.script, output: self.output, format, seed: self.seed, force: self.force }
    }
}
