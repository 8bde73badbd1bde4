//! The checks of a plan: one piece of equipment after the other, each with a record of its own.
//!
//! The record in the making is that of a session in the terminal ([`RecordInMaking`]); here it gets its place on the disk.

mod store;

use crate::addresses::{Addresses, Asset, KitPiece};
use crate::log::RunLog;
use crate::order::Request;
use pulsewright_core::time::FrameRate;
use pulsewright_record::calendar::{today, utc};
use pulsewright_record::judge::{Judgement, plain};
use pulsewright_record::plan::{Plan, PlanItem};
use pulsewright_record::record::{ItemEntry, Photo, PlaybackRecord, PlaybackStep};
use pulsewright_record::report::Report;
use pulsewright_record::session::answers::RecordInMaking;
use pulsewright_record::{Record, written};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::SystemTime;
use store::Store;
pub use store::{RecordFile, RecordFolder};

/// How much longer than the step has played an alarm may have been timed, s: the clocks of view and player differ by less.
const SLACK_S: f64 = 0.5;

/// Most photos of a record.
const MOST_PHOTOS: usize = 200;

/// The checks of a plan.
pub struct Checks {
    plan: Plan,
    rate: FrameRate,
    output: String,
    store: Store,
    log: RunLog,
    open: Option<Open>,
    /// The step of the plan that plays for the record that is open, and its first frame.
    playing: Option<(usize, u64)>,
    /// The record that was signed last, and its path.
    signed: Option<(Value, PathBuf)>,
}

/// The record that is open.
struct Open {
    answers: RecordInMaking,
    draft: PathBuf,
    /// Readings of the check before: its day, and the entries by item.
    before: Option<(String, Map<String, Value>)>,
}

impl Checks {
    /// Of a plan, with the place of its records.
    pub fn new(plan: Plan, place: RecordFolder, output: String, rate: FrameRate, log: RunLog) -> Checks {
        let store = Store::new(place, &plan);
        Checks { plan, rate, output, store, log, open: None, playing: None, signed: None }
    }

    /// The record that was signed last.
    pub fn into_signed(self) -> Option<PathBuf> {
        self.signed.map(|(_, path)| path)
    }

    /// A step began.
    pub fn began(&mut self, step: usize, frame: u64) {
        self.playing = self.open.is_some().then_some((step, frame));
    }

    /// A step ended: it belongs to the record that was open when it began.
    ///
    /// # Errors
    /// When the draft can't be written.
    pub fn ended(&mut self, step: usize, frames: u64, digest: String) -> Result<(), String> {
        let began_here = self.playing.take().is_some_and(|(playing, _)| playing == step);
        let id = self.plan.steps.get(step).map_or(String::new(), |step| step.id.clone());
        match &mut self.open {
            Some(open) if began_here => {
                open.answers.played(PlaybackStep { id, frames, digest }).map_err(|error| not_kept(&error))
            }
            _ => Ok(()),
        }
    }

