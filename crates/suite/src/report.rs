//! The report of a suite: the score of every record and of all, by each dimension of the matrix, and the failures.

use crate::answer::read_answer;
use crate::error::SuiteError;
use crate::folder::AnswerFolder;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use crate::repeats::{Repeat, repeats};
use pulsewright_cohort::pool;
use pulsewright_score::limits::{FigureLimits, LimitVerdict};
use pulsewright_score::read::{ReadOptions, ScoreReadError};
use pulsewright_score::record::{RecordReport, Sums};
use pulsewright_score::report::text::{aligned, percent};
use pulsewright_score::report::{Report, TestCase, csv, markdown, text};
use pulsewright_score::{Annotations, matrix::Detection, score_record};
use pulsewright_script::typed::unknown_of;
use pulsewright_text::fit;
use pulsewright_text::number::counted;
use pulsewright_text::source::SourceError;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write;

/// Records shown one by one in the text form; all are in the others.
const SHOWN: usize = 20;

/// The report of a suite.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SuiteReport {
    /// The plan's title.
    pub title: String,
    /// Records of the plan that belong to the report.
    pub records: usize,
    /// Combinations that the plan leaves out because they exclude each other.
    pub left_out: usize,
    /// Records that the detector gave no readable answer to, in order. They count as ones in which it found nothing.
    pub failures: Vec<RecordFailure>,
    /// Records with the signal of an earlier one, in order. They are scored like any other.
    pub repeats: Vec<Repeat>,
    /// All records by each dimension with more than one value in the plan.
    pub groups: Vec<RecordGroup>,
    /// The score.
    pub score: Report,
    /// Seconds that the detector took, by record; only [`SuiteReport::cases`] shows them, as they differ from run to run.
    #[serde(skip)]
    pub times_s: BTreeMap<String, f64>,
}

/// A record without a readable answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RecordFailure {
    /// Its name.
    pub record: String,
    /// Why.
    pub why: String,
}

/// All records with the same value in one dimension.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordGroup {
    /// The dimension: `rhythm`, `body`, `rate_bpm`, `frame_rate_hz`, or a setting's path.
    pub dimension: &'static str,
    /// The value.
    pub value: String,
    /// How many records.
    pub records: usize,
    /// Their events found, missed and extra, pooled.
    pub detection: Detection,
}

impl SuiteReport {
    /// Scores the answers to `records`, all of which the folder must hold.
    ///
    /// # Errors
    /// When the folder holds no answer to one of them, or a truth can't be made. An answer that can't be read is a
    /// failure of the detector and stands in the report.
    pub fn new(
        plan: &SuitePlan,
        records: &[&SuiteRecord],
        folder: &AnswerFolder,
        reading: &ReadOptions,
        limits: &FigureLimits,
        jobs: usize,
    ) -> Result<SuiteReport, SuiteError> {
        SuiteReport::check_limits(records, limits)?;
        let scored = pool::map(jobs, records, || (), |(), record| score(plan, record, folder, reading))?;
        let failures = scored.iter().filter_map(|(_, failure)| failure.clone()).collect();
        let reports: Vec<RecordReport> = scored.into_iter().map(|(report, _)| report).collect();
        let repeats = repeats(plan, records, jobs)?;
        let groups = sums_by_group(records, &reports);
        let verdicts =
            groups.iter().flat_map(|(dimension, value, _, sums)| limits.judge_group(dimension, value, &sums.figures()));
        let verdicts: Vec<LimitVerdict> = verdicts.collect();
        let mut score = Report::new(&plan.options, reports, limits);
        score.verdicts.extend(verdicts);
        Ok(SuiteReport {
            title: plan.title.clone(),
            records: records.len(),
            left_out: plan.left_out.len(),
            failures,
            repeats,
            groups: shown_groups(&groups),
            score,
            times_s: folder.times_s(),
        })
    }

    /// Whether every limit holds and the detector failed nowhere.
    pub fn passed(&self) -> bool {
        self.failures.is_empty() && self.score.passed()
    }

