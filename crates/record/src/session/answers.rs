//! The answers of a session: the record in the making. An answer counts once the draft on disk has it.
//!
//! Terminal and console both write their records through it.

use super::draft::{Draft, DraftError, ItemChange};
use crate::calendar::utc;
use crate::instruments::NO_OUTPUT;
use crate::judge::{Verdict, judge};
use crate::plan::Plan;
use crate::record::{
    EarlierAnswer, Instrument, ItemEntry, Photo, PlaybackRecord, PlaybackStep, Record, RecordError, Signature,
};
use std::io;
use std::path::Path;
use std::time::SystemTime;

/// Why a session can't begin, or go on.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TakeUpError {
    /// The draft can't be read, or was changed.
    #[error("{0}: {1}")]
    Draft(String, #[source] DraftError),
    /// The draft holds no record.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The draft is another plan's.
    #[error(
        "{0} is the draft of another plan, or of this one before it was changed; take it away, or write the record under another name"
    )]
    OtherPlan(String),
    /// The draft was played at another rate.
    #[error("the draft was played at {0} frames a second; go on with --frame-rate {0}")]
    OtherRate(u32),
}

impl PlaybackRecord {
    /// Goes on to another output.
    fn go_on(&mut self, to: &PlaybackRecord) -> Result<(), TakeUpError> {
        if self.rate_hz != to.rate_hz && !self.steps.is_empty() {
            return Err(TakeUpError::OtherRate(self.rate_hz));
        }
        self.rate_hz = to.rate_hz;
        if self.output == NO_OUTPUT {
            self.output.clone_from(&to.output);
        } else if to.output != NO_OUTPUT && !self.output.split(", ").any(|name| name == to.output) {
            self.output = format!("{}, {}", self.output, to.output);
        }
        Ok(())
    }
}

/// An entry as it was judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JudgedEntry {
    /// The verdict.
    pub verdict: Verdict,
    /// Why, in a few words; may be empty.
    pub why: String,
}

/// The record in the making, with its draft.
#[derive(Debug)]
pub struct RecordInMaking {
    record: Record,
    draft: Draft,
    /// Items in the order in which they were entered, each with its entry before; the last is undone first.
    undo: Vec<(String, Option<ItemEntry>)>,
}

impl RecordInMaking {
    /// Takes up the draft at `path`, or begins one there; `played` says where the signal goes and how fast.
    ///
    /// # Errors
    /// When there is a draft that is no draft of this plan.
    pub fn open(path: &Path, plan: &Plan, played: PlaybackRecord) -> Result<RecordInMaking, TakeUpError> {
        let name = path.display().to_string();
        let (mut draft, text) = Draft::open(path).map_err(|error| TakeUpError::Draft(name.clone(), error))?;
        let mut record = match text {
            Some(text) => Record::from_json(text.as_bytes(), &name)?,
            None => Record::default(),
        };
        if record.plan.as_ref().is_some_and(|of_draft| of_draft.digest != plan.digest) {
            return Err(TakeUpError::OtherPlan(name));
        }
        record.record = 1;
        record.plan = Some(plan.clone());
        match &mut record.played {
            None => record.played = Some(played),
            Some(before) => before.go_on(&played)?,
        }
        let undo = std::mem::take(&mut draft.entered);
        Ok(RecordInMaking { record, draft, undo })
    }

    /// The record as it is now.
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// Makes a change and keeps it; one that can't be kept is taken back.
    fn change(&mut self, make: impl FnOnce(&mut Record)) -> io::Result<()> {
        let mut after = self.record.clone();
        make(&mut after);
        self.keep(after, None)
    }

    /// The record is `after` from now on, once the draft has it.
    fn keep(&mut self, mut after: Record, did: Option<ItemChange<'_>>) -> io::Result<()> {
        after.saved_at = utc(SystemTime::now());
        self.draft.append(&after, did)?;
        self.record = after;
        Ok(())
    }

    /// Words about the equipment, by the words of [`crate::record::ABOUT`].
    ///
    /// # Errors
    /// As every change: when the draft can't be written. Nothing has changed then.
    pub fn about(&mut self, words: impl IntoIterator<Item = (String, String)>) -> io::Result<()> {
        self.change(|record| record.about.extend(words))
    }

