//! Files that appear whole or not at all, alone or as a set.
//!
//! The one way in which anything of ours is written to a file. Each part is written under a temporary name in the folder of its
//! final one and synced; when every part is complete, all get their names. Whatever interrupts the work (an error, a signal, a
//! lost process, lost power) leaves the old set or the new one: an error takes all changes back at once, and the
//! next process that writes in the folder or reads a set there takes back the changes of a killed one ([`settle`]).
//!
//! [`Claim`] lets one process at a time write under a name. A [`FileSet`] is the files that are written together. [`write_whole`] is a
//! set of one. [`refuse_inputs`] keeps the inputs from being overwritten.

mod claim;
mod folder;
mod journal;

pub use claim::{Claim, settle};
pub use folder::sync_folder;

use crate::sha256::{Sha256Digest, Sha256Writer};
use claim::in_words;
use folder::SyncedFolder;
use journal::{Journal, NameChange, is_there};
use std::ffi::OsStr;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// Bytes gathered before they are handed to the system; whole parts go past this buffer.
const BUFFER: usize = 64 * 1024;

/// A signal of at most this many bytes is synced like any small file.
const SMALL: u64 = 16 << 20;

/// Why a file could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FileError {
    /// It is there already, and overwriting was not asked for.
    #[error("{} exists; choose another name, or --force to overwrite", .0.display())]
    Exists(PathBuf),
    /// Another process writes it.
    #[error("{} is being written by {}; wait for it to end, or choose another name", .0.display(), .1)]
    Busy(PathBuf, String),
    /// It is read by the same work.
    #[error("{} is an input of the same command; choose another name to write", .0.display())]
    Input(PathBuf),
    /// The system refused.
    #[error("cannot write {}: {}", .0.display(), reason(.1))]
    Io(PathBuf, #[source] io::Error),
}

pub use pulsewright_text::source::reason;

impl FileError {
    /// Turns an I/O error of `path` into this.
    pub fn of(path: &Path) -> impl FnOnce(io::Error) -> FileError + use<'_> {
        move |error| FileError::Io(path.to_owned(), error)
    }
}

/// How far a set outlives a loss of power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Durability {
    /// Temporary files of a work folder: not at all.
    Temporary,
    /// All but large signals, which a script can make again: their manifest says whether they are whole.
    #[default]
    Usual,
    /// Large signals too.
    Full,
}

/// Files that are written together, and claimed until they are.
#[derive(Debug)]
pub struct FileSet {
    claims: Vec<Claim>,
    overwrite: bool,
    durability: Durability,
}

/// A part being written.
#[derive(Debug)]
pub struct UnfinishedPart {
    path: PathBuf,
    writer: BufWriter<Counted>,
    staged: TempPath,
    sync: Option<u64>,
}

/// A part that is complete but does not have its name yet.
#[derive(Debug)]
pub struct FinishedPart {
    path: PathBuf,
    staged: TempPath,
    bytes: u64,
    digest: Sha256Digest,
}

/// A file with the count and the digest of its bytes.
#[derive(Debug)]
struct Counted {
    file: File,
    bytes: u64,
    digest: Sha256Writer,
}

/// Refuses final names that are taken, unless `overwrite`, and names that the system does not take; a folder is never
/// overwritten.
///
/// # Errors
/// [`FileError::Exists`] of the first that is there.
pub fn check_free<'a>(paths: impl IntoIterator<Item = &'a Path>, overwrite: bool) -> Result<(), FileError> {
    for path in paths {
        // A link that leads nowhere is there as well.
        match fs::symlink_metadata(path) {
            Ok(_) if path.is_dir() => return Err(FileError::Io(path.to_owned(), io::ErrorKind::IsADirectory.into())),
            Ok(_) if is_device(path) => {}
            Ok(_) if !overwrite => return Err(FileError::Exists(path.to_owned())),
            Ok(there) if there.permissions().readonly() => {
                return Err(FileError::Io(path.to_owned(), io::Error::other("it is write-protected")));
            }
            Err(error) if error.kind() == io::ErrorKind::InvalidFilename => {
                return Err(FileError::Io(path.to_owned(), io::Error::other("the name is too long")));
            }
            // It is not known whether something is there; making the part meets the reason again, or none.
            Ok(_) | Err(_) => {}
        }
    }
    Ok(())
}

/// Refuses outputs that are inputs of the same work, under any name. `-` and missing files are ignored.
///
/// # Errors
/// [`FileError::Input`] of the first.
pub fn refuse_inputs<'o, 'i>(
    outputs: impl IntoIterator<Item = &'o Path>,
    inputs: impl IntoIterator<Item = &'i Path> + Clone,
) -> Result<(), FileError> {
    for output in outputs {
        let same = |input: &Path| same_file::is_same_file(input, output).unwrap_or(false);
        if output.is_file() && inputs.clone().into_iter().any(same) {
            return Err(FileError::Input(output.to_owned()));
        }
    }
    Ok(())
}

