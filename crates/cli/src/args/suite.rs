//! `suite`.

use super::scoring::{LimitFlags, ReadingFlags, ScoreReportFlags};
use super::values;
use crate::diagnostics::VerbFailure;
use crate::suite::{AnswerSource, DetectorRun, Request};
use clap::Args;
use pulsewright_core::time::Span;
use pulsewright_suite::Shard;
use std::path::PathBuf;
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
pub struct SuiteFlags {
    /// The plan, JSON.
    plan: PathBuf,
    /// Folder of answers; made when it is not there, else the run in it goes on.
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
    /// Detectors that run at a time [default: one per core].
    #[arg(long, value_name = "NUMBER", value_parser = values::jobs, help_heading = "Running")]
    jobs: Option<u16>,
    /// Longest that the detector may take for one record.
    #[arg(long, value_name = "TIME", value_parser = values::span, default_value = "60s", help_heading = "Running")]
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
    reports: ScoreReportFlags,
}

impl SuiteFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let answers = match self.output {
            None => None,
            Some(output) if self.merge.is_empty() => Some(AnswerSource::Detect(DetectorRun {
                output,
                command: self.command,
                stay: self.stay,
                timeout: Duration::from_secs_f64(self.timeout.as_secs_f64()),
                shard: self.shard,
                keep_signals: self.keep_signals,
                test_suffix: self.test_suffix,
            })),
            Some(output) => Some(AnswerSource::Merge { output, folders: self.merge }),
        };
        Ok(Request {
            plan: self.plan,
            answers,
            jobs: self.jobs.map(usize::from),
            reading: self.reading.options(None),
            limits: self.limits.sources(),
            reports: self.reports.reports()?,
        })
    }
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
