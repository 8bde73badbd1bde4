//! Writing a cohort: patients in order, their signals and their lines of the tables in one go. Every file appears whole or not at
//! all, so a run that was killed goes on where it was.

use crate::error::CohortError;
use crate::folder::{CohortFolder, CohortFormat};
use crate::pack::{OpenPack, PackSignals, PackWriting};
use crate::plan::CohortPlan;
use crate::pool;
use crate::record::SAMPLE;
use crate::tables::{BeatLines, IndexRows, Tables};
use pulsewright_core::block::Block;
use pulsewright_files::manifest::SUFFIX;
use pulsewright_files::{Bits, FileFormat};
use std::ops::{ControlFlow, Range};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

/// Called with the patients done and the patients in all, from many threads; may stop the work.
pub type CohortProgress<'a> = &'a (dyn Fn(u64, u64) -> ControlFlow<()> + Sync);

/// The outcome of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CohortOutcome {
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
    folder: &CohortFolder,
    only: Option<u32>,
    jobs: usize,
    progress: CohortProgress<'_>,
) -> Result<CohortOutcome, CohortError> {
    let frames = plan.frames()?;
    let mut tables = if only.is_none() { Tables::begin(plan, folder)? } else { None };
    let listed = tables.is_some();
    let packs = only.map_or(0..folder.packs.packs, |pack| pack..pack + 1);
    let total = packs.clone().map(|pack| count(folder.packs.of(pack))).sum();
    let record = frames * plan.channels.len() * SAMPLE;
    let writing = PackWriting::new(plan, frames, folder.packs.form)?;
    let work = Work {
        plan,
        folder,
        frames,
        record,
        at_once: (writing.at_once() / record.max(1)).max(1) as u64,
        writing,
        listed,
        progress,
        total,
        done: AtomicU64::new(0),
        made: AtomicU64::new(0),
    };
    let mut to_do = Vec::new();
    let mut pieces = 0;
    for pack in packs {
        let there = work.is_there(pack);
        if there && !listed {
            work.done.fetch_add(count(folder.packs.of(pack)), Ordering::Relaxed);
            continue;
        }
        to_do.push(PackToDo { first: pieces, pack, renders: !there });
        pieces += work.pieces(pack);
    }
    let piece = |number: usize| work.piece(&to_do, number);
    let mut open = None;
    let take = |made: &mut Rendered, number: usize| {
        let piece = piece(number);
        if work.folder.packs.form.is_packed() && piece.renders {
            let pack = match &mut open {
                Some(pack) => pack,
                None => open.insert(work.begin(piece.pack)?),
            };
            pack.put(&mut made.signals)?;
        }
        if let Some(tables) = &mut tables {
            tables.put(&made.index, &made.beats)?;
        }
        match open.take_if(|_| piece.is_last) {
            Some(pack) => pack.finish(),
            None => Ok(()),
        }
    };
    pool::in_order(jobs, pieces, || work.rendered(), |made, number| work.render(made, piece(number)), take)?;
    tables.map_or(Ok(()), Tables::finish)?;
    let records = work.made.into_inner();
    let bytes = records * (frames * plan.channels.len() * folder.packs.form.sample_bytes()) as u64;
    Ok(CohortOutcome { records, bytes, tables: listed })
}

fn count(patients: Range<u64>) -> u64 {
    patients.end - patients.start
}

/// Work under way.
struct Work<'a> {
    plan: &'a CohortPlan,
    folder: &'a CohortFolder,
    frames: usize,
    /// Bytes of a patient's signal in a pack.
    record: usize,
    /// Patients in a piece of work.
    at_once: u64,
    writing: PackWriting,
    /// Whether the tables are written.
    listed: bool,
    progress: CohortProgress<'a>,
    total: u64,
    done: AtomicU64,
    made: AtomicU64,
}

/// A pack whose patients are rendered or listed.
struct PackToDo {
    /// Number of its first piece.
    first: usize,
    pack: u32,
    renders: bool,
}

