//! Images of scripts and rigs for microcontrollers: as bytes, or as the text of a constant that holds them.
//!
//! `docs/image.md` specifies the formats.

use pulsewright_core::image::{self, WriteError};
use pulsewright_core::script::Script;
use std::fmt::Write;

/// Bytes on a line of a constant.
const LINE: usize = 16;

/// The image of a script.
///
/// # Errors
/// A script that does not fit the format.
pub fn bytes(script: &Script<'_>) -> Result<Vec<u8>, WriteError> {
    let mut bytes = Vec::new();
    image::write(script, |part| bytes.extend_from_slice(part))?;
    Ok(bytes)
}

/// The content of an image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImageContent {
    /// A script.
    Script,
    /// The wiring of a rig.
    Rig,
}

impl ImageContent {
    /// Words for it, and the function that reads it.
    fn words(self) -> (&'static str, &'static str) {
        match self {
            ImageContent::Script => ("Image of a script", "pulsewright_core::image::Image::new"),
            ImageContent::Rig => ("Image of a rig", "pulsewright_device::wiring::Wiring::of_image"),
        }
    }
}

/// A Rust constant of an image; `name` becomes a valid Rust name.
pub fn rust_constant(holds: ImageContent, name: &str, image: &[u8]) -> String {
    let name = identifier(name).to_uppercase();
    let (words, reader) = holds.words();
    let mut text = format!("/// {words}, for `{reader}`. Made by `pulsewright compile`.\n");
    text += "#[rustfmt::skip]\n";
    text += &format!("pub static {name}: [u8; {}] = [\n{}];\n", image.len(), lines(image));
    text
}

/// A C constant of an image; `name` becomes a valid C name.
pub fn c_constant(holds: ImageContent, name: &str, image: &[u8]) -> String {
    let name = identifier(name);
    let mut text = format!("/* {}. Made by `pulsewright compile`. */\n", holds.words().0);
    text += &format!("static const unsigned char {name}[{}] = {{\n{}}};\n", image.len(), lines(image));
    text
}

fn lines(image: &[u8]) -> String {
    image.chunks(LINE).fold(String::new(), |mut text, line| {
        text.push_str("   ");
        for byte in line {
            // Writing to a string can't fail.
            let _ = write!(text, " 0x{byte:02x},");
        }
        text + "\n"
    })
}

/// Lower-case letters, digits and underscores, starting with a letter.
fn identifier(name: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '_' };
    let name: String = name.chars().map(plain).collect();
    if name.starts_with(|c: char| c.is_ascii_lowercase()) { name } else { format!("script_{name}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constants_hold_every_byte_under_a_name_that_their_language_takes() {
        let image: Vec<u8> = (0..40).collect();
        let rust = rust_constant(ImageContent::Script, "ward-round 2", &image);
        assert!(rust.contains("pub static WARD_ROUND_2: [u8; 40] = [\n    0x00, 0x01,"), "{rust}");
        let c = c_constant(ImageContent::Script, "12-leads", &image);
        assert!(c.contains("static const unsigned char script_12_leads[40] = {\n"), "{c}");
        for text in [rust, c] {
            let bytes: Vec<u8> = text
                .split(|c: char| !c.is_ascii_alphanumeric())
                .filter_map(|word| u8::from_str_radix(word.strip_prefix("0x")?, 16).ok())
                .collect();
            assert_eq!(bytes, image);
        }
    }
}
