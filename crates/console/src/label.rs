//! The label of a piece of equipment: its number as a QR code (ISO/IEC 18004) and in letters, to be printed and stuck on.

use pulsewright_text::fit;
use qrcode::{Color, EcLevel, QrCode};
use std::fmt::Write;

/// Quiet margin around the code, modules: ISO/IEC 18004 asks for 4 (from memory).
const MARGIN: usize = 4;

/// Width and height of the code with its margin, mm.
const CODE_MM: f64 = 22.0;

/// Width of the letters' part, mm.
const LETTERS_MM: f64 = 38.0;

/// Longest number on a label, characters.
const LONGEST: usize = 80;

/// Letters in a line.
const LINE: usize = 16;

/// The label as a drawing in true size; `None` for an empty or a long number.
pub fn svg(asset: &str) -> Option<String> {
    let asset = asset.trim();
    if asset.is_empty() || asset.chars().count() > LONGEST {
        return None;
    }
    // A quarter of the code may be scratched.
    let code = QrCode::with_error_correction_level(asset.as_bytes(), EcLevel::Q).ok()?;
    let (width, colours) = (code.width(), code.to_colors());
    let side = width + 2 * MARGIN;
    let mut dark = String::new();
    for (row, line) in colours.chunks(width).enumerate() {
        for (column, _) in line.iter().enumerate().filter(|(_, colour)| **colour == Color::Dark) {
            // Writing to a string cannot fail.
            let _ = write!(dark, "M{} {}h1v1h-1z", column + MARGIN, row + MARGIN);
        }
    }
    let letters: Vec<char> = asset.chars().collect();
    let lines = letters.chunks(LINE).enumerate().map(|(index, line)| {
        let text = fit::page(&line.iter().collect::<String>());
        format!(r#"<text x="{CODE_MM}" y="{}">{text}</text>"#, 6.0 + 4.0 * index as f64)
    });
    let (lines, wide) = (lines.collect::<String>(), CODE_MM + LETTERS_MM);
    let unit = CODE_MM / side as f64;
    Some(format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{CODE_MM}mm" viewBox="0 0 {wide} {CODE_MM}">
<rect width="100%" height="100%" fill="#fff"/>
<path transform="scale({unit})" d="{dark}" fill="#000" shape-rendering="crispEdges"/>
<g font-family="sans-serif" font-size="3.4" font-weight="700" fill="#000">{lines}</g>
</svg>
"##
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_a_drawing_whose_text_is_fit_for_a_page() {
        let drawing = svg("INV-<1> & \"2\"").expect("a label");
        assert!(drawing.contains("INV-&lt;1&gt; &amp; &quot;2&quot;") && drawing.contains(r#"height="22mm""#));
        assert!(svg(" ").is_none() && svg(&"7".repeat(81)).is_none());
    }
}
