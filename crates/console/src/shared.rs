//! What threads and pages share: the state, how far the output is, and the messages to all pages.

use axum::body::Bytes;
use axum::extract::ws::Utf8Bytes;
use pulsewright_core::time::FrameRate;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::broadcast;

/// Messages that may wait for a page, some seconds of frames; a slower page skips the rest.
const WAITING: usize = 512;

/// Later than this the consumer does not take frames as they are due.
const BEHIND: Duration = Duration::from_millis(250);

/// State of the output.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OutputState {
    /// Nobody has confirmed yet that it may be opened.
    Closed,
    /// It is being opened: a pipe waits for its other end.
    Opening,
    /// It takes frames.
    Taking,
    /// It takes no more frames, and why.
    Ended(String),
}

/// A message to all pages.
#[derive(Clone, Debug)]
pub enum Down {
    /// JSON.
    Text(Utf8Bytes),
    /// Frames.
    Frames(Bytes),
}

/// What threads and pages share.
pub struct Shared {
    /// Frames a second.
    pub rate: FrameRate,
    down: broadcast::Sender<Down>,
    taken: AtomicU64,
    status: Mutex<Status>,
}

#[derive(Debug)]
struct Status {
    output: OutputState,
    state: Option<Utf8Bytes>,
    expected: Option<Utf8Bytes>,
    lists: Option<Utf8Bytes>,
    record: Option<Utf8Bytes>,
    /// When the first frame was taken.
    began: Option<Instant>,
    /// When the end was asked for.
    ending: Option<Instant>,
}

impl Shared {
    /// Before anything plays.
    pub fn new(rate: FrameRate) -> Shared {
        let status = Status {
            output: OutputState::Closed,
            state: None,
            expected: None,
            lists: None,
            record: None,
            began: None,
            ending: None,
        };
        Shared { rate, down: broadcast::channel(WAITING).0, taken: AtomicU64::new(0), status: Mutex::new(status) }
    }

    fn status(&self) -> MutexGuard<'_, Status> {
        // A thread that panicked left plain values behind.
        self.status.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The messages from now on.
    pub fn listen(&self) -> broadcast::Receiver<Down> {
        self.down.subscribe()
    }

    /// What a page that comes later has to know first.
    pub fn so_far(&self) -> Vec<Utf8Bytes> {
        let status = self.status();
        let kept = [&status.lists, &status.record, &status.state, &status.expected];
        kept.into_iter().flatten().cloned().chain([self.clock(&status)]).collect()
    }

    /// To all pages.
    pub fn send_text(&self, text: Utf8Bytes) {
        // Without a page nobody listens.
        let _ = self.down.send(Down::Text(text));
    }

    /// To all pages.
    pub fn send_frames(&self, bytes: Bytes) {
        let _ = self.down.send(Down::Frames(bytes));
    }

    /// What plays now.
    pub fn set_state(&self, state: Value) {
        let text = Utf8Bytes::from(state.to_string());
        self.status().state = Some(text.clone());
        self.send_text(text);
    }

    /// The readings of a correct monitor.
    pub fn set_expected(&self, expected: Value) {
        let text = Utf8Bytes::from(expected.to_string());
        self.status().expected = Some(text.clone());
        self.send_text(text);
    }

    /// Favourite and recent rhythms.
    pub fn set_lists(&self, text: Utf8Bytes) {
        self.status().lists = Some(text.clone());
        self.send_text(text);
    }

    /// The record that is open, and what the folder has: `whole` for a page that comes later, `changed` for those that are here.
    pub fn set_record(&self, whole: Utf8Bytes, changed: Utf8Bytes) {
        self.status().record = Some(whole);
        self.send_text(changed);
    }

    /// A sentence that a person has to read.
    pub fn warn(&self, words: &str) {
        self.send_text(Utf8Bytes::from(json!({"t": "warning", "words": words}).to_string()));
    }

    /// State of the output.
    pub fn set_output(&self, output: OutputState) {
        self.status().output = output;
        self.send_clock();
    }

    /// The first block is about to be written.
    pub fn begin(&self, now: Instant) {
        if self.taken.load(Ordering::Relaxed) == 0 {
            self.status().began.get_or_insert(now);
        }
    }

    /// How many frames were taken so far.
    pub fn taken(&self) -> u64 {
        self.taken.load(Ordering::Relaxed)
    }

    /// So many more frames were taken.
    pub fn count(&self, frames: u64) {
        self.taken.fetch_add(frames, Ordering::Relaxed);
    }

    /// Asks the run to end.
    pub fn end(&self) {
        self.status().ending.get_or_insert_with(Instant::now);
    }

    /// Whether the end was asked for.
    pub fn ending(&self) -> bool {
        self.status().ending.is_some()
    }

    /// Whether the end was asked for so long ago.
    pub fn asked_long_ago(&self, long: Duration) -> bool {
        self.status().ending.is_some_and(|asked| asked.elapsed() > long)
    }

    /// Says to all pages how far the output is.
    pub fn send_clock(&self) {
        let clock = self.clock(&self.status());
        self.send_text(clock);
    }

    /// How far the output is: it plays only while frames are taken as they are due.
    fn clock(&self, status: &Status) -> Utf8Bytes {
        let taken = self.taken.load(Ordering::Relaxed);
        let due = Duration::from_secs_f64(taken as f64 / f64::from(self.rate.as_hz()));
        let late = status.began.map_or(Duration::ZERO, |began| began.elapsed().saturating_sub(due));
        let (word, why) = match &status.output {
            OutputState::Closed => ("closed", ""),
            OutputState::Opening => ("opening", ""),
            OutputState::Taking if late > BEHIND => ("behind", ""),
            OutputState::Taking => ("taking", ""),
            OutputState::Ended(why) => ("ended", why.as_str()),
        };
        let late_ms = if matches!(status.output, OutputState::Ended(_)) { 0.0 } else { late.as_secs_f64() * 1e3 };
        let clock = json!({"t": "clock", "taken": taken, "late_ms": late_ms.round(), "output": word, "why": why});
        Utf8Bytes::from(clock.to_string())
    }
}
