//! Writing a cohort: packs side by side, then the tables. Every file appears whole or not at all, so a run that was killed goes
//! on where it was.

use crate::error::CohortError;
use crate::folder::{Folder, Form};
use crate::npy;
use crate::plan::CohortPlan;
use crate::pool;
use crate::record::SAMPLE;
use crate::tables;
use pulsewright_core::block::Block;
use pulsewright_files::atomic::{FileError, Set};
use pulsewright_files::manifest::{Holds, Manifest, SUFFIX};
use pulsewright_files::{Bits, Durability, FileFormat};
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

/// Index of the patients.
pub const PATIENTS: &str = "patients.csv";

/// Table of all beats.
pub const BEATS: &str = "beats.csv";

/// Bytes of records that a thread renders before it writes them.
const AT_ONCE: usize = 1 << 20;

/// Patients whose lines of the tables are made together, between two writes.
const LINES: u64 = 512;

/// Called with the patients done and the patients in all, from many threads; may stop the work.
pub type Progress<'a> = &'a (dyn Fn(u64, u64) -> ControlFlow<()> + Sync);

/// What a run made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Made {
    /// Records rendered; those of packs that were there are not.
    pub records: u64,
    /// Bytes of their signals.
    pub bytes: u64,
    /// Whether the tables were written.
    pub tables: bool,
}

/// Writes the packs that the folder does not hold yet, or one pack of them; with all packs, the tables too.
///
/// # Errors
/// When a patient can't be rendered, a file can't be written, or `progress` stops.
pub fn write(
    plan: &CohortPlan,
    folder: &Folder,
    only: Option<u32>,
    jobs: usize,
    progress: Progress<'_>,
) -> Result<Made, CohortError> {
    let frames = plan.frames()?;
    let packs: Vec<u32> = only.map_or_else(|| (0..folder.packs.packs).collect(), |pack| vec![pack]);
    let total = packs.iter().map(|pack| folder.packs.of(*pack)).map(|range| range.end - range.start).sum();
    let work = Work { plan, folder, frames, progress, total, done: AtomicU64::new(0) };
    // With few packs the threads share each; with many, each thread has one of its own.
    let (packs_at_once, within) = if packs.len() < 4 * jobs { (1, jobs) } else { (jobs, 1) };
    let records: Vec<u64> = match folder.packs.form {
        Form::Npy => pool::map(packs_at_once, &packs, || (), |(), pack| work.pack(*pack, within))?,
        Form::Wfdb => {
            let patients: Vec<u64> = packs.iter().flat_map(|pack| folder.packs.of(*pack)).collect();
            pool::map(jobs, &patients, || (), |(), patient| work.record(*patient))?
        }
    };
    let records = records.iter().sum();
    let tables = only.is_none() && work.tables(jobs)?;
    let bytes = records * (frames * plan.channels.len() * folder.packs.form.sample_bytes()) as u64;
    Ok(Made { records, bytes, tables })
}

/// Work under way.
struct Work<'a> {
    plan: &'a CohortPlan,
    folder: &'a Folder,
    frames: usize,
    progress: Progress<'a>,
    total: u64,
    done: AtomicU64,
}