/// Whether something is there that is neither file nor folder: a pipe or a device, which is written through and never replaced.
pub fn is_device(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|there| !there.is_file() && !there.is_dir())
}

/// Writes a file that appears whole or not at all; through a pipe or a device.
///
/// # Errors
/// When it is there and `overwrite` is not given, or the system refuses.
pub fn write_whole(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), FileError> {
    FileSet::of_files(&[path], overwrite)?.write(&[(path, bytes)])
}

impl FileSet {
    /// Claims files that have nothing else beside them.
    ///
    /// # Errors
    /// When one is taken, being written by another process, or can't be.
    pub fn of_files(paths: &[&Path], overwrite: bool) -> Result<FileSet, FileError> {
        check_free(paths.iter().copied(), overwrite)?;
        let files = paths.iter().filter(|path| !is_device(path)).map(|path| resolved(path));
        let mut files: Vec<PathBuf> = files.collect();
        files.sort();
        if let Some(twice) = files.windows(2).find(|pair| pair[0] == pair[1]) {
            return Err(FileError::Io(twice[0].clone(), io::Error::other("it is named twice")));
        }
        let claims = files.iter().map(|path| Claim::new(path)).collect::<Result<_, _>>()?;
        Ok(FileSet { claims, overwrite, durability: Durability::Usual })
    }

    /// Claims the files of a render to `target`; `names` are all files that share its name.
    ///
    /// # Errors
    /// When one is taken, being written by another process, or can't be.
    pub fn of_render<'a>(
        target: &Path,
        names: impl IntoIterator<Item = &'a Path> + Clone,
        overwrite: bool,
        durability: Durability,
    ) -> Result<FileSet, FileError> {
        check_free(names.clone(), overwrite)?;
        if durability == Durability::Temporary {
            return Ok(FileSet { claims: vec![Claim::temporary(target)], overwrite, durability });
        }
        // Links among the names may lead to other folders.
        let key = target.file_stem().unwrap_or(target.as_os_str());
        let mut claims = vec![Claim::of_key(target, key)?];
        for path in names.into_iter().map(resolved) {
            if !claims.iter().any(|claim| claim.folder() == folder_of(&path)) {
                claims.push(Claim::of_key(&path, key)?);
            }
        }
        Ok(FileSet { claims, overwrite, durability })
    }

    /// A small part that is to be called `path`; for a link that leads somewhere, the part is for its target.
    ///
    /// # Errors
    /// When nothing can be written in its folder.
    pub fn part(&self, path: &Path) -> Result<UnfinishedPart, FileError> {
        self.begin(path, self.durability != Durability::Temporary, false)
    }

    /// As [`FileSet::part`], from its first moment for its owner alone, where files have modes.
    ///
    /// # Errors
    /// As [`FileSet::part`].
    pub fn private_part(&self, path: &Path) -> Result<UnfinishedPart, FileError> {
        self.begin(path, self.durability != Durability::Temporary, true)
    }

    /// A part that a script can make again and that may be large.
    ///
    /// # Errors
    /// As [`FileSet::part`].
    pub fn signal(&self, path: &Path) -> Result<UnfinishedPart, FileError> {
        let part = self.begin(path, self.durability == Durability::Full, false)?;
        Ok(UnfinishedPart { sync: if self.durability == Durability::Usual { Some(SMALL) } else { part.sync }, ..part })
    }

    fn begin(&self, path: &Path, sync: bool, private: bool) -> Result<UnfinishedPart, FileError> {
        let path = resolved(path);
        let claim = self.claim_of(&path).ok_or_else(|| {
            FileError::Io(path.clone(), io::Error::other("it was linked to another folder meanwhile"))
        })?;
        UnfinishedPart::new(claim, &path, sync, private)
    }

    fn claim_of(&self, path: &Path) -> Option<&Claim> {
        self.claims.iter().find(|claim| claim.folder() == folder_of(path))
    }

    /// Writes small files, which the set was opened for, and gives them their names.
    ///
    /// # Errors
    /// When one can't be written; none is changed then.
    pub fn write(self, files: &[(&Path, &[u8])]) -> Result<(), FileError> {
        let mut parts = Vec::new();
        for (path, bytes) in files.iter().filter(|(path, _)| !is_device(path)) {
            let mut part = self.part(path)?;
            part.write_all(bytes).map_err(FileError::of(path))?;
            parts.push(part.finish()?);
        }
        self.publish(parts, &[])?;
        for (path, bytes) in files.iter().filter(|(path, _)| is_device(path)) {
            let device = OpenOptions::new().write(true).open(path);
            device.and_then(|mut device| device.write_all(bytes)).map_err(FileError::of(path))?;
        }
        Ok(())
    }

    /// Gives all parts their names, and frees the names of `gone`: all of it or nothing.
    ///
    /// # Errors
    /// When a name was taken meanwhile, or the system refuses.
    pub fn publish(self, parts: Vec<FinishedPart>, gone: &[&Path]) -> Result<Vec<PathBuf>, FileError> {
        let gone: Vec<PathBuf> = gone.iter().filter(|path| is_there(path)).map(|path| resolved(path)).collect();
        let paths: Vec<PathBuf> = parts.iter().map(|part| part.path.clone()).collect();
        let simple = self.durability == Durability::Temporary || (parts.len() <= 1 && gone.is_empty());
        if simple {
            let new = paths.iter().all(|path| !is_there(path));
            let synced = self.claims.iter().filter(|_| self.durability != Durability::Temporary).map(Claim::folder);
            let open = |path| Ok((path, SyncedFolder::open(path).map_err(FileError::of(path))?));
            let folders = synced.map(open).collect::<Result<Vec<_>, FileError>>()?;
            for part in parts {
                part.name(self.overwrite)?;
            }
            let sync = |(path, folder): (&Path, SyncedFolder)| folder.sync().map_err(FileError::of(path));
            return folders.into_iter().try_for_each(sync).map(|()| paths.clone()).inspect_err(|_| {
                // It is whole but may lose its name with power. What it replaced is gone; where nothing was, nothing is to be.
                if new {
                    paths.iter().for_each(|path| _ = fs::remove_file(path));
                }
            });
        }
        // Also those that came meanwhile.
        check_free(paths.iter().map(PathBuf::as_path), self.overwrite)?;
        let change = Change::new(&self, &parts, &gone);
        match change.make(&self, parts, &gone) {
            Ok(()) => {
                change.forget();
                Ok(paths)
            }
            Err(error) => {
                change.take_back();
                Err(error)
            }
        }
    }
}

