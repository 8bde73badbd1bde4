//! A pack being written, as a NumPy array or as a Parquet file.

use crate::error::CohortError;
use crate::folder::CohortFormat;
use crate::npy;
#[cfg(feature = "parquet")]
use crate::parquet_pack::{EncodedPatients, PackColumns};
#[cfg(feature = "parquet")]
use crate::parquet_schema::{self, ParquetPart};
use crate::plan::CohortPlan;
use pulsewright_files::Durability;
use pulsewright_files::atomic::{FileError, FileSet, FinishedPart, UnfinishedPart};
use pulsewright_files::manifest::{PartContent, RenderManifest, SUFFIX};
use std::io::Write;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Bytes of signals that a thread renders before it writes them to an array.
const AT_ONCE: usize = 1 << 20;

/// As [`AT_ONCE`], for Parquet: a row group, whose columns have a place in the memory of the writer until the file ends.
#[cfg(feature = "parquet")]
const AT_ONCE_PARQUET: usize = 4 << 20;

/// The way in which all packs of a cohort are written.
pub(crate) enum PackWriting {
    /// Arrays of this many channels by this many frames.
    Npy(usize, usize),
    #[cfg(feature = "parquet")]
    Parquet(PackColumns),
}

/// The signals of neighbours in a pack, channel after channel, and what is made of them.
pub(crate) struct PackSignals {
    bytes: Vec<u8>,
    used: usize,
    #[cfg(feature = "parquet")]
    encoded: Option<EncodedPatients>,
}

/// A pack being written.
pub(crate) struct OpenPack {
    set: FileSet,
    path: PathBuf,
    file: PackFile,
}

enum PackFile {
    Npy(Box<UnfinishedPart>),
    #[cfg(feature = "parquet")]
    Parquet(Box<ParquetPart>),
}

impl PackWriting {
    /// For signals of `frames` frames.
    pub(crate) fn new(plan: &CohortPlan, frames: usize, form: CohortFormat) -> Result<PackWriting, CohortError> {
        match form {
            #[cfg(feature = "parquet")]
            CohortFormat::Parquet => Ok(PackWriting::Parquet(PackColumns::new(plan, frames)?)),
            _ => Ok(PackWriting::Npy(plan.channels.len(), frames)),
        }
    }

    /// Bytes of signals that a thread renders before it writes them.
    pub(crate) fn at_once(&self) -> usize {
        match self {
            PackWriting::Npy(..) => AT_ONCE,
            #[cfg(feature = "parquet")]
            PackWriting::Parquet(_) => AT_ONCE_PARQUET,
        }
    }

    /// Starts the pack of this path, for so many patients of `record` bytes.
    pub(crate) fn begin(&self, path: &Path, patients: u64, record: usize) -> Result<OpenPack, CohortError> {
        let beside = path.with_extension(SUFFIX);
        let set = FileSet::of_render(path, [path, beside.as_path()], false, Durability::Usual)?;
        let mut part = set.signal(path)?;
        let signals = patients * record as u64;
        let file = match self {
            PackWriting::Npy(channels, frames) => {
                let head = npy::head(patients, *channels, *frames);
                part.reserve(head.len() as u64 + signals).map_err(FileError::of(path))?;
                part.write_all(&head).map_err(FileError::of(path))?;
                PackFile::Npy(Box::new(part))
            }
            #[cfg(feature = "parquet")]
            PackWriting::Parquet(columns) => {
                part.reserve(signals).map_err(FileError::of(path))?;
                PackFile::Parquet(Box::new(columns.begin(part)?))
            }
        };
        Ok(OpenPack { set, path: path.to_owned(), file })
    }
}

impl PackSignals {
    /// With room for so many bytes.
    pub(crate) fn new(bytes: usize) -> PackSignals {
        PackSignals {
            bytes: vec![0; bytes],
            used: 0,
            #[cfg(feature = "parquet")]
            encoded: None,
        }
    }

    /// Room for the bytes of the next signals; none where signals are in no pack.
    pub(crate) fn room(&mut self, bytes: usize) -> &mut [u8] {
        self.used = bytes.min(self.bytes.len());
        &mut self.bytes[..self.used]
    }

    /// Makes of the signals of these patients what the pack takes.
    pub(crate) fn encode(&mut self, writing: &PackWriting, patients: Range<u64>) -> Result<(), CohortError> {
        #[cfg(feature = "parquet")]
        if let PackWriting::Parquet(columns) = writing {
            self.encoded = Some(columns.encode(patients, &self.bytes[..self.used])?);
        }
        #[cfg(not(feature = "parquet"))]
        let _ = (writing, patients);
        Ok(())
    }
}

impl OpenPack {
    /// Appends signals.
    pub(crate) fn put(&mut self, signals: &mut PackSignals) -> Result<(), CohortError> {
        match &mut self.file {
            PackFile::Npy(part) => {
                let bytes = &signals.bytes[..signals.used];
                Ok(part.write_all(bytes).map_err(FileError::of(&self.path))?)
            }
            #[cfg(feature = "parquet")]
            PackFile::Parquet(file) => match signals.encoded.take() {
                Some(encoded) => encoded.append(file, &self.path),
                None => Ok(()),
            },
        }
    }

    /// Gives the pack its name, with a manifest beside it.
    pub(crate) fn finish(self) -> Result<(), CohortError> {
        let OpenPack { set, path, file } = self;
        let part: FinishedPart = match file {
            PackFile::Npy(part) => part.finish()?,
            #[cfg(feature = "parquet")]
            PackFile::Parquet(file) => parquet_schema::finish(*file, &path)?,
        };
        let beside = path.with_extension(SUFFIX);
        let manifest = RenderManifest::new([(&part, PartContent::Signal)]);
        let text = serde_json::to_string_pretty(&manifest).unwrap_or_default() + "\n";
        let mut manifest = set.part(&beside)?;
        manifest.write_all(text.as_bytes()).map_err(FileError::of(&beside))?;
        set.publish(vec![part, manifest.finish()?], &[])?;
        Ok(())
    }
}