    /// Carries out a request; `taken` frames have gone out so far.
    ///
    /// # Errors
    /// The reason why nothing has changed.
    pub fn carry_out(&mut self, request: &Request, addresses: &mut Addresses, taken: u64) -> Result<Value, String> {
        match request {
            Request::Begin { about } => self.begin(about, addresses),
            Request::Leave => {
                (self.open, self.playing) = (None, None);
                Ok(Value::Null)
            }
            Request::Enter { item, entry } => self.enter(item, entry.clone(), taken),
            Request::Sign { name, next_due } => self.sign(name, next_due, addresses),
            Request::Photo { item, bytes } => self.photo(item, bytes, addresses),
            Request::Piece { number, id, place } => {
                let line = self.kit_line(number)?.to_owned();
                let answers = &mut self.open.as_mut().ok_or(NOT_OPEN)?.answers;
                answers.kit_piece(number, id, place).map_err(|error| not_kept(&error))?;
                let keep =
                    |piece: &mut KitPiece| (piece.id, piece.place) = (id.trim().to_owned(), place.trim().to_owned());
                addresses.keep_piece(&line, keep).map_err(|error| error.to_string())?;
                Ok(Value::Null)
            }
            _ => {
                let answers = &mut self.open.as_mut().ok_or(NOT_OPEN)?.answers;
                let done = match request {
                    Request::Instrument { instrument } => {
                        let kept = addresses.keep_instrument(instrument.clone()).map_err(|error| error.to_string());
                        kept?;
                        answers.instrument(instrument.clone())
                    }
                    Request::Kit { number, back: true, on } => answers.kit_back(number, *on),
                    Request::Kit { number, back: false, on } => answers.kit_out(number, *on),
                    Request::About { about } => answers.about(about.clone()),
                    Request::Prepared { id, on } => answers.prepared(id, *on),
                    Request::DropPhoto { item, digest } => answers.without_photo(item, digest),
                    Request::Undo => {
                        let undone = answers.undo().map_err(|error| not_kept(&error))?;
                        return undone.map(Value::String).ok_or("there is nothing to undo".to_owned());
                    }
                    _ => Ok(()),
                };
                done.map_err(|error| not_kept(&error))?;
                Ok(Value::Null)
            }
        }
    }

    /// Begins the check of a piece of equipment, or takes up its draft.
    fn begin(&mut self, words: &BTreeMap<String, String>, addresses: &mut Addresses) -> Result<Value, String> {
        if self.open.is_some() {
            return Err("a record is open: sign it, or leave it, first".to_owned());
        }
        if !self.store.has_room() {
            return Err("this session's record is signed: start the next one under another name".to_owned());
        }
        let mut asset = words.get("asset").map_or("", String::as_str).trim().to_owned();
        let draft = self.store.draft(&asset);
        // The draft of the one record that was named in advance knows its asset.
        if asset.is_empty() && !(self.store.is_named() && draft.exists()) {
            return Err(NO_ASSET.to_owned());
        }
        let played =
            PlaybackRecord { rate_hz: self.rate.as_hz(), output: self.output.clone(), ..PlaybackRecord::default() };
        let mut answers = RecordInMaking::open(&draft, &self.plan, played).map_err(|error| error.to_string())?;
        if asset.is_empty() {
            asset = answers.record().about("asset").to_owned();
        }
        if asset.is_empty() {
            return Err(NO_ASSET.to_owned());
        }
        let new = answers.record().about.is_empty();
        let mut about: BTreeMap<String, String> = words
            .iter()
            .filter(|(_, text)| new || !text.trim().is_empty())
            .map(|(a, b)| (a.clone(), b.clone()))
            .collect();
        about.insert("asset".to_owned(), asset.clone());
        if new {
            about.insert("date".to_owned(), today());
        }
        answers.about(about).map_err(|error| not_kept(&error))?;
        if new {
            for instrument in addresses.entries().instruments.iter().filter(|instrument| !instrument.id.is_empty()) {
                answers.instrument(instrument.clone()).map_err(|error| not_kept(&error))?;
            }
            for (index, line) in self.plan.kit.iter().enumerate() {
                if let Some(piece) = addresses.entries().kit.iter().find(|piece| piece.line == *line) {
                    let number = (index + 1).to_string();
                    answers.kit_piece(&number, &piece.id, &piece.place).map_err(|error| not_kept(&error))?;
                }
            }
        }
        let known = addresses.asset(&asset).cloned().unwrap_or_default();
        let before = self.store.record(&known.record).map(|record| earlier(&self.plan, &record));
        let kept = Asset {
            next_due: known.next_due,
            checked: known.checked,
            overall: known.overall,
            record: known.record,
            ..Asset::of(&answers.record().about)
        };
        addresses.keep_asset(kept).map_err(|error| error.to_string())?;
        self.open = Some(Open { answers, draft, before });
        self.playing = None;
        Ok(Value::Null)
    }

    /// The line of the plan with this number, from 1.
    fn kit_line(&self, number: &str) -> Result<&str, String> {
        let place = number.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        let line = place.and_then(|place| self.plan.kit.get(place));
        line.map(String::as_str).ok_or(format!("the plan has no piece of kit '{number}'"))
    }

