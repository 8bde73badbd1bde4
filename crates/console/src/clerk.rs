//! The clerk: everything that is written for people, one task after the other on a thread of its own, so that a slow disk delays
//! neither the player nor the pages.

use crate::addresses::Addresses;
use crate::checks::Checks;
use crate::lists::KeptLists;
use crate::order::{self, Request};
use crate::shared::Shared;
use axum::extract::ws::Utf8Bytes;
use serde_json::{Value, json};
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

    fn show_checks(&self) {
        if let Some(checks) = &self.checks {
            let mut text = checks.state();
            if let Some(state) = text.as_object_mut() {
                state.insert("assets".to_owned(), json!(self.addresses.entries.assets));
            }
            self.shared.set_record(Utf8Bytes::from(text.to_string()));
        }
    }
}
