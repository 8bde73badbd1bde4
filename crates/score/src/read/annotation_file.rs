//! Open waveform-database annotation files as annotations in time.

use crate::annotations::{Annotation, Annotations};
use crate::codes::code_of_number;
use crate::instant::RecordInstant;

use pulsewright_text::annotation_file;
use pulsewright_text::header::Header;
use pulsewright_text::table::{InputPosition, TableProblem};

/// Reads an annotation file.
///
/// `rate_hz` goes before the note in the file, and that before the header. An error names the byte.
pub fn parse(bytes: &[u8], rate_hz: Option<f64>, header: Option<Header>) -> Result<Annotations, TableProblem> {
    let raw = annotation_file::read(bytes)?;
    let rate_hz = match (rate_hz, annotation_file::rate_hz(&raw)?, header) {
        (Some(rate_hz), _, _) | (None, Some(rate_hz), _) => rate_hz,
        (None, None, Some(header)) => header.rate_hz,
        (None, None, None) => {
            return Err(TableProblem::new(
                InputPosition::Whole,
                "times are in frames, but no frame rate is given and no header (.hea) stands beside the file",
            ));
        }
    };
    let instant = |frame: i64, place: InputPosition| {
        RecordInstant::from_frame(frame, rate_hz)
            .ok_or_else(|| TableProblem::new(place, format!("frame {frame} at {rate_hz} Hz is out of range")))
    };
    let mut annotations = Vec::with_capacity(raw.len());
    for item in raw {
        let Some(code) = code_of_number(item.number) else {
            continue;
        };
        let at = instant(item.frame, InputPosition::Byte(item.byte))?;
        annotations.push(Annotation { at, code, subtype: item.subtype, aux: item.aux });
    }
    let mut all = Annotations::from_annotations(annotations, true);
    // The header counts in signal frames, which need not be the resolution of the annotations.
    if let Some(Header { rate_hz, frames: Some(frames) }) = header {
        all.end = RecordInstant::from_frame(frames, rate_hz);
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_text::annotation::{AUX, CHN, NUM, SKIP, SUB};

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
        check(&[], InputPosition::Byte(0), "truncated");
        check(&file(&[word(1, 10)]), InputPosition::Byte(2), "truncated");
        check(&[0x0a, 0x04, 0x00], InputPosition::Byte(2), "truncated");
        check(&file(&[word(1, 10), word(SKIP, 0), [1, 0]]), InputPosition::Byte(2), "truncated");
        check(&file(&[word(1, 10), word(AUX, 9), [1, 0]]), InputPosition::Byte(2), "truncated");
        check(&file(&[word(SUB, 1), [0, 0]]), InputPosition::Byte(0), "none came before");
        check(&file(&[word(1, 1), word(55, 1), [0, 0]]), InputPosition::Byte(2), "does not exist");
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
