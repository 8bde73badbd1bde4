//! A filled-in worksheet: what was read, by whom, with what.

use crate::plan::Plan;
use crate::seal;
use pulsewright_text::{fit, json, source};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;

/// The words of [`Record::about`], with their names on pages.
pub const ABOUT: [(&str, &str); 7] = [
    ("asset", "Asset number"),
    ("model", "Type"),
    ("serial", "Serial number"),
    ("software", "Software version"),
    ("location", "Location"),
    ("work_order", "Work order"),
    ("date", "Date"),
];

/// A filled-in worksheet. Everything that people enter is text, kept as they wrote it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// Version of the format: 1.
    pub record: u32,
    /// The plan; a hand-written record may leave it to the script.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<Plan>,
    /// The equipment, by the words of [`ABOUT`].
    #[serde(default)]
    pub about: BTreeMap<String, String>,
    /// Meters, rig and other instruments.
    #[serde(default)]
    pub instruments: Vec<Instrument>,
    /// Kit taken out and brought back, by its number in the plan.
    #[serde(default)]
    pub kit: BTreeMap<String, KitState>,
    /// Preparations made, by their id: `yes`.
    #[serde(default)]
    pub prepared: BTreeMap<String, String>,
    /// Entries, by the item's id.
    #[serde(default)]
    pub items: BTreeMap<String, ItemEntry>,
    /// Who signs: `done` and `checked`.
    #[serde(default)]
    pub signatures: BTreeMap<String, Signature>,
    /// When it was saved, as the page's clock says.
    #[serde(default)]
    pub saved_at: String,
    /// Answers that were replaced or taken back later, the earliest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub earlier: Vec<EarlierAnswer>,
    /// Photos that were taken, in files beside the record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<Photo>,
    /// The session's playing, if there was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub played: Option<PlaybackRecord>,
    /// Why the record is in doubt, when it was made from a changed one.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub doubt: String,
    /// SHA-256 over all the above, see [`seal::of_record`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub digest: Option<String>,
    /// The digest that the text must have; computed over all of it, so that every change shows.
    #[serde(skip)]
    pub found_digest: Option<String>,
    /// The same of the plan in the text.
    #[serde(skip)]
    pub found_plan_digest: Option<String>,
    /// The kind of file that it was read from.
    #[serde(skip)]
    pub origin: RecordOrigin,
    /// Its name in messages.
    #[serde(skip)]
    pub name: String,
}

/// The kind of file that a record was read from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RecordOrigin {
    /// A document, which carries a digest.
    #[default]
    Document,
    /// A table written by hand, which carries none.
    Table,
}

/// An instrument.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Instrument {
    /// Its kind.
    pub what: String,
    /// Its number.
    pub id: String,
    /// When its calibration runs out.
    pub due: String,
}

/// A piece of kit: which one it is, where it belongs, and whether it is out and back.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct KitState {
    /// Its own number.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub id: String,
    /// Where it belongs.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub place: String,
    /// `yes` when taken out.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub out: String,
    /// `yes` when brought back.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub back: String,
}

impl KitState {
    /// It in words, after the plan's `line`: with its number and its place, where they are entered.
    pub fn words(&self, line: &str) -> String {
        let place = if self.place.trim().is_empty() { String::new() } else { format!("place: {}", self.place.trim()) };
        let known: Vec<&str> = [self.id.trim(), &place].into_iter().filter(|word| !word.is_empty()).collect();
        if known.is_empty() { line.to_owned() } else { format!("{line} ({})", known.join(", ")) }
    }
}

/// A photo.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Photo {
    /// The item that it shows, by its id; empty for the equipment as a whole.
    pub item: String,
    /// Name of its file, in the folder of the record.
    pub name: String,
    /// SHA-256 of the file.
    pub digest: String,
    /// When it was added, UTC.
    pub at: String,
}

/// The entry of an item.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ItemEntry {
    /// The reading, or an alarm's delay in seconds, as written.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub value: String,
    /// The priority that an alarm showed.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub priority: String,
    /// `no` when an alarm was waited for and not heard.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub heard: String,
    /// Why it was skipped.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub skip: String,
    /// A remark.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub remark: String,
    /// The verdict that the page showed: `pass`, `fail`, `skipped` or `open`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub verdict: String,
}

/// An answer that was replaced or taken back.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EarlierAnswer {
    /// The item's id.
    pub item: String,
    /// When it was replaced, UTC.
    pub until: String,
    /// The entry until then.
    pub entry: ItemEntry,
}

impl EarlierAnswer {
    /// It in words, such as `until 2026-11-25T14:03:22Z: 88, fail`.
    pub fn words(&self) -> String {
        let ItemEntry { value, priority, heard, skip, verdict, .. } = &self.entry;
        let heard = if heard.is_empty() { String::new() } else { format!("heard: {heard}") };
        let skip = if skip.is_empty() { String::new() } else { format!("skipped: {skip}") };
        let said: Vec<&str> = [value, priority, &heard, &skip, verdict]
            .into_iter()
            .map(String::as_str)
            .filter(|word| !word.is_empty())
            .collect();
        format!("until {}: {}", self.until, said.join(", "))
    }
}

/// A signature.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Signature {
    /// Who.
    pub name: String,
    /// When.
    pub at: String,
}

