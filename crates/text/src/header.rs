//! The record line of an open waveform-database header: frame rate and length.

use crate::table::{InputPosition, TableProblem};

/// Frame rate and length of a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Header {
    /// Frames per second.
    pub rate_hz: f64,
    /// Length in frames; `None` if the header does not say.
    pub frames: Option<i64>,
}

/// Rate that the format prescribes where the record line gives none.
const DEFAULT_RATE_HZ: f64 = 250.0;

/// Reads the record line: name, number of signals, rate, frames.
///
/// # Errors
/// The line that is no record line, or has a rate or length that makes no sense.
pub fn parse(text: &str) -> Result<Header, TableProblem> {
    let line = text.lines().enumerate().find(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    let Some((index, line)) = line else {
        return Err(TableProblem::new(InputPosition::Whole, "no record line"));
    };
    let place = InputPosition::Line(index as u64 + 1);
    let mut fields = line.split_whitespace();
    let name = fields.next().unwrap_or_default();
    let signals = fields.next().unwrap_or_default();
    if name.contains(char::is_control) || signals.parse::<u32>().is_err() {
        return Err(TableProblem::new(
            place,
            "not a header: its record line is a name, the number of signals, a frame rate",
        ));
    }
    let rate_hz = match fields.next() {
        None => DEFAULT_RATE_HZ,
        Some(field) => {
            // The rate may be followed by a counter rate and base: 360/360(0).
            let number = field.split(['/', '(']).next().unwrap_or(field);
            number.parse().ok().filter(|rate: &f64| *rate > 0.0 && *rate <= 1e6).ok_or_else(|| {
                TableProblem::new(place, format!("frame rate '{number}' is not a number above 0, at most 1000000"))
            })?
        }
    };
    let frames = match fields.next() {
        None => None,
        Some(field) => {
            let frames: i64 = field
                .parse()
                .ok()
                .filter(|frames| *frames >= 0)
                .ok_or_else(|| TableProblem::new(place, format!("length '{field}' is not a count of frames")))?;
            (frames > 0).then_some(frames)
        }
    };
    Ok(Header { rate_hz, frames })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn record_lines() {
        let header = |text| parse(text).map(|h| (h.rate_hz, h.frames));
        assert_eq!(header("100 2 360 650000\nx"), Ok((360.0, Some(650_000))));
        assert_eq!(header("# note\n\nr/3 2 128/360(0) 0 12:00:00"), Ok((128.0, None)));
        assert_eq!(header("r 1"), Ok((250.0, None)));
        assert!(header("").is_err());
        assert!(header("\0\0\0\0").is_err());
        assert!(header("\0 1 360").is_err());
        assert!(header("<html> <head> 360").is_err());
        assert!(header("r").is_err());
        assert!(header("r 1 -360 5").is_err());
        assert!(header("r 1 1e40 5").is_err());
        assert!(header("r 1 360 many").is_err());
    }
}
