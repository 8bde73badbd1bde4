//! `suite`: a plan of many records through a detector, scored together.
//!
//! Only arguments in, calls out: everything lives in `pulsewright-suite`.

use crate::diagnostics::{VerbFailure, VerbOutcome, print, warn};
use crate::interruption;
use crate::progress::LateProgressBar;
use crate::scoring::{LimitSources, ReportOutputs, ScoreFormat};
use pulsewright_score::read::ReadOptions;
use pulsewright_score::report::{json, junit};
use pulsewright_suite::run::RunOptions;
use pulsewright_suite::{
    AnswerFolder, AnswerManifest, Detector, Shard, SuiteError, SuitePlan, SuiteRecord, SuiteReport, merge, repeats,
    run as run_records,
};
use pulsewright_text::fit;
use pulsewright_text::number::counted;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// A plan to run.
pub struct Request {
    /// The plan.
    pub plan: PathBuf,
    /// Where answers come from; without, the records are listed.
    pub answers: Option<AnswerSource>,
    /// Detectors that run at a time; one per core without.
    pub jobs: Option<usize>,
    /// How answers are read.
    pub reading: ReadOptions,
    /// Limits that decide the exit code.
    pub limits: LimitSources,
    /// Where reports go.
    pub reports: ReportOutputs,
}

/// Where answers come from.
pub enum AnswerSource {
    /// A detector gives those that the folder does not hold yet.
    Detect(DetectorRun),
    /// Folders of shards are joined.
    Merge {
        /// Folder of answers.
        output: PathBuf,
        /// The folders of the shards.
        folders: Vec<PathBuf>,
    },
}

/// How a detector is run.
pub struct DetectorRun {
    /// Folder of answers.
    pub output: PathBuf,
    /// The detector and its arguments.
    pub command: Vec<String>,
    /// Whether it is started once per core instead of once per record.
    pub stay: bool,
    /// Longest that it may take for one record.
    pub timeout: Duration,
    /// Every Nth record only.
    pub shard: Option<Shard>,
    /// Whether signals and truth are kept.
    pub keep_signals: bool,
    /// Suffix of its answers.
    pub test_suffix: String,
}

/// Runs the records without an answer, then reports.
pub fn run(args: Request) -> VerbOutcome {
    let plan = SuitePlan::read(&args.plan).map_err(VerbFailure::input)?;
    let jobs = args.jobs.unwrap_or_else(|| thread::available_parallelism().map_or(1, usize::from));
    let Some(answers) = &args.answers else {
        return list(&plan, jobs);
    };
    let limits = args.limits.limits()?;
    let earlier = args.limits.earlier()?;
    let reports = args.reports.claim(args.limits.inputs().chain([args.plan.as_path()]))?;
    let shard = if let AnswerSource::Detect(detecting) = answers { detecting.shard } else { None };
    let all = || plan.records.iter().collect();
    let records: Vec<&SuiteRecord> = shard.map_or_else(all, |shard| shard.of(&plan.records));
    if records.is_empty() {
        return Err(VerbFailure::input(format!("the shard is empty; the plan has {} records", plan.records.len())));
    }
    SuiteReport::check_limits(&records, &limits).map_err(VerbFailure::input)?;
    if !plan.left_out.is_empty() {
        let left_out = counted(plan.left_out.len() as u64, "combination");
        warn(&format!("{left_out} left out, as the settings exclude each other; --list gives the reasons"));
    }
    let folder = match answers {
        AnswerSource::Detect(detecting) => {
            let DetectorRun { output, command, stay, timeout, shard, keep_signals, test_suffix } = detecting;
            let detector = Detector::new(command, *stay, *timeout).map_err(VerbFailure::input)?;
            let manifest = AnswerManifest::new(&plan, &detector, test_suffix, *shard);
            let folder = AnswerFolder::open(output, &manifest).map_err(VerbFailure::input)?;
            let options = RunOptions { jobs, keep_signals: *keep_signals, reading: args.reading.clone() };
            run_detector(&plan, &records, &detector, &folder, &options)?;
            folder
        }
        AnswerSource::Merge { output, folders } => merge(&plan, folders, output).map_err(VerbFailure::input)?,
    };
    let report = SuiteReport::new(&plan, &records, &folder, &args.reading, &limits, jobs);
    let mut report = report.map_err(VerbFailure::input)?;
    if let Some(earlier) = &earlier {
        report.score.compare(earlier, &limits).map_err(VerbFailure::input)?;
    }
    let (name, cases) = (report.name(), report.cases());
    args.reports.write(reports, Some(&report.beats()), (&name, &cases), |form| {
        match form {
            ScoreFormat::Text => report.text(),
            ScoreFormat::Json => json(&report),
            ScoreFormat::Csv => report.csv(),
            ScoreFormat::Junit => junit::render(&name, &cases),
            ScoreFormat::Markdown => report.markdown(),
        }
        .into()
    })?;
    if report.passed() { Ok(()) } else { Err(VerbFailure::Failed) }
}

fn list(plan: &SuitePlan, jobs: usize) -> VerbOutcome {
    let records: Vec<&SuiteRecord> = plan.records.iter().collect();
    let repeats = repeats(plan, &records, jobs).map_err(VerbFailure::input)?;
    print(|out| {
        for record in &plan.records {
            writeln!(out, "{}", fit::line(&record.name))?;
        }
        plan.left_out.iter().try_for_each(|why| writeln!(out, "left out: {}", fit::line(why)))?;
        repeats.iter().try_for_each(|repeat| {
            writeln!(out, "same signal: {} is {}", fit::line(&repeat.record), fit::line(&repeat.of))
        })
    })
}

fn run_detector(
    plan: &SuitePlan,
    records: &[&SuiteRecord],
    detector: &Detector,
    folder: &AnswerFolder,
    options: &RunOptions,
) -> VerbOutcome {
    interruption::watch();
    let bar = Mutex::new(LateProgressBar::new());
    let progress = |done, total| {
        bar.lock().unwrap_or_else(PoisonError::into_inner).show(done, total);
        if interruption::asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let outcome = run_records(plan, records, detector, folder, options, &progress);
    drop(bar);
    outcome.map_err(|error| match error {
        SuiteError::Stopped => VerbFailure::input("interrupted; the same command line goes on from here"),
        SuiteError::Answer(_) => VerbFailure::input(format!("{error}; no further record was tried")),
        error => VerbFailure::input(error),
    })
}
