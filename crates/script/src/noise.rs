//! Noise of recordings beside the signal of a step.
//!
//! A script names the file, and the ratio or the RMS that the noise is to have in lead II. The gains of its channels follow:
//! 1. each channel loses its mean over the stretch, and gets an RMS of 1 in the windows of the noise stress test
//!    ([`crate::noise_ratio`]);
//! 2. both are spread over the leads ([`pulsewright_core::recording::RecordedNoise`]);
//! 3. one factor on both gives lead II the RMS.

pub(crate) mod read;
pub(crate) mod write;

use pulsewright_core::recording::RecordedNoise;
use pulsewright_core::time::Span;
use pulsewright_text::fit::line;

/// Noise of a recording in a step.
#[derive(Clone, Debug)]
pub struct StepNoise {
    file: String,
    /// Names of its one or two channels.
    channels: Vec<String>,
    start: Span,
    end: Option<Span>,
    /// Whether the step may be longer than the stretch.
    loops: bool,
    passed: Span,
    /// RMS in lead II, mV.
    mv: f32,
    /// The ratio that was asked for.
    db: Option<f64>,
    played: RecordedNoise<'static>,
}

impl StepNoise {
    /// The noise as the core plays it.
    pub fn item(&self) -> &RecordedNoise<'static> {
        &self.played
    }

    /// The name of its file.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// RMS in lead II, mV, by the windows of the noise stress test.
    pub fn rms_mv(&self) -> f32 {
        self.mv
    }

    /// The noise in words.
    pub fn words(&self) -> String {
        let ratio = self.db.map_or(String::new(), |db| format!("{db} dB, "));
        format!("noise of {} ({ratio}{:.3} mV RMS in lead II)", self.file, self.mv)
    }

    /// Its stretch and the gain of each channel, in words.
    pub fn gains_words(&self) -> String {
        let (from, length) = self.played.bounds();
        let (from, end) = (from.as_secs_f64(), from.plus(length).as_secs_f64());
        let again = if self.loops { ", over and over" } else { "" };
        let gains = self.channels.iter().zip(self.played.gains_mv());
        let gains: Vec<String> = gains.map(|(name, gain)| format!("{} times {gain}", line(name))).collect();
        format!("noise of {} from {from:.3} to {end:.3} s{again}: {}", self.file, gains.join(", "))
    }

    /// The same `passed` later, for a step that goes on with it for as long as it is wanted.
    pub fn from(&self, passed: Span) -> StepNoise {
        let passed = self.passed.plus(passed);
        StepNoise { passed, loops: true, played: self.played.passed(passed), ..self.clone() }
    }
}