/// Patients that one thread takes on together.
struct Piece {
    pack: u32,
    patients: Range<u64>,
    renders: bool,
    /// Whether the pack ends with it.
    is_last: bool,
}

/// The work of a thread on a piece, and the room for it.
struct Rendered {
    block: Box<Block>,
    signals: PackSignals,
    index: IndexRows,
    beats: Vec<u8>,
}

impl Work<'_> {
    /// Whether a pack is there; of records, each is looked for by itself.
    fn is_there(&self, pack: u32) -> bool {
        let path = self.pack_path(pack);
        self.folder.packs.form.is_packed() && path.is_file() && path.with_extension(SUFFIX).is_file()
    }

    fn pack_path(&self, pack: u32) -> PathBuf {
        self.folder.file(&self.folder.packs.name(pack))
    }

    fn pieces(&self, pack: u32) -> usize {
        count(self.folder.packs.of(pack)).div_ceil(self.at_once) as usize
    }

    /// The piece of a number.
    fn piece(&self, to_do: &[PackToDo], number: usize) -> Piece {
        let PackToDo { first, pack, renders } = to_do[to_do.partition_point(|pack| pack.first <= number) - 1];
        let all = self.folder.packs.of(pack);
        let from = all.start + (number - first) as u64 * self.at_once;
        let to = all.end.min(from + self.at_once);
        Piece { pack, patients: from..to, renders, is_last: to == all.end }
    }

    fn begin(&self, pack: u32) -> Result<OpenPack, CohortError> {
        let patients = count(self.folder.packs.of(pack));
        self.writing.begin(&self.pack_path(pack), patients, self.record)
    }

    fn rendered(&self) -> Rendered {
        let form = self.folder.packs.form;
        let bytes = if form.is_packed() { self.at_once as usize * self.record } else { 0 };
        let signals = PackSignals::new(bytes);
        Rendered { block: self.plan.block(), signals, index: IndexRows::of(form), beats: Vec::new() }
    }

    /// Renders the patients of a piece, and words their lines of the tables.
    fn render(&self, made: &mut Rendered, piece: Piece) -> Result<(), CohortError> {
        made.index.clear();
        made.beats.clear();
        let Rendered { block, signals, index, beats } = made;
        let room = signals.room(count(piece.patients.clone()) as usize * self.record);
        for (place, number) in piece.patients.clone().enumerate() {
            self.go_on()?;
            let patient = self.plan.patient(number)?;
            let mut lines = BeatLines::new(self.plan, &patient, self.frames, beats);
            match self.folder.packs.form {
                form if form.is_packed() && piece.renders => {
                    let bytes = &mut room[place * self.record..][..self.record];
                    if self.listed {
                        self.plan.samples(&patient, block, bytes, &mut lines)?;
                    } else {
                        self.plan.samples(&patient, block, bytes, &mut ())?;
                    }
                    self.made.fetch_add(1, Ordering::Relaxed);
                }
                CohortFormat::Wfdb if self.is_missing(number) => {
                    let path = self.folder.record(number);
                    self.plan.render_file(&patient, FileFormat::Record(Bits::B16), &path, &mut lines)?;
                    self.made.fetch_add(1, Ordering::Relaxed);
                }
                _ if self.listed => self.plan.events(&patient, self.frames, &mut lines)?,
                _ => {}
            }
            if self.listed {
                index.push(patient, &self.folder.packs);
            }
            self.done.fetch_add(1, Ordering::Relaxed);
        }
        if piece.renders { signals.encode(&self.writing, piece.patients) } else { Ok(()) }
    }

    /// Whether the record of a patient is not there.
    fn is_missing(&self, patient: u64) -> bool {
        !self.folder.record(patient).is_file()
    }

    fn go_on(&self) -> Result<(), CohortError> {
        match (self.progress)(self.done.load(Ordering::Relaxed), self.total) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(CohortError::Stopped),
        }
    }
}