    /// Adds a photo: its file is on the disk before the record names it.
    fn photo(&mut self, item: &str, bytes: &[u8], addresses: &mut Addresses) -> Result<Value, String> {
        let record = self.open.as_ref().ok_or(NOT_OPEN)?.answers.record();
        if let Some(number) = item.strip_prefix("kit.") {
            let line = self.kit_line(number)?.to_owned();
            let (name, _) = self.store.photo("kit", bytes)?;
            let kept = addresses.keep_piece(&line, |piece| piece.picture = name);
            return kept.map(|()| Value::Null).map_err(|error| error.to_string());
        }
        if !item.is_empty() && self.find(item).is_none() {
            return Err(format!("the plan has no item '{item}'"));
        }
        if record.photos.len() >= MOST_PHOTOS {
            return Err(format!("a record has at most {MOST_PHOTOS} photos"));
        }
        let (name, digest) = self.store.photo(record.about("asset"), bytes)?;
        let photo = Photo { item: item.to_owned(), name, digest, at: utc(SystemTime::now()) };
        let answers = &mut self.open.as_mut().ok_or(NOT_OPEN)?.answers;
        answers.photo(photo).map(|()| Value::Null).map_err(|error| not_kept(&error))
    }

    fn enter(&mut self, id: &str, entry: ItemEntry, taken: u64) -> Result<Value, String> {
        self.plausible(id, &entry, taken)?;
        let answers = &mut self.open.as_mut().ok_or(NOT_OPEN)?.answers;
        let found = answers.enter(id, entry).map_err(|error| not_kept(&error))?;
        Ok(json!({"verdict": found.verdict.id(), "why": found.why}))
    }

    /// Refuses what can't have been read: of a step that was not played, or longer after its start than it has played.
    fn plausible(&self, id: &str, entry: &ItemEntry, taken: u64) -> Result<(), String> {
        let Some((index, (step, item))) = self.find(id) else { return Err(format!("the plan has no item '{id}'")) };
        let nothing = [&entry.value, &entry.heard, &entry.priority].iter().all(|text| text.trim().is_empty());
        if nothing || !entry.skip.trim().is_empty() || item.is_manual() {
            return Ok(());
        }
        let record = self.open.as_ref().ok_or(NOT_OPEN)?.answers.record();
        let over = record.played.iter().flat_map(|played| &played.steps).filter(|played| played.id == *step);
        let now = self.playing.filter(|(playing, _)| *playing == index).map(|(_, frame)| taken.saturating_sub(frame));
        let longest = over.map(|played| played.frames).chain(now).max();
        let Some(longest) = longest else {
            return Err(format!(
                "step {step} has not been played for this record: play it first, or skip the item with a reason"
            ));
        };
        let played_s = longest as f64 / f64::from(self.rate.as_hz());
        let timed = matches!(item, PlanItem::Alarm(_) | PlanItem::Clear(_))
            .then(|| written::number(&entry.value, "s"))
            .flatten();
        match timed {
            Some(timed) if timed > played_s + SLACK_S => Err(format!(
                "{} s after the start can't be: the step has played for {} s. Time it again",
                plain(timed),
                plain(played_s)
            )),
            _ => Ok(()),
        }
    }

