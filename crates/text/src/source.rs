//! Bytes of files and streams, up to a stated size.

use crate::fit;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Most bytes of a document that people write, such as a script, a record, a rig: 16 MiB.
pub const DOCUMENT: u64 = 16 << 20;

/// Most bytes of a table, a detector's answer or an annotation file: 128 MiB.
pub const TABLE: u64 = 128 << 20;

/// Why there is nothing to read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Unreadable {
    /// The system refused.
    #[error("cannot read {name}: {}", reason(.source))]
    Io {
        /// The name of the input in messages.
        name: String,
        /// The system's error.
        source: io::Error,
    },
    /// It is larger than the limit for such a file.
    #[error("{name} is too large: at most {} MiB", .most >> 20)]
    TooLarge {
        /// The name of the input in messages.
        name: String,
        /// Bytes allowed.
        most: u64,
    },
}

impl Unreadable {
    /// Whether there is no such file.
    pub fn is_missing(&self) -> bool {
        matches!(self, Unreadable::Io { source, .. }
            if matches!(source.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory))
    }
}

/// The system's error message, without its number.
pub fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    text.split_once(" (os error").map_or(text.clone(), |(words, _)| words.to_owned())
}

/// A path as messages call it.
pub fn name(path: &Path) -> String {
    fit::line_of(path.display())
}

/// The bytes of a file, at most `most`.
///
/// # Errors
/// When the system refuses, or there are more.
pub fn file(path: &Path, most: u64) -> Result<Vec<u8>, Unreadable> {
    match File::open(path) {
        Ok(file) => stream(file, &name(path), most),
        Err(source) => Err(Unreadable::Io { name: name(path), source }),
    }
}

/// The bytes of a stream called `name`, at most `most`.
///
/// # Errors
/// When the system refuses, or there are more.
pub fn stream(stream: impl Read, name: &str, most: u64) -> Result<Vec<u8>, Unreadable> {
    let mut bytes = Vec::new();
    match stream.take(most.saturating_add(1)).read_to_end(&mut bytes) {
        Ok(_) if bytes.len() as u64 > most => Err(Unreadable::TooLarge { name: name.to_owned(), most }),
        Ok(_) => Ok(bytes),
        Err(source) => Err(Unreadable::Io { name: name.to_owned(), source }),
    }
}

/// Bytes without the byte-order mark that some editors put before UTF-8.
pub fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}

/// Bytes as UTF-8 text, without a byte-order mark.
///
/// # Errors
/// How many bytes behind the mark are text.
pub fn utf8(bytes: &[u8]) -> Result<&str, usize> {
    std::str::from_utf8(without_mark(bytes)).map_err(|error| error.valid_up_to())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_marks_and_reasons() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a\u{1b}b");
        let missing = file(&path, 4).unwrap_err();
        assert!(missing.is_missing());
        assert!(missing.to_string().ends_with("a\\u{1b}b: No such file or directory"), "{missing}");
        std::fs::write(&path, "\u{feff}x").unwrap();
        assert_eq!(utf8(&file(&path, 4).unwrap()), Ok("x"));
        assert!(file(&path, 3).unwrap_err().to_string().ends_with("is too large: at most 0 MiB"));
        assert!(matches!(stream(io::repeat(0), "zeros", 1000), Err(Unreadable::TooLarge { .. })));
        assert_eq!(utf8(b"ab\xff"), Err(2));
    }
}
