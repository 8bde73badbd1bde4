//! Files that appear whole or not at all.
//!
//! Each is written under a passing name in the folder of its final one, and all are given their names only when every
//! one is complete. Whatever interrupts the work (an error, a signal, a lost process) leaves no final name behind; an
//! error also takes the passing files away.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::{NamedTempFile, TempPath};

/// Bytes gathered before they are handed to the system; whole parts go past this buffer.
const BUFFER: usize = 64 * 1024;

/// Why a file could not be made.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// It is there already, and overwriting was not asked for.
    #[error("{} exists; choose another name, or --force to overwrite", .0.display())]
    Exists(PathBuf),
    /// The system refused.
    #[error("cannot write {}: {}", .0.display(), reason(.1))]
    Io(PathBuf, #[source] io::Error),
}

/// What the system said, without its number.
pub fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    text.split_once(" (os error").map_or(text.clone(), |(words, _)| words.to_owned())
}

impl FileError {
    /// Turns an I/O error of `path` into this.
    pub fn of(path: &Path) -> impl FnOnce(io::Error) -> FileError + use<'_> {
        move |error| FileError::Io(path.to_owned(), error)
    }
}

/// A file being written.
#[derive(Debug)]
pub struct Unfinished {
    path: PathBuf,
    writer: BufWriter<NamedTempFile>,
}

/// A file that is complete but does not have its name yet.
#[derive(Debug)]
pub struct Finished {
    path: PathBuf,
    passing: TempPath,
}

/// Refuses final names that are taken, unless `overwrite`; a folder is never overwritten.
///
/// # Errors
/// [`FileError::Exists`] of the first that is there.
pub fn check_free<'a>(paths: impl IntoIterator<Item = &'a Path>, overwrite: bool) -> Result<(), FileError> {
    for path in paths {
        // A link that leads nowhere is there as well.
        if let Ok(there) = fs::symlink_metadata(path) {
            if path.is_dir() {
                return Err(FileError::Io(path.to_owned(), io::ErrorKind::IsADirectory.into()));
            }
            if !overwrite {
                return Err(FileError::Exists(path.to_owned()));
            }
            if there.permissions().readonly() {
                return Err(FileError::Io(path.to_owned(), io::Error::other("it is write-protected")));
            }
        }
    }
    Ok(())
}

impl Unfinished {
    /// A file that is to be called `path`; of a link that leads somewhere, what it leads to.
    ///
    /// # Errors
    /// When nothing can be written in its folder.
    pub fn new(path: &Path) -> Result<Unfinished, FileError> {
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let folder = match path.parent() {
            Some(folder) if folder != Path::new("") => folder,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".pulsewright-").suffix(".partial");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As any new file: what the user's mask leaves of this.
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        // The error of the temporary file names its passing path, which means nothing to anybody.
        let passing = builder.tempfile_in(folder).map_err(|error| {
            let error = match error.kind() {
                io::ErrorKind::NotFound if !folder.exists() => io::Error::other("its folder does not exist"),
                io::ErrorKind::NotFound => io::Error::other("its folder takes no files"),
                kind => io::Error::from(kind),
            };
            FileError::Io(path.clone(), error)
        })?;
        Ok(Unfinished { path, writer: BufWriter::with_capacity(BUFFER, passing) })
    }

