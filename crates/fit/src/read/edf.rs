//! EDF and EDF+ (Kemp and others 1992, 2003): a header of fixed fields, then records of 16-bit samples.

use crate::recording::{Recording, add, mv_of};

/// Bytes of the header, and of the part for each signal.
const HEAD: usize = 256;

pub(super) fn parse(bytes: &[u8]) -> Result<Recording, String> {
    let field = |from: usize, length: usize| -> Result<&str, String> {
        let field = bytes.get(from..from + length).ok_or("the header is cut off")?;
        std::str::from_utf8(field).map(str::trim).map_err(|_| format!("bytes {from} of the header are no text"))
    };
    let number = |from: usize, length: usize| -> Result<f64, String> {
        let text = field(from, length)?;
        text.parse().ok().filter(|value: &f64| value.is_finite()).ok_or(format!("byte {from}: no number in the header"))
    };
    let (count, record_s) = (number(252, 4)?, number(244, 8)?);
    if !(1.0..=1000.0).contains(&count) || count.fract() != 0.0 || record_s <= 0.0 {
        return Err("not an EDF file: number of signals or duration of a record".to_owned());
    }
    let count = count as usize;
    // Each field of all signals, one after the other.
    let place = |before: usize, length: usize, signal: usize| HEAD + before * count + length * signal;
    let mut samples = Vec::with_capacity(count);
    for signal in 0..count {
        let of_record = number(place(216, 8, signal), 8)?;
        if !(1.0..=1e6).contains(&of_record) || of_record.fract() != 0.0 {
            return Err(format!("signal {}: {of_record} samples a record", signal + 1));
        }
        samples.push(of_record as usize);
    }
    let record = 2 * samples.iter().sum::<usize>();
    let data = bytes.get(HEAD * (count + 1)..).ok_or("the header is cut off")?;
    let mut rate = None;
    let mut leads = Vec::new();
    let mut before = 0;
    for (signal, of_record) in samples.into_iter().enumerate() {
        let name = field(place(0, 16, signal), 16)?;
        let start = 2 * before;
        before += of_record;
        if crate::leads::named(name).is_none() {
            continue;
        }
        let Some(unit) = mv_of(field(place(96, 8, signal), 8)?) else { continue };
        let [low, high] = [number(place(104, 8, signal), 8)?, number(place(112, 8, signal), 8)?];
        let [digital_low, digital_high] = [number(place(120, 8, signal), 8)?, number(place(128, 8, signal), 8)?];
        if digital_high <= digital_low {
            return Err(format!("signal {}: its digital range is empty", signal + 1));
        }
        let hz = of_record as f64 / record_s;
        if *rate.get_or_insert(hz) != hz {
            return Err("leads of several rates".to_owned());
        }
        let scale = unit * (high - low) / (digital_high - digital_low);
        let of = |pair: &[u8; 2]| unit * low + scale * (f64::from(i16::from_le_bytes(*pair)) - digital_low);
        let parts = data.chunks_exact(record).filter_map(|record| record.get(start..start + 2 * of_record));
        add(&mut leads, name, parts.flat_map(|part| part.as_chunks::<2>().0).map(of).collect());
    }
    Ok(Recording { hz: rate.unwrap_or(0.0), leads })
}
