//! `score`.

use super::scoring::{LimitFlags, ReadingFlags, ScoreReportFlags};
use crate::diagnostics::VerbFailure;
use crate::score::{Request, ScoredResults};
use clap::{Args, ValueEnum};
use pulsewright_score::ClassMap;
use pulsewright_score::read::ReadOptions;
use pulsewright_score::record::{Events, ScoreOptions};
use std::path::PathBuf;

/// Score a detector, readings or an alarm log against the reference.
///
/// The reference is the truth beside a render, or an open waveform-database annotation file.
/// Exit code 1 when a limit, a reading or an alarm failed.
#[derive(Args, Debug)]
pub struct ScoreFlags {
    /// Reference: a file, or a folder of them.
    reference: PathBuf,
    /// Output of the detector or monitor: a file (CSV, JSON, annotation file), or a folder of them.
    test: PathBuf,
    /// Kind of results to score.
    #[arg(long, value_enum, default_value = "beats")]
    what: WhatWord,

    /// Match window, ms, inclusive [default: 150; breaths 500].
    #[arg(long, value_name = "MS", allow_negative_numbers = true, value_parser = not_negative, help_heading = "Rules")]
    window_ms: Option<f64>,
    /// Learning period at the start that does not count, s [default: beats 300, else 0].
    #[arg(long, value_name = "S", allow_negative_numbers = true, value_parser = not_negative, help_heading = "Rules")]
    learning_s: Option<f64>,
    /// End of the test period, s [default: end of the record].
    #[arg(long, value_name = "S", allow_negative_numbers = true, value_parser = not_negative, help_heading = "Rules")]
    end_s: Option<f64>,
    /// Known delay of the detector, ms: taken off its times.
    #[arg(long, value_name = "MS", default_value = "0", allow_negative_numbers = true, value_parser = finite, help_heading = "Rules")]
    delay_ms: f64,
    /// Where the escape beats e, j, n belong: with S (comparator) or with N (tables).
    #[arg(long, value_enum, default_value = "comparator", help_heading = "Rules")]
    classes: ClassesWord,

    /// Frames per second of the reference, if its times are frames and nothing else says so.
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = rate, help_heading = "Reading files")]
    reference_rate_hz: Option<f64>,
    /// Frames per second of the test, if its times are frames.
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = rate, help_heading = "Reading files")]
    test_rate_hz: Option<f64>,
    #[command(flatten)]
    reading: ReadingFlags,
    /// Channel of the reference pulses to score, where the reference holds more than one.
    #[arg(long, value_name = "NAME", help_heading = "Reading files")]
    channel: Option<String>,
    /// Table of reference episodes (kind, start_s, end_s) beside the events; single records only.
    #[arg(long, value_name = "FILE", help_heading = "Reading files")]
    reference_episodes: Option<PathBuf>,
    /// Table of test episodes (kind, start_s, end_s) beside the events; single records only.
    #[arg(long, value_name = "FILE", help_heading = "Reading files")]
    test_episodes: Option<PathBuf>,
    /// Suffix of the reference files in a folder [default: as render names them, such as .beats.csv].
    #[arg(long, value_name = "SUFFIX", help_heading = "Reading files")]
    reference_suffix: Option<String>,
    /// Suffix of the test files in a folder.
    #[arg(long, value_name = "SUFFIX", default_value = ".csv", help_heading = "Reading files")]
    test_suffix: String,

    #[command(flatten)]
    limits: LimitFlags,
    #[command(flatten)]
    reports: ScoreReportFlags,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum WhatWord {
    Beats,
    Pulses,
    Breaths,
    Readings,
    Alarms,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum ClassesWord {
    Comparator,
    Tables,
}

impl ScoreFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let what = match self.what {
            WhatWord::Beats => ScoredResults::Events(self.options(Events::Beats)),
            WhatWord::Pulses => ScoredResults::Events(self.options(Events::Pulses)),
            WhatWord::Breaths => ScoredResults::Events(self.options(Events::Breaths)),
            WhatWord::Readings => ScoredResults::Readings,
            WhatWord::Alarms => ScoredResults::Alarms,
        };
        if !matches!(what, ScoredResults::Events(_)) && (self.limits.any() || self.reports.has_beats()) {
            let what = "readings and alarms carry their limits in the reference; limits and --beats go with events";
            return Err(VerbFailure::input(what));
        }
        Ok(Request {
            reference: self.reference,
            test: self.test,
            what,
            reading_reference: ReadOptions {
                rate_hz: self.reference_rate_hz,
                channel: self.channel,
                is_reference: true,
                ..ReadOptions::default()
            },
            reading_test: self.reading.options(self.test_rate_hz),
            reference_episodes: self.reference_episodes,
            test_episodes: self.test_episodes,
            reference_suffix: self.reference_suffix,
            test_suffix: self.test_suffix,
            limits: self.limits.sources(),
            reports: self.reports.reports()?,
        })
    }

    fn options(&self, events: Events) -> ScoreOptions {
        let learning_s = if events == Events::Beats { ScoreOptions::default().learning_s } else { 0.0 };
        ScoreOptions {
            events,
            window_s: self.window_ms.map_or(events.window_s(), |ms| ms / 1e3),
            learning_s: self.learning_s.unwrap_or(learning_s),
            end_s: self.end_s,
            delay_s: self.delay_ms / 1e3,
            classes: match self.classes {
                ClassesWord::Comparator => ClassMap::Comparator,
                ClassesWord::Tables => ClassMap::Tables,
            },
        }
    }
}

fn finite(text: &str) -> Result<f64, String> {
    text.parse::<f64>().ok().filter(|value| value.abs() <= 1e9).ok_or_else(|| "not a number of at most 1e9".into())
}

fn not_negative(text: &str) -> Result<f64, String> {
    finite(text).ok().filter(|value| *value >= 0.0).ok_or_else(|| "not a number from 0 to 1e9".into())
}

fn rate(text: &str) -> Result<f64, String> {
    let allowed = |value: &f64| *value > 0.0 && *value <= 1e6;
    text.parse::<f64>().ok().filter(allowed).ok_or_else(|| "not a rate above 0, at most 1000000 Hz".into())
}
