//! `compile`.

use super::values;
use crate::compile::{ImageFormat, Request};
use clap::{Args, ValueEnum};
use pulsewright_files::image::ImageContent;
use std::path::PathBuf;

/// Make a compact image of a script or of a rig, which a microcontroller keeps in flash and plays with the same bits.
///
/// Titles, notes, names of steps and expectations stay behind: the signal does not need them.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  pulsewright compile examples/ward-round.json -o ward-round.pwi\n  \
    pulsewright compile examples/ward-round.json --format c -o ward_round.h\n  \
    pulsewright compile --rig examples/rig/bench.json -o bench.pwr")]
pub struct CompileFlags {
    /// The script; - is standard input.
    #[arg(required_unless_present = "rig", conflicts_with = "rig")]
    script: Option<PathBuf>,
    /// The description of a rig in place of a script: its wiring, for the codes of its converters.
    #[arg(long, value_name = "RIG", conflicts_with = "seed")]
    rig: Option<PathBuf>,
    /// File to write; - is standard output.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// Form of the output; docs/image.md specifies the bytes.
    #[arg(long, value_enum, default_value = "image")]
    format: FormatWord,
    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
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
    /// A Rust constant of the bytes, named after the input's file.
    Rust,
    /// A C constant of the bytes, named after the input's file.
    C,
}

impl CompileFlags {
    /// The request.
    pub fn request(self) -> Request {
        let format = match self.format {
            FormatWord::Image => ImageFormat::Image,
            FormatWord::Rust => ImageFormat::Rust,
            FormatWord::C => ImageFormat::C,
        };
        let holds = if self.rig.is_some() { ImageContent::Rig } else { ImageContent::Script };
        // One of the two is there: clap requires it.
        let input = self.rig.or(self.script).unwrap_or_default();
        Request { input, holds, output: self.output, format, seed: self.seed, force: self.force }
    }
}
