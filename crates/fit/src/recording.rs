//! A recording in memory, and why one can't be read.

use crate::leads;
use pulsewright_core::frame::Lead;
use pulsewright_text::source;
use std::path::PathBuf;

/// A lead of a recording.
#[derive(Clone, Debug)]
pub struct LeadSignal {
    /// The lead.
    pub lead: Lead,
    /// Its name in the file.
    pub name: String,
    /// Samples, mV.
    pub mv: Vec<f64>,
}

/// Leads of a recording, all of one length.
#[derive(Clone, Debug)]
pub struct LeadRecording {
    /// Samples a second.
    pub hz: f64,
    /// The leads, at least one.
    pub leads: Vec<LeadSignal>,
}

impl LeadRecording {
    /// Samples of each lead.
    pub fn samples(&self) -> usize {
        self.leads.first().map_or(0, |lead| lead.mv.len())
    }

    /// The same with these leads alone.
    ///
    /// # Errors
    /// A lead that the recording does not have, and those that it has.
    pub fn with_leads(mut self, wanted: &[Lead]) -> Result<LeadRecording, String> {
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
pub enum FitReadError {
    /// A file that can't be read, or that has a fault.
    #[error(transparent)]
    Record(#[from] pulsewright_recording::RecordingError),
    /// A file without leads that can be fitted.
    #[error("{}: {what}", source::name(.path))]
    Content {
        /// The file.
        path: PathBuf,
        /// The fault.
        what: String,
    },
}

/// Adds a lead, unless its name is none or the lead is there already.
pub(crate) fn add(leads: &mut Vec<LeadSignal>, name: &str, mv: Vec<f64>) {
    if let Some(lead) = leads::named(name)
        && !leads.iter().any(|signal| signal.lead == lead)
    {
        leads.push(LeadSignal { lead, name: name.trim().to_owned(), mv });
    }
}
