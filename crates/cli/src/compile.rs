//! `compile`: a script as a compact image for a microcontroller.

use crate::diagnostics::{Failure, Outcome, print_document};
use crate::output::claim;
use crate::script_file::load;
use pulsewright_core::script::Script;
use pulsewright_files::image::{bytes, c_constant, rust_constant};
use std::io::Write;
use std::path::{Path, PathBuf};

/// An image to make.
pub struct Request {
    /// The script; `-` is standard input.
    pub script: PathBuf,
    /// File to write; `-` is standard output.
    pub output: PathBuf,
    /// Form of the image.
    pub format: Format,
    /// Seed in place of the script's.
    pub seed: Option<u64>,
    /// Whether a file that is there may be replaced.
    pub force: bool,
}

/// A form of an image.
pub enum Format {
    /// The bytes.
    Image,
    /// A Rust constant of the bytes, named after the script's file.
    Rust,
    /// A C constant of the bytes, named after the script's file.
    C,
}

/// Compiles the script.
pub fn run(args: Request) -> Outcome {
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
