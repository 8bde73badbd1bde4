//! The desk: the readings of a correct monitor for what plays, and the log on disk, worked out beside the player.

use crate::shared::Shared;
use pulsewright_core::expect::Expected;
use pulsewright_core::time::Span;
use pulsewright_files::atomic::{Claim, FileError};
use pulsewright_script::expect::{Expectations, Quantity, reading_of, why};
use pulsewright_script::{Document, Part, Step};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::{self, JoinHandle};

/// What the readings are worked out after: so much of the step before.
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

/// A change of what plays.
pub enum Change {
    /// A step began.
    Playing {
        /// The steps so far.
        log: Document,
        /// Whether outputs rest instead.
        resting: bool,
    },
    /// The run is over; its whole log.
    Ended(Document),
}

/// The way to the desk, which works on a thread of its own.
pub struct Desk {
    changes: Sender<Change>,
    worker: JoinHandle<Option<FileError>>,
}

impl Desk {
    /// A desk that keeps the log at `path`.
    ///
    /// # Errors
    /// When another process writes there.
    pub fn new(path: PathBuf, shared: Arc<Shared>) -> Result<Desk, FileError> {
        let claim = Claim::new(&path)?;
        let (changes, received) = mpsc::channel();
        let worker = thread::spawn(move || work(&received, &claim, &path, &shared));
        Ok(Desk { changes, worker })
    }

    /// Hands in a change.
    pub fn change(&self, change: Change) {
        let _ = self.changes.send(change);
    }

    /// Waits until everything is written.
    ///
    /// # Errors
    /// When the last log could not be written.
    pub fn close(self) -> Result<(), FileError> {
        drop(self.changes);
        match self.worker.join() {
            Ok(Some(error)) => Err(error),
            _ => Ok(()),
        }
    }
}

fn work(changes: &Receiver<Change>, claim: &Claim, path: &Path, shared: &Shared) -> Option<FileError> {
    let mut failed = None;
    while let Ok(first) = changes.recv() {
        // Only the latest counts: the log has all steps.
        let change = changes.try_iter().last().unwrap_or(first);
        let log = match change {
            Change::Playing { log, resting } => {
                let expected = if resting { None } else { expected(&log) };
                shared.set_expected(json!({"t": "expected", "expected": expected}));
                held(&log)
            }
            Change::Ended(log) => log,
        };
        failed = write(&log, claim, path).err();
        if let Some(error) = &failed {
            shared.warn(&format!("the log could not be written: {error}"));
        }
    }
    failed
}

/// The log while its last step goes on: it holds, so that a log that lost its program is a script still.
fn held(log: &Document) -> Document {
    let mut steps: Vec<Step> = steps(log).cloned().collect();
    if let Some(last) = steps.last_mut() {
        last.duration = None;
    }
    let notes = log.notes().unwrap_or_default().to_owned();
    log.clone().with_steps(log.title().unwrap_or_default().to_owned(), notes, steps)
}

fn steps(document: &Document) -> impl Iterator<Item = &Step> {
    document.parts().iter().filter_map(|part| match part {
        Part::Step(step) => Some(step),
        Part::Repeat { .. } => None,
    })
}

fn write(log: &Document, claim: &Claim, path: &Path) -> Result<(), FileError> {
    let text = format!("{:#}\n", log.to_json());
    claim.write_whole(path, text.as_bytes())?;
    claim.sync_names()
}

/// Readings and alarm of the last step when it holds, after the step before.
fn expected(log: &Document) -> Option<Value> {
    let last = steps(log).last()?;
    let played: Vec<&Step> = steps(log).collect();
    let before = played.iter().rev().nth(1).map(|step| Step {
        duration: step.duration.map(|lasted| lasted.min(BEFORE)),
        ramps: Vec::new(),
        beats: Vec::new(),
        expect: Expectations::default(),
        ..(*step).clone()
    });
    let steps = before.into_iter().chain([Step { duration: None, beats: Vec::new(), ..last.clone() }]).collect();
    let document = log.clone().with_steps(String::new(), String::new(), steps);
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
