//! `suite`: a plan of many records through a detector, scored together.
//!
//! Only arguments in, calls out: everything lives in `pulsewright-suite`.

use crate::diagnostics::{Failure, Outcome, warn};
use crate::progress::Progress;
use crate::score_flags::{Format, LimitFlags, ReadingFlags, ReportFlags};
use crate::{flags, interruption};
use clap::Args;
use pulsewright_core::time::Span;
use pulsewright_score::report::json;
use pulsewright_suite::run::RunOptions;
use pulsewright_suite::{
    Detector, Folder, Manifest, Plan, Record, Shard, SuiteError, SuiteReport, merge, repeats, run as hear,
};
use pulsewright_text::fit;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// Run a detector over a plan of many records and score them all.
///
/// Each record is rendered and given to COMMAND; its answer is kept in FOLDER, so the same command line goes on where
/// a run was stopped. The report depends on plan, answers and limits alone. Exit code 1 when a limit or the detector
/// failed.
#[derive(Args, Debug)]
#[command(
    after_help = "In COMMAND: {signal} is the file with the signal (without it, CSV on standard input), {beats-out} the\n\
    file to write the beats to (without it, they are read from standard output), {frame-rate}, {record}.\n\n\
    Examples:\n  \
    pulsewright suite plan.json -o out --min se=99.5 -- python3 detector.py {signal} {beats-out}\n  \
    pulsewright suite plan.json -o part1 --shard 1/2 -- ./detector\n  \
    pulsewright suite plan.json -o out --merge part1 --merge part2 --write report.xml"
)]
pub struct SuiteArgs {
    /// The plan, JSON.
    plan: PathBuf,
    /// Folder of answers: made, or gone on in.
    #[arg(short, long, value_name = "FOLDER", required_unless_present = "list")]
    output: Option<PathBuf>,
    /// The detector and its arguments, after --.
    #[arg(last = true, value_name = "COMMAND", required_unless_present_any = ["merge", "list"])]
    command: Vec<String>,

    /// Only print the names of the records, the combinations left out and the records whose signal is that of an earlier one.
    #[arg(long, conflicts_with_all = ["merge", "command", "output"], help_heading = "Running")]
    list: bool,
    /// Every Nth record only, as 1/4 to 4/4.
    #[arg(long, value_name = "PART/PARTS", help_heading = "Running")]
    shard: Option<Shard>,
    /// Join a folder of a shard; given once for each.
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["command", "shard", "stay", "keep_signals"], help_heading = "Running")]
    merge: Vec<PathBuf>,
    /// Detectors at work at a time [default: one per core].
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..), help_heading = "Running")]
    jobs: Option<u16>,
    /// Longest that the detector may take for one record.
    #[arg(long, value_name = "TIME", value_parser = flags::span, default_value = "60s", help_heading = "Running")]
    timeout: Span,
    /// Start the detector once per core; it reads a line per record (name, signal, beats file, frame rate, tabs between) and
    /// answers with a line of the name, a tab and ok.
    #[arg(long, help_heading = "Running")]
    stay: bool,
    /// Keep signals and truth in FOLDER/signals.
    #[arg(long, help_heading = "Running")]
    keep_signals: bool,

    /// Suffix of the detector's answers: .csv, .json, or any other for an annotation file.
    #[arg(long, value_name = "SUFFIX", default_value = ".csv", value_parser = suffix, help_heading = "Reading files")]
    test_suffix: String,
    #[command(flatten)]
    reading: ReadingFlags,
    #[command(flatten)]
    limits: LimitFlags,
    #[command(flatten)]
    reports: ReportFlags,
}

/// Runs the records without an answer, then reports.
pub fn run(args: &SuiteArgs) -> Outcome {
    let plan = Plan::read(&args.plan).map_err(Failure::input)?;
    let jobs = args.jobs.map_or_else(|| thread::available_parallelism().map_or(1, usize::from), usize::from);
    let Some(output) = &args.output else {
        return list(&plan, jobs);
    };
    let limits = args.limits.limits()?;
    let reports = args.reports.claim(args.limits.file().into_iter().chain([args.plan.as_path()]))?;
    let all = || plan.records.iter().collect();
    let records: Vec<&Record> = args.shard.map_or_else(all, |shard| shard.of(&plan.records));
    if records.is_empty() {
        return Err(Failure::input(format!("the shard is empty; the plan has {} records", plan.records.len())));
    }
    if !plan.left_out.is_empty() {
        let count = plan.left_out.len();
        warn(&format!("{count} combinations exclude each other and are left out; --list names them"));
    }
    let reading = args.reading.options(None);
    let folder = if args.merge.is_empty() {
        let timeout = Duration::from_secs_f64(args.timeout.as_secs_f64());
        let detector = Detector::new(&args.command, args.stay, timeout).map_err(Failure::input)?;
        let manifest = Manifest::new(&plan, &detector, &args.test_suffix, args.shard);
        let folder = Folder::open(output, &manifest).map_err(Failure::input)?;
        let options = RunOptions { jobs, keep_signals: args.keep_signals, reading: reading.clone() };
        hear_all(&plan, &records, &detector, &folder, &options)?;
        folder
    } else {
        merge(&plan, &args.merge, output).map_err(Failure::input)?
    };
    let report = SuiteReport::new(&plan, &records, &folder, &reading, &limits, jobs).map_err(Failure::input)?;
    args.reports.write(reports, Some(&report.beats()), |form| {
        match form {
            Format::Text => report.text(),
            Format::Json => json(&report),
            Format::Csv => report.csv(),
            Format::Junit => report.junit(),
        }
        .into()
    })?;
    if report.passed() { Ok(()) } else { Err(Failure::Failed) }
}

fn list(plan: &Plan, jobs: usize) -> Outcome {
    let records: Vec<&Record> = plan.records.iter().collect();
    let repeats = repeats(plan, &records, jobs).map_err(Failure::input)?;
    crate::diagnostics::print(|out| {
        use std::io::Write;
        for record in &plan.records {
            writeln!(out, "{}", fit::line(&record.name))?;
        }
        plan.left_out.iter().try_for_each(|why| writeln!(out, "left out: {}", fit::line(why)))?;
        repeats.iter().try_for_each(|repeat| {
            writeln!(out, "same signal: {} is {}", fit::line(&repeat.record), fit::line(&repeat.of))
        })
    })
}

fn hear_all(plan: &Plan, records: &[&Record], detector: &Detector, folder: &Folder, options: &RunOptions) -> Outcome {
    interruption::watch();
    let bar = Mutex::new(Progress::new());
    let progress = |done, total| {
        bar.lock().unwrap_or_else(PoisonError::into_inner).show(done, total);
        if interruption::asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let outcome = hear(plan, records, detector, folder, options, &progress);
    drop(bar);
    outcome.map_err(|error| match error {
        SuiteError::Stopped => Failure::input("interrupted; the same command line goes on from here"),
        SuiteError::Answer(_) => Failure::input(format!("{error}; no further record was tried")),
        error => Failure::input(error),
    })
}

fn suffix(text: &str) -> Result<String, String> {
    let fits =
        text.starts_with('.') && text.len() <= 20 && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'.');
    let taken = text.ends_with(".failure.txt");
    if fits && !taken {
        Ok(text.to_owned())
    } else {
        Err("letters and digits after a dot, as .csv or .json".to_owned())
    }
}