impl Work<'_> {
    /// Writes a pack that is not there on some threads, and returns how many records that took.
    fn pack(&self, pack: u32, threads: usize) -> Result<u64, CohortError> {
        let packs = self.folder.packs;
        let path = self.folder.file(&packs.name(pack));
        let beside = path.with_extension(SUFFIX);
        let range = packs.of(pack);
        let count = range.end - range.start;
        if path.is_file() && beside.is_file() {
            self.done.fetch_add(count, Ordering::Relaxed);
            return Ok(0);
        }
        let set = Set::of_render(&path, [path.as_path(), beside.as_path()], false, Durability::Usual)?;
        let head = npy::head(count, self.plan.channels.len(), self.frames);
        let record = self.frames * self.plan.channels.len() * SAMPLE;
        let mut part = set.signal(&path)?;
        part.reserve(head.len() as u64 + count * record as u64).map_err(FileError::of(&path))?;
        part.write_all(&head).map_err(FileError::of(&path))?;
        // A thread renders some records at a time, so that a record that takes longer delays no other thread.
        let some = (AT_ONCE / record.max(1)).max(1);
        let pieces = count.div_ceil(some as u64) as usize;
        let patients = |piece: usize| {
            let first = range.start + (piece * some) as u64;
            first..range.end.min(first + some as u64)
        };
        let start = || (self.plan.block(), vec![0; some * record]);
        let render = |(block, bytes): &mut (Box<Block>, Vec<u8>), piece: usize| {
            for (number, bytes) in patients(piece).zip(bytes.chunks_exact_mut(record)) {
                self.step()?;
                self.plan.samples(&self.plan.patient(number)?, block, bytes)?;
                self.done.fetch_add(1, Ordering::Relaxed);
            }
            Ok::<(), CohortError>(())
        };
        let write = |(_, bytes): &mut (Box<Block>, Vec<u8>), piece: usize| {
            let patients = patients(piece);
            let bytes = &bytes[..(patients.end - patients.start) as usize * record];
            part.write_all(bytes).map_err(|error| CohortError::from(FileError::of(&path)(error)))
        };
        pool::in_order(threads, pieces, start, render, write)?;
        let part = part.finish()?;
        let manifest = Manifest::new([(&part, Holds::Signal)]);
        let text = serde_json::to_string_pretty(&manifest).unwrap_or_default() + "\n";
        let manifest = whole(&set, &beside, text.as_bytes())?;
        set.publish(vec![part, manifest], &[])?;
        Ok(count)
    }

    /// Writes a record that is not there.
    fn record(&self, patient: u64) -> Result<u64, CohortError> {
        self.step()?;
        let path = self.folder.record(patient);
        let there = path.is_file();
        if !there {
            self.plan.render_file(&self.plan.patient(patient)?, FileFormat::Record(Bits::B16), &path)?;
        }
        self.done.fetch_add(1, Ordering::Relaxed);
        Ok(u64::from(!there))
    }

    fn step(&self) -> Result<(), CohortError> {
        match (self.progress)(self.done.load(Ordering::Relaxed), self.total) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(CohortError::Stopped),
        }
    }

    /// Writes the tables where they are not there; false where they are.
    fn tables(&self, jobs: usize) -> Result<bool, CohortError> {
        let [index, beats] = [PATIENTS, BEATS].map(|name| self.folder.file(name));
        if index.is_file() && beats.is_file() {
            return Ok(false);
        }
        let set = Set::of_files(&[&index, &beats], true)?;
        let (mut index_part, mut beats_part) = (set.part(&index)?, set.part(&beats)?);
        index_part.write_all(tables::index_head(self.plan).as_bytes()).map_err(FileError::of(&index))?;
        beats_part.write_all(tables::beats_head().as_bytes()).map_err(FileError::of(&beats))?;
        let packs = self.folder.packs;
        let mut from = 0;
        while from < packs.patients {
            self.step()?;
            let to = packs.patients.min(from + LINES);
            let numbers: Vec<u64> = (from..to).collect();
            let rows =
                pool::map(jobs, &numbers, || (), |(), number| tables::rows(self.plan, &packs, self.frames, *number))?;
            for (line, lines) in rows {
                index_part.write_all(line.as_bytes()).map_err(FileError::of(&index))?;
                beats_part.write_all(&lines).map_err(FileError::of(&beats))?;
            }
            from = to;
        }
        let parts = vec![index_part.finish()?, beats_part.finish()?];
        set.publish(parts, &[])?;
        Ok(true)
    }
}

/// A small part of a set with these bytes.
fn whole(set: &Set, path: &Path, bytes: &[u8]) -> Result<pulsewright_files::atomic::Finished, CohortError> {
    let mut part = set.part(path)?;
    part.write_all(bytes).map_err(FileError::of(path))?;
    Ok(part.finish()?)
}
