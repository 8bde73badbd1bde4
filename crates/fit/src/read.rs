//! Recordings: leads of the standard twelve, in mV.
//!
//! The name decides the form: `.hea` (or no ending) is a record of the open waveform database, `.edf` is EDF, `.csv` is CSV. Signals
//! with other names than those of leads are left out, and in EDF leads of another rate than the first potential's.

use crate::leads;
use crate::recording::{FitReadError, LeadRecording, add};
use pulsewright_recording::{LARGEST, NumberMeaning, open};
use pulsewright_text::source;
use std::path::Path;

/// Lowest and highest frame rate.
const RATES_HZ: std::ops::RangeInclusive<f64> = 100.0..=10_000.0;

/// Reads a recording; `hz` is the frame rate of a CSV without times.
///
/// # Errors
/// A file that can't be read or has a fault, no lead.
pub fn recording(path: &Path, hz: Option<f64>) -> Result<LeadRecording, FitReadError> {
    let fault = |what: String| FitReadError::Content { path: path.to_owned(), what };
    let form = path.extension().map_or(String::new(), |ending| ending.to_string_lossy().to_ascii_lowercase());
    let path = match form.as_str() {
        "csv" | "edf" => path.to_owned(),
        "" | "hea" | "dat" => path.with_extension("hea"),
        _ => return Err(fault("the name of a recording ends in .hea, .edf or .csv".to_owned())),
    };
    let meaning = NumberMeaning { scale_mv: None, rate_hz: hz };
    let record = open(&path, meaning, &|file| Ok(source::file(file, LARGEST)?))?;
    let mut leads = Vec::new();
    for channel in &record.channels {
        // In some files of leads the unit is left out.
        if matches!(channel.unit.trim(), "mV" | "") {
            add(&mut leads, &channel.name, channel.samples.iter().copied().map(f64::from).collect());
        }
    }
    let read = LeadRecording { hz: record.rate_hz, leads };
    let LeadRecording { hz, leads } = &read;
    if leads.is_empty() {
        return Err(fault(
            "no lead of the standard twelve in it: I, II, III, aVR, aVL, aVF, V1 to V6, MLII".to_owned(),
        ));
    }
    if !RATES_HZ.contains(hz) {
        return Err(fault(format!("{hz} samples a second; {} to {}", RATES_HZ.start(), RATES_HZ.end())));
    }
    if let Some(wrong) = leads.iter().find(|lead| lead.mv.iter().any(|mv| !mv.is_finite() || mv.abs() > 1e3)) {
        return Err(fault(format!("lead {} has samples that are no potentials of an ECG", leads::id(wrong.lead))));
    }
    Ok(read)
}
