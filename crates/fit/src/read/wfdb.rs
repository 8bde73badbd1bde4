//! Records of the open waveform database: a header and files of samples in the formats 16, 24, 32, 80 and 212.

use crate::recording::{MOST_BYTES, ReadError, Recording, add, mv_of};
use pulsewright_text::fit;
use pulsewright_text::source;
use std::path::Path;

/// Adu for one unit where the header gives none.
const USUAL_GAIN: f64 = 200.0;

struct Line<'t> {
    file: &'t str,
    format: u32,
    gain: f64,
    baseline: f64,
    mv: Option<f64>,
    name: &'t str,
}

pub(super) fn read(path: &Path) -> Result<Recording, ReadError> {
    let fault = |what: String| ReadError::Content { path: path.to_owned(), what };
    let bytes = source::file(path, MOST_BYTES)?;
    let text = String::from_utf8_lossy(&bytes);
    let mut lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let record: Vec<&str> = lines.next().unwrap_or_default().split_whitespace().collect();
    let count = record.get(1).and_then(|field| field.parse::<usize>().ok()).filter(|count| (1..=1000).contains(count));
    let count = count.ok_or_else(|| fault("not a header: no number of signals".to_owned()))?;
    let hz = record.get(2).map_or(Some(250.0), |field| field.split(['/', '(']).next()?.parse().ok());
    let hz: f64 = hz.ok_or_else(|| fault("no frame rate in the record line".to_owned()))?;
    let signals: Vec<Line<'_>> = lines
        .take(count)
        .map(signal_line)
        .collect::<Option<_>>()
        .ok_or_else(|| fault("a signal line is cut off".to_owned()))?;
    if signals.len() < count {
        return Err(fault(format!("{} signal lines, of {count} signals", signals.len())));
    }
    let mut leads = Vec::new();
    let mut from = 0;
    while let Some(first) = signals.get(from) {
        // Signals of one file follow each other and take turns in it.
        let together = signals.iter().skip(from).take_while(|line| line.file == first.file).count();
        let group = signals.get(from..from + together).unwrap_or_default();
        if group.iter().any(|line| line.format != first.format) {
            return Err(fault(format!("file {} has several formats", fit::line(first.file))));
        }
        if first.file.contains(['/', '\\']) || first.file == ".." {
            return Err(fault(format!("{} is no file beside the header", fit::line(first.file))));
        }
        let data = source::file(&path.with_file_name(first.file), MOST_BYTES)?;
        let samples = samples(&data, first.format)
            .ok_or_else(|| fault(format!("format {} is not read here; 16, 24, 32, 80 and 212 are", first.format)))?;
        for (place, line) in group.iter().enumerate() {
            let Some(mv) = line.mv else { continue };
            let of = |adu: &i32| mv * (f64::from(*adu) - line.baseline) / line.gain;
            add(&mut leads, line.name, samples.iter().skip(place).step_by(together).map(of).collect());
        }
        from += together;
    }
    let shortest = leads.iter().map(|lead| lead.mv.len()).min().unwrap_or(0);
    leads.iter_mut().for_each(|lead| lead.mv.truncate(shortest));
    Ok(Recording { hz, leads })
}

fn signal_line(line: &str) -> Option<Line<'_>> {
    let mut fields = line.split_whitespace();
    let (file, format) = (fields.next()?, fields.next()?);
    // `200(0)/mV`: gain, baseline and unit.
    let gain = fields.next().unwrap_or_default();
    let number = |text: &str| text.parse::<f64>().ok().filter(|value| value.is_finite());
    let (scale, unit) = gain.split_once('/').unwrap_or((gain, "mV"));
    let (gain, baseline) = match scale.split_once('(') {
        Some((gain, rest)) => (gain, number(rest.trim_end_matches(')'))),
        None => (scale, None),
    };
    let zero = fields.nth(1).and_then(number).unwrap_or(0.0);
    Some(Line {
        file,
        // Several samples a frame, skew and offset are not read.
        format: format.parse().unwrap_or(0),
        gain: number(gain).filter(|gain| *gain > 0.0).unwrap_or(USUAL_GAIN),
        baseline: baseline.unwrap_or(zero),
        mv: mv_of(unit),
        name: name_of(line),
    })
}

/// The description: the rest of a line after eight fields.
fn name_of(line: &str) -> &str {
    let mut rest = line.trim();
    for _ in 0..8 {
        let Some((_, after)) = rest.split_once(char::is_whitespace) else { return "" };
        rest = after.trim_start();
    }
    rest.trim_end()
}

/// The samples of a file in order; `None` of a format that is not read.
fn samples(data: &[u8], format: u32) -> Option<Vec<i32>> {
    let three = |bytes: &[u8; 3]| {
        let [low, middle, high] = bytes.map(i32::from);
        (high << 24 | middle << 16 | low << 8) >> 8
    };
    Some(match format {
        16 => data.as_chunks::<2>().0.iter().map(|pair| i16::from_le_bytes(*pair).into()).collect(),
        24 => data.as_chunks::<3>().0.iter().map(three).collect(),
        32 => data.as_chunks::<4>().0.iter().map(|four| i32::from_le_bytes(*four)).collect(),
        80 => data.iter().map(|byte| i32::from(*byte) - 128).collect(),
        // Two samples of 12 bits in three bytes.
        212 => {
            let pairs = data.as_chunks::<3>().0.iter().flat_map(|bytes| {
                let [first, both, second] = bytes.map(i32::from);
                [first | (both & 0x0f) << 8, second | (both & 0xf0) << 4].map(|value| value << 20 >> 20)
            });
            pairs.collect()
        }
        _ => return None,
    })
}
