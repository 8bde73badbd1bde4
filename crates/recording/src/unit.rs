//! Units of potentials.

/// mV of a unit of potential, by its name.
pub(crate) fn in_mv(unit: &str) -> Option<f64> {
    match unit.trim().to_ascii_lowercase().as_str() {
        "mv" => Some(1.0),
        "uv" | "\u{b5}v" | "\u{3bc}v" => Some(0.001),
        "v" => Some(1000.0),
        _ => None,
    }
}
