//! Bytes of files and streams, up to a stated size.

use crate::fit;
use std::fs::File;
use std::io::{self, BufRead, Read};
use std::path::Path;

/// Most bytes of a document that people write, such as a script, a record, a rig: 16 MiB.
pub const DOCUMENT: u64 = 16 << 20;

/// Most bytes of a table, a detector's answer or an annotation file: 128 MiB.
pub const TABLE: u64 = 128 << 20;

/// Most bytes of a line that is typed, such as an answer or a command: 4 KiB.
pub const LINE: usize = 4 << 10;

/// Why there is nothing to read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SourceError {
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

impl SourceError {
    /// The reason alone, for a message that names the input itself.
    pub fn why(&self) -> String {
        match self {
            SourceError::Io { source, .. } => reason(source),
            SourceError::TooLarge { most, .. } => format!("it is too large: at most {} MiB", most >> 20),
        }
    }

    /// Whether there is no such file.
    pub fn is_missing(&self) -> bool {
        matches!(self, SourceError::Io { source, .. }
            if matches!(source.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory))
    }
}

/// Why a typed line is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum BadLine {
    /// It has more than [`LINE`] bytes.
    #[error("the line is too long: at most {} KiB", LINE >> 10)]
    TooLong,
    /// It is not UTF-8.
    #[error("the line is not UTF-8 text")]
    NotText,
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
pub fn file(path: &Path, most: u64) -> Result<Vec<u8>, SourceError> {
    match File::open(path) {
        Ok(file) => stream(file, &name(path), most),
        Err(source) => Err(SourceError::Io { name: name(path), source }),
    }
}

/// The bytes of a stream called `name`, at most `most`.
///
/// # Errors
/// When the system refuses, or there are more.
pub fn stream(stream: impl Read, name: &str, most: u64) -> Result<Vec<u8>, SourceError> {
    let mut bytes = Vec::new();
    match stream.take(most.saturating_add(1)).read_to_end(&mut bytes) {
        Ok(_) if bytes.len() as u64 > most => Err(SourceError::TooLarge { name: name.to_owned(), most }),
        Ok(_) => Ok(bytes),
        Err(source) => Err(SourceError::Io { name: name.to_owned(), source }),
    }
}

/// The next line of a conversation, without its end; `None` after the last. A line that is too long is read to its end and not
/// kept.
///
/// # Errors
/// When the system refuses.
pub fn line(stream: &mut impl BufRead) -> io::Result<Option<Result<String, BadLine>>> {
    let (mut kept, mut length) = (Vec::new(), 0_usize);
    loop {
        let bytes = match stream.fill_buf() {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            bytes => bytes?,
        };
        let end = bytes.iter().position(|byte| *byte == b'\n');
        let part = bytes.get(..end.unwrap_or(bytes.len())).unwrap_or_default();
        let room = LINE.saturating_sub(kept.len()).min(part.len());
        kept.extend_from_slice(part.get(..room).unwrap_or_default());
        length = length.saturating_add(part.len());
        let (taken, last) = (part.len() + usize::from(end.is_some()), bytes.is_empty());
        stream.consume(taken);
        if last && length == 0 {
            return Ok(None);
        }
        if last || end.is_some() {
            break;
        }
    }
    if length > LINE {
        return Ok(Some(Err(BadLine::TooLong)));
    }
    Ok(Some(String::from_utf8(kept).map_err(|_| BadLine::NotText)))
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
        assert_eq!(missing.why(), "No such file or directory");
        std::fs::write(&path, "\u{feff}x").unwrap();
        assert_eq!(utf8(&file(&path, 4).unwrap()), Ok("x"));
        assert!(file(&path, 3).unwrap_err().to_string().ends_with("is too large: at most 0 MiB"));
        assert!(matches!(stream(io::repeat(0), "zeros", 1000), Err(SourceError::TooLarge { .. })));
        assert_eq!(utf8(b"ab\xff"), Err(2));
    }

    #[test]
    fn lines_end_and_one_that_is_too_long_does_not_end_the_conversation() {
        let text =
            [b"one\r\n\n".to_vec(), vec![b'x'; LINE], b"\n".to_vec(), vec![b'x'; 3 * LINE], b"\n\xff\nlast".to_vec()];
        for size in [1, 7, 1 << 20] {
            let mut stream = io::BufReader::with_capacity(size, io::Cursor::new(text.concat()));
            let lines: Vec<_> = std::iter::from_fn(|| line(&mut stream).unwrap()).collect();
            let full = "x".repeat(LINE);
            let [too_long, no_text] = [Err(BadLine::TooLong), Err(BadLine::NotText)];
            let kept = ["one\r", "", &full].map(|line| Ok(line.to_owned()));
            assert_eq!(lines, [kept.as_slice(), &[too_long, no_text, Ok("last".to_owned())]].concat(), "{size}");
        }
    }
}
