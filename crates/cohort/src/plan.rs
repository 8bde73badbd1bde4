//! The plan of a cohort: people, and the signals that each of them gets.
//!
//! ```json
//! {
//!   "version": 1,
//!   "duration_s": 10,
//!   "frame_rate_hz": 500,
//!   "channels": ["I", "II", "V1", "V5"],
//!   "people": {
//!     "seed": 1,
//!     "groups": [
//!       {"name": "sinus", "weight": 9, "rhythm": "sinus", "draw": {"rate_bpm": {"normal": {"mean": 72, "sd": 11}}}},
//!       {"name": "fibrillation", "rhythm": "atrial-fibrillation"}
//!     ],
//!     "draw": {"ecg.gain": {"log_normal": {"median": 1, "sigma": 0.2}}}
//!   }
//! }
//! ```

use crate::error::CohortError;
use crate::people::{Patient, People, PeopleFile};
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::time::FrameRate;
use pulsewright_script::channel_groups::{ChannelGroup, GROUPS};
use pulsewright_script::typed::unknown_of;
use pulsewright_text::{json, source};
use serde::Deserialize;
use serde_json::Value;
use std::path::Path;

/// A plan that holds together.
#[derive(Clone, Debug)]
pub struct CohortPlan {
    /// Its title; may be empty.
    pub title: String,
    /// Length of each signal, s.
    pub duration_s: f64,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Channels of each signal.
    pub channels: Vec<Channel>,
    /// The people.
    pub people: People,
    /// The document as it was read, to distinguish plans.
    pub document: Value,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanFile {
    version: u32,
    #[serde(default)]
    title: String,
    #[serde(default, rename = "notes")]
    _notes: String,
    duration_s: f64,
    #[serde(default = "usual_rate")]
    frame_rate_hz: u32,
    #[serde(default = "twelve_leads")]
    channels: Vec<String>,
    people: PeopleFile,
}

fn usual_rate() -> u32 {
    500
}

fn twelve_leads() -> Vec<String> {
    Lead::ALL.iter().map(|lead| Channel::Lead(*lead).id().to_owned()).collect()
}

impl CohortPlan {
    /// Reads a plan; `source` is its name in messages.
    ///
    /// # Errors
    /// [`CohortError::Plan`] with the place and the allowed values.
    pub fn parse(text: &str, source: &str) -> Result<CohortPlan, CohortError> {
        let syntax = |broken: json::JsonError| CohortError::Plan(format!("{source}: {broken}"));
        let document: Value = json::value(text).map_err(syntax)?;
        let file: PlanFile = json::parse(text).map_err(syntax)?;
        let plan = CohortPlan::of(file, document).map_err(|what| CohortError::Plan(format!("{source}: {what}")))?;
        // A length that no patient can have shows before a long run.
        plan.frames()?;
        Ok(plan)
    }

    /// Reads the plan in a file.
    ///
    /// # Errors
    /// As [`CohortPlan::parse`], and when the file can't be read.
    pub fn read(path: &Path) -> Result<CohortPlan, CohortError> {
        let source = source::name(path);
        let bytes = source::file(path, source::DOCUMENT).map_err(|error| CohortError::Plan(error.to_string()))?;
        let text = source::utf8(&bytes)
            .map_err(|at| CohortError::Plan(format!("{source}: byte {at} is not UTF-8 text; save it as UTF-8")))?;
        CohortPlan::parse(text, &source)
    }

    fn of(file: PlanFile, document: Value) -> Result<CohortPlan, String> {
        if file.version != 1 {
            return Err(format!("version is {}; this program reads version 1", file.version));
        }
        let rate = file.frame_rate_hz;
        let frame_rate = FrameRate::hz(rate)
            .map_err(|_| format!("frame_rate_hz: {rate}; allowed {} to {}", FrameRate::MIN_HZ, FrameRate::MAX_HZ))?;
        Ok(CohortPlan {
            title: file.title,
            duration_s: file.duration_s,
            frame_rate,
            channels: channels(&file.channels)?,
            people: People::new(&file.people).map_err(|what| format!("people.{what}"))?,
            document,
        })
    }

    /// The patient of a number.
    ///
    /// # Errors
    /// When no draw makes a script.
    pub fn patient(&self, number: u64) -> Result<Patient, CohortError> {
        self.people.patient(number, self.duration_s).map_err(|what| CohortError::Patient { patient: number, what })
    }
}

/// Channels by their words, and by the words of groups such as `leads`.
///
/// # Errors
/// The first word that is none, or that names a channel again.
pub fn channels(words: &[String]) -> Result<Vec<Channel>, String> {
    if words.is_empty() {
        return Err("channels: none; name at least one, such as \"II\"".to_owned());
    }
    let all = || Channel::ALL.iter().map(|channel| channel.id()).chain(GROUPS.iter().map(|group| group.word));
    let mut found: Vec<Channel> = Vec::new();
    for (i, word) in words.iter().enumerate() {
        let named: Vec<Channel> = match (Channel::find(word), ChannelGroup::find(word)) {
            (Some(channel), _) => vec![channel],
            (None, Some(group)) => group.channels().collect(),
            (None, None) => return Err(format!("channels[{i}]: {}", unknown_of("channel", word, all()))),
        };
        if let Some(twice) = named.iter().find(|channel| found.contains(channel)) {
            return Err(format!("channels[{i}]: {} is named twice", twice.id()));
        }
        found.extend(named);
    }
    Ok(found)
}