/// Names that change hands together, with a journal in each folder.
struct Change {
    /// Folder, where its journal is, and the journal.
    folders: Vec<(PathBuf, PathBuf, Journal)>,
}

impl Change {
    fn new(set: &FileSet, parts: &[FinishedPart], gone: &[PathBuf]) -> Change {
        let mut folders: Vec<(PathBuf, PathBuf, Journal)> = Vec::new();
        let name = |path: &Path| path.file_name().map(OsStr::to_owned).unwrap_or_default();
        let of_parts = parts.iter().map(|part| (&part.path, Some(part)));
        for (path, part) in of_parts.chain(gone.iter().map(|path| (path, None))) {
            // Parts were made under a claim, and so were the names beside them.
            let Some(claim) = set.claim_of(path) else { continue };
            let folder = folder_of(path).to_owned();
            let backup = is_there(path).then(|| name(&claim.numbered("old")));
            let entry = NameChange {
                name: name(path),
                staged: part.map(|part| name(&part.staged)),
                backup,
                sha256: part.map(|part| part.digest.to_string()),
            };
            match folders.iter_mut().find(|(of, ..)| *of == folder) {
                Some((.., journal)) => journal.entries.push(entry),
                None => {
                    let at = folder.join(name(&claim.hidden(".journal")));
                    folders.push((folder, at, Journal { entries: vec![entry] }));
                }
            }
        }
        Change { folders }
    }

    fn make(&self, set: &FileSet, parts: Vec<FinishedPart>, gone: &[PathBuf]) -> Result<(), FileError> {
        for (folder, at, journal) in &self.folders {
            let text = serde_json::to_vec(journal).map_err(io::Error::from).map_err(FileError::of(at))?;
            let mut file = set.part(at)?;
            file.write_all(&text).map_err(FileError::of(at))?;
            file.finish()?.name(true)?;
            sync_folder(folder).map_err(FileError::of(folder))?;
            for entry in &journal.entries {
                entry.keep_old(folder)?;
            }
            sync_folder(folder).map_err(FileError::of(folder))?;
        }
        for path in gone {
            // A second name was kept, or the name itself has moved already.
            if is_there(path) {
                fs::remove_file(path).map_err(FileError::of(path))?;
            }
        }
        for part in parts {
            part.name(set.overwrite)?;
        }
        for (folder, at, _) in &self.folders {
            sync_folder(folder).map_err(FileError::of(folder))?;
            // From here on the new set is in force.
            fs::remove_file(at).map_err(FileError::of(at))?;
            sync_folder(folder).map_err(FileError::of(folder))?;
        }
        Ok(())
    }

    /// Removes the old files. The next process that writes here clears those that stay.
    fn forget(&self) {
        for (folder, _, journal) in &self.folders {
            for backup in journal.entries.iter().filter_map(|entry| entry.backup.as_ref()) {
                let _ = fs::remove_file(folder.join(backup));
            }
        }
    }