    /// An instrument, in the place of one of the same kind.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn instrument(&mut self, instrument: Instrument) -> io::Result<()> {
        self.change(|record| match record.instruments.iter_mut().find(|other| other.what == instrument.what) {
            Some(other) => *other = instrument,
            None => record.instruments.push(instrument),
        })
    }

    /// Whether a piece of kit was taken out.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn kit_out(&mut self, number: &str, out: bool) -> io::Result<()> {
        self.change(|record| record.kit.entry(number.to_owned()).or_default().out = word(out))
    }

    /// Whether a piece of kit was brought back.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn kit_back(&mut self, number: &str, back: bool) -> io::Result<()> {
        self.change(|record| record.kit.entry(number.to_owned()).or_default().back = word(back))
    }

    /// Which piece of kit is used: its number and its place.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn kit_piece(&mut self, number: &str, id: &str, place: &str) -> io::Result<()> {
        self.change(|record| {
            let state = record.kit.entry(number.to_owned()).or_default();
            (state.id, state.place) = (id.trim().to_owned(), place.trim().to_owned());
        })
    }

    /// A photo was added; its file is there already. The same one of the same item is in the record once.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn photo(&mut self, photo: Photo) -> io::Result<()> {
        let same = |of: &Photo| of.item == photo.item && of.digest == photo.digest;
        if self.record.photos.iter().any(same) {
            return Ok(());
        }
        self.change(|record| record.photos.push(photo))
    }

    /// A photo is none of the record any more; its file stays.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn without_photo(&mut self, item: &str, digest: &str) -> io::Result<()> {
        self.change(|record| record.photos.retain(|photo| photo.item != item || photo.digest != digest))
    }

    /// Whether a preparation was made.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn prepared(&mut self, id: &str, done: bool) -> io::Result<()> {
        self.change(|record| {
            record.prepared.remove(id);
            if done {
                record.prepared.insert(id.to_owned(), word(true));
            }
        })
    }

    /// Takes down the entry of an item and judges it. An answer that it replaces stays in the record.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`]; an item that the plan does not have.
    pub fn enter(&mut self, id: &str, entry: ItemEntry) -> io::Result<JudgedEntry> {
        let before = self.record.items.get(id).cloned();
        let found = self.put(ItemChange::Entered(id), Some(entry))?;
        self.undo.push((id.to_owned(), before));
        Ok(found)
    }

    /// Takes back the last entry, also one of before the draft was taken up; gives the id of its item, or `None` when there is none.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn undo(&mut self) -> io::Result<Option<String>> {
        let Some((id, before)) = self.undo.last().cloned() else { return Ok(None) };
        self.put(ItemChange::Undone(&id), before)?;
        self.undo.pop();
        Ok(Some(id))
    }

    /// The item whose entry is undone next.
    pub fn undone_next(&self) -> Option<&str> {
        self.undo.last().map(|(id, _)| id.as_str())
    }

    fn put(&mut self, did: ItemChange<'_>, entry: Option<ItemEntry>) -> io::Result<JudgedEntry> {
        let (ItemChange::Entered(id) | ItemChange::Undone(id)) = did;
        let unknown = || io::Error::new(io::ErrorKind::InvalidInput, format!("the plan has no item '{id}'"));
        let mut after = self.record.clone();
        let earlier = match entry {
            Some(entry) => after.items.insert(id.to_owned(), entry),
            None => after.items.remove(id),
        };
        let found = {
            let plan = after.plan.as_ref().ok_or_else(unknown)?;
            let (_, item) = plan.items().find(|(_, item)| item.id() == id).ok_or_else(unknown)?;
            let judged = judge(item, &after);
            JudgedEntry { verdict: judged.verdict, why: judged.why }
        };
        if let Some(entry) = after.items.get_mut(id) {
            entry.verdict = found.verdict.id().to_owned();
        }
        // An entry that was asked for again was no answer, and a remark changes none.
        let answered = earlier.filter(|earlier| !matches!(earlier.verdict.as_str(), "" | "open"));
        if let Some(earlier) = answered.filter(|earlier| !same_answer(earlier, after.items.get(id))) {
            after.earlier.push(EarlierAnswer { item: id.to_owned(), until: utc(SystemTime::now()), entry: earlier });
        }
        self.keep(after, Some(did))?;
        Ok(found)
    }

    /// A step was played.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn played(&mut self, step: PlaybackStep) -> io::Result<()> {
        self.change(|record| record.played.get_or_insert_default().steps.push(step))
    }

    /// The person who did the work signs; instruments that were not used are left out from here on.
    ///
    /// # Errors
    /// As [`RecordInMaking::about`].
    pub fn sign(&mut self, name: String) -> io::Result<()> {
        let at = utc(SystemTime::now());
        self.change(|record| {
            record.signatures.insert("done".to_owned(), Signature { name, at });
            record.instruments.retain(|instrument| !instrument.id.is_empty());
        })
    }
}

