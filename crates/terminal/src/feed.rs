//! The latest news of a session, and its last seconds of frames.

use crate::strip::STRIP_S;
use pulsewright_bench::{SessionView, offer};
use pulsewright_core::{Channel, Lead, PressureSite};
use serde_json::Value;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Frames that are kept for the strip: its seconds of the most frames that views get.
const KEPT: usize = STRIP_S as usize * 500;

/// Samples of a frame that the strips show.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StripSample {
    /// Lead II, mV.
    pub ecg_mv: f32,
    /// Arterial pressure, mmHg.
    pub arterial_mmhg: f32,
}

/// The latest news.
#[derive(Debug, Default)]
pub struct LatestNews {
    /// News of what plays.
    pub state: Value,
    /// Readings of a correct monitor.
    pub expected: Value,
    /// The record that is open.
    pub record: Value,
    /// How far the output is.
    pub clock: Value,
    /// A sentence that a person has to read.
    pub warning: Option<String>,
    /// The last frames.
    pub frames: VecDeque<StripSample>,
}

/// The way of news to the screen.
#[derive(Clone, Default)]
pub struct NewsFeed(Arc<Mutex<LatestNews>>);

impl NewsFeed {
    /// The latest news.
    pub fn known(&self) -> MutexGuard<'_, LatestNews> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl SessionView for NewsFeed {
    fn news(&self, news: &Value) {
        let mut known = self.known();
        let known = &mut *known;
        let place = match news.get("t").and_then(Value::as_str) {
            Some("state") => &mut known.state,
            Some("expected") => &mut known.expected,
            Some("record") => &mut known.record,
            Some("clock") => &mut known.clock,
            Some("warning") => {
                known.warning = news.get("words").and_then(Value::as_str).map(str::to_owned);
                return;
            }
            _ => return,
        };
        *place = news.clone();
    }

    fn frames(&self, _: u64, samples: &[f32]) {
        let channels = offer::channels().count();
        let place = |of: Channel| offer::channels().position(|channel| channel == of);
        let (ecg, arterial) = (place(Channel::Lead(Lead::II)), place(Channel::Pressure(PressureSite::Arterial)));
        let sample =
            |frame: &[f32], place: Option<usize>| place.and_then(|at| frame.get(at)).copied().unwrap_or_default();
        let mut known = self.known();
        for frame in samples.chunks_exact(channels) {
            known.frames.push_back(StripSample { ecg_mv: sample(frame, ecg), arterial_mmhg: sample(frame, arterial) });
        }
        let surplus = known.frames.len().saturating_sub(KEPT);
        known.frames.drain(..surplus);
    }
}