    fn find(&self, id: &str) -> Option<(usize, (&str, PlanItem<'_>))> {
        let (step, item) = self.plan.items().find(|(_, item)| item.id() == id)?;
        let index = self.plan.steps.iter().position(|of| of.id == step.id)?;
        Some((index, (step.id.as_str(), item)))
    }

    /// Signs the record and gives it its name, with the log of what was played beside it.
    fn sign(&mut self, name: &str, next_due: &str, addresses: &mut Addresses) -> Result<Value, String> {
        if name.trim().is_empty() {
            return Err("enter the name of who did the work".to_owned());
        }
        if self.playing.is_some() {
            return Err("a step of the plan still plays: stop the outputs, then sign".to_owned());
        }
        let open = self.open.as_mut().ok_or(NOT_OPEN)?;
        open.answers.sign(name.trim().to_owned()).map_err(|error| not_kept(&error))?;
        let played = open.answers.record().played.as_ref().is_some_and(|played| !played.steps.is_empty());
        let log = if played { self.log.copy() } else { None };
        let (path, record) = self.store.publish(open.answers.record().clone(), log)?;
        // The record is whole: a draft that can't be taken away is only in the way.
        let _ = std::fs::remove_file(&open.draft);
        let report = Report::new(&record, None, &[]).map_err(|error| error.to_string())?;
        let file = path.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
        let asset = Asset {
            next_due: next_due.trim().to_owned(),
            checked: record.about("date").to_owned(),
            overall: report.overall_id().to_owned(),
            record: file.clone(),
            ..Asset::of(&record.about)
        };
        let signed = json!({
            "file": path.display().to_string(), "asset": asset.asset, "overall": report.overall_id(),
            "counts": report.judgement.counts(), "text": report.text(),
        });
        self.signed = Some((signed, path));
        self.open = None;
        addresses
            .keep_asset(asset)
            .map_err(|error| format!("the record was written; the address book was not: {error}"))?;
        Ok(json!(file))
    }

    /// The state that the view shows.
    pub fn state(&self) -> Value {
        let Some(Open { answers, before, .. }) = &self.open else {
            return json!({"t": "record", "open": false, "unfinished": self.store.unfinished(&self.plan), "signed": self.signed.as_ref().map(|(signed, _)| signed)});
        };
        let record = answers.record();
        let judgement = Judgement::new(&self.plan, record);
        let items: Map<String, Value> = judgement
            .items
            .iter()
            .map(|(_, item, judged)| {
                let mut value = serde_json::to_value(judged.entry).unwrap_or_default();
                let changed = record.earlier.iter().filter(|earlier| earlier.item == item.id()).count();
                if let Some(entry) = value.as_object_mut() {
                    entry.insert("verdict".to_owned(), judged.verdict.id().into());
                    entry.insert("why".to_owned(), judged.why.clone().into());
                    entry.insert("changed".to_owned(), changed.into());
                }
                (item.id().to_owned(), value)
            })
            .collect();
        json!({
            "t": "record", "open": true, "about": record.about, "instruments": record.instruments, "kit": record.kit,
            "prepared": record.prepared, "items": items, "counts": judgement.counts(), "overall": judgement.overall.id(),
            "missing": judgement.missing, "photos": record.photos, "undo": answers.undone_next(),
            "playing": self.playing.map(|(step, _)| step),
            "before": before.as_ref().map(|(day, items)| json!({"day": day, "items": items})),
            "played": record.played.iter().flat_map(|played| &played.steps).map(|step| &step.id).collect::<Vec<_>>(),
        })
    }
}

/// Why no record is begun without its equipment.
pub const NO_ASSET: &str = "enter the asset number";

const NOT_OPEN: &str = "no record is open: begin with the asset number";

fn not_kept(error: &std::io::Error) -> String {
    format!("nothing was entered: {error}")
}

/// The readings of an earlier record by the items of the plan: of the step with the same name, of the same quantity or number.
fn earlier(plan: &Plan, record: &Record) -> (String, Map<String, Value>) {
    let of = |plan: &Plan, id: &str| {
        let (step, _) = plan.items().find(|(_, item)| item.id() == id)?;
        Some((step.name.clone(), id.split_once('.')?.1.to_owned()))
    };
    let old = record.plan.as_ref();
    let entries: BTreeMap<_, _> =
        record.items.iter().filter_map(|(id, entry)| Some((of(old?, id)?, entry.value.trim()))).collect();
    let found = plan.items().filter_map(|(_, item)| {
        let value = entries.get(&of(plan, item.id())?).filter(|value| !value.is_empty())?;
        Some((item.id().to_owned(), Value::from(*value)))
    });
    (pulsewright_record::record::date(record).to_owned(), found.collect())
}
