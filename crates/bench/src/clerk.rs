//! The clerk: everything that is written for people, one task after the other on a thread of its own, so that a slow disk delays
//! neither the player nor the view.

use crate::addresses::Addresses;
use crate::checks::Checks;
use crate::lists::StoredLists;
use crate::order::{self, Request};
use crate::shared::SessionState;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::{self, JoinHandle};

/// Something to write down.
pub enum Task {
    /// A request of a person, and where its answer goes.
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

/// Takes the answer to a request. It is dropped without one when the output has ended or takes no frames.
pub type Reply = Box<dyn FnOnce(Result<Value, String>) + Send>;

/// The documents that the clerk keeps.
pub struct Clerk {
    /// Favourite and recent rhythms.
    pub lists: StoredLists,
    /// Equipment and instruments.
    pub addresses: Addresses,
    /// The checks of a plan.
    pub checks: Option<Checks>,
    /// The state that the threads share with the view.
    pub shared: Arc<SessionState>,
}

impl Clerk {
    /// Sets to work; the handle has ended after [`Task::Close`], and has the record that was signed last.
    pub fn work(mut self) -> (Sender<Task>, JoinHandle<Option<PathBuf>>) {
        let (tasks, received) = mpsc::channel();
        self.show_lists();
        self.show_checks();
        let work = move || {
            self.do_all(&received);
            self.checks.and_then(Checks::into_signed)
        };
        (tasks, thread::spawn(work))
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
                    self.show_checks();
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
        let checks = self.checks.as_mut().ok_or("the session was started without a plan")?;
        let done = checks.carry_out(request, &mut self.addresses, self.shared.taken());
        // Also after a refusal: a view that shows something else is mistaken.
        self.show_checks();
        done
    }

    fn warn_of(&self, done: Result<(), String>) {
        if let Err(why) = done {
            self.shared.warn(&why);
        }
    }

    fn show_lists(&self) {
        let lists = self.lists.lists();
        let news = json!({"t": "lists", "favourites": lists.favourites, "recent": lists.recent});
        self.shared.news(&news);
    }

    fn show_checks(&self) {
        if let Some(checks) = &self.checks {
            let mut news = checks.state();
            if let Some(state) = news.as_object_mut() {
                state.insert("assets".to_owned(), json!(self.addresses.entries().assets));
                state.insert("pieces".to_owned(), json!(self.addresses.entries().kit));
            }
            self.shared.news(&news);
        }
    }
}
