//! Recordings by the ending of their file's name.

use crate::recording::{FileBytes, Recording, RecordingError};
use crate::unit::in_mv;
use crate::{csv, edf, wav, wfdb};
use std::path::Path;

/// Endings of files whose numbers have no unit of their own.
const UNSCALED: [&str; 2] = ["csv", "wav"];

/// The meaning of numbers in files that do not say it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NumberMeaning {
    /// mV of 1 in a table (1 without it), or of a stored number of a WAV file, which needs it.
    pub scale_mv: Option<f64>,
    /// Rows a second of a table without times.
    pub rate_hz: Option<f64>,
}

/// Reads a recording, whose files' bytes `bytes` gives: `.hea` is the header of a waveform-database record, `.edf` is EDF or EDF+
/// without interruptions, `.csv` a table with times in `time_s`, `.wav` is WAV.
///
/// # Errors
/// Files that can't be read or have a fault, another ending, a scale where the file has units, no scale for WAV.
pub fn open(path: &Path, meaning: NumberMeaning, bytes: &FileBytes<'_>) -> Result<Recording, RecordingError> {
    let NumberMeaning { scale_mv, rate_hz } = meaning;
    let wrong = |what: String| RecordingError::Content { path: path.to_owned(), what };
    let ending = path.extension().map_or(String::new(), |ending| ending.to_string_lossy().to_ascii_lowercase());
    if scale_mv.is_some() && !UNSCALED.contains(&ending.as_str()) {
        return Err(wrong("it has units of its own; scale_mv is for .csv and .wav".to_owned()));
    }
    match (ending.as_str(), scale_mv) {
        ("hea", _) => wfdb::read_by(path, bytes).map(in_millivolts),
        ("edf", _) => edf::parse(&bytes(path)?).map_err(wrong),
        ("csv", scale_mv) => csv::parse(bytes(path)?, scale_mv.unwrap_or(1.0), rate_hz).map_err(wrong),
        ("wav", Some(scale_mv)) => wav::parse(&bytes(path)?, scale_mv).map_err(wrong),
        ("wav", None) => Err(wrong("a WAV file has no units; \"scale_mv\" says the mV of a stored number".to_owned())),
        _ => Err(wrong("not a recording that is read: .hea, .edf, .csv or .wav".to_owned())),
    }
}

