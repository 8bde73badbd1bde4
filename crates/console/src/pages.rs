//! The pages that are open: news and frames for all of them, and the latest news for one that comes later.

use axum::body::Bytes;
use axum::extract::ws::Utf8Bytes;
use pulsewright_bench::{SessionView, offer};
use serde_json::{Map, Value};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::broadcast;

/// Messages that may wait for a page, some seconds of frames; a slower page skips the rest.
const WAITING: usize = 512;

/// News of which a page that comes later needs the latest, in this order.
const KEPT: [&str; 4] = ["lists", "record", "state", "expected"];

/// A message to all pages.
#[derive(Clone, Debug)]
pub enum PageMessage {
    /// JSON.
    Text(Utf8Bytes),
    /// Frames.
    Frames(Bytes),
}

/// The pages.
#[derive(Clone)]
pub struct Pages {
    down: broadcast::Sender<PageMessage>,
    latest: Arc<Mutex<[Option<Value>; KEPT.len()]>>,
}

impl Pages {
    /// None so far.
    pub fn new() -> Pages {
        Pages { down: broadcast::channel(WAITING).0, latest: Arc::default() }
    }

    /// The messages from now on.
    pub fn listen(&self) -> broadcast::Receiver<PageMessage> {
        self.down.subscribe()
    }

    /// The news that a page that comes later has to get first.
    pub fn so_far(&self) -> Vec<Utf8Bytes> {
        self.latest.lock().unwrap_or_else(PoisonError::into_inner).iter().flatten().map(text).collect()
    }
}

impl SessionView for Pages {
    fn news(&self, news: &Value) {
        let mut latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
        let place = news.get("t").and_then(|of| KEPT.iter().position(|kept| of == kept));
        let sent = match place.and_then(|place| latest.get_mut(place)) {
            None => text(news),
            Some(kept) => {
                let before = kept.replace(news.clone()).filter(|_| news.get("t").is_some_and(|of| of == "record"));
                before.map_or_else(|| text(news), |before| text(&changed(&before, news)))
            }
        };
        // It fails only where no page is open.
        let _ = self.down.send(PageMessage::Text(sent));
    }

    /// The number of the first frame, how many, then the samples frame by frame; little-endian.
    fn frames(&self, first: u64, samples: &[f32]) {
        let shown = samples.len() / offer::channels().count();
        let mut bytes = Vec::with_capacity(12 + 4 * samples.len());
        bytes.extend((first as f64).to_le_bytes());
        bytes.extend((shown as u32).to_le_bytes());
        bytes.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
        let _ = self.down.send(PageMessage::Frames(Bytes::from(bytes)));
    }
}

fn text(news: &Value) -> Utf8Bytes {
    Utf8Bytes::from(news.to_string())
}

/// The part of a state that a page lacks that has the one before: members that differ; of items and assets those that differ. The whole
/// state when another record is open.
fn changed(before: &Value, after: &Value) -> Value {
    let (Some(old), Some(new)) = (before.as_object(), after.as_object()) else { return after.clone() };
    if old.get("open") != new.get("open") || old.get("about") != new.get("about") {
        return after.clone();
    }
    let mut changes = Map::from_iter([("t".to_owned(), Value::from("changed"))]);
    for (key, value) in new.iter().filter(|(key, value)| old.get(*key) != Some(value)) {
        let value = match (old.get(key), value) {
            (Some(Value::Object(old)), Value::Object(new)) if key == "items" => {
                let differ = new.iter().filter(|(id, entry)| old.get(*id) != Some(entry));
                Value::Object(differ.map(|(id, entry)| (id.clone(), entry.clone())).collect())
            }
            (Some(Value::Array(old)), Value::Array(new)) if key == "assets" => {
                new.iter().filter(|asset| !old.contains(asset)).cloned().collect()
            }
            _ => value.clone(),
        };
        changes.insert(key.clone(), value);
    }
    Value::Object(changes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_page_gets_what_it_lacks() {
        let state = |open: bool, two: &str, assets: Value, undo: Value| {
            json!({"t": "record", "open": open, "about": {"asset": "A"}, "items": {"1": {"value": "70"}, "2": {"value": two}},
                   "assets": assets, "undo": undo})
        };
        let (one, other) = (json!({"asset": "A", "model": "x"}), json!({"asset": "B"}));
        let before = state(true, "", json!([one]), Value::Null);
        let after = state(true, "81", json!([one, other]), json!("2"));
        let lacks = json!({"t": "changed", "items": {"2": {"value": "81"}}, "assets": [other], "undo": "2"});
        assert_eq!(changed(&before, &after), lacks);
        assert_eq!(changed(&after, &after), json!({"t": "changed"}));
        let closed = state(false, "81", json!([one]), Value::Null);
        assert_eq!(changed(&after, &closed), closed);
        assert_eq!(changed(&Value::Null, &after), after);
    }
}
