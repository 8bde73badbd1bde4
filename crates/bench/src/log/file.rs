//! The file of a log: a script at any moment, and not written anew at each change.
//!
//! Its last page begins with the step that had begun last when the file was written whole, and ends in blanks. What has come since
//! goes over that page alone, in one write: the file keeps its size, and a page reaches the disk whole or not at all (common practice, no
//! source). When the page is full the file is written whole, under a temporary name first. A log that has ended has no blanks.

use pulsewright_files::atomic::{Claim, FileError};
use serde_json::Value;
use std::fs::OpenOptions;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::PathBuf;

/// Bytes of a page.
const PAGE: usize = 4096;

/// The file of a log.
pub struct LogFile {
    path: PathBuf,
    claim: Claim,
    /// The text before the last page; `None` until the file was written whole.
    head: Option<Vec<u8>>,
}

impl LogFile {
    /// A file that is yet to be written.
    ///
    /// # Errors
    /// When another process writes there.
    pub fn new(path: PathBuf) -> Result<LogFile, FileError> {
        let claim = Claim::new(&path)?;
        Ok(LogFile { path, claim, head: None })
    }

    /// Writes a log that goes on; `text` is its text.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn write(&mut self, log: &Value, text: &[u8]) -> Result<(), FileError> {
        if let Some(head) = &self.head
            && let Some(tail) = text.strip_prefix(head.as_slice()).filter(|tail| tail.len() <= PAGE)
            && self.write_last_page(head.len(), tail).is_ok()
        {
            return Ok(());
        }
        let (head, tail) = text.split_at(before_last_step(log, text));
        self.head = None;
        self.claim.write_whole(&self.path, &[in_pages(head), in_pages(tail)].concat())?;
        self.claim.sync_names()?;
        self.head = Some(head.to_owned());
        Ok(())
    }

    /// Writes a log that has ended.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn end(&self, text: &[u8]) -> Result<(), FileError> {
        self.claim.write_whole(&self.path, text)?;
        self.claim.sync_names()
    }

    fn write_last_page(&self, head: usize, tail: &[u8]) -> io::Result<()> {
        let mut file = OpenOptions::new().write(true).open(&self.path)?;
        let at = head.next_multiple_of(PAGE) as u64;
        if file.metadata()?.len() != at + PAGE as u64 {
            return Err(io::Error::other("it is no longer as it was written"));
        }
        file.seek(SeekFrom::Start(at))?;
        file.write_all(&in_pages(tail))?;
        file.sync_data()
    }
}

/// A text with blanks to the end of its last page.
fn in_pages(text: &[u8]) -> Vec<u8> {
    let mut pages = text.to_vec();
    pages.resize(text.len().next_multiple_of(PAGE), b' ');
    pages
}

/// Where the last step of a log begins in its text.
fn before_last_step(log: &Value, text: &[u8]) -> usize {
    let mut before = log.clone();
    before.get_mut("steps").and_then(Value::as_array_mut).and_then(Vec::pop);
    // Both texts are the same up to the end of the step before, or of the bracket that opens the list.
    format!("{before:#}").bytes().zip(text).take_while(|(one, other)| one == *other).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;
    use std::fs;

    /// A log of so many steps, of which the last one goes on.
    fn log(steps: usize) -> Value {
        let step = |index: usize| {
            json!({"name": format!("Tap {index}, \u{b5}V"), "rhythm": "sinus",
                   "duration_s": if index + 1 == steps { json!("hold") } else { json!(10.0 + index as f64) }})
        };
        json!({"version": 1, "title": "Invented", "steps": (0..steps).map(step).collect::<Vec<_>>(), "seed": 1})
    }

    fn text(log: &Value) -> Vec<u8> {
        format!("{log:#}\n").into_bytes()
    }

    #[cfg(unix)]
    #[test]
    fn a_log_is_whole_at_each_change_and_seldom_written_anew() {
        use std::os::unix::fs::MetadataExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.json");
        let mut file = LogFile::new(path.clone()).unwrap();
        let (mut inode, mut anew, mut written, mut as_before) = (0, 0, 0, 0);
        for steps in 1..=361 {
            let log = log(steps);
            file.write(&log, &text(&log)).unwrap();
            let read = fs::read_to_string(&path).unwrap();
            assert_eq!(serde_json::from_str::<Value>(&read).unwrap(), log, "{steps} steps");
            assert_eq!(read.len() % PAGE, 0);
            let there = fs::metadata(&path).unwrap();
            let is_new = there.ino() != inode;
            (inode, anew) = (there.ino(), anew + usize::from(is_new));
            written += if is_new { read.len() } else { PAGE };
            as_before += text(&log).len();
        }
        assert!(anew < 12, "{anew} times");
        // The figures of docs/console.md.
        assert!(
            written < 2_000_000 && as_before > 4_000_000,
            "{written} bytes, {as_before} if each change wrote all of it"
        );
        file.end(&text(&log(361))).unwrap();
        assert_eq!(fs::read(&path).unwrap(), text(&log(361)));
    }

    #[test]
    fn steps_longer_than_a_page_and_a_changed_file_are_written_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.json");
        let mut file = LogFile::new(path.clone()).unwrap();
        let mut log = log(2);
        let mut check = |log: &Value| {
            file.write(log, &text(log)).unwrap();
            assert_eq!(serde_json::from_str::<Value>(&fs::read_to_string(&path).unwrap()).unwrap(), *log);
        };
        check(&log);
        log["steps"][1]["notes"] = json!("n".repeat(3 * PAGE));
        check(&log);
        log["steps"][1]["duration_s"] = json!(5.0);
        check(&log);
        fs::write(&path, "changed by hand").unwrap();
        log["steps"][1] = json!({"duration_s": "hold"});
        check(&log);
        fs::remove_file(&path).unwrap();
        check(&log);
        log["title"] = json!("Another title");
        check(&log);
    }
}