fn word(yes: bool) -> String {
    if yes { "yes".to_owned() } else { String::new() }
}

/// Whether two entries of an item answer the same.
fn same_answer(earlier: &ItemEntry, entry: Option<&ItemEntry>) -> bool {
    entry.is_some_and(|entry| {
        let answer = |of: &ItemEntry| [&of.value, &of.priority, &of.heard, &of.skip].map(|text| text.trim().to_owned());
        answer(earlier) == answer(entry)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::KitState;
    use pulsewright_script::parse;
    use std::fs;

    fn plan() -> Plan {
        let text = br#"{"version": 1, "steps": [{"duration_s": 5, "expect": {"readings": ["heart-rate"],
            "manual": [{"name": "Case", "source": "invented"}]}}]}"#;
        Plan::new(&parse(text, "plan").unwrap(), text, None).unwrap()
    }

    fn entry(value: &str) -> ItemEntry {
        ItemEntry { value: value.to_owned(), ..ItemEntry::default() }
    }

    #[test]
    fn a_replaced_answer_stays_and_one_that_was_asked_back_does_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("draft");
        let mut answers = RecordInMaking::open(&path, &plan(), PlaybackRecord::default()).unwrap();
        let id = "1.heart-rate";
        assert_eq!(answers.enter(id, entry("about 70")).unwrap().verdict, Verdict::Open);
        assert_eq!(answers.enter(id, entry("200")).unwrap().verdict, Verdict::Fail);
        assert_eq!(
            answers.enter(id, ItemEntry { remark: "loud".to_owned(), ..entry("200") }).unwrap().verdict,
            Verdict::Fail
        );
        assert!(answers.record().earlier.is_empty());
        assert_eq!(answers.enter(id, entry("75")).unwrap().verdict, Verdict::Pass);
        assert_eq!(answers.enter("1.manual-1", entry("no")).unwrap().verdict, Verdict::Fail);
        assert_eq!(answers.undo().unwrap().as_deref(), Some("1.manual-1"));
        assert!(!answers.record().items.contains_key("1.manual-1"));
        assert_eq!(answers.undo().unwrap().as_deref(), Some(id));
        assert_eq!(answers.record().items[id].value, "200");
        let earlier: Vec<_> = answers.record().earlier.iter().map(|of| of.entry.value.clone()).collect();
        assert_eq!(earlier, ["200", "no", "75"]);
        assert!(answers.enter("9.heart-rate", entry("75")).is_err());
        let kept = answers.record().clone();
        drop(answers);
        let again = RecordInMaking::open(&path, &plan(), PlaybackRecord::default()).unwrap();
        assert_eq!((&again.record().items, &again.record().earlier), (&kept.items, &kept.earlier));
        // What was entered before and not taken back is undone after the draft was taken up: the remark, the value, what was asked back.
        let mut again = again;
        assert_eq!(again.undone_next(), Some(id));
        let undone: Vec<_> = std::iter::from_fn(|| {
            again.undo().unwrap().map(|_| again.record().items.get(id).map(|entry| entry.value.clone()))
        })
        .collect();
        assert_eq!(undone, [Some("200".to_owned()), Some("about 70".to_owned()), None]);
        assert!(again.record().items.is_empty() && again.undone_next().is_none());
        drop(again);
        assert_eq!(RecordInMaking::open(&path, &plan(), PlaybackRecord::default()).unwrap().undone_next(), None);
    }

    #[test]
    fn an_answer_that_the_disk_does_not_have_does_not_count() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("gone").join("draft");
        let mut answers = RecordInMaking::open(&path, &plan(), PlaybackRecord::default()).unwrap();
        assert!(answers.enter("1.heart-rate", entry("75")).is_err());
        assert!(answers.kit_out("1", true).is_err());
        assert!(
            answers.record().items.is_empty() && answers.record().kit.is_empty() && answers.undone_next().is_none()
        );
        fs::create_dir(folder.path().join("gone")).unwrap();
        answers.kit_out("1", true).unwrap();
        assert_eq!(answers.record().kit["1"], KitState { out: "yes".to_owned(), ..KitState::default() });
    }
}