    /// Refuses limits on groups that the records do not have. A caller checks them before a detector runs for hours.
    ///
    /// # Errors
    /// [`SuiteError::Plan`] with the words that are known.
    pub fn check_limits(records: &[&SuiteRecord], limits: &FigureLimits) -> Result<(), SuiteError> {
        if limits.by.is_empty() {
            return Ok(());
        }
        let mut known: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
        for (dimension, value) in records.iter().flat_map(|record| record.dimensions()) {
            known.entry(dimension).or_default().insert(value);
        }
        for by in &limits.by {
            let wrong = |kind: &str, word: &str, all: Vec<&str>| {
                SuiteError::Plan(format!("limits, by.{}: {}", by.dimension, unknown_of(kind, word, all)))
            };
            let Some(values) = known.get(by.dimension.as_str()) else {
                return Err(wrong("dimension", &by.dimension, known.keys().copied().collect()));
            };
            if by.value != "*" && !values.contains(&by.value) {
                return Err(wrong("value", &by.value, values.iter().map(String::as_str).collect()));
            }
        }
        Ok(())
    }

    /// For people: failures, each dimension, the worst records, all of them pooled, the limits.
    pub fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        if !self.title.is_empty() {
            let _ = writeln!(out, "{}\n", fit::line(&self.title));
        }
        out += &counted(self.records as u64, "record");
        if self.left_out > 0 {
            let left_out = counted(self.left_out as u64, "combination");
            let _ = write!(out, ", {left_out} left out because the settings exclude each other");
        }
        out.push('\n');
        if let [first, ..] = &self.repeats[..] {
            let (count, different) = (self.repeats.len(), self.records - self.repeats.len());
            let _ = writeln!(
                out,
                "{}; {} with the signal of an earlier one, the first: {} is {}",
                counted(different as u64, "different signal"),
                counted(count as u64, "record"),
                first.record,
                first.of
            );
        }
        if !self.failures.is_empty() {
            let count = counted(self.failures.len() as u64, "record");
            let _ = writeln!(out, "\n{count} without a readable answer, scored as nothing found");
            for failure in self.failures.iter().take(SHOWN) {
                let _ = writeln!(out, "FAIL  {}: {}", failure.record, fit::message(&failure.why));
            }
            if self.failures.len() > SHOWN {
                let _ = writeln!(out, "and {} more", self.failures.len() - SHOWN);
            }
        }
        if !self.groups.is_empty() {
            out.push('\n');
            out += &aligned(&group_rows(&self.groups));
        }
        out.push('\n');
        let mut shown = self.score.clone();
        if shown.records.len() > SHOWN {
            let wrong = |record: &RecordReport| record.figures.detection.missed + record.figures.detection.extra;
            shown.records.sort_by_key(|record| std::cmp::Reverse(wrong(record)));
            shown.records.truncate(SHOWN);
            let _ = writeln!(out, "Of the records one by one the {SHOWN} with the most events missed and extra:\n");
        }
        // Limits on single records that hold are too many to read.
        shown.verdicts.retain(|verdict| !verdict.passed || !verdict.single);
        let holding = self.score.verdicts.len() - shown.verdicts.len();
        out += &text::render(&shown);
        if holding > 0 {
            let _ = writeln!(out, "pass  {} on single records", counted(holding as u64, "limit"));
        }
        out
    }

    /// One row per record, then gross and average; the columns of the score.
    pub fn csv(&self) -> String {
        csv::render(&self.score)
    }

    /// Result of every event.
    pub fn beats(&self) -> String {
        csv::beats(&self.score.records)
    }

    /// Markdown with tables: failures, each dimension, limits, all records pooled, the worst records.
    pub fn markdown(&self) -> String {
        let title = if self.title.is_empty() { "Suite" } else { &self.title };
        let mut out = markdown::heading(title, self.passed());
        // Writing to a String cannot fail.
        out += &counted(self.records as u64, "record");
        if !self.repeats.is_empty() {
            let _ = write!(out, ", {} of them with the signal of an earlier one", self.repeats.len());
        }
        out += "\n\n";
        if !self.failures.is_empty() {
            let count = counted(self.failures.len() as u64, "record");
            let _ = write!(out, "{count} without a readable answer\n\n");
            let mut rows = vec![["record", "why"].map(str::to_owned).to_vec()];
            let row = |failure: &RecordFailure| vec![failure.record.clone(), fit::message(&failure.why)];
            rows.extend(self.failures.iter().take(SHOWN).map(row));
            out += &markdown::table(&rows);
            out.push('\n');
        }
        if !self.groups.is_empty() {
            out += &markdown::table(&group_rows(&self.groups));
            out.push('\n');
        }
        out += &markdown::body(&self.score);
        out
    }

    /// Test cases: one for each record, with the time that the detector took, and one for each limit.
    pub fn cases(&self) -> Vec<TestCase> {
        let failures = self.failures.iter().map(|failure| (failure.record.as_str(), failure.why.as_str()));
        let failures: HashMap<&str, &str> = failures.collect();
        let answer = |record: &RecordReport| {
            let failure = failures.get(record.record.as_str()).map(|why| (*why).to_owned());
            let time_s = self.times_s.get(&record.record).copied().unwrap_or(0.0);
            TestCase::new(&record.record, "answer", failure).taking(time_s)
        };
        self.score.records.iter().map(answer).chain(self.score.cases()).collect()
    }

    /// Name of the cases in a build.
    pub fn name(&self) -> String {
        format!("pulsewright.suite.{}", self.score.rules.options.events.name())
    }
}

