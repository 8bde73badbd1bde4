//! The files that a session keeps in its folder: documents with their files, and files by their plain names.

use crate::error::BenchError;
use pulsewright_files::atomic::{Claim, FileError};
use pulsewright_text::{json, source};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};

/// A document with its file, or with none where the session has no folder.
pub struct StoredDocument<T> {
    file: Option<(PathBuf, Claim)>,
    /// The document.
    pub value: T,
}

impl<T: Default + Serialize + DeserializeOwned> StoredDocument<T> {
    /// The document of this name in a folder, an empty one where there is no file or no folder; `what` names it in messages.
    ///
    /// # Errors
    /// When it can't be read: it is never written over then. When another session works in the folder.
    pub fn open(folder: Option<&Path>, name: &str, what: &'static str) -> Result<StoredDocument<T>, BenchError> {
        let Some(folder) = folder else { return Ok(StoredDocument { file: None, value: T::default() }) };
        let path = folder.join(name);
        let claim = Claim::new(&path)?;
        let value = read(&path, what)?;
        Ok(StoredDocument { file: Some((path, claim)), value })
    }

    /// Writes what it holds, and waits until the disk has it.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn keep(&self) -> Result<(), FileError> {
        let Some((path, claim)) = &self.file else { return Ok(()) };
        let text = serde_json::to_string_pretty(&self.value).unwrap_or_default() + "\n";
        claim.write_whole(path, text.as_bytes())?;
        claim.sync_names()
    }
}

/// A file of a folder by its plain name; `None` for any other name, and where it can't be read or is longer than `most` bytes.
pub fn file(folder: &Path, name: &str, most: u64) -> Option<Vec<u8>> {
    let plain = Path::new(name).file_name().is_some_and(|plain| plain == name);
    plain.then(|| source::file(&folder.join(name), most).ok()).flatten()
}

/// The document of a file, an empty one where there is no file; `what` names it in messages.
///
/// # Errors
/// When it can't be read: the file is left alone then.
fn read<T: Default + DeserializeOwned>(path: &Path, what: &'static str) -> Result<T, BenchError> {
    let unreadable = |why: String| BenchError::Unreadable { what, why };
    let wrong = |why: String| unreadable(format!("{}: {why}", source::name(path)));
    let bytes = match source::file(path, source::DOCUMENT) {
        Ok(bytes) => bytes,
        Err(error) if error.is_missing() => return Ok(T::default()),
        Err(error) => return Err(unreadable(error.to_string())),
    };
    let text = source::utf8(&bytes).map_err(|at| wrong(format!("byte {at} is not UTF-8 text")))?;
    json::parse(text).map_err(|broken| wrong(broken.to_string()))
}
