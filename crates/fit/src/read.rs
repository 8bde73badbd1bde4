//! Recordings: leads of the standard twelve, in mV.
//!
//! The name decides the form: `.hea` (or no ending) is a record of the open waveform database, `.edf` is EDF, `.csv` is CSV. Signals
//! with other names than those of leads are left out.

mod csv;
mod edf;
mod wfdb;

use crate::leads;
use pulsewright_core::frame::Lead;
use pulsewright_text::source::{self, Unreadable};
use std::path::{Path, PathBuf};

/// Largest file, bytes; in memory its numbers take up to four times as much.
const MOST_BYTES: u64 = 1 << 28;
/// Lowest and highest frame rate.
const RATES_HZ: std::ops::RangeInclusive<f64> = 100.0..=10_000.0;

/// A lead of a recording.
#[derive(Clone, Debug)]
pub struct Signal {
    /// The lead.
    pub lead: Lead,
    /// Its name in the file.
    pub name: String,
    /// Samples, mV.
    pub mv: Vec<f64>,
}

/// Leads of a recording, all of one length.
#[derive(Clone, Debug)]
pub struct Recording {
    /// Samples a second.
    pub hz: f64,
    /// The leads, at least one.
    pub leads: Vec<Signal>,
}

impl Recording {
    /// Samples of each lead.
    pub fn samples(&self) -> usize {
        self.leads.first().map_or(0, |lead| lead.mv.len())
    }

    /// The same with these leads alone.
    ///
    /// # Errors
    /// A lead that the recording does not have, and those that it has.
    pub fn with_leads(mut self, wanted: &[Lead]) -> Result<Recording, String> {
        let has: Vec<&str> = self.leads.iter().map(|signal| leads::id(signal.lead)).collect();
        if let Some(absent) = wanted.iter().find(|lead| !self.leads.iter().any(|signal| signal.lead == **lead)) {
            return Err(format!("the recording has no lead {}; it has {}", leads::id(*absent), has.join(", ")));
        }
        self.leads.retain(|signal| wanted.contains(&signal.lead));
        Ok(self)
    }
}

/// Why a recording can't be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// A file that can't be read.
    #[error(transparent)]
    File(#[from] Unreadable),
    /// A file with a fault.
    #[error("{}: {what}", source::name(.path))]
    Content {
        /// The file.
        path: PathBuf,
        /// The fault.
        what: String,
    },
}

/// Reads a recording; `hz` is the frame rate of a CSV without times.
///
/// # Errors
/// A file that can't be read or has a fault, no lead, leads of several rates.
pub fn recording(path: &Path, hz: Option<f64>) -> Result<Recording, ReadError> {
    let fault = |what: String| ReadError::Content { path: path.to_owned(), what };
    let form = path.extension().map_or(String::new(), |ending| ending.to_string_lossy().to_ascii_lowercase());
    let read = match form.as_str() {
        "csv" => csv::parse(&source::file(path, MOST_BYTES)?, hz).map_err(fault)?,
        "edf" => edf::parse(&source::file(path, MOST_BYTES)?).map_err(fault)?,
        "" | "hea" | "dat" => wfdb::read(&path.with_extension("hea"))?,
        _ => return Err(fault("not a recording: .hea, .edf or .csv".to_owned())),
    };
    let Recording { hz, leads } = &read;
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

/// Adds a lead, unless its name is none or the lead is there already.
fn add(leads: &mut Vec<Signal>, name: &str, mv: Vec<f64>) {
    if let Some(lead) = leads::named(name)
        && !leads.iter().any(|signal| signal.lead == lead)
    {
        leads.push(Signal { lead, name: name.trim().to_owned(), mv });
    }
}

/// mV of a unit, by its name.
fn mv_of(unit: &str) -> Option<f64> {
    match unit.trim().to_ascii_lowercase().as_str() {
        "" | "mv" => Some(1.0),
        "uv" | "µv" | "\u{3bc}v" => Some(0.001),
        "v" => Some(1000.0),
        _ => None,
    }
}
