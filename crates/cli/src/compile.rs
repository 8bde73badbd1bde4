//! `compile`: a script or a rig as a compact image for a microcontroller.

use crate::diagnostics::{VerbFailure, VerbOutcome, print_document};
use crate::output::claim;
use crate::rig;
use crate::script_file::load;
use pulsewright_core::script::Script;
use pulsewright_files::image::{ImageContent, bytes, c_constant, rust_constant};
use pulsewright_rig::wiring::wiring;
use std::io::Write;
use std::path::{Path, PathBuf};

/// An image to make.
pub struct Request {
    /// The script or the rig; `-` is standard input.
    pub input: PathBuf,
    /// Which of them it is.
    pub holds: ImageContent,
    /// File to write; `-` is standard output.
    pub output: PathBuf,
    /// Form of the image.
    pub format: ImageFormat,
    /// Seed in place of the script's.
    pub seed: Option<u64>,
    /// Whether a file that is there may be replaced.
    pub force: bool,
}

/// A form of an image.
pub enum ImageFormat {
    /// The bytes.
    Image,
    /// A Rust constant of the bytes, named after the input's file.
    Rust,
    /// A C constant of the bytes, named after the input's file.
    C,
}

/// Compiles the script or the rig.
pub fn run(args: Request) -> VerbOutcome {
    let to_output = args.output == Path::new("-");
    let set = claim(&[&args.output], [args.input.as_path()], args.force)?;
    let image = match args.holds {
        ImageContent::Script => script_image(&args)?,
        ImageContent::Rig => wiring(&rig::load(&args.input)?.1).map_err(VerbFailure::input)?.image().to_vec(),
    };
    let stem = args.input.file_stem().map_or("image".into(), |stem| stem.to_string_lossy());
    let content = match args.format {
        ImageFormat::Image => image,
        ImageFormat::Rust => rust_constant(args.holds, &stem, &image).into_bytes(),
        ImageFormat::C => c_constant(args.holds, &stem, &image).into_bytes(),
    };
    if to_output {
        return print_document(|out| out.write_all(&content));
    }
    set.write(&[(&args.output, &content)]).map_err(VerbFailure::input)
}

fn script_image(args: &Request) -> Result<Vec<u8>, VerbFailure> {
    let mut document = load(&args.input)?;
    if let Some(seed) = args.seed {
        document = document.with_seed(seed);
    }
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(VerbFailure::input)?;
    bytes(&script).map_err(VerbFailure::input)
}