/// The playing of a session.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlaybackRecord {
    /// Frames a second.
    pub rate_hz: u32,
    /// Where they went.
    pub output: String,
    /// Step ids with the frames each was played for, in order.
    pub steps: Vec<PlaybackStep>,
    /// The log of all that was played until the record was signed, where one was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub log: Option<PlaybackLog>,
}

/// The log beside a record: a script that renders to what was played.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlaybackLog {
    /// Name of its file, in the folder of the record.
    pub name: String,
    /// SHA-256 of the file.
    pub digest: String,
}

/// A step that a session played.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlaybackStep {
    /// The step's id.
    pub id: String,
    /// Frames.
    pub frames: u64,
    /// Their digest, 16 hexadecimal digits.
    pub digest: String,
}

/// Why a file is no record.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{name}:{line}:{column}: {what}")]
pub struct RecordError {
    /// The file's name.
    pub name: String,
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The mistake, and the allowed form.
    pub what: String,
}

impl RecordError {
    pub(crate) fn at(name: &str, line: usize, column: usize, what: impl Into<String>) -> RecordError {
        RecordError { name: name.to_owned(), line, column, what: what.into() }
    }
}

impl Record {
    /// Reads a record from JSON, called `name` in messages.
    ///
    /// # Errors
    /// The first thing that is wrong, with line and column.
    pub fn from_json(text: &[u8], name: &str) -> Result<Record, RecordError> {
        let text = utf8(text, name)?;
        if text.trim().is_empty() {
            return Err(RecordError::at(
                name,
                1,
                1,
                "the file is empty; a record is JSON that a worksheet or session saved",
            ));
        }
        if !text.trim_start().starts_with('{') {
            return Err(RecordError::at(
                name,
                1,
                1,
                "not a record; a record is a JSON object, {...}, that a worksheet or session saved",
            ));
        }
        let mut record: Record = json::parse(text).map_err(|broken| bad_json(broken, name))?;
        if record.record != 1 {
            let what = format!("record version {} is not known here; allowed: 1", record.record);
            return Err(RecordError::at(name, 1, 1, what));
        }
        let value = json::value(text).map_err(|broken| bad_json(broken, name))?;
        record.found_digest = Some(seal::of_record(&value));
        record.found_plan_digest = value.get("plan").map(seal::of_object);
        record.name = name.to_owned();
        Ok(record)
    }

    /// The record as JSON with its digest, for a file. One that was read and did not fit its digest is in doubt from then on.
    pub fn sealed_json(&self) -> String {
        let mut sealed = Record { digest: None, ..self.clone() };
        if self.found_digest.is_some() && sealed.doubt.is_empty() {
            sealed.doubt = broken_seal(self).unwrap_or_default().to_owned();
        }
        sealed.digest = Some(sealed.own_digest());
        fit::json(&serde_json::to_string_pretty(&sealed).unwrap_or_default()).into_owned() + "\n"
    }

    /// The digest that it must have.
    pub fn own_digest(&self) -> String {
        seal::of_record(&serde_json::to_value(self).unwrap_or(Value::Null))
    }

    /// A word about the equipment; empty when not entered.
    pub fn about(&self, word: &str) -> &str {
        self.about.get(word).map_or("", String::as_str).trim()
    }
}

/// When a record's work was done: its date, or else when it was saved.
pub fn date(record: &Record) -> &str {
    let date = record.about("date");
    if date.is_empty() { record.saved_at.trim() } else { date }
}

/// The text of a file, or the place where it is not text.
fn utf8<'t>(text: &'t [u8], name: &str) -> Result<&'t str, RecordError> {
    if text.len() as u64 > source::DOCUMENT {
        let what = format!("the file is too large for a record: at most {} MiB", source::DOCUMENT >> 20);
        return Err(RecordError::at(name, 1, 1, what));
    }
    source::utf8(text).map_err(|valid| {
        let before = source::without_mark(text).get(..valid).unwrap_or_default();
        let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
        let column = before.rsplit(|byte| *byte == b'\n').next().map_or(0, <[u8]>::len) + 1;
        RecordError::at(name, line, column, "the file is not UTF-8 text; save it as UTF-8")
    })
}

fn bad_json(broken: json::JsonError, name: &str) -> RecordError {
    let said = broken.what;
    let what = if broken.cut_off {
        format!("the file ends too early ({said}); was it cut off? The draft may still be in the page that wrote it")
    } else if broken.syntax {
        format!("broken JSON: {said}")
    } else {
        said
    };
    RecordError::at(name, broken.line, broken.column, what)
}

/// Why a record is not as a worksheet or a session saved it; `None` when it is, or is a table, which has no digest.
pub fn broken_seal(record: &Record) -> Option<&'static str> {
    if record.origin == RecordOrigin::Table {
        return None;
    }
    match (&record.digest, &record.found_digest) {
        (None, _) => {
            return Some(
                "the record has no digest: it was taken out, or neither worksheet nor session saved the record",
            );
        }
        (Some(said), Some(found)) if said == found => {}
        (Some(_), _) => return Some("the record was changed after it was saved: its digest does not fit"),
    }
    let plan = record.plan.as_ref()?;
    // The text of a record that was read counts: an empty member may have been taken out of it.
    let found = record.found_plan_digest.clone().unwrap_or_else(|| plan.own_digest());
    let changed = plan.digest != found;
    changed.then_some("the plan in the record was changed: what was expected is not what the script said")
}
