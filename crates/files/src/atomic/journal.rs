//! The state of a set before it got its names, so that it can be taken back.

use crate::sha256::of_file;
use serde::{Deserialize, Serialize};
use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::Path;

/// The changes of names in one folder. It is there from before the first change until after the last.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct Journal {
    pub(super) entries: Vec<Entry>,
}

/// A name that changes hands. All names are in the journal's folder.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Entry {
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
    /// Reads one that was left behind, if one was. It was synced before it got its name.
    ///
    /// # Errors
    /// When it can't be read.
    pub(super) fn read(path: &Path) -> io::Result<Option<Journal>> {
        match fs::read(path) {
            Ok(text) => serde_json::from_slice(&text).map(Some).map_err(io::Error::from),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
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

impl Entry {
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
