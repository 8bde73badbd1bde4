//! EDF and EDF+ (Kemp and others 1992, 2003): a header of fixed fields, then records of 16-bit samples.

use crate::recording::{RecordedChannel, Recording};
use crate::unit::in_mv;
use pulsewright_text::number::counted;

/// Bytes of the header, and of the part for each signal.
const HEAD: usize = 256;

/// The name of the signal that holds annotations.
const ANNOTATIONS: &str = "EDF Annotations";

/// The signals of a file that have the rate of the first potential, or of the first signal where there is none. Potentials are in
/// mV.
pub(crate) fn parse(bytes: &[u8]) -> Result<Recording, String> {
    let field = |from: usize, length: usize| -> Result<&str, String> {
        let field = bytes.get(from..from + length).ok_or("the header is cut off")?;
        std::str::from_utf8(field).map(str::trim).map_err(|_| format!("bytes {from} of the header are no text"))
    };
    let number = |from: usize, length: usize| -> Result<f64, String> {
        let text = field(from, length)?;
        text.parse().ok().filter(|value: &f64| value.is_finite()).ok_or(format!("byte {from}: no number in the header"))
    };
    let (records, record_s, count) = (number(236, 8)?, number(244, 8)?, number(252, 4)?);
    if !(1.0..=1000.0).contains(&count) || count.fract() != 0.0 || record_s <= 0.0 {
        return Err("not an EDF file: number of signals or duration of a record".to_owned());
    }
    if field(192, 44)?.starts_with("EDF+D") {
        return Err("an interrupted recording (EDF+D)".to_owned());
    }
    let count = count as usize;
    // Each field of all signals, one after the other.
    let place = |before: usize, length: usize, signal: usize| HEAD + before * count + length * signal;
    let mut signals = Vec::with_capacity(count);
    let mut before = 0;
    for signal in 0..count {
        let of_record = number(place(216, 8, signal), 8)?;
        if !(1.0..=1e6).contains(&of_record) || of_record.fract() != 0.0 {
            return Err(format!("signal {}: {of_record} samples a record", signal + 1));
        }
        let name = field(place(0, 16, signal), 16)?;
        if name != ANNOTATIONS {
            signals.push((signal, name, field(place(96, 8, signal), 8)?, before, of_record as usize));
        }
        before += of_record as usize;
    }
    let potential = signals.iter().find(|(_, _, unit, ..)| in_mv(unit).is_some()).or(signals.first());
    let of_record = potential.map(|(.., of_record)| *of_record).ok_or("no signal but annotations")?;
    let data = bytes.get(HEAD * (count + 1)..).ok_or("the header is cut off")?;
    let there = data.len() / (2 * before);
    if records >= 0.0 && records > there as f64 {
        return Err(format!("{} announced, {there} there (cut off?)", counted(records as u64, "record")));
    }
    // Bytes after the records that are announced are none of them. -1 announces no number.
    let records = if records >= 0.0 { records as usize } else { there };
    let mut channels = Vec::new();
    for (signal, name, unit, before_it, _) in signals.into_iter().filter(|(.., its)| *its == of_record) {
        let [low, high] = [number(place(104, 8, signal), 8)?, number(place(112, 8, signal), 8)?];
        let [digital_low, digital_high] = [number(place(120, 8, signal), 8)?, number(place(128, 8, signal), 8)?];
        if digital_high <= digital_low {
            return Err(format!("signal {}: its digital range is empty", signal + 1));
        }
        let factor = in_mv(unit);
        let step = (high - low) / (digital_high - digital_low);
        let value = |pair: &[u8; 2]| {
            let value = low + step * (f64::from(i16::from_le_bytes(*pair)) - digital_low);
            (factor.unwrap_or(1.0) * value) as f32
        };
        let start = 2 * before_it;
        let parts =
            data.chunks_exact(2 * before).take(records).filter_map(|record| record.get(start..start + 2 * of_record));
        channels.push(RecordedChannel {
            name: name.to_owned(),
            unit: if factor.is_some() { "mV".to_owned() } else { unit.to_owned() },
            samples: parts.flat_map(|part| part.as_chunks::<2>().0).map(value).collect(),
        });
    }
    if records == 0 {
        return Err("no record".to_owned());
    }
    Ok(Recording { rate_hz: of_record as f64 / record_s, channels })
}
