//! The session as the questions see it: requests that are waited for, and the news that came.

use super::error::LinesError;
use crate::bench::{ANSWER, Bench};
use crate::order::Request;
use crate::shared::SessionView;
use serde_json::Value;
use std::sync::mpsc;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

/// How often a wait looks whether it is over.
const LOOK: Duration = Duration::from_millis(5);

/// The news that came.
#[derive(Debug, Default)]
struct News {
    record: Value,
    warnings: Vec<String>,
}

/// Takes the news.
#[derive(Clone, Default)]
pub struct NewsView(Arc<Mutex<News>>);

impl NewsView {
    fn news(&self) -> MutexGuard<'_, News> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl SessionView for NewsView {
    fn news(&self, news: &Value) {
        match news.get("t").and_then(Value::as_str) {
            Some("record") => self.news().record = news.clone(),
            Some("warning") => {
                self.news().warnings.extend(news.get("words").and_then(Value::as_str).map(str::to_owned));
            }
            _ => {}
        }
    }

    fn frames(&self, _: u64, _: &[f32]) {}
}

/// The session.
pub struct LinesSession<'b> {
    pub bench: &'b Bench,
    pub heard: NewsView,
    /// Whether the session was asked to end.
    pub asked: &'b dyn Fn() -> bool,
}

impl LinesSession<'_> {
    /// A member of the record as it is now; null when it has none.
    pub fn record(&self, member: &str) -> Value {
        self.heard.news().record.get(member).cloned().unwrap_or_default()
    }

    /// Sentences that a person has to read, each once.
    pub fn warnings(&self) -> Vec<String> {
        std::mem::take(&mut self.heard.news().warnings)
    }

    /// Asks for something, and waits until it is done or refused. News that it brings has come by then.
    pub fn request(&self, request: Request) -> Result<Value, String> {
        let (reply, replied) = mpsc::channel();
        let ordered = self.bench.request(request, Box::new(move |done| _ = reply.send(done)));
        let silent = |_| Err("the output takes no frames, so nothing has changed".to_owned());
        // The disk may be slow; the output may never take frames again.
        if ordered {
            replied.recv_timeout(2 * ANSWER).unwrap_or_else(|error| silent(error.to_string()))
        } else {
            replied.recv().unwrap_or_else(|error| silent(error.to_string()))
        }
    }

    /// Asks for something that only the disk can refuse.
    pub fn keep(&self, request: Request) -> Result<(), LinesError> {
        self.request(request).map(drop).map_err(LinesError::Record)
    }

    /// Waits until something holds.
    ///
    /// # Errors
    /// When the output has ended, also where it holds, or the session was asked to end.
    pub fn wait(&self, holds: impl Fn(&LinesSession<'_>) -> bool) -> Result<(), LinesError> {
        loop {
            let clock = self.bench.clock();
            if word(&clock, "output") == "ended" {
                return Err(LinesError::Output(word(&clock, "why").to_owned()));
            }
            if (self.asked)() {
                return Err(LinesError::Left);
            }
            if holds(self) {
                return Ok(());
            }
            thread::sleep(LOOK);
        }
    }

    /// Goes on while the output has not ended.
    ///
    /// # Errors
    /// As [`LinesSession::wait`].
    pub fn still_plays(&self) -> Result<(), LinesError> {
        self.wait(|_| true)
    }

    /// How many seconds late the output takes its frames, where that spoils times.
    pub fn late_s(&self) -> Option<f64> {
        let clock = self.bench.clock();
        let late_ms = clock.get("late_ms").and_then(Value::as_f64).unwrap_or_default();
        (word(&clock, "output") == "behind").then_some(late_ms / 1e3)
    }

    /// Whether the output takes frames.
    pub fn plays(&self) -> bool {
        matches!(word(&self.bench.clock(), "output"), "taking" | "behind")
    }
}

/// A member that is a text.
pub fn word<'v>(value: &'v Value, member: &str) -> &'v str {
    value.get(member).and_then(Value::as_str).unwrap_or_default()
}
