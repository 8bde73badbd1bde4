//! `pulsewright score`: a detector, a monitor's readings or its alarm log against the reference.
//!
//! Only arguments in, calls out: all counting lives in `pulsewright-score`.

use std::path::{Path, PathBuf};

use crate::diagnostics::{Failure, Outcome, warn};
use crate::score_flags::{Format, LimitFlags, ReadingFlags, ReportFlags};
use clap::{Args, ValueEnum};
use pulsewright_files::atomic::{Set, refuse_inputs, settle};
use pulsewright_files::manifest;
use pulsewright_score::read::{self, ReadOptions, in_file};
use pulsewright_score::record::{Events, Options};
use pulsewright_score::record_set::pair_files;
use pulsewright_score::report::{Case, Report, csv, json, junit, text};
use pulsewright_score::{ClassMap, alarms, readings, score_record};

/// Score a detector, readings or an alarm log against the reference.
///
/// The reference is the truth beside a render, or an open waveform-database annotation file.
/// Exit code 1 when a limit, a reading or an alarm failed.
#[derive(Args, Debug)]
pub struct ScoreArgs {
    /// Reference: a file, or a folder of them.
    reference: PathBuf,
    /// Output of the detector or monitor: a file (CSV, JSON, annotation file), or a folder of them.
    test: PathBuf,
    /// Kind of results to score.
    #[arg(long, value_enum, default_value = "beats")]
    what: What,

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
    classes: Classes,

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
    reports: ReportFlags,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum What {
    Beats,
    Pulses,
    Breaths,
    Readings,
    Alarms,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Classes {
    Comparator,
    Tables,
}

/// Scores and writes the reports; fails when a limit, a reading or an alarm did.
pub fn run(args: &ScoreArgs) -> Outcome {
    let reports = claim_outputs(args)?;
    settle_reference(&args.reference);
    let scored = match args.what {
        What::Beats => score_events(args, Events::Beats)?,
        What::Pulses => score_events(args, Events::Pulses)?,
        What::Breaths => score_events(args, Events::Breaths)?,
        What::Readings => score_readings(args)?,
        What::Alarms => score_alarms(args)?,
    };
    args.reports.write(reports, scored.beats.as_deref(), |form| scored.form(form).into())?;
    if scored.passed { Ok(()) } else { Err(Failure::Failed) }
}

/// A report in all its forms.
struct Scored {
    text: String,
    json: String,
    csv: String,
    junit: String,
    beats: Option<String>,
    passed: bool,
}

impl Scored {
    fn new(what: &str, text: String, json: String, csv: String, cases: &[Case]) -> Scored {
        let junit = junit::render(&format!("pulsewright.score.{what}"), cases);
        let passed = cases.iter().all(|case| case.failure.is_none());
        Scored { text, json, csv, junit, beats: None, passed }
    }

    fn form(&self, format: Format) -> &str {
        match format {
            Format::Text => &self.text,
            Format::Json => &self.json,
            Format::Csv => &self.csv,
            Format::Junit => &self.junit,
        }
    }
}

fn score_events(args: &ScoreArgs, events: Events) -> Result<Scored, Failure> {
    let limits = args.limits.limits()?;
    let learning_s = if events == Events::Beats { Options::default().learning_s } else { 0.0 };
    let options = Options {
        events,
        window_s: args.window_ms.map_or(events.window_s(), |ms| ms / 1e3),
        learning_s: args.learning_s.unwrap_or(learning_s),
        end_s: args.end_s,
        delay_s: args.delay_ms / 1e3,
        classes: match args.classes {
            Classes::Comparator => ClassMap::Comparator,
            Classes::Tables => ClassMap::Tables,
        },
    };
    let reference_suffix = args.reference_suffix.clone().unwrap_or_else(|| format!(".{}.csv", events.name()));
    let records =
        pair_files(&args.reference, &args.test, &reference_suffix, &args.test_suffix).map_err(Failure::input)?;
    let single = !args.reference.is_dir();
    if !single && (args.reference_episodes.is_some() || args.test_episodes.is_some()) {
        return Err(Failure::input("tables of episodes go with two files, not with two folders"));
    }
    for record in &records {
        refuse_inputs(args.reports.outputs(), [record.reference.as_path(), record.test.as_path()])
            .map_err(Failure::input)?;
        check_reference(&record.reference)?;
    }
    let times_only = events != Events::Beats;
    let mut reports = Vec::with_capacity(records.len());
    for record in records {
        let reference_options = ReadOptions { times_only, ..reference_options(args) };
        let mut reference = read::read_annotations(&record.reference, &reference_options).map_err(Failure::input)?;
        let mut test = read::read_annotations(&record.test, &ReadOptions { times_only, ..test_options(args) })
            .map_err(Failure::input)?;
        for (side, table) in [(&mut reference, &args.reference_episodes), (&mut test, &args.test_episodes)] {
            if let Some(path) = table {
                let table = read::read_table(path, &ReadOptions::default()).map_err(Failure::input)?;
                side.add_episodes(
                    read::beats::episodes_from_table(&table).map_err(in_file(path)).map_err(Failure::input)?,
                );
            }
        }
        let report = score_record(&record.name, &reference, &test, &options);
        if report.outcomes.is_empty() {
            warn(&format!(
                "{}: nothing to score after the learning period of {} s (--learning-s sets it)",
                record.name, options.learning_s
            ));
        }
        reports.push(report);
    }
    let report = Report::new(&options, reports, &limits);
    let cases = report.cases();
    let mut scored = Scored::new(events.name(), text::render(&report), json(&report), csv::render(&report), &cases);
    scored.beats = args.reports.beats.is_some().then(|| csv::beats(&report.records));
    Ok(scored)
}

fn score_readings(args: &ScoreArgs) -> Result<Scored, Failure> {
    check_reference(&args.reference)?;
    let expected = read::read_table(&args.reference, &ReadOptions::default()).map_err(Failure::input)?;
    let expected = readings::expectations(&expected).map_err(in_file(&args.reference)).map_err(Failure::input)?;
    let test_options = test_options(args);
    let shown = read::read_table(&args.test, &test_options).map_err(Failure::input)?;
    let shown = readings::measured(&shown, &test_options).map_err(in_file(&args.test)).map_err(Failure::input)?;
    let results = readings::score(&expected, &shown);
    let cases = readings::cases(&results);
    Ok(Scored::new("readings", readings::text(&results), json(&results), readings::csv(&results), &cases))
}

fn score_alarms(args: &ScoreArgs) -> Result<Scored, Failure> {
    check_reference(&args.reference)?;
    let expected = read::read_table(&args.reference, &ReadOptions::default()).map_err(Failure::input)?;
    let expected = alarms::expected(&expected).map_err(in_file(&args.reference)).map_err(Failure::input)?;
    let test_options = test_options(args);
    let log = read::read_table(&args.test, &test_options).map_err(Failure::input)?;
    let log = alarms::logged(&log, &test_options).map_err(in_file(&args.test)).map_err(Failure::input)?;
    let results = alarms::score(&expected, &log);
    let cases = alarms::cases(&results);
    Ok(Scored::new("alarms", alarms::text(&results), json(&results), alarms::csv(&results), &cases))
}

fn reference_options(args: &ScoreArgs) -> ReadOptions {
    ReadOptions {
        rate_hz: args.reference_rate_hz,
        channel: args.channel.clone(),
        is_reference: true,
        ..ReadOptions::default()
    }
}

fn test_options(args: &ScoreArgs) -> ReadOptions {
    args.reading.options(args.test_rate_hz)
}

/// Refuses arguments that do not go together, before any work.
fn claim_outputs(args: &ScoreArgs) -> Result<Set, Failure> {
    let events = !matches!(args.what, What::Readings | What::Alarms);
    if !events && (args.limits.any() || args.reports.beats.is_some()) {
        let what = "readings and alarms carry their limits in the reference; limits and --beats go with events";
        return Err(Failure::input(what));
    }
    let tables = args.reference_episodes.iter().chain(&args.test_episodes).map(PathBuf::as_path);
    let inputs = [args.reference.as_path(), args.test.as_path()];
    args.reports.claim(inputs.into_iter().chain(tables).chain(args.limits.file()))
}

/// Refuses a reference that belongs to another signal than the manifest or the signal beside it.
fn check_reference(path: &Path) -> Outcome {
    manifest::check_truth(path).map_err(Failure::input)
}

/// Takes back the files that a killed render has left in the folder of the reference.
fn settle_reference(reference: &Path) {
    let folder = if reference.is_dir() { Some(reference) } else { reference.parent() };
    settle(folder.filter(|folder| *folder != Path::new("")).unwrap_or(Path::new(".")));
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
