//! Open waveform-database annotation files (the 16-bit form that `.atr` files use).
//!
//! Little-endian 16-bit words: 6 bits of type above 10 bits of value. For an annotation the value is the
//! time since the one before, in frames. Types with other meaning: SKIP (59) adds a 32-bit time (high half
//! first) before the next annotation; NUM, SUB, CHN (60 to 62) and AUX (63: value bytes of text, padded to
//! an even count) say more about the annotation before. A zero word ends the file.

use crate::annotations::{Annotation, Annotations};
use crate::codes::code_of_number;
use crate::instant::Instant;

use super::header::Header;
use pulsewright_text::annotation::{AUX, CHN, NUM, SKIP, SUB};
use pulsewright_text::table::{Place, Problem};

/// Text of the note in which a file may state its own frame rate.
const RESOLUTION_NOTE: &str = "## time resolution: ";

/// One annotation with its time still in frames.
struct Raw {
    frame: i64,
    number: u8,
    subtype: i8,
    aux: String,
    byte: usize,
}

/// Reads an annotation file.
///
/// `rate_hz` goes before the note in the file, and that before the header. An error names the byte.
pub fn parse(bytes: &[u8], rate_hz: Option<f64>, header: Option<Header>) -> Result<Annotations, Problem> {
    let raw = words(bytes)?;
    let noted = raw.iter().find_map(|a| a.aux.strip_prefix(RESOLUTION_NOTE)).map(|text| {
        let text = text.trim_end_matches('\0').trim();
        text.parse::<f64>().map_err(|_| Problem::new(Place::Whole, format!("time resolution '{text}' is not a number")))
    });
    let rate_hz = match (rate_hz, noted.transpose()?, header) {
        (Some(rate_hz), _, _) | (None, Some(rate_hz), _) => rate_hz,
        (None, None, Some(header)) => header.rate_hz,
        (None, None, None) => {
            return Err(Problem::new(
                Place::Whole,
                "times are in frames, but no frame rate is given and no header (.hea) stands beside the file",
            ));
        }
    };
    let instant = |frame: i64, place: Place| {
        Instant::from_frame(frame, rate_hz)
            .ok_or_else(|| Problem::new(place, format!("frame {frame} at {rate_hz} Hz is out of range")))
    };
    let mut annotations = Vec::with_capacity(raw.len());
    for item in raw {
        let Some(code) = code_of_number(item.number) else {
            continue;
        };
        let at = instant(item.frame, Place::Byte(item.byte))?;
        annotations.push(Annotation { at, code, subtype: item.subtype, aux: item.aux });
    }
    let mut all = Annotations::from_annotations(annotations, true);
    // The header counts in signal frames, which need not be the resolution of the annotations.
    if let Some(Header { rate_hz, frames: Some(frames) }) = header {
        all.end = Instant::from_frame(frames, rate_hz);
    }
    Ok(all)
}