fn score(
    plan: &SuitePlan,
    record: &SuiteRecord,
    folder: &AnswerFolder,
    reading: &ReadOptions,
) -> Result<(RecordReport, Option<RecordFailure>), SuiteError> {
    let reference = record.reference(plan)?;
    let failed = |why: String| {
        let nothing = Annotations { labelled: false, ..Annotations::default() };
        (nothing, Some(RecordFailure { record: record.name.clone(), why }))
    };
    let (test, failure) = match folder.failure(record)? {
        Some(why) => failed(why),
        None => match read_answer(plan, record, folder, reading) {
            Ok(test) => (test, None),
            // Without the path, which differs from folder to folder.
            Err(ScoreReadError::Content { problem, .. }) => failed(format!("its answer can't be read: {problem}")),
            Err(ScoreReadError::Unreadable(SourceError::TooLarge { most, .. })) => {
                failed(format!("its answer is too large: at most {} MiB", most >> 20))
            }
            Err(error) => return Err(SuiteError::Answer(error)),
        },
    };
    Ok((score_record(&record.name, &reference, &test, &plan.options), failure))
}

/// A dimension, a value, the number of records that have it, and their sums.
type GroupSums = (&'static str, String, usize, Sums);

fn sums_by_group(records: &[&SuiteRecord], reports: &[RecordReport]) -> Vec<GroupSums> {
    let mut sums: Vec<GroupSums> = Vec::new();
    for (record, report) in records.iter().zip(reports) {
        for (dimension, value) in record.dimensions() {
            let same = sums.iter().position(|sum| sum.0 == dimension && sum.1 == value);
            let index = same.unwrap_or_else(|| {
                // Beside the others of its dimension, in the order of the plan.
                let after = sums.iter().rposition(|sum| sum.0 == dimension).map_or(sums.len(), |last| last + 1);
                sums.insert(after, (dimension, value, 0, Sums::default()));
                after
            });
            sums[index].2 += 1;
            sums[index].3.add(&report.sums);
        }
    }
    sums
}

/// The groups of dimensions with more than one value.
fn shown_groups(sums: &[GroupSums]) -> Vec<RecordGroup> {
    let several = |dimension: &str| sums.iter().filter(|sum| sum.0 == dimension).count() > 1;
    let of_several = sums.iter().filter(|sum| several(sum.0));
    let group = |(dimension, value, records, sums): &GroupSums| RecordGroup {
        dimension,
        value: value.clone(),
        records: *records,
        detection: sums.figures().detection,
    };
    of_several.map(group).collect()
}

fn group_rows(groups: &[RecordGroup]) -> Vec<Vec<String>> {
    let titles = ["by", "value", "records", "found", "missed", "extra", "Se %", "+P %"];
    let mut rows = vec![titles.map(str::to_owned).to_vec()];
    for group in groups {
        let detection = &group.detection;
        rows.push(vec![
            group.dimension.to_owned(),
            group.value.clone(),
            group.records.to_string(),
            detection.matched.to_string(),
            detection.missed.to_string(),
            detection.extra.to_string(),
            percent(detection.sensitivity.percent),
            percent(detection.predictivity.percent),
        ]);
    }
    rows
}