/// The same with its potentials in mV.
fn in_millivolts(mut recording: Recording) -> Recording {
    for channel in &mut recording.channels {
        if let Some(factor) = in_mv(&channel.unit) {
            "mV".clone_into(&mut channel.unit);
            if factor != 1.0 {
                channel.samples.iter_mut().for_each(|sample| *sample = (factor * f64::from(*sample)) as f32);
            }
        }
    }
    recording
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(name: &str, content: &[u8], scale_mv: Option<f64>) -> Result<Recording, String> {
        let meaning = NumberMeaning { scale_mv, rate_hz: None };
        open(Path::new(name), meaning, &|_| Ok(content.to_vec())).map_err(|error| error.to_string())
    }

    /// Name, unit, highest value, samples in a record.
    type Signal<'a> = (&'a str, &'a str, &'a str, &'a str);

    /// A header and records of 2 samples of each signal: name, unit, physical and digital range.
    fn edf(records: &str, kind: &str, signals: &[Signal<'_>], samples: &[i16]) -> Vec<u8> {
        let mut text = format!(
            "{:<8}{:<80}{:<80}{:<16}{:<8}{kind:<44}{records:<8}{:<8}{:<4}",
            0,
            "X",
            "X",
            "",
            0,
            "0.5",
            signals.len()
        );
        let mut column = |width: usize, of: &dyn Fn(&Signal<'_>) -> String| {
            signals.iter().for_each(|signal| text += &format!("{:<width$}", of(signal)));
        };
        column(16, &|signal| signal.0.to_owned());
        column(80, &|_| String::new());
        column(8, &|signal| signal.1.to_owned());
        column(8, &|signal| format!("-{}", signal.2));
        column(8, &|signal| signal.2.to_owned());
        column(8, &|_| "-100".to_owned());
        column(8, &|_| "100".to_owned());
        column(80, &|_| String::new());
        column(8, &|signal| signal.3.to_owned());
        column(32, &|_| String::new());
        text.into_bytes().into_iter().chain(samples.iter().flat_map(|sample| sample.to_le_bytes())).collect()
    }

    #[test]
    fn signals_of_an_edf_file_at_the_rate_of_the_leads() {
        let signals = [
            ("EDF Annotations", "", "1", "1"),
            ("ECG II", "uV", "5000", "2"),
            ("SpO2", "%", "100", "1"),
            ("ART", "mmHg", "200", "2"),
        ];
        let found = read("x.edf", &edf("2", "EDF+C", &signals, &[7, 10, -20, 9, 50, 60, 7, 30, 40, 9, 70, 80]), None);
        let found = found.expect("a recording");
        assert_eq!((found.rate_hz, found.names().as_str()), (4.0, "ECG II, ART"));
        assert_eq!(
            (found.channels[0].unit.as_str(), found.channels[0].samples.as_slice()),
            ("mV", &[0.5, -1.0, 1.5, 2.0][..])
        );
        assert_eq!(found.channels[1].samples, [100.0, 120.0, 140.0, 160.0]);
        // Data after the records that are announced, and a number of records that is not.
        let one = [7, 10, -20, 9, 50, 60];
        for (records, samples) in [("1", 2), ("-1", 4)] {
            let found = read("x.edf", &edf(records, "EDF+C", &signals, &[one, one].concat()), None);
            assert_eq!(found.expect("a recording").frames(), samples, "{records} records");
        }
        for (records, kind, part) in [("3", "EDF+C", "3 records announced, 2 there"), ("2", "EDF+D", "interrupted")] {
            let bytes = edf(records, kind, &signals, &[0; 12]);
            assert!(read("x.edf", &bytes, None).expect_err(kind).contains(part));
        }
        assert!(read("x.edf", b"0       X", None).expect_err("cut").contains("cut off"));
    }

    #[test]
    fn columns_of_a_table() {
        let found =
            read("x.csv", b"# note\ntime_s,II,V1\n0,1,2\n0.004,3,4\n0.008,5,6\n", Some(0.5)).expect("a recording");
        assert_eq!((found.rate_hz, found.names().as_str()), (250.0, "II, V1"));
        assert_eq!(found.channels[1].samples, [1.0, 2.0, 3.0]);
        let meaning = NumberMeaning { scale_mv: None, rate_hz: Some(200.0) };
        let found = open(Path::new("x.csv"), meaning, &|_| Ok(b"II\n0.5\n-1\n".to_vec())).expect("a recording");
        assert_eq!((found.rate_hz, found.channels[0].samples.as_slice()), (200.0, &[0.5, -1.0][..]));
        let found = read("x.csv", b"time_s;II\n0;1,5\n0,01;2\n", None).expect("decimal commas");
        assert_eq!((found.rate_hz, found.channels[0].samples.as_slice()), (100.0, &[1.5, 2.0][..]));
        for (text, part) in [
            ("II,V1\n1,2\n", "no column time_s"),
            ("time_s,II\n0,1\n0.1,x\n", "line 3: 'x' in column II is not a number"),
            ("time_s,II\n0,1\n0.1\n", "line 3: the line has 1 cell, the first line 2"),
            ("time_s,II\n0,1\n0,2\n", "times do not rise"),
            ("time_s,II\n0,1\n0.1,2\n0.9,2\n1,3\n", "not evenly spaced"),
        ] {
            assert!(read("x.csv", text.as_bytes(), None).expect_err(text).contains(part), "{text}");
        }
    }

    #[test]
    fn channels_of_a_wav_file_need_a_scale() {
        let spec =
            hound::WavSpec { channels: 2, sample_rate: 500, bits_per_sample: 16, sample_format: SampleFormat::Int };
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a writer");
        [1_i16, -2, 3, -4].iter().for_each(|sample| writer.write_sample(*sample).expect("written"));
        writer.finalize().expect("written");
        let found = read("x.wav", bytes.get_ref(), Some(0.5)).expect("a recording");
        assert_eq!((found.rate_hz, found.names().as_str()), (500.0, "1, 2"));
        assert_eq!(found.channels[1].samples, [-1.0, -2.0]);
        assert!(read("x.wav", bytes.get_ref(), None).expect_err("no scale").contains("scale_mv"));
        assert!(read("x.edf", b"", Some(1.0)).expect_err("a scale").contains("units of its own"));
        assert!(read("x.mp3", b"", None).expect_err("a form").contains("not a recording"));
    }

    use hound::SampleFormat;
}
