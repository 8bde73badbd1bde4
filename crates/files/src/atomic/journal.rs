//! The state of a set before it got its names, so that it can be taken back.

use crate::sha256::of_file;
use pulsewright_text::json;
use pulsewright_text::source::{self, SourceError};
use serde::{Deserialize, Serialize};
use std::ffi::{OsStr, OsString};
use std::fs;
use std::io;
use std::path::{Component, Path};

/// The changes of names in one folder. It is there from before the first change until after the last.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct Journal {
    pub(super) entries: Vec<NameChange>,
}

/// A name that changes hands. All names are in the journal's folder.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct NameChange {
    /// The final name.
    pub(super) name: OsString,
    /// The part that is to have it; `None` when the name is to be free.
    pub(super) staged: Option<OsString>,
    /// Name of the old file meanwhile; `None` when there was none.
    pub(super) backup: Option<OsString>,
    /// SHA-256 of the part.
    pub(super) sha256: Option<String>,
}

impl Journal {
    /// Reads the one that a holder of `mark` left behind, if there is one; temporary files of this holder begin with `mark`.
    ///
    /// It was synced before it got its name, so one that is not as it was written was changed by hand. It is not followed then:
    /// its names could be those of any file.
    ///
    /// # Errors
    /// When it can't be read, or is not as it was written.
    pub(super) fn read(path: &Path, mark: &str) -> io::Result<Option<Journal>> {
        let text = match source::file(path, source::DOCUMENT) {
            Ok(text) => text,
            Err(SourceError::Io { source, .. }) if source.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(SourceError::Io { source, .. }) => return Err(source),
            Err(error) => return Err(io::Error::other(error)),
        };
        let journal = source::utf8(&text).ok().and_then(|text| json::parse::<Journal>(text).ok());
        match journal.filter(|journal| journal.entries.iter().all(|entry| entry.is_sound(mark))) {
            Some(journal) => Ok(Some(journal)),
            None => {
                let what = format!(
                    "{} is not as it was written; take it away, and look after the files beside it",
                    source::name(path)
                );
                Err(io::Error::other(what))
            }
        }
    }

    /// Takes every change back, as far as it was made.
    ///
    /// # Errors
    /// The first; the other changes are taken back anyhow.
    pub(super) fn undo(&self, folder: &Path) -> io::Result<()> {
        let undone = self.entries.iter().rev().map(|entry| entry.undo(folder));
        undone.fold(Ok(()), Result::and)
    }
}

/// Whether this is a name in the folder, and no way to another one.
fn is_name(name: &OsStr) -> bool {
    let mut parts = Path::new(name).components();
    matches!((parts.next(), parts.next()), (Some(Component::Normal(part)), None) if part == name)
}

impl NameChange {
    /// Whether all names are in the folder, and those of temporary files the holder's own.
    fn is_sound(&self, mark: &str) -> bool {
        let own = |name: &OsString| is_name(name) && name.as_encoded_bytes().starts_with(mark.as_bytes());
        is_name(&self.name) && self.staged.iter().chain(&self.backup).all(own)
    }

    fn undo(&self, folder: &Path) -> io::Result<()> {
        let name = folder.join(&self.name);
        let staged = self.staged.as_ref().map(|staged| folder.join(staged));
        let waits = staged.as_deref().is_some_and(is_there);
        if let Some(backup) = self.backup.as_ref().map(|backup| folder.join(backup)) {
            if same_file::is_same_file(&backup, &name).unwrap_or(false) {
                // A second name of the old file, which still has its own.
                fs::remove_file(&backup)?;
            } else if is_there(&backup) {
                fs::rename(&backup, &name)?;
            }
        } else if staged.is_some() && !waits && is_there(&name) {
            // The part has the name now, unless something else was put there since.
            let ours = of_file(&name).is_ok_and(|digest| Some(digest.to_string()) == self.sha256);
            if ours {
                fs::remove_file(&name)?;
            }
        }
        match staged {
            Some(staged) if waits => fs::remove_file(staged),
            _ => Ok(()),
        }
    }
}

/// Whether anything has this name, a link that leads nowhere included.
pub(super) fn is_there(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok()
}
