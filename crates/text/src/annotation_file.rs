//! Open waveform-database annotation files (the 16-bit form that `.atr` files use), with times in frames.
//!
//! Little-endian 16-bit words: 6 bits of type above 10 bits of value. For an annotation the value is the
//! time since the one before, in frames. Types with other meaning: SKIP (59) adds a 32-bit time (high half
//! first) before the next annotation; NUM, SUB, CHN (60 to 62) and AUX (63: value bytes of text, padded to
//! an even count) say more about the annotation before. A zero word ends the file.

use crate::annotation::{AUX, CHN, NUM, SKIP, SUB};
use crate::table::{InputPosition, TableProblem};

/// Text of the note in which a file may state its own frame rate.
const RESOLUTION_NOTE: &str = "## time resolution: ";

/// One annotation.
#[derive(Clone, Debug, PartialEq)]
pub struct FileAnnotation {
    /// Its time, frames.
    pub frame: i64,
    /// Number of its code.
    pub number: u8,
    /// Its subtype; 0 where the file gives none.
    pub subtype: i8,
    /// Its text.
    pub aux: String,
    /// Where it stands in the file, bytes.
    pub byte: usize,
}

/// The annotations of a file, in its order.
///
/// # Errors
/// The byte at which it is cut off or is no annotation file.
pub fn read(bytes: &[u8]) -> Result<Vec<FileAnnotation>, TableProblem> {
    let mut found: Vec<FileAnnotation> = Vec::new();
    let mut frame = 0_i64;
    let mut at = 0;
    loop {
        let byte = at;
        let truncated =
            || TableProblem::new(InputPosition::Byte(byte), "the file ends in the middle: no end mark (truncated?)");
        let take = |offset: usize| -> Result<u16, TableProblem> {
            let pair = bytes.get(offset..offset + 2).ok_or_else(truncated)?;
            Ok(u16::from_le_bytes([pair[0], pair[1]]))
        };
        let word = take(at)?;
        at += 2;
        let (kind, value) = (word >> 10, word & 0x3ff);
        if word == 0 {
            return Ok(found);
        }
        let orphan = || {
            TableProblem::new(
                InputPosition::Byte(byte),
                format!("type {kind} says more about an annotation, but none came before"),
            )
        };
        match kind {
            SKIP => {
                let (high, low) = (take(at)?, take(at + 2)?);
                at += 4;
                let skip = (i32::from(high as i16) << 16) | i32::from(low);
                frame += i64::from(skip);
            }
            // Number and channel of an annotation are not used.
            NUM | CHN => {}
            SUB => found.last_mut().ok_or_else(orphan)?.subtype = value as u8 as i8,
            AUX => {
                let length = usize::from(value);
                let text = bytes.get(at..at + length).ok_or_else(truncated)?;
                found.last_mut().ok_or_else(orphan)?.aux = String::from_utf8_lossy(text).into_owned();
                at += length + length % 2;
            }
            50..=58 => {
                return Err(TableProblem::new(
                    InputPosition::Byte(byte),
                    format!("annotation type {kind} does not exist (not an annotation file?)"),
                ));
            }
            _ => {
                frame += i64::from(value);
                // Type 0 with a value only moves the time on.
                if kind != 0 {
                    found.push(FileAnnotation { frame, number: kind as u8, subtype: 0, aux: String::new(), byte });
                }
            }
        }
    }
}

/// The frame rate that a file notes itself, Hz; `None` where it notes none.
///
/// # Errors
/// A note that is no number.
pub fn rate_hz(all: &[FileAnnotation]) -> Result<Option<f64>, TableProblem> {
    let noted = all.iter().find_map(|one| one.aux.strip_prefix(RESOLUTION_NOTE)).map(|text| {
        let text = text.trim_end_matches('\0').trim();
        text.parse::<f64>()
            .map_err(|_| TableProblem::new(InputPosition::Whole, format!("time resolution '{text}' is not a number")))
    });
    noted.transpose()
}
