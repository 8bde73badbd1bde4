//! Folders whose names outlive a loss of power.

use std::fs::File;
use std::io::{self, ErrorKind};
use std::path::Path;

/// A folder that is open to sync its names. Opened before a name changes, it can't refuse to be opened after.
#[derive(Debug)]
pub(super) struct SyncedFolder(Option<File>);

impl SyncedFolder {
    /// Opens a folder. Where folders can't be opened, the system keeps a journal of names by itself.
    ///
    /// # Errors
    /// When the system refuses for another reason than that the folder may not be read.
    pub(super) fn open(path: &Path) -> io::Result<SyncedFolder> {
        if cfg!(unix) { able(File::open(path)).map(SyncedFolder) } else { Ok(SyncedFolder(None)) }
    }

    /// Syncs the names in it.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn sync(&self) -> io::Result<()> {
        self.0.as_ref().map_or(Ok(None), |folder| able(folder.sync_all())).map(|_| ())
    }
}

/// `None` for a folder that may not be read, or a file system that can't do this.
fn able<T>(outcome: io::Result<T>) -> io::Result<Option<T>> {
    match outcome {
        Err(error)
            if matches!(
                error.kind(),
                ErrorKind::InvalidInput | ErrorKind::PermissionDenied | ErrorKind::Unsupported
            ) =>
        {
            Ok(None)
        }
        outcome => outcome.map(Some),
    }
}

/// Syncs the names in a folder, where the system can.
///
/// # Errors
/// When the system refuses.
pub fn sync_folder(path: &Path) -> io::Result<()> {
    SyncedFolder::open(path)?.sync()
}
