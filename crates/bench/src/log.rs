//! The log on disk, and the readings of a correct monitor for what plays, worked out beside the player.

mod file;

use crate::shared::SessionState;
use file::LogFile;
use pulsewright_core::expect::Expected;
use pulsewright_core::time::Span;
use pulsewright_files::atomic::FileError;
use pulsewright_script::expect::{Expectations, Quantity, reading_of, why};
use pulsewright_script::{Document, DocumentStep};
use pulsewright_stream::live::as_played;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender, SyncSender};
use std::thread::{self, JoinHandle};

/// The readings are worked out after so much of the step before.
const BEFORE: Span = Span::secs(10);

/// The readings shown.
const SHOWN: [Quantity; 9] = [
    Quantity::HeartRate,
    Quantity::RespirationRate,
    Quantity::ArterialSystolic,
    Quantity::ArterialDiastolic,
    Quantity::ArterialMean,
    Quantity::VenousMean,
    Quantity::PulmonarySystolic,
    Quantity::PulmonaryDiastolic,
    Quantity::PulmonaryMean,
];

/// Something for the log.
pub enum LogChange {
    /// A step began; outputs rest in it, or not.
    Began(LogTail, bool),
    /// The run is over.
    Ended(LogTail),
    /// Takes the text of the log once everything before this is in it.
    Copy(SyncSender<Vec<u8>>),
    /// Nothing more will come.
    Close,
}

/// The end of the log: steps that take the place of all from a place on.
pub struct LogTail {
    /// The place.
    pub from: usize,
    /// The steps.
    pub steps: Vec<DocumentStep>,
}

/// The way to the log, which is written on a thread of its own.
#[derive(Clone)]
pub struct RunLog(Sender<LogChange>);

impl RunLog {
    /// The log of a run with this seed, at `path` if there is one; the handle has ended once it was closed, and has the error when
    /// the last text could not be written.
    ///
    /// # Errors
    /// When another process writes there.
    pub fn new(
        path: Option<PathBuf>,
        seed: u64,
        shared: Arc<SessionState>,
    ) -> Result<(RunLog, JoinHandle<Result<(), FileError>>), FileError> {
        let file = path.map(LogFile::new).transpose()?;
        let (changes, received) = mpsc::channel();
        let document = document(seed);
        let writer = thread::spawn(move || write_all(&received, &document, file, &shared));
        Ok((RunLog(changes), writer))
    }

    /// Hands in a change.
    pub fn change(&self, change: LogChange) {
        let _ = self.0.send(change);
    }

    /// The text of the log as it is now; `None` when nothing was played.
    pub fn copy(&self) -> Option<Vec<u8>> {
        let (reply, replied) = mpsc::sync_channel(1);
        self.change(LogChange::Copy(reply));
        replied.recv().ok().filter(|text| !text.is_empty())
    }
}

/// Title of what a run plays.
pub const TITLE: &str = "Session at the bench";

/// The document whose steps a run plays.
pub fn document(seed: u64) -> Document {
    Document::default().with_steps(TITLE.to_owned(), String::new(), Vec::new()).with_seed(seed)
}

fn write_all(
    changes: &Receiver<LogChange>,
    document: &Document,
    mut file: Option<LogFile>,
    shared: &SessionState,
) -> Result<(), FileError> {
    let (mut steps, mut text, mut outcome): (Vec<DocumentStep>, Vec<u8>, _) = (Vec::new(), Vec::new(), Ok(()));
    let mut closed = false;
    while !closed {
        let Ok(first) = changes.recv() else { break };
        let (mut began, mut ended, mut copies) = (None, false, Vec::new());
        // Those that have come meanwhile are written together.
        for change in [first].into_iter().chain(changes.try_iter()) {
            match change {
                LogChange::Began(tail, resting) => {
                    take(&mut steps, tail);
                    began = Some(resting);
                }
                LogChange::Ended(tail) => {
                    take(&mut steps, tail);
                    ended = true;
                }
                LogChange::Copy(reply) => copies.push(reply),
                LogChange::Close => closed = true,
            }
        }
        if let Some(resting) = began {
            let expected = if resting { None } else { expected(document, &steps) };
            shared.news(&json!({"t": "expected", "expected": expected}));
        }
        if began.is_some() || ended {
            let log = logged(document, &steps, ended);
            text = format!("{log:#}\n").into_bytes();
            outcome = match &mut file {
                Some(file) if ended => file.end(&text),
                Some(file) => file.write(&log, &text),
                None => Ok(()),
            };
            if let Err(error) = &outcome {
                shared.warn(&format!("the log could not be written: {error}"));
            }
        }
        copies.iter().for_each(|reply| _ = reply.send(text.clone()));
    }
    outcome
}

fn take(steps: &mut Vec<DocumentStep>, tail: LogTail) {
    steps.truncate(tail.from);
    steps.extend(tail.steps);
}

/// The log. While its last step goes on it holds, so that a log that lost its program is a script still.
fn logged(document: &Document, steps: &[DocumentStep], ended: bool) -> Value {
    let mut steps = steps.to_vec();
    if let Some(last) = steps.last_mut().filter(|_| !ended) {
        last.duration = None;
    }
    as_played(document, steps).to_json()
}

/// Readings and alarm of the last step when it holds, after the step before.
fn expected(document: &Document, played: &[DocumentStep]) -> Option<Value> {
    let last = played.last()?;
    let before = played.iter().rev().nth(1).map(|step| DocumentStep {
        duration: step.duration.map(|lasted| lasted.min(BEFORE)),
        ramps: Vec::new(),
        beats: Vec::new(),
        expect: Expectations::default(),
        ..step.clone()
    });
    let steps =
        before.into_iter().chain([DocumentStep { duration: None, beats: Vec::new(), ..last.clone() }]).collect();
    let document = document.clone().with_steps(String::new(), String::new(), steps);
    let foreseen = document.foresee(2);
    let of_step = foreseen.last()?;
    let readings: Vec<Value> = SHOWN.iter().map(|quantity| reading(*quantity, of_step)).collect();
    let alarm = of_step.alarm().map(|sounded| {
        let alarm = &sounded.first;
        let onset_s = alarm.onset.since(of_step.start).as_secs_f64();
        json!({
            "name": alarm.kind.name(), "priority": alarm.kind.priority().id(),
            "latest_s": ((onset_s + f64::from(alarm.usual_within_s())) * 10.0).round() / 10.0,
        })
    });
    Some(json!({"readings": readings, "alarm": alarm}))
}

fn reading(quantity: Quantity, expected: &Expected) -> Value {
    let tenth = |value: f32| (f64::from(value) * 10.0).round() / 10.0;
    let found = reading_of(quantity, expected);
    let band = found.and_then(|reading| reading.band);
    json!({
        "id": quantity.id(), "name": quantity.name(), "unit": quantity.unit(),
        "low": band.map(|band| tenth(band.low)), "high": band.map(|band| tenth(band.high)),
        "mean": band.map(|band| tenth(band.mean)),
        "why": found.map_or(String::new(), why),
    })
}