    /// Takes the changes back; those that can't be taken back now are taken back when the folder is next used.
    fn take_back(&self) {
        for (folder, at, journal) in &self.folders {
            if journal.undo(folder).is_ok() {
                let _ = fs::remove_file(at);
            }
            let _ = sync_folder(folder);
        }
    }
}

impl NameChange {
    /// Gives the old file a second name, or, where the file system has no second names, renames it.
    fn keep_old(&self, folder: &Path) -> Result<(), FileError> {
        let Some(backup) = &self.backup else { return Ok(()) };
        let (name, backup) = (folder.join(&self.name), folder.join(backup));
        fs::hard_link(&name, &backup).or_else(|_| fs::rename(&name, &backup)).map_err(FileError::of(&name))
    }
}

impl UnfinishedPart {
    fn new(claim: &Claim, path: &Path, sync: bool, private: bool) -> Result<UnfinishedPart, FileError> {
        let mut options = OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        if private {
            use std::os::unix::fs::OpenOptionsExt;
            options.mode(0o600);
        }
        #[cfg(not(unix))]
        let _ = private;
        let (file, staged) = loop {
            let staged = claim.numbered("partial");
            match options.open(&staged) {
                Ok(file) => break (file, staged),
                // Left behind where there are no locks.
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(FileError::Io(path.to_owned(), in_words(error, path))),
            }
        };
        let staged = TempPath::try_from_path(staged).map_err(FileError::of(path))?;
        let counted = Counted { file, bytes: 0, digest: Sha256Writer::default() };
        let writer = BufWriter::with_capacity(BUFFER, counted);
        Ok(UnfinishedPart { path: path.to_owned(), writer, staged, sync: sync.then_some(u64::MAX) })
    }

    /// Its final name.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Sets room aside for this many bytes, where the system can: so a full disk shows before the work rather than after it, and
    /// the system need not look for room block by block.
    ///
    /// # Errors
    /// When there is no room.
    pub fn reserve(&self, bytes: u64) -> io::Result<()> {
        #[cfg(target_os = "linux")]
        {
            use rustix::fs::{FallocateFlags, fallocate};
            use rustix::io::Errno;
            // The size stays that of the written bytes. Any other refusal means that this file system can't.
            let outcome = fallocate(&self.writer.get_ref().file, FallocateFlags::KEEP_SIZE, 0, bytes);
            let full = match outcome {
                Err(Errno::NOSPC) => "No space left on device",
                Err(Errno::DQUOT) => "Disk quota exceeded",
                _ => return Ok(()),
            };
            let megabytes = bytes.div_ceil(1_000_000);
            Err(io::Error::new(io::ErrorKind::StorageFull, format!("{full}; it takes {megabytes} MB")))
        }
        #[cfg(not(target_os = "linux"))]
        {
            let _ = bytes;
            Ok(())
        }
    }

    /// Closes the part, complete and, as far as the set asks, synced.
    ///
    /// # Errors
    /// When its last bytes could not be written.
    pub fn finish(self) -> Result<FinishedPart, FileError> {
        let UnfinishedPart { path, writer, staged, sync } = self;
        let counted = writer.into_inner().map_err(|error| FileError::Io(path.clone(), error.into_error()))?;
        if sync.is_some_and(|most| counted.bytes <= most) {
            counted.file.sync_all().map_err(FileError::of(&path))?;
        }
        Ok(FinishedPart { path, staged, bytes: counted.bytes, digest: counted.digest.digest() })
    }
}

impl FinishedPart {
    /// Its final name.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many bytes it has.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// SHA-256 of them.
    pub fn digest(&self) -> Sha256Digest {
        self.digest
    }

    /// Gives it its name. One that replaces another may be read and written by the same people.
    fn name(self, overwrite: bool) -> Result<(), FileError> {
        let FinishedPart { path, staged, .. } = self;
        if overwrite && let Ok(there) = fs::metadata(&path) {
            // A file of somebody else keeps what a new file has.
            let _ = fs::set_permissions(&staged, there.permissions());
        }
        let outcome = if overwrite { staged.persist(&path) } else { staged.persist_noclobber(&path) };
        outcome.map_err(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => FileError::Exists(path),
            _ => FileError::Io(path, error.error),
        })
    }
}

impl Write for UnfinishedPart {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

impl Write for Counted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.bytes += count as u64;
        self.digest.write_all(bytes.get(..count).unwrap_or_default())?;
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// The folder of a file.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    }
}

/// The target of a link, if it leads somewhere; any other path as it is.
fn resolved(path: &Path) -> PathBuf {
    let link = fs::symlink_metadata(path).is_ok_and(|there| there.is_symlink());
    let to = if link { fs::canonicalize(path).ok() } else { None };
    to.unwrap_or_else(|| path.to_owned())
}

#[cfg(test)]
mod tests;
