//! The right to write under a name, held by one process at a time, and the files that a killed holder has left.
//!
//! A claim is a locked file beside the names it stands for, `.pulsewright-TOKEN.lock`; the system gives the lock up when its
//! holder ends, however it ends. All temporary files of the holder carry the token: parts that wait for their names
//! (`-N.partial`), old files that are about to be replaced (`-N.old`) and the journal of a set that gets its names
//! (`.journal`). A free lock therefore means that everything with its token was left behind: the set is taken back to what it
//! was, and the rest is removed.

use super::journal::Journal;
use super::{FileError, FinishedPart, UnfinishedPart, folder_of, sync_folder};
use crate::sha256::Sha256Writer;
use same_file::Handle;
use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// Names of temporary files begin with this.
const PREFIX: &str = ".pulsewright-";

/// How often a lock is tried, and how long between: a process that clears a folder holds the locks of others for a moment.
const TRIES: u32 = 20;
const PAUSE: Duration = Duration::from_millis(5);

/// The right of this process to write under a name. Given up when it is dropped.
#[derive(Debug)]
pub struct Claim {
    folder: PathBuf,
    token: String,
    /// `None` where the file system has no locks.
    lock: Option<File>,
    /// Whether the lock was left behind, and with it maybe other files.
    left: bool,
}

/// Folders that this process has cleared: once is enough.
static CLEARED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Temporary files of this process so far: each has a number of its own.
static NEXT: AtomicU32 = AtomicU32::new(0);

/// Why a lock was not had.
enum NoLock {
    Held(String),
    Io(io::Error),
}

impl Claim {
    /// Claims the name of a file, and clears its folder of the files of killed processes.
    ///
    /// # Errors
    /// [`FileError::Busy`] when another process holds it, [`FileError::Io`] when nothing can be written in the folder.
    pub fn new(path: &Path) -> Result<Claim, FileError> {
        Claim::of_key(path, path.file_name().unwrap_or(path.as_os_str()))
    }

    /// Claims `key` in the folder of `path`, which messages name.
    pub(super) fn of_key(path: &Path, key: &OsStr) -> Result<Claim, FileError> {
        let mut digest = Sha256Writer::default();
        // Writing to a digest cannot fail.
        let _ = digest.write_all(key.as_encoded_bytes());
        let token = digest.digest().to_string().get(..16).unwrap_or_default().to_owned();
        let claim = Claim::take(folder_of(path), token).map_err(|why| match why {
            NoLock::Held(holder) => FileError::Busy(path.to_owned(), holder),
            NoLock::Io(error) => FileError::Io(path.to_owned(), in_words(error, path)),
        })?;
        if let Some(mut lock) = claim.lock.as_ref() {
            // The number is only for messages of other processes: a full disk shows soon enough.
            let _ = lock.set_len(0).and_then(|()| write!(lock, "{}", std::process::id()));
        }
        match claim.clear() {
            Ok(()) => {
                claim.clear_others();
                Ok(claim)
            }
            Err(error) => {
                claim.lose();
                Err(FileError::Io(path.to_owned(), error))
            }
        }
    }

    /// For temporary files: no lock, and nothing is cleared.
    pub(super) fn temporary(path: &Path) -> Claim {
        let token = format!("p{}", std::process::id());
        Claim { folder: folder_of(path).to_owned(), token, lock: None, left: false }
    }

    fn take(folder: &Path, token: String) -> Result<Claim, NoLock> {
        let path = folder.join(format!("{PREFIX}{token}.lock"));
        let mut holder = String::new();
        for attempt in 0..TRIES {
            if attempt > 0 {
                thread::sleep(PAUSE);
            }
            let (file, new) = open_lock(&path).map_err(NoLock::Io)?;
            match file.try_lock() {
                // Its holder may have removed the file since it was opened.
                Ok(()) if is_at(&file, &path) => {
                    return Ok(Claim { folder: folder.to_owned(), token, lock: Some(file), left: !new });
                }
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => holder = holder_of(&file),
                Err(TryLockError::Error(_)) => {
                    // A file system without locks: names of our own, and nothing is cleared.
                    let _ = fs::remove_file(&path);
                    let token = format!("{token}{}", std::process::id());
                    return Ok(Claim { folder: folder.to_owned(), token, lock: None, left: false });
                }
            }
        }
        Err(NoLock::Held(holder))
    }

    /// The path of a temporary file.
    pub(super) fn hidden(&self, end: &str) -> PathBuf {
        self.folder.join(format!("{PREFIX}{}{end}", self.token))
    }

    /// The path of a temporary file with a number of its own.
    pub(super) fn numbered(&self, end: &str) -> PathBuf {
        self.hidden(&format!("-{}.{end}", NEXT.fetch_add(1, Ordering::Relaxed)))
    }

