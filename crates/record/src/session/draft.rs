//! The draft of a session: a line for each answer, appended and synced, each bound to the one before.
//!
//! A line is a JSON object: the digest of the line `before`, the `record` so far (its plan in the first line alone), the id of
//! the item that it `entered` or took back (`undone`), if it did, and a `digest` of all that. Written lines are never
//! rewritten, so every earlier state stays, and an entry can be undone after a kill. A last line that lost power cut short is
//! left out; one that was changed by hand is found and never taken up.

use crate::record::{ItemEntry, Record};
use crate::seal;
use pulsewright_files::atomic::{folder_of, sync_folder};
use pulsewright_text::source::{self, SourceError};
use pulsewright_text::{fit, json};
use serde_json::{Map, Value};
use std::fs::{File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// End of the names of drafts.
pub const ENDING: &str = ".draft";

/// The draft of a record that is named in advance: its name with [`ENDING`] added.
pub fn of_record(record: &Path) -> PathBuf {
    let mut name = record.as_os_str().to_owned();
    name.push(ENDING);
    PathBuf::from(name)
}

/// A draft that is appended to.
#[derive(Debug)]
pub struct Draft {
    path: PathBuf,
    /// Opened, and made if need be, with the first answer.
    file: Option<File>,
    /// Bytes of whole lines.
    length: u64,
    /// Digest of the last line.
    last: Option<String>,
    /// Items in the order in which they were entered, each with its entry before; those that were undone are left out.
    pub(super) entered: Vec<(String, Option<ItemEntry>)>,
}

/// The change that a line makes to an item.
#[derive(Clone, Copy, Debug)]
pub enum ItemChange<'a> {
    /// It has an entry of this item.
    Entered(&'a str),
    /// It takes the last entry, which is of this item, back.
    Undone(&'a str),
}

/// Why a draft can't be taken up.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DraftError {
    /// A line is not as it was written.
    #[error(
        "line {0} of the draft is not as the session wrote it; the lines before it stand: take it and those after it away to go on from there"
    )]
    Changed(usize),
    /// It can't be read or written.
    #[error("{0}")]
    Io(#[from] io::Error),
}

impl Draft {
    /// Takes up a draft, if there is one, and gives the text of the record that it holds. Only [`Draft::append`] writes.
    ///
    /// # Errors
    /// When a line was changed, or it can't be read.
    pub fn open(path: &Path) -> Result<(Draft, Option<String>), DraftError> {
        let text = match source::file(path, source::TABLE) {
            Ok(text) => text,
            Err(SourceError::Io { source, .. }) if source.kind() == io::ErrorKind::NotFound => Vec::new(),
            Err(SourceError::Io { source, .. }) => return Err(source.into()),
            Err(too_large) => return Err(io::Error::other(too_large).into()),
        };
        // A line that lost power cut short has no end.
        let whole = text.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        let lines = text.get(..whole).unwrap_or_default();
        let (mut last, mut record, mut plan) = (None, None::<Map<String, Value>>, Value::Null);
        let mut entered = Vec::new();
        for (index, line) in lines.split_inclusive(|byte| *byte == b'\n').enumerate() {
            let Line { digest, record: of_line, did } =
                read(line, last.as_deref()).ok_or(DraftError::Changed(index + 1))?;
            if let (0, Some(of_line)) = (index, of_line.get("plan")) {
                plan = of_line.clone();
            }
            match did {
                Some(("entered", id)) => {
                    let items = record.as_ref().and_then(|before| before.get("items"));
                    let before = items.and_then(|items| items.get(&id)).cloned();
                    entered.push((id, before.and_then(|entry: Value| json::parse(&entry.to_string()).ok())));
                }
                Some(_) => _ = entered.pop(),
                None => {}
            }
            (last, record) = (Some(digest), Some(of_line));
        }
        let record = record.map(|mut record| {
            if !plan.is_null() {
                record.insert("plan".to_owned(), plan);
            }
            Value::Object(record).to_string()
        });
        Ok((Draft { path: path.to_owned(), file: None, length: whole as u64, last, entered }, record))
    }

