//! The clerk: everything that is written for people, one task after the other on a thread of its own, so that a slow disk delays
//! neither the player nor the pages.

use crate::addresses::Addresses;
use crate::checks::Checks;
use crate::lists::KeptLists;
use crate::order::{self, Request};
use crate::shared::Shared;
use axum::extract::ws::Utf8Bytes;
use serde_json::{Map, Value, json};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::{self, JoinHandle};

/// Something to write down.
pub enum Task {
    /// A request of a page, and where its answer goes.
    Asked(Request, Reply),
    /// A rhythm was played.
    Played(&'static str),
    /// A step of the plan began, at this frame.
    Began {
        /// Its place in the plan.
        step: usize,
        /// The frame.
        frame: u64,
    },
    /// A step of the plan ended.
    Ended {
        /// Its place in the plan.
        step: usize,
        /// How many frames it was played for.
        frames: u64,
        /// Their digest.
        digest: String,
    },
    /// Nothing more will come.
    Close,
}

/// Takes the answer to a request.
pub type Reply = Box<dyn FnOnce(Result<Value, String>) + Send>;

/// What the clerk keeps.
pub struct Clerk {
    /// Favourite and recent rhythms.
    pub lists: KeptLists,
    /// Equipment and instruments.
    pub addresses: Addresses,
    /// The checks of a plan.
    pub checks: Option<Checks>,
    /// Where the pages are told of changes.
    pub shared: Arc<Shared>,
    /// The checks and the address book as pages have them.
    pub shown: Value,
}

impl Clerk {
    /// Sets to work; the handle has ended after [`Task::Close`].
    pub fn work(mut self) -> (Sender<Task>, JoinHandle<()>) {
        let (tasks, received) = mpsc::channel();
        self.show_lists();
        self.show_checks();
        (tasks, thread::spawn(move || self.do_all(&received)))
    }

    fn do_all(&mut self, tasks: &Receiver<Task>) {
        while let Ok(task) = tasks.recv() {
            match task {
                Task::Asked(request, reply) => reply(self.answer(&request)),
                Task::Played(rhythm) => {
                    let kept = self.lists.played(rhythm);
                    self.warn_of(kept.map_err(|error| error.to_string()));
                    self.show_lists();
                }
                Task::Began { step, frame } => {
                    if let Some(checks) = &mut self.checks {
                        checks.began(step, frame);
                    }
                }
                Task::Ended { step, frames, digest } => {
                    let kept = self.checks.as_mut().map_or(Ok(()), |checks| checks.ended(step, frames, digest));
                    self.warn_of(kept);
                    self.show_checks();
                }
                Task::Close => return,
            }
        }
    }

    fn answer(&mut self, request: &Request) -> Result<Value, String> {
        if let Request::Favourite { rhythm, on } = request {
            let rhythm = order::rhythm(rhythm)?;
            self.lists.favour(rhythm.id, *on).map_err(|error| error.to_string())?;
            self.show_lists();
            return Ok(Value::Null);
        }
        let checks = self.checks.as_mut().ok_or("the console was started without a plan")?;
        let done = checks.carry_out(request, &mut self.addresses, self.shared.taken());
        // Also after a refusal: a page that shows something else is mistaken.
        self.show_checks();
        done
    }

    fn warn_of(&self, done: Result<(), String>) {
        if let Err(why) = done {
            self.shared.warn(&why);
        }
    }

    fn show_lists(&self) {
        let lists = &self.lists.lists;
        let text = json!({"t": "lists", "favourites": lists.favourites, "recent": lists.recent});
        self.shared.set_lists(Utf8Bytes::from(text.to_string()));
    }

    fn show_checks(&mut self) {
        if let Some(checks) = &self.checks {
            let mut state = checks.state();
            if let Some(state) = state.as_object_mut() {
                state.insert("assets".to_owned(), json!(self.addresses.entries.assets));
            }
            let changed = changed(&self.shown, &state);
            self.shared.set_record(Utf8Bytes::from(state.to_string()), Utf8Bytes::from(changed.to_string()));
            self.shown = state;
        }
    }
}

/// What of a state a page lacks that has the one before: members that differ; of items and assets those that differ. The whole
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
