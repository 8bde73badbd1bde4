//! `compile`: a script as a compact image for a microcontroller.

use crate::diagnostics::{Failure, Outcome, print_document};
use crate::output::claim;
use crate::script_file::load;
use clap::{Args, ValueEnum};
use pulsewright_core::script::Script;
use pulsewright_files::image::{bytes, c_constant, rust_constant};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Make a compact image of a script, which a microcontroller keeps in flash and plays with the same bits.
///
/// Titles, notes, names of steps and expectations stay behind: the signal does not need them.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  pulsewright compile examples/ward-round.json -o ward-round.pwi\n  \
    pulsewright compile examples/ward-round.json --format c -o ward_round.h")]
pub struct CompileArgs {
    /// The script; - is standard input.
    script: PathBuf,
    /// File to write; - is standard output.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// Form of the output; docs/image.md specifies the bytes.
    #[arg(long, value_enum, default_value = "image")]
    format: Format,
    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER")]
    seed: Option<u64>,
    /// Overwrite a file that is there.
    #[arg(long)]
    force: bool,
}

/// A form of an image.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// The bytes.
    Image,
    /// A Rust constant of the bytes, named after the script's file.
    Rust,
    /// A C constant of the bytes, named after the script's file.
    C,
}

/// Compiles the script.
pub fn run(args: &CompileArgs) -> Outcome {
    let to_output = args.output == Path::new("-");
    let set = claim(&[&args.output], [args.script.as_path()], args.force)?;
    let mut document = load(&args.script)?;
    if let Some(seed) = args.seed {
        document = document.with_seed(seed);
    }
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(Failure::input)?;
    let image = bytes(&script).map_err(Failure::input)?;
    let stem = args.script.file_stem().map_or("script".into(), |stem| stem.to_string_lossy());
    let content = match args.format {
        Format::Image => image,
        Format::Rust => rust_constant(&stem, &image).into_bytes(),
        Format::C => c_constant(&stem, &image).into_bytes(),
    };
    if to_output {
        return print_document(|out| out.write_all(&content));
    }
    set.write(&[(&args.output, &content)]).map_err(Failure::input)
}