    /// Its final name.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Sets room aside for this many bytes, where the system can: so a full disk is told before the work rather than after it, and
    /// the system need not look for room block by block.
    ///
    /// # Errors
    /// When there is no room.
    pub fn reserve(&self, bytes: u64) -> io::Result<()> {
        #[cfg(target_os = "linux")]
        {
            use rustix::fs::{FallocateFlags, fallocate};
            use rustix::io::Errno;
            // The size stays that of what is written. Any other refusal means that this file system does not know how.
            let outcome = fallocate(self.writer.get_ref(), FallocateFlags::KEEP_SIZE, 0, bytes);
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

    /// Closes the file, complete.
    ///
    /// # Errors
    /// When its last bytes could not be written.
    pub fn finish(self) -> Result<Finished, FileError> {
        let passing = self.writer.into_inner().map_err(|error| FileError::Io(self.path.clone(), error.into_error()))?;
        Ok(Finished { path: self.path, passing: passing.into_temp_path() })
    }
}

impl Write for Unfinished {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

/// Gives all files their names, in order; when one can't have its name, those before it lose theirs again.
///
/// # Errors
/// When a name was taken meanwhile, or the system refuses.
pub fn publish(files: Vec<Finished>, overwrite: bool) -> Result<Vec<PathBuf>, FileError> {
    let mut named: Vec<(PathBuf, bool)> = Vec::with_capacity(files.len());
    for Finished { path, passing } in files {
        let was_there = path.exists();
        let outcome = if overwrite { passing.persist(&path) } else { passing.persist_noclobber(&path) };
        if let Err(error) = outcome {
            for (path, was_there) in &named {
                if !was_there {
                    // Nothing more can be done about a file that can't be removed.
                    let _ = fs::remove_file(path);
                }
            }
            return Err(match error.error.kind() {
                io::ErrorKind::AlreadyExists => FileError::Exists(path),
                _ => FileError::Io(path, error.error),
            });
        }
        named.push((path, was_there));
    }
    Ok(named.into_iter().map(|(path, _)| path).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn finished(path: &Path, text: &str) -> Finished {
        let mut file = Unfinished::new(path).unwrap();
        file.write_all(text.as_bytes()).unwrap();
        file.finish().unwrap()
    }

    #[test]
    fn names_appear_only_when_all_are_complete() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        let first = finished(&a, "one");
        assert!(!a.exists());
        let second = finished(&b, "two");
        publish(vec![first, second], false).unwrap();
        assert_eq!(names(folder.path()), ["a", "b"]);
        assert_eq!(fs::read_to_string(a).unwrap(), "one");
    }

    #[test]
    fn what_is_dropped_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = Unfinished::new(&folder.path().join("a")).unwrap();
        file.write_all(&[0; 100_000]).unwrap();
        assert_eq!(names(folder.path()).len(), 1);
        drop(file);
        drop(finished(&folder.path().join("b"), "complete, but not published"));
        assert_eq!(names(folder.path()), [""; 0]);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn room_set_aside_is_no_content() {
        use std::os::unix::fs::MetadataExt;
        let folder = tempfile::tempdir().unwrap();
        let file = Unfinished::new(&folder.path().join("a")).unwrap();
        file.reserve(1 << 20).unwrap();
        let passing = fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().metadata().unwrap();
        assert_eq!(passing.len(), 0);
        assert!(passing.blocks() * 512 >= 1 << 20, "{} blocks", passing.blocks());
        file.reserve(u64::MAX).expect("more than a file can have is for the writing to tell");
    }

    #[test]
    fn nothing_is_overwritten_unasked_even_if_it_came_meanwhile() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        let files = vec![finished(&a, "new"), finished(&b, "new")];
        fs::write(&b, "precious").unwrap();
        assert!(matches!(publish(files, false), Err(FileError::Exists(path)) if path == b));
        assert_eq!(names(folder.path()), ["b"]);
        assert_eq!(fs::read_to_string(&b).unwrap(), "precious");
        publish(vec![finished(&b, "new")], true).unwrap();
        assert_eq!(fs::read_to_string(&b).unwrap(), "new");
    }

    #[test]
    fn taken_names_are_refused_before_work() {
        let folder = tempfile::tempdir().unwrap();
        let there = folder.path().join("there");
        fs::write(&there, "").unwrap();
        assert!(matches!(check_free([there.as_path()], false), Err(FileError::Exists(_))));
        assert!(check_free([there.as_path()], true).is_ok());
        assert!(matches!(check_free([folder.path()], true), Err(FileError::Io(..))));
        assert!(check_free([folder.path().join("free").as_path()], false).is_ok());
    }

    #[test]
    fn a_folder_that_is_not_there_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("none/out.wav");
        let message = Unfinished::new(&path).unwrap_err().to_string();
        assert!(message.contains("none/out.wav") && message.contains("folder does not exist"), "{message}");
    }
}
