//! `pulsewright score`: a detector, a monitor's readings or its alarm log against the reference.
//!
//! Only arguments in, calls out: all counting lives in `pulsewright-score`.

use std::borrow::Cow;
use std::path::{Path, PathBuf};
use std::time::Instant;

use crate::diagnostics::{VerbFailure, VerbOutcome, warn};
use crate::scoring::{LimitSources, ReportOutputs, ScoreFormat};
use pulsewright_files::atomic::{FileSet, refuse_inputs, settle};
use pulsewright_files::manifest;
use pulsewright_score::read::{self, ReadOptions, in_file};
use pulsewright_score::record::{Events, RecordReport, ScoreOptions};
use pulsewright_score::record_set::pair_files;
use pulsewright_score::report::{Report, TestCase, csv, json, junit, markdown, text};
use pulsewright_score::{alarms, readings, score_record};

/// A test to score.
pub struct Request {
    /// Reference: a file, or a folder of them.
    pub reference: PathBuf,
    /// Output of the detector or monitor: a file, or a folder of them.
    pub test: PathBuf,
    /// Kind of results.
    pub what: ScoredResults,
    /// How the reference is read.
    pub reading_reference: ReadOptions,
    /// How the test is read.
    pub reading_test: ReadOptions,
    /// Table of reference episodes beside the events.
    pub reference_episodes: Option<PathBuf>,
    /// Table of test episodes beside the events.
    pub test_episodes: Option<PathBuf>,
    /// Suffix of the reference files in a folder, if not the one that a render gives.
    pub reference_suffix: Option<String>,
    /// Suffix of the test files in a folder.
    pub test_suffix: String,
    /// Limits that decide the exit code.
    pub limits: LimitSources,
    /// Where reports go.
    pub reports: ReportOutputs,
}

/// Kind of results.
pub enum ScoredResults {
    /// Events, by these rules.
    Events(ScoreOptions),
    Readings,
    Alarms,
}

/// Scores and writes the reports; fails when a limit, a reading or an alarm did.
pub fn run(request: Request) -> VerbOutcome {
    let args = &request;
    let reports = claim_outputs(args)?;
    settle_reference(&args.reference);
    let scored = match &args.what {
        ScoredResults::Events(options) => score_events(args, options)?,
        ScoredResults::Readings => score_readings(args)?,
        ScoredResults::Alarms => score_alarms(args)?,
    };
    args.reports.write(reports, scored.beats.as_deref(), (&scored.name, &scored.cases), |form| scored.form(form))?;
    if scored.passed { Ok(()) } else { Err(VerbFailure::Failed) }
}

/// A report in all its forms.
struct Scored {
    name: String,
    text: String,
    json: String,
    csv: String,
    markdown: String,
    cases: Vec<TestCase>,
    beats: Option<String>,
    passed: bool,
}

impl Scored {
    fn new(what: &str, text: String, json: String, csv: String, cases: Vec<TestCase>) -> Scored {
        let name = format!("pulsewright.score.{what}");
        let markdown = markdown::of_cases(what, &cases);
        let passed = cases.iter().all(|case| case.failure.is_none());
        Scored { name, text, json, csv, markdown, cases, beats: None, passed }
    }

    fn form(&self, form: ScoreFormat) -> Cow<'_, str> {
        match form {
            ScoreFormat::Text => (&self.text).into(),
            ScoreFormat::Json => (&self.json).into(),
            ScoreFormat::Csv => (&self.csv).into(),
            ScoreFormat::Junit => junit::render(&self.name, &self.cases).into(),
            ScoreFormat::Markdown => (&self.markdown).into(),
        }
    }
}