    /// Its folder.
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Writes a small file in the folder that is claimed, in place of one that is there; it appears whole or not at all. Its name
    /// may be lost with power until the folder is synced, its content is not.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn write_whole(&self, path: &Path, bytes: &[u8]) -> Result<(), FileError> {
        let mut file = UnfinishedPart::new(self, path, true, false)?;
        file.write_all(bytes).map_err(FileError::of(path))?;
        let FinishedPart { path, staged, .. } = file.finish()?;
        staged.persist(&path).map_err(|error| FileError::Io(path, error.error))
    }

    /// Syncs the names in the folder.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn sync_names(&self) -> Result<(), FileError> {
        sync_folder(&self.folder).map_err(FileError::of(&self.folder))
    }

    /// Takes back a set that was getting its names, then removes all temporary files.
    fn clear(&self) -> io::Result<()> {
        if !self.left {
            return Ok(());
        }
        let journal = self.hidden(".journal");
        if let Some(left) = Journal::read(&journal, &format!("{PREFIX}{}", self.token))? {
            left.undo(&self.folder)?;
            sync_folder(&self.folder)?;
        }
        for name in names(&self.folder) {
            if token_of(&name) == Some(self.token.as_str()) && !name.ends_with(".lock") {
                fs::remove_file(self.folder.join(name))?;
            }
        }
        Ok(())
    }

    /// Gives the lock up as the system does for a killed process: its file stays, and says that other files may be left.
    pub(super) fn lose(mut self) {
        self.lock = None;
    }

    /// Does the same for all that is left in the folder under other names. Files that can't be removed stay.
    fn clear_others(&self) {
        let mut cleared = CLEARED.lock().unwrap_or_else(PoisonError::into_inner);
        if self.lock.is_some() && cleared.insert(self.folder.clone()) {
            clear_folder(&self.folder, &self.token);
        }
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        if self.lock.is_some() {
            // While it is still locked, so that the next one to lock it sees that it has gone.
            let _ = fs::remove_file(self.hidden(".lock"));
        }
    }
}

/// Clears a folder of the files of killed processes: sets that were getting their names are as before.
///
/// For readers of sets. Files of a process at work stay, and so do files that can't be removed.
pub fn settle(folder: &Path) {
    clear_folder(folder, "");
}

fn clear_folder(folder: &Path, except: &str) {
    let names = names(folder);
    let tokens: BTreeSet<&str> =
        names.iter().filter_map(|name| token_of(name)).filter(|token| *token != except).collect();
    for token in tokens {
        // A locked one is at work, or another process clears it.
        let path = folder.join(format!("{PREFIX}{token}.lock"));
        let Ok((file, new)) = open_lock(&path) else { continue };
        if file.try_lock().is_ok() && is_at(&file, &path) {
            let claim = Claim { folder: folder.to_owned(), token: token.to_owned(), lock: Some(file), left: true };
            if claim.clear().is_err() && !new {
                claim.lose();
            }
        }
    }
}

/// The names in a folder that could be those of temporary files.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    entries.filter_map(|entry| entry.file_name().into_string().ok()).filter(|name| name.starts_with(PREFIX)).collect()
}

/// The token in the name of a temporary file.
fn token_of(name: &str) -> Option<&str> {
    let rest = name.strip_prefix(PREFIX)?;
    let (token, end) = rest.split_at(rest.find(['-', '.'])?);
    [".lock", ".journal", ".partial", ".old"].iter().any(|known| end.ends_with(known)).then_some(token)
}

/// Opens a lock, and says whether it is new.
fn open_lock(path: &Path) -> io::Result<(File, bool)> {
    let mut options = OpenOptions::new();
    options.read(true).write(true);
    match options.clone().create_new(true).open(path) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            options.create(true).truncate(false).open(path).map(|file| (file, false))
        }
        opened => opened.map(|file| (file, true)),
    }
}

fn is_at(file: &File, path: &Path) -> bool {
    let open = file.try_clone().and_then(Handle::from_file);
    open.is_ok_and(|open| Handle::from_path(path).is_ok_and(|there| there == open))
}

/// Who holds a lock, as its file says.
fn holder_of(mut lock: &File) -> String {
    let mut text = String::new();
    let read = Read::take(&mut lock, 20).read_to_string(&mut text);
    match text.trim().parse::<u32>() {
        Ok(process) if read.is_ok() => format!("process {process}"),
        _ => "another process".to_owned(),
    }
}

/// Why nothing can be made in the folder of `path`.
pub(super) fn in_words(error: io::Error, path: &Path) -> io::Error {
    match error.kind() {
        io::ErrorKind::NotFound if !folder_of(path).exists() => io::Error::other("its folder does not exist"),
        io::ErrorKind::NotFound => io::Error::other("its folder takes no files"),
        _ => error,
    }
}