fn words(bytes: &[u8]) -> Result<Vec<Raw>, Problem> {
    let mut found: Vec<Raw> = Vec::new();
    let mut frame = 0_i64;
    let mut at = 0;
    loop {
        let byte = at;
        let truncated = || Problem::new(Place::Byte(byte), "the file ends in the middle: no end mark (truncated?)");
        let take = |offset: usize| -> Result<u16, Problem> {
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
            Problem::new(Place::Byte(byte), format!("type {kind} says more about an annotation, but none came before"))
        };
        match kind {
            SKIP => {
                let (high, low) = (take(at)?, take(at + 2)?);
                at += 4;
                let skip = (i32::from(high as i16) << 16) | i32::from(low);
                frame += i64::from(skip);
            }
            // Number and channel of an annotation do not enter the scoring.
            NUM | CHN => {}
            SUB => found.last_mut().ok_or_else(orphan)?.subtype = value as u8 as i8,
            AUX => {
                let length = usize::from(value);
                let text = bytes.get(at..at + length).ok_or_else(truncated)?;
                found.last_mut().ok_or_else(orphan)?.aux = String::from_utf8_lossy(text).into_owned();
                at += length + length % 2;
            }
            50..=58 => {
                return Err(Problem::new(
                    Place::Byte(byte),
                    format!("annotation type {kind} does not exist (not an annotation file?)"),
                ));
            }
            _ => {
                frame += i64::from(value);
                // Type 0 with a value only moves the time on.
                if kind != 0 {
                    found.push(Raw { frame, number: kind as u8, subtype: 0, aux: String::new(), byte });
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(kind: u16, value: u16) -> [u8; 2] {
        (kind << 10 | value).to_le_bytes()
    }

    fn file(words: &[[u8; 2]]) -> Vec<u8> {
        words.concat()
    }

    #[test]
    fn all_kinds_of_words() {
        let mut bytes = file(&[word(28, 18), word(AUX, 3)]);
        bytes.extend_from_slice(b"(N\0\0");
        // A jump of 70000 frames: high half first, then the annotation with its own value.
        bytes.extend(file(&[word(SKIP, 0), [1, 0], [0x70, 0x11], word(1, 30)]));
        bytes.extend(file(&[word(14, 10), word(SUB, 0x3ff), word(CHN, 1), word(NUM, 2), word(5, 352), [0, 0]]));
        let all = parse(&bytes, Some(100.0), None).expect("reads");
        let times: Vec<_> = all.beats.iter().map(|b| (b.at.s(), b.code)).collect();
        assert_eq!(times, [(700.48, 'N'), (704.1, 'V')]);
        assert_eq!(all.shutdown.len(), 1, "subtype -1 marks shutdown");
    }

    #[test]
    fn a_file_that_states_its_rate_needs_no_other() {
        let note = b"## time resolution: 250";
        let mut bytes = file(&[word(22, 0), word(AUX, note.len() as u16)]);
        bytes.extend_from_slice(note);
        bytes.push(0);
        bytes.extend(file(&[word(1, 500), [0, 0]]));
        let all = parse(&bytes, None, None).expect("reads");
        assert_eq!(all.beats[0].at.s(), 2.0);
    }

    #[test]
    fn broken_files_say_where() {
        let check = |bytes: &[u8], place, part: &str| {
            let problem = parse(bytes, Some(360.0), None).expect_err("must fail");
            assert_eq!(problem.place, place, "{problem}");
            assert!(problem.what.contains(part), "{problem}");
        };
        check(&[], Place::Byte(0), "truncated");
        check(&file(&[word(1, 10)]), Place::Byte(2), "truncated");
        check(&[0x0a, 0x04, 0x00], Place::Byte(2), "truncated");
        check(&file(&[word(1, 10), word(SKIP, 0), [1, 0]]), Place::Byte(2), "truncated");
        check(&file(&[word(1, 10), word(AUX, 9), [1, 0]]), Place::Byte(2), "truncated");
        check(&file(&[word(SUB, 1), [0, 0]]), Place::Byte(0), "none came before");
        check(&file(&[word(1, 1), word(55, 1), [0, 0]]), Place::Byte(2), "does not exist");
        let no_rate = parse(&file(&[word(1, 1), [0, 0]]), None, None).expect_err("must fail");
        assert!(no_rate.what.contains("frame rate"));
        assert!(parse(&file(&[word(1, 1), [0, 0]]), Some(f64::NAN), None).is_err());
    }

    #[test]
    fn every_cut_of_a_file_is_an_error_or_reads() {
        let bytes = file(&[
            word(28, 18),
            word(AUX, 4),
            [b'(', b'N'],
            [0, 0],
            word(1, 30),
            word(SKIP, 0),
            [1, 0],
            [9, 9],
            word(5, 1),
            [0, 0],
        ]);
        for cut in 0..bytes.len() {
            assert!(parse(&bytes[..cut], Some(360.0), None).is_err(), "cut at {cut}");
        }
        assert!(parse(&bytes, Some(360.0), None).is_ok());
    }
}
