//! Writing a cohort: patients in order, their signals and their lines of the tables in one go. Every file appears whole or not at
//! all, so a run that was killed goes on where it was.

use crate::error::CohortError;
use crate::folder::{CohortFolder, CohortFormat};
use crate::npy;
use crate::people::Patient;
use crate::plan::CohortPlan;
use crate::pool;
use crate::record::SAMPLE;
use crate::tables::{self, BeatLines, Tables};
use pulsewright_core::block::Block;
use pulsewright_files::atomic::{FileError, FileSet, UnfinishedPart};
use pulsewright_files::manifest::{PartContent, RenderManifest, SUFFIX};
use pulsewright_files::{Bits, Durability, FileFormat};
use std::io::Write;
use std::ops::{ControlFlow, Range};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

/// Bytes of signals that a thread renders before it writes them.
const AT_ONCE: usize = 1 << 20;

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
    let work = Work {
        plan,
        folder,
        frames,
        record,
        at_once: (AT_ONCE / record.max(1)).max(1) as u64,
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
        if work.folder.packs.form == CohortFormat::Npy && piece.renders {
            let pack = match &mut open {
                Some(pack) => pack,
                None => open.insert(OpenPack::begin(&work, piece.pack)?),
            };
            pack.put(&made.bytes[..count(piece.patients.clone()) as usize * record])?;
        }
        if let Some(tables) = &mut tables {
            tables.put(made.index.as_bytes(), &made.beats)?;
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
    bytes: Vec<u8>,
    index: String,
    beats: Vec<u8>,
}

impl Work<'_> {
    /// Whether a pack is there; of records, each is looked for by itself.
    fn is_there(&self, pack: u32) -> bool {
        let path = self.pack_path(pack);
        self.folder.packs.form == CohortFormat::Npy && path.is_file() && path.with_extension(SUFFIX).is_file()
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

    fn rendered(&self) -> Rendered {
        let packed = self.folder.packs.form == CohortFormat::Npy;
        let bytes = if packed { self.at_once as usize * self.record } else { 0 };
        Rendered { block: self.plan.block(), bytes: vec![0; bytes], index: String::new(), beats: Vec::new() }
    }

    /// Renders the patients of a piece, and words their lines of the tables.
    fn render(&self, made: &mut Rendered, piece: Piece) -> Result<(), CohortError> {
        made.index.clear();
        made.beats.clear();
        let Rendered { block, bytes, index, beats } = made;
        for (place, number) in piece.patients.enumerate() {
            self.go_on()?;
            let patient = self.plan.patient(number)?;
            let mut lines = BeatLines::new(self.plan, &patient, self.frames, beats);
            match self.folder.packs.form {
                CohortFormat::Npy if piece.renders => {
                    let bytes = &mut bytes[place * self.record..][..self.record];
                    if self.listed {
                        self.plan.samples(&patient, block, bytes, &mut lines)?;
                    } else {
                        self.plan.samples(&patient, block, bytes, &mut ())?;
                    }
                    self.made.fetch_add(1, Ordering::Relaxed);
                }
                form => {
                    if form == CohortFormat::Wfdb {
                        self.file(&patient)?;
                    }
                    if self.listed {
                        self.plan.events(&patient, self.frames, &mut lines)?;
                    }
                }
            }
            if self.listed {
                index.push_str(&tables::index_row(&patient, &self.folder.packs));
            }
            self.done.fetch_add(1, Ordering::Relaxed);
        }
        Ok(())
    }

    /// Renders a record that is not there.
    fn file(&self, patient: &Patient) -> Result<(), CohortError> {
        let path = self.folder.record(patient.number);
        if !path.is_file() {
            self.plan.render_file(patient, FileFormat::Record(Bits::B16), &path)?;
            self.made.fetch_add(1, Ordering::Relaxed);
        }
        Ok(())
    }

    fn go_on(&self) -> Result<(), CohortError> {
        match (self.progress)(self.done.load(Ordering::Relaxed), self.total) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(CohortError::Stopped),
        }
    }
}

/// A pack being written.
struct OpenPack {
    set: FileSet,
    part: UnfinishedPart,
}

impl OpenPack {
    fn begin(work: &Work<'_>, pack: u32) -> Result<OpenPack, CohortError> {
        let path = work.pack_path(pack);
        let beside = path.with_extension(SUFFIX);
        let set = FileSet::of_render(&path, [path.as_path(), beside.as_path()], false, Durability::Usual)?;
        let patients = count(work.folder.packs.of(pack));
        let head = npy::head(patients, work.plan.channels.len(), work.frames);
        let part = set.signal(&path)?;
        part.reserve(head.len() as u64 + patients * work.record as u64).map_err(FileError::of(&path))?;
        let mut pack = OpenPack { set, part };
        pack.put(&head)?;
        Ok(pack)
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), CohortError> {
        Ok(self.part.write_all(bytes).map_err(|error| FileError::of(self.part.path())(error))?)
    }

    fn finish(self) -> Result<(), CohortError> {
        let beside = self.part.path().with_extension(SUFFIX);
        let part = self.part.finish()?;
        let manifest = RenderManifest::new([(&part, PartContent::Signal)]);
        let text = serde_json::to_string_pretty(&manifest).unwrap_or_default() + "\n";
        let mut manifest = self.set.part(&beside)?;
        manifest.write_all(text.as_bytes()).map_err(FileError::of(&beside))?;
        self.set.publish(vec![part, manifest.finish()?], &[])?;
        Ok(())
    }
}
