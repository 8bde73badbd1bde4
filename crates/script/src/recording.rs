//! Recordings: steps that play the leads of an open recording, with its annotated beats as truth.
//!
//! A script names the files beside it. The core resamples the leads and plays them ([`pulsewright_core::recording`]); the beats of
//! the stretch that is played become the series of the step.

mod kept;
pub(crate) mod part;
pub(crate) mod read;
mod stretch;
pub(crate) mod write;

use crate::series::StepSeries;
use pulsewright_core::frame::Lead;
use pulsewright_core::recording;
use pulsewright_core::time::Span;
use pulsewright_text::number::counted;
use serde_json::Value;
use std::ops::RangeInclusive;
use stretch::Repeats;

/// Lowest and highest mV of a number in a file without units.
pub(crate) const SCALES_MV: RangeInclusive<f64> = 1e-9..=1e6;

/// Words for how a stretch begins again.
pub(crate) fn loop_words() -> [&'static str; 3] {
    Repeats::ALL.map(|(_, word)| word)
}

/// The recording of a step.
#[derive(Clone, Debug)]
pub struct StepRecording {
    named: Named,
    /// The stretch that is played.
    played: recording::Recording<'static>,
    passed: Span,
}

/// A recording as a document names it.
#[derive(Clone, Debug, PartialEq)]
struct Named {
    file: String,
    /// mV of a number in a file without units.
    scale_mv: Option<f64>,
    /// Leads, each with the channel of the recording.
    leads: Vec<(Lead, String)>,
    /// Where its beats are, if not in the annotation file of the same name.
    beats: Option<Value>,
    start: Span,
    end: Option<Span>,
    repeats: Repeats,
}

impl StepRecording {
    /// The recording as the core plays it.
    pub fn item(&self) -> recording::Recording<'static> {
        self.played.passed(self.passed)
    }

    /// The name of its file.
    pub fn file(&self) -> &str {
        &self.named.file
    }

    /// Its leads, each with the channel of the recording that is played as it.
    pub fn leads(&self) -> &[(Lead, String)] {
        &self.named.leads
    }

    /// The recording in words, with the beats of its stretch.
    pub fn words(&self, series: &StepSeries) -> String {
        let (from, length) = self.played.bounds();
        let (from, end) = (from.as_secs_f64(), from.plus(length).as_secs_f64());
        let again = if self.named.repeats == Repeats::No { "" } else { ", over and over" };
        let beats = counted(series.beats.len() as u64, "beat");
        format!("{} from {from:.3} to {end:.3} s{again}, {beats}", self.named.file)
    }

    /// The same `passed` later, for a step that goes on with it for as long as it is wanted.
    pub fn from(&self, passed: Span) -> StepRecording {
        let mut later = self.clone();
        later.passed = self.passed.plus(passed);
        if later.named.repeats == Repeats::No {
            later.named.repeats = Repeats::Whole;
        }
        later
    }
}