    /// Appends the record as it is now, and waits until the disk has it; `did` says which item was entered or undone.
    ///
    /// # Errors
    /// When it can't be written; the draft holds what it held before.
    pub fn append(&mut self, record: &Record, did: Option<ItemChange<'_>>) -> io::Result<()> {
        let mut record = json::value(&record.sealed_json()).map_err(|broken| io::Error::other(broken.what))?;
        if let (Some(_), Some(record)) = (&self.last, record.as_object_mut()) {
            record.shift_remove("plan");
        }
        let before = self.last.as_ref().map_or(Value::Null, |last| Value::String(last.clone()));
        let mut line = Map::new();
        line.insert("before".to_owned(), before);
        line.insert("record".to_owned(), record);
        if let Some(did) = did {
            let (word, id) = match did {
                ItemChange::Entered(id) => ("entered", id),
                ItemChange::Undone(id) => ("undone", id),
            };
            line.insert(word.to_owned(), Value::from(id));
        }
        let digest = seal::of_object(&Value::Object(line.clone()));
        line.insert("digest".to_owned(), Value::String(digest.clone()));
        let text = fit::json(&Value::Object(line).to_string()).into_owned() + "\n";
        let new = self.file.is_none();
        let file = match &mut self.file {
            Some(file) => file,
            None => self.file.insert(OpenOptions::new().write(true).create(true).truncate(false).open(&self.path)?),
        };
        // A line that lost power or a full disk cut short is written over.
        file.set_len(self.length)?;
        file.seek(SeekFrom::Start(self.length))?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        if new {
            sync_folder(folder_of(&self.path))?;
        }
        self.length += text.len() as u64;
        self.last = Some(digest);
        Ok(())
    }
}

/// A line as it is read.
struct Line {
    digest: String,
    record: Map<String, Value>,
    /// `entered` or `undone`, and the item.
    did: Option<(&'static str, String)>,
}

/// The line that follows the one with digest `before`; `None` when it was changed.
fn read(line: &[u8], before: Option<&str>) -> Option<Line> {
    let line = json::value(std::str::from_utf8(line).ok()?).ok()?;
    let digest = line.get("digest")?.as_str()?.to_owned();
    let bound = line.get("before")?.as_str() == before && seal::of_object(&line) == digest;
    let did = ["entered", "undone"].into_iter().find_map(|word| Some((word, line.get(word)?.as_str()?.to_owned())));
    let known = line.as_object()?.len() == 3 + usize::from(did.is_some());
    let record = line.get("record")?.as_object().cloned()?;
    (bound && known).then_some(Line { digest, record, did })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn record(asset: &str) -> Record {
        Record { record: 1, about: [("asset".to_owned(), asset.to_owned())].into(), ..Record::default() }
    }

    fn asset(text: Option<String>) -> Option<String> {
        let record = Record::from_json(text?.as_bytes(), "draft").unwrap();
        record.about.get("asset").cloned()
    }

    #[test]
    fn every_answer_is_appended_and_the_last_is_taken_up() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("draft");
        fs::write(&path, "").unwrap();
        let (mut draft, none) = Draft::open(&path).unwrap();
        assert_eq!(none, None, "an empty draft is no draft");
        for name in ["one", "two", "three"] {
            draft.append(&record(name), None).unwrap();
        }
        drop(draft);
        let before = fs::read(&path).unwrap();
        assert_eq!(before.iter().filter(|byte| **byte == b'\n').count(), 3);
        let (mut draft, text) = Draft::open(&path).unwrap();
        assert_eq!(asset(text).as_deref(), Some("three"));
        draft.append(&record("four"), None).unwrap();
        assert!(fs::read(&path).unwrap().starts_with(&before));
    }

    #[test]
    fn a_line_cut_short_is_left_out_and_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("draft");
        let (mut draft, _) = Draft::open(&path).unwrap();
        draft.append(&record("one"), None).unwrap();
        draft.append(&record("two"), None).unwrap();
        let text = fs::read(&path).unwrap();
        let first = text.iter().position(|byte| *byte == b'\n').unwrap() + 1;
        for cut in [first, first + 1, text.len() - 1] {
            fs::write(&path, &text[..cut]).unwrap();
            let (mut draft, left) = Draft::open(&path).unwrap();
            assert_eq!(asset(left).as_deref(), Some("one"));
            draft.append(&record("again"), None).unwrap();
            assert_eq!(asset(Draft::open(&path).unwrap().1).as_deref(), Some("again"));
        }
    }

    #[test]
    fn any_changed_character_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("draft");
        let (mut draft, _) = Draft::open(&path).unwrap();
        draft.append(&record("one"), None).unwrap();
        draft.append(&record("two"), None).unwrap();
        let text = fs::read(&path).unwrap();
        for at in 0..text.len() - 1 {
            let mut changed = text.clone();
            changed[at] = if changed[at] == b'7' { b'8' } else { b'7' };
            fs::write(&path, &changed).unwrap();
            assert!(matches!(Draft::open(&path), Err(DraftError::Changed(_))), "character {at}");
        }
        let lines: Vec<&[u8]> = text.split_inclusive(|byte| *byte == b'\n').collect();
        for other in [vec![lines[1]], vec![lines[1], lines[0]], vec![lines[0], lines[0]]] {
            fs::write(&path, other.concat()).unwrap();
            assert!(matches!(Draft::open(&path), Err(DraftError::Changed(_))));
        }
    }
}
