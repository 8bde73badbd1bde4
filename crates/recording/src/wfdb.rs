//! Records of the open waveform database.

use crate::bits;
use crate::header::{SignalLine, signals};
use crate::recording::{FileBytes, LARGEST, RecordedChannel, Recording, RecordingError};
use pulsewright_text::number::counted;
use pulsewright_text::{header, source};
use std::collections::BTreeMap;
use std::path::Path;

/// Reads the record with this header, `NAME.hea`, and the signal files beside it.
///
/// # Errors
/// Files that can't be read, that are cut off, or whose check sum differs; formats other than 16, 24, 32, 80 and 212; records of
/// several segments.
pub fn read(path: &Path) -> Result<Recording, RecordingError> {
    read_by(path, &|path| Ok(source::file(path, LARGEST)?))
}

/// As [`read`]; `bytes` gives those of a file.
///
/// # Errors
/// As [`read`].
pub(crate) fn read_by(path: &Path, bytes: &FileBytes<'_>) -> Result<Recording, RecordingError> {
    let wrong = |what: String| RecordingError::Content { path: path.to_owned(), what };
    let header = bytes(path)?;
    if header.len() as u64 > source::DOCUMENT {
        return Err(wrong(format!("a header is at most {} MiB long", source::DOCUMENT >> 20)));
    }
    let text = source::utf8(&header).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
    let record = header::parse(text).map_err(|problem| wrong(problem.to_string()))?;
    let lines = signals(text).map_err(wrong)?;
    let mut files: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, line) in lines.iter().enumerate() {
        if line.file.contains(['/', '\\', '\0']) || line.file.starts_with('.') {
            return Err(wrong(format!("'{}' is no file beside the header", line.file)));
        }
        files.entry(&line.file).or_default().push(index);
    }
    let mut channels: Vec<Option<RecordedChannel>> = vec![None; lines.len()];
    for (file, indices) in files {
        let place = path.with_file_name(file);
        let inside: Vec<&SignalLine> = indices.iter().filter_map(|index| lines.get(*index)).collect();
        let found = signal_file(&place, bytes(&place)?, &inside, record.frames)?;
        for (index, channel) in indices.into_iter().zip(found) {
            if let Some(place) = channels.get_mut(index) {
                *place = Some(channel);
            }
        }
    }
    let channels: Vec<RecordedChannel> = channels.into_iter().flatten().collect();
    let recording = Recording { rate_hz: record.rate_hz, channels };
    let frames = recording.frames();
    if recording.channels.iter().any(|channel| channel.samples.len() != frames) {
        return Err(wrong("its signal files are of different lengths".to_owned()));
    }
    Ok(recording)
}

/// The signals that a file holds, one sample of each in turn.
fn signal_file(
    path: &Path,
    bytes: Vec<u8>,
    lines: &[&SignalLine],
    frames: Option<i64>,
) -> Result<Vec<RecordedChannel>, RecordingError> {
    let wrong = |what: String| RecordingError::Content { path: path.to_owned(), what };
    let Some(first) = lines.first() else { return Ok(Vec::new()) };
    let format = first.format;
    if lines.iter().any(|line| line.format != format || line.offset != first.offset) {
        return Err(wrong("its signals have different formats".to_owned()));
    }
    let missing = bits::missing(format)
        .ok_or_else(|| wrong(format!("format {format} is not read; 16, 24, 32, 80 and 212 are")))?;
    let offset = usize::try_from(first.offset).unwrap_or(usize::MAX);
    let bytes = bytes.get(offset..).ok_or_else(|| wrong("it ends before its first sample".to_owned()))?;
    let there = bits::count(format, bytes.len()) / lines.len();
    let frames = match frames {
        Some(frames) if frames as u64 > there as u64 => {
            return Err(wrong(format!("{} announced, {there} there (cut off?)", counted(frames as u64, "frame"))));
        }
        Some(frames) => frames as usize,
        None => there,
    };
    if frames == 0 {
        return Err(wrong("no frame".to_owned()));
    }
    let samples = bits::samples(format, bytes);
    let channel = |(place, line): (usize, &&SignalLine)| {
        let codes = || samples.iter().skip(place).step_by(lines.len()).take(frames).copied();
        let sum = codes().fold(0_i16, |sum, code| sum.wrapping_add(code as i16));
        if line.sum.is_some_and(|expected| expected != sum) {
            let what = format!("check sum of signal {} is {sum}, its header says {}", place + 1, line.sum.unwrap_or(0));
            return Err(wrong(what));
        }
        let mut before = 0.0;
        let value = |code: i32| {
            if code != missing {
                before = ((f64::from(code) - f64::from(line.baseline)) / line.gain) as f32;
            }
            before
        };
        Ok(RecordedChannel { name: line.name.clone(), unit: line.unit.clone(), samples: codes().map(value).collect() })
    };
    lines.iter().enumerate().map(channel).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn recordings() -> std::path::PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/recordings")
    }

    #[test]
    fn record_100_is_read() {
        let record = read(&recordings().join("100.hea")).expect("a record");
        assert_eq!((record.rate_hz, record.frames(), record.names()), (360.0, 650_000, "MLII, V5".to_owned()));
        // First samples as the database prints them: 995 and 1011 of 200 a millivolt about 1024.
        assert_eq!(record.channels.iter().map(|channel| channel.samples[0]).collect::<Vec<_>>(), [-0.145, -0.065]);
    }

    #[test]
    fn what_is_cut_off_or_changed_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let header = folder.path().join("r.hea");
        let with = |text: &str, bytes: &[u8]| {
            fs::write(&header, text).expect("written");
            fs::write(folder.path().join("r.dat"), bytes).expect("written");
            read(&header).map(|record| record.channels).map_err(|error| error.to_string())
        };
        let good =
            with("r 2 250 2\nr.dat 16 100 16 0 1 4 0 I\nr.dat 16 100/mmHg 16 0 2 6 0 ART\n", &[1, 0, 2, 0, 3, 0, 4, 0]);
        let good = good.expect("a record");
        assert_eq!((good[0].samples.as_slice(), good[1].samples.as_slice()), (&[0.01, 0.03][..], &[0.02, 0.04][..]));
        let held = with("r 1 250\nr.dat 16 1\n", &[5, 0, 0, 0x80, 7, 0]).expect("a record");
        assert_eq!(held[0].samples, [5.0, 5.0, 7.0]);
        for (text, bytes, part) in [
            ("r 1 250 3\nr.dat 16 1\n", &[1, 0, 2, 0][..], "3 frames announced, 2 there"),
            ("r 1 250\nr.dat 16 1 16 0 1 9\n", &[1, 0, 2, 0], "check sum of signal 1 is 3, its header says 9"),
            ("r 1 250\nr.dat 61 1\n", &[1, 0], "format 61 is not read"),
            ("r 1 250\n../r.dat 16 1\n", &[1, 0], "is no file beside the header"),
            ("r 1 250\nx.dat 16 1\n", &[1, 0], "No such file"),
            ("r 1 250\nr.dat 16+9 1\n", &[1, 0], "ends before its first sample"),
            ("r 2 250\nr.dat 16 1\nr.dat 80 1\n", &[1, 0], "different formats"),
            ("r 1 250\nr.dat 16 1\n", &[], "no frame"),
            ("r 1 0\nr.dat 16 1\n", &[1, 0], "frame rate"),
        ] {
            let message = with(text, bytes).expect_err(text);
            assert!(message.contains(part), "{text}: {message}");
        }
    }
}
