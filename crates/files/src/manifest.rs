//! The manifest of a render (`OUT.manifest.json`): every file of it with its digest, written last.
//!
//! It says whether a set is whole, and which signal a truth table belongs to. A table itself stays plain CSV.

use crate::atomic::{FinishedPart, reason};
use crate::sha256::of_file;
use crate::truth::{TruthFile, leads};
use pulsewright_text::json;
use pulsewright_text::source::{self, SourceError};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Follows the signal's name, in place of its extension.
pub const SUFFIX: &str = "manifest.json";

/// Version of the document's shape.
pub const VERSION: u32 = 1;

/// Most bytes read of one: a render has at most ten thousand files.
const MOST: u64 = 8 << 20;

/// The document.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RenderManifest {
    /// Version of this document's shape.
    pub version: u32,
    /// Program that made the files.
    pub made_by: String,
    /// Every other file of the render, all in the same folder.
    pub files: Vec<ManifestPart>,
}

/// A file of a render.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ManifestPart {
    /// Its name.
    pub name: String,
    /// Its content: `signal`, `truth`, `channels`, `header` or `annotations`.
    pub holds: PartContent,
    /// How many bytes it has.
    pub bytes: u64,
    /// SHA-256 of them, 64 hexadecimal digits.
    pub sha256: String,
}

/// Content of a file of a render.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PartContent {
    /// Samples.
    Signal,
    /// A table of the truth.
    Truth,
    /// The channel description.
    Channels,
    /// The header of a record.
    Header,
    /// The annotations of a record.
    Annotations,
}

/// Why a file does not match the manifest beside it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Mismatch {
    /// The manifest is there but can't be read.
    #[error("{} cannot be read: {}", .0.display(), .1)]
    Unreadable(PathBuf, String),
    /// The manifest does not list the file.
    #[error("{} is not one of the files that {} lists: it belongs to another render", .0.display(), .1.display())]
    Unknown(PathBuf, PathBuf),
    /// The file differs from the rendered one.
    #[error("{} is not the file that {} lists: it was changed, or belongs to another signal", .0.display(), .1.display())]
    Changed(PathBuf, PathBuf),
    /// The signal beside it is another.
    #[error("{} is the truth of another signal than {} beside it", .0.display(), .1.display())]
    OtherSignal(PathBuf, PathBuf),
}

impl RenderManifest {
    /// For complete parts, each with its content.
    pub fn new<'a>(parts: impl IntoIterator<Item = (&'a FinishedPart, PartContent)>) -> RenderManifest {
        let files = parts.into_iter().map(|(part, holds)| ManifestPart {
            name: part.path().file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned()),
            holds,
            bytes: part.bytes(),
            sha256: part.digest().to_string(),
        });
        let made_by = format!("pulsewright {}", env!("CARGO_PKG_VERSION"));
        RenderManifest { version: VERSION, made_by, files: files.collect() }
    }

    fn read(path: &Path) -> Result<Option<RenderManifest>, Mismatch> {
        let wrong = |what: String| Mismatch::Unreadable(path.to_owned(), what);
        match source::file(path, MOST) {
            Ok(bytes) => {
                let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
                json::parse(text).map(Some).map_err(|broken| wrong(broken.to_string()))
            }
            Err(error) if error.is_missing() => Ok(None),
            Err(SourceError::Io { source, .. }) => Err(wrong(reason(&source))),
            Err(error) => Err(wrong(error.to_string())),
        }
    }
}

/// Checks a truth table, or the annotations of a record, against the manifest beside it: that it is the file that was
/// rendered, and that the signal beside it, if there is one, is the one that it belongs to. Without a manifest, and for a name
/// that no render gives, every file passes.
///
/// # Errors
/// [`Mismatch`] when it belongs to another signal.
pub fn check_truth(table: &Path) -> Result<(), Mismatch> {
    let Some(name) = table.file_name().and_then(|name| name.to_str()) else { return Ok(()) };
    let ends = TruthFile::ALL.iter().map(|file| file.suffix()).chain([leads::SUFFIX, "atr"]);
    let stem = ends.filter_map(|end| name.strip_suffix(end)?.strip_suffix('.')).next();
    let Some(stem) = stem else { return Ok(()) };
    let path = table.with_file_name(format!("{stem}.{SUFFIX}"));
    let Some(manifest) = RenderManifest::read(&path)? else { return Ok(()) };
    let Some(own) = manifest.files.iter().find(|part| part.name == name) else {
        return Err(Mismatch::Unknown(table.to_owned(), path));
    };
    if !own.is(table) {
        return Err(Mismatch::Changed(table.to_owned(), path));
    }
    for signal in manifest.files.iter().filter(|part| part.holds == PartContent::Signal) {
        let beside = table.with_file_name(&signal.name);
        if beside.is_file() && !signal.is(&beside) {
            return Err(Mismatch::OtherSignal(table.to_owned(), beside));
        }
    }
    Ok(())
}

impl ManifestPart {
    /// Whether a file is this one. One that can't be read is left to its reader.
    fn is(&self, path: &Path) -> bool {
        let same_size = path.metadata().map_or(true, |there| there.len() == self.bytes);
        same_size && of_file(path).map_or(true, |digest| digest.to_string() == self.sha256)
    }
}
