//! A run: every record of a shard that has no outcome yet, on all cores.

use crate::answer::read_answer;
use crate::detector::Detector;
use crate::detector::{DetectorGuard, Outcome, Worker};
use crate::error::SuiteError;
use crate::folder::AnswerFolder;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use pulsewright_cohort::pool;
use pulsewright_score::read::ReadOptions;
use std::collections::BTreeMap;
use std::fs;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use tempfile::TempDir;

/// Options of a run. None of them changes the answers.
#[derive(Clone, Debug)]
pub struct RunOptions {
    /// Detectors that run at a time.
    pub jobs: usize,
    /// Whether signals and truth stay in the folder.
    pub keep_signals: bool,
    /// How answers are read.
    pub reading: ReadOptions,
}

/// Called with the records done and the records in all, from many threads; may stop the work.
pub type SuiteProgress<'a> = &'a (dyn Fn(u64, u64) -> ControlFlow<()> + Sync);

/// Runs the detector on every record without an outcome in the folder.
///
/// The first record runs alone: so a command that can't be started, or an answer that can't be read, shows before a long run.
///
/// # Errors
/// When the command can't be started, a file can't be written, the first answer can't be read, or `progress` stops.
pub fn run(
    plan: &SuitePlan,
    records: &[&SuiteRecord],
    detector: &Detector,
    folder: &AnswerFolder,
    options: &RunOptions,
    progress: SuiteProgress<'_>,
) -> Result<(), SuiteError> {
    let to_do: Vec<&SuiteRecord> = records.iter().copied().filter(|record| !folder.holds(record)).collect();
    folder.tidy()?;
    let work = folder.work();
    let Some((first, rest)) = to_do.split_first() else {
        // A run that was killed after its last record left no times.
        return if folder.has_times() { Ok(()) } else { folder.keep_times_s(&BTreeMap::new()) };
    };
    fs::create_dir_all(&work).map_err(SuiteError::io(&work))?;
    let guard = DetectorGuard::start();
    let active = ActiveRun {
        plan,
        detector,
        guard: &guard,
        folder,
        options,
        progress,
        total: records.len() as u64,
        done: AtomicU64::new((records.len() - to_do.len()) as u64),
        times_s: Mutex::new(folder.times_s()),
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
    // Also those of a run that is stopped.
    folder.keep_times_s(&active.times_s.into_inner().unwrap_or_else(PoisonError::into_inner))?;
    outcome?;
    fs::remove_dir_all(&work).map_err(SuiteError::io(&work))
}

/// A run under way.
struct ActiveRun<'a> {
    plan: &'a SuitePlan,
    detector: &'a Detector,
    guard: &'a DetectorGuard,
    folder: &'a AnswerFolder,
    options: &'a RunOptions,
    progress: SuiteProgress<'a>,
    total: u64,
    done: AtomicU64,
    /// Seconds that the detector took, by record.
    times_s: Mutex<BTreeMap<String, f64>>,
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

    fn one(&self, bench: &mut Bench<'_>, record: &SuiteRecord, first: bool) -> Result<(), SuiteError> {
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
        let mut times_s = self.times_s.lock().unwrap_or_else(PoisonError::into_inner);
        times_s.insert(record.name.clone(), bench.worker.took().as_secs_f64());
        drop(times_s);
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
