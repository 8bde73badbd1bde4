//! The state that the threads of a session share with its view: how far the output is, and the news.

use pulsewright_core::time::FrameRate;
use pulsewright_stream::Pace;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Later than this the consumer does not take frames as they are due.
const BEHIND: Duration = Duration::from_millis(250);

/// Longest time by which a clock runs ahead of the last frames that were taken.
const AHEAD: Duration = Duration::from_millis(200);

/// Shows a session: a page, a terminal. It is called from several threads, must return soon and never waits for a person.
pub trait SessionView: Send + Sync {
    /// News, an object whose `t` says of what: `state` (what plays), `expected` (readings of a correct monitor), `lists`
    /// (favourite and recent rhythms), `record` (the record that is open, and what the folder has), `clock` (how far the output
    /// is), `marks` (events of the truth at their frames), `warning` (a sentence that a person has to read).
    fn news(&self, news: &Value);

    /// Frames that the consumer took, samples frame by frame in the order of [`crate::offer::channels`]; the number of the first,
    /// counted in frames that views get.
    fn frames(&self, first: u64, samples: &[f32]);
}

/// State of the output.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OutputState {
    /// It was not yet confirmed that it may be opened.
    Closed,
    /// It is being opened: a pipe waits for its other end.
    Opening,
    /// It takes frames.
    Taking,
    /// It takes no more frames, and why.
    Ended(String),
}

/// The state that threads and view share.
pub struct SessionState {
    /// Frames a second.
    pub rate: FrameRate,
    /// When the consumer takes frames.
    pace: Pace,
    view: Box<dyn SessionView>,
    taken: AtomicU64,
    status: Mutex<Status>,
}

#[derive(Debug)]
struct Status {
    output: OutputState,
    /// When the first frame was taken.
    began: Option<Instant>,
    /// The first frame of the block that was taken last, and when that was.
    last: Option<(u64, Instant)>,
    /// When the end was asked for.
    ending: Option<Instant>,
}

impl SessionState {
    /// Before anything plays.
    pub fn new(rate: FrameRate, pace: Pace, view: Box<dyn SessionView>) -> SessionState {
        let status = Status { output: OutputState::Closed, began: None, last: None, ending: None };
        SessionState { rate, pace, view, taken: AtomicU64::new(0), status: Mutex::new(status) }
    }

    fn status(&self) -> MutexGuard<'_, Status> {
        // A thread that panicked left plain values behind.
        self.status.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// News for the view.
    pub fn news(&self, news: &Value) {
        self.view.news(news);
    }

    /// Frames for the view.
    pub fn frames(&self, first: u64, samples: &[f32]) {
        self.view.frames(first, samples);
    }

    /// A sentence that a person has to read.
    pub fn warn(&self, words: &str) {
        self.news(&json!({"t": "warning", "words": words}));
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
        let first = self.taken.fetch_add(frames, Ordering::Relaxed);
        self.status().last = Some((first, Instant::now()));
    }

    /// Seconds since a frame was taken; `None` before that. A block is taken when its first frame is due.
    pub fn seconds_after(&self, frame: u64) -> Option<f64> {
        let (first, at) = self.status().last?;
        let from = (first as f64 - frame as f64) / f64::from(self.rate.as_hz());
        Some(from + at.elapsed().min(AHEAD).as_secs_f64()).filter(|seconds| *seconds >= 0.0)
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

    /// Says how far the output is.
    pub fn send_clock(&self) {
        let clock = self.clock();
        self.news(&clock);
    }

    /// Whether the consumer takes frames as they are due.
    pub fn is_on_time(&self) -> bool {
        let status = self.status();
        status.output == OutputState::Taking && self.late(&status) <= BEHIND
    }

    /// How late the next frame is. A consumer that keeps its own pace may have another clock than this computer: it is late only
    /// when the block that it took last is over.
    fn late(&self, status: &Status) -> Duration {
        let taken = self.taken();
        let (from, frames) = match status.last {
            Some((first, at)) if self.pace == Pace::Writer => (Some(at), taken.saturating_sub(first)),
            _ => (status.began, taken),
        };
        let lasts = Duration::from_secs_f64(frames as f64 / f64::from(self.rate.as_hz()));
        from.map_or(Duration::ZERO, |from| from.elapsed().saturating_sub(lasts))
    }

    /// How far the output is: it plays only while frames are taken as they are due.
    pub fn clock(&self) -> Value {
        let status = self.status();
        let (taken, late) = (self.taken(), self.late(&status));
        let (word, why) = match &status.output {
            OutputState::Closed => ("closed", ""),
            OutputState::Opening => ("opening", ""),
            OutputState::Taking if late > BEHIND => ("behind", ""),
            OutputState::Taking => ("taking", ""),
            OutputState::Ended(why) => ("ended", why.as_str()),
        };
        let late_ms = if matches!(status.output, OutputState::Ended(_)) { 0.0 } else { late.as_secs_f64() * 1e3 };
        json!({"t": "clock", "taken": taken, "late_ms": late_ms.round(), "output": word, "why": why})
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::thread;

    /// Shows nothing.
    struct Unseen;

    impl SessionView for Unseen {
        fn news(&self, _: &Value) {}

        fn frames(&self, _: u64, _: &[f32]) {}
    }

    /// An output that began 10 s ago and has just taken the first 5 s of frames.
    fn half_taken(pace: Pace) -> SessionState {
        let shared = SessionState::new(FrameRate::lit(500), pace, Box::new(Unseen));
        shared.set_output(OutputState::Taking);
        shared.begin(Instant::now().checked_sub(Duration::from_secs(10)).expect("a clock"));
        shared.count(2490);
        shared.count(10);
        shared
    }

    #[test]
    fn a_consumer_with_another_clock_is_late_only_when_it_takes_nothing() {
        let shared = half_taken(Pace::Clock);
        assert_eq!((shared.clock()["output"].as_str(), shared.is_on_time()), (Some("behind"), false));
        let shared = half_taken(Pace::Writer);
        assert_eq!((shared.clock()["output"].as_str(), shared.is_on_time()), (Some("taking"), true));
        thread::sleep(BEHIND + Duration::from_millis(50));
        assert_eq!((shared.clock()["output"].as_str(), shared.is_on_time()), (Some("behind"), false));
        shared.count(10);
        assert!(shared.is_on_time());
    }
}