fn score_events(args: &Request, options: &ScoreOptions) -> Result<Scored, VerbFailure> {
    let events = options.events;
    let limits = args.limits.limits()?;
    if !limits.by.is_empty() {
        return Err(VerbFailure::input("limits by the value of a dimension go with suite, whose plan has dimensions"));
    }
    let earlier = args.limits.earlier()?;
    let reference_suffix = args.reference_suffix.clone().unwrap_or_else(|| format!(".{}.csv", events.name()));
    let records =
        pair_files(&args.reference, &args.test, &reference_suffix, &args.test_suffix).map_err(VerbFailure::input)?;
    let single = !args.reference.is_dir();
    if !single && (args.reference_episodes.is_some() || args.test_episodes.is_some()) {
        return Err(VerbFailure::input("tables of episodes go with two files, not with two folders"));
    }
    for record in &records {
        refuse_inputs(args.reports.outputs(), [record.reference.as_path(), record.test.as_path()])
            .map_err(VerbFailure::input)?;
        check_reference(&record.reference)?;
    }
    let times_only = events != Events::Beats;
    let mut reports = Vec::with_capacity(records.len());
    let mut times_s = Vec::with_capacity(records.len());
    for record in records {
        let began = Instant::now();
        let reference_options = ReadOptions { times_only, ..args.reading_reference.clone() };
        let mut reference =
            read::read_annotations(&record.reference, &reference_options).map_err(VerbFailure::input)?;
        let mut test = read::read_annotations(&record.test, &ReadOptions { times_only, ..args.reading_test.clone() })
            .map_err(VerbFailure::input)?;
        for (side, table) in [(&mut reference, &args.reference_episodes), (&mut test, &args.test_episodes)] {
            if let Some(path) = table {
                let table = read::read_table(path, &ReadOptions::default()).map_err(VerbFailure::input)?;
                side.add_episodes(
                    read::beats::episodes_from_table(&table).map_err(in_file(path)).map_err(VerbFailure::input)?,
                );
            }
        }
        let report = score_record(&record.name, &reference, &test, options);
        if report.outcomes.is_empty() {
            warn(&format!(
                "{}: nothing to score after the learning period of {} s (--learning-s sets it)",
                record.name, options.learning_s
            ));
        }
        reports.push(report);
        times_s.push(began.elapsed().as_secs_f64());
    }
    let mut report = Report::new(options, reports, &limits);
    if let Some(earlier) = &earlier {
        report.compare(earlier, &limits).map_err(VerbFailure::input)?;
    }
    let mut cases = report.cases();
    if cases.is_empty() {
        let scored =
            |(record, time_s): (&RecordReport, &f64)| TestCase::new(&record.record, "scored", None).taking(*time_s);
        cases = report.records.iter().zip(&times_s).map(scored).collect();
    }
    let mut scored = Scored::new(events.name(), text::render(&report), json(&report), csv::render(&report), cases);
    scored.markdown = markdown::render(&report);
    scored.beats = args.reports.beats.is_some().then(|| csv::beats(&report.records));
    Ok(scored)
}

fn score_readings(args: &Request) -> Result<Scored, VerbFailure> {
    check_reference(&args.reference)?;
    let expected = read::read_table(&args.reference, &ReadOptions::default()).map_err(VerbFailure::input)?;
    let expected = readings::expectations(&expected).map_err(in_file(&args.reference)).map_err(VerbFailure::input)?;
    let test_options = &args.reading_test;
    let shown = read::read_table(&args.test, test_options).map_err(VerbFailure::input)?;
    let shown = readings::measured(&shown, test_options).map_err(in_file(&args.test)).map_err(VerbFailure::input)?;
    let results = readings::score(&expected, &shown);
    let cases = readings::cases(&results);
    Ok(Scored::new("readings", readings::text(&results), json(&results), readings::csv(&results), cases))
}

fn score_alarms(args: &Request) -> Result<Scored, VerbFailure> {
    check_reference(&args.reference)?;
    let expected = read::read_table(&args.reference, &ReadOptions::default()).map_err(VerbFailure::input)?;
    let expected = alarms::expected(&expected).map_err(in_file(&args.reference)).map_err(VerbFailure::input)?;
    let test_options = &args.reading_test;
    let log = read::read_table(&args.test, test_options).map_err(VerbFailure::input)?;
    let log = alarms::logged(&log, test_options).map_err(in_file(&args.test)).map_err(VerbFailure::input)?;
    let results = alarms::score(&expected, &log).map_err(in_file(&args.test)).map_err(VerbFailure::input)?;
    let cases = alarms::cases(&results);
    Ok(Scored::new("alarms", alarms::text(&results), json(&results), alarms::csv(&results), cases))
}

/// Claims the reports, before any work.
fn claim_outputs(args: &Request) -> Result<FileSet, VerbFailure> {
    let tables = args.reference_episodes.iter().chain(&args.test_episodes).map(PathBuf::as_path);
    let inputs = [args.reference.as_path(), args.test.as_path()];
    args.reports.claim(inputs.into_iter().chain(tables).chain(args.limits.inputs()))
}

/// Refuses a reference that belongs to another signal than the manifest or the signal beside it.
fn check_reference(path: &Path) -> VerbOutcome {
    manifest::check_truth(path).map_err(VerbFailure::input)
}

/// Takes back the files that a killed render has left in the folder of the reference.
fn settle_reference(reference: &Path) {
    let folder = if reference.is_dir() { Some(reference) } else { reference.parent() };
    settle(folder.filter(|folder| *folder != Path::new("")).unwrap_or(Path::new(".")));
}
