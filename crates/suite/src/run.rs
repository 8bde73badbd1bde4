//! A run: every record of a shard that has no outcome yet, on all cores.

use crate::detector::{Guard, Outcome, Worker};
use crate::record::Record;
use crate::report::read_answer;
use crate::{Detector, Folder, Plan, SuiteError, pool};
use pulsewright_score::read::ReadOptions;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::fs;
use std::ops::ControlFlow;
use std::str::FromStr;
use std::sync::atomic::{AtomicU64, Ordering};
use tempfile::TempDir;

/// Part `part` of `of`: every `of`th record, starting with the `part`th.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    part: u32,
    of: u32,
}

impl Shard {
    /// The records that belong to the shard.
    pub fn of(self, records: &[Record]) -> Vec<&Record> {
        records.iter().skip(self.part as usize - 1).step_by(self.of as usize).collect()
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Shard, String> {
        let shard =
            text.split_once('/').and_then(|(part, of)| Some(Shard { part: part.parse().ok()?, of: of.parse().ok()? }));
        shard
            .filter(|shard| (1..=shard.of).contains(&shard.part))
            .ok_or_else(|| "a shard is part/parts, as 1/4 to 4/4".to_owned())
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

/// Options of a run. None of them changes the answers.
#[derive(Clone, Debug)]
pub struct RunOptions {
    /// Detectors at work at a time.
    pub jobs: usize,
    /// Whether signals and truth stay in the folder.
    pub keep_signals: bool,
    /// How answers are read.
    pub reading: ReadOptions,
}

/// Called with the records done and the records in all, from many threads; may stop the work.
pub type Progress<'a> = &'a (dyn Fn(u64, u64) -> ControlFlow<()> + Sync);

/// Runs the detector on every record of which the folder has no outcome.
///
/// The first record runs alone: so a command that can't be started, or an answer that can't be read, shows before a long run.
///
/// # Errors
/// When the command can't be started, a file can't be written, the first answer can't be read, or `progress` stops.
pub fn run(
    plan: &Plan,
    records: &[&Record],
    detector: &Detector,
    folder: &Folder,
    options: &RunOptions,
    progress: Progress<'_>,
) -> Result<(), SuiteError> {
    let to_do: Vec<&Record> = records.iter().copied().filter(|record| !folder.holds(record)).collect();
    folder.tidy()?;
    let work = folder.work();
    let Some((first, rest)) = to_do.split_first() else {
        return Ok(());
    };
    fs::create_dir_all(&work).map_err(SuiteError::io(&work))?;
    let guard = Guard::start();
    let active = ActiveRun {
        plan,
        detector,
        guard: &guard,
        folder,
        options,
        progress,
        total: records.len() as u64,
        done: AtomicU64::new((records.len() - to_do.len()) as u64),
    };
    let mut bench = active.bench()?;
    active.one(&mut bench, first, true)?;
    drop(bench);
    let outcome = pool::map(
        options.jobs,
        rest,
        || None,
        |bench, record| {
            let bench = match bench {
                Some(bench) => bench,
                None => bench.insert(active.bench()?),
            };
            active.one(bench, record, false)
        },
    );
    outcome?;
    fs::remove_dir_all(&work).map_err(SuiteError::io(&work))
}

/// A run under way.
struct ActiveRun<'a> {
    plan: &'a Plan,
    detector: &'a Detector,
    guard: &'a Guard,
    folder: &'a Folder,
    options: &'a RunOptions,
    progress: Progress<'a>,
    total: u64,
    done: AtomicU64,
}

/// A thread's own detector and place to work.
struct Bench<'a> {
    worker: Worker<'a>,
    place: TempDir,
}

impl<'a> ActiveRun<'a> {
    fn bench(&self) -> Result<Bench<'a>, SuiteError> {
        let work = self.folder.work();
        let place = TempDir::new_in(&work).map_err(SuiteError::io(&work))?;
        Ok(Bench { worker: self.detector.worker(self.guard), place })
    }

    fn one(&self, bench: &mut Bench<'_>, record: &Record, first: bool) -> Result<(), SuiteError> {
        let stop = || (self.progress)(self.done.load(Ordering::Relaxed), self.total).is_break();
        if stop() {
            return Err(SuiteError::Stopped);
        }
        if self.options.keep_signals {
            let signals = self.folder.signals();
            fs::create_dir_all(&signals).map_err(SuiteError::io(&signals))?;
            let extension = self.plan.format.extension();
            record.render_file(self.plan, &signals.join(format!("{}.{extension}", record.name)), true)?;
        }
        let outcome = bench.worker.ask(record, self.plan, bench.place.path(), &stop)?;
        self.folder.keep(record, &outcome)?;
        if first && matches!(outcome, Outcome::Answer(_)) {
            let read = read_answer(self.plan, record, self.folder, &self.options.reading);
            if let Err(error) = read {
                // Not an answer to go on with: the next run asks again.
                let answer = self.folder.answer(record);
                fs::remove_file(&answer).map_err(SuiteError::io(&answer))?;
                return Err(SuiteError::Answer(error));
            }
        }
        self.done.fetch_add(1, Ordering::Relaxed);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_parts_of_a_whole() {
        for bad in ["", "1", "0/2", "3/2", "1/0", "-1/2", "1/2/3", "a/b"] {
            assert!(bad.parse::<Shard>().is_err(), "{bad}");
        }
        let text = r#"{"version": 1, "duration_s": 10, "score": {"learning_s": 0},
            "blocks": [{"rhythm": ["sinus"], "seed": {"from": 0, "count": 7}}]}"#;
        let plan = Plan::parse(text, "plan").unwrap();
        let mut names: Vec<String> = Vec::new();
        for shard in ["1/3", "2/3", "3/3"] {
            let shard: Shard = shard.parse().unwrap();
            names.extend(shard.of(&plan.records).iter().map(|record| record.name.clone()));
        }
        names.sort();
        assert_eq!(names, plan.records.iter().map(|record| record.name.clone()).collect::<Vec<_>>());
    }
}
