//! What every request works with.

use crate::clerk::Task;
use crate::consumer::Consumer;
use crate::guard::Guard;
use crate::run::{Asked, Over, Reports, run};
use crate::shared::Shared;
use pulsewright_script::Step;
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

/// Gets each link that works next.
pub type Links = Box<dyn FnMut(&str) + Send>;

/// What requests work with.
pub struct App {
    /// What is shared with the player.
    pub shared: Arc<Shared>,
    /// Who may come in.
    pub guard: Guard,
    /// What does not change while the console runs, JSON.
    pub data: String,
    clerk: Sender<Task>,
    run: Mutex<RunState>,
    links: Mutex<Links>,
}

/// A run that waits for the confirmations.
pub struct Waiting {
    /// What takes the frames.
    pub consumer: Consumer,
    /// Seed of everything left to chance.
    pub seed: u64,
    /// Steps of the plan.
    pub planned: Vec<Step>,
    /// Where the run reports.
    pub reports: Reports,
}

/// The run, before and after it was confirmed.
enum RunState {
    Waiting(Box<Waiting>),
    Running(Sender<Asked>, JoinHandle<Over>),
    Over,
}

impl App {
    /// Before anything was confirmed; `links` gets each link that works next.
    pub fn new(shared: Arc<Shared>, guard: Guard, data: String, waiting: Waiting, links: Links) -> App {
        let clerk = waiting.reports.tasks.clone();
        let run = Mutex::new(RunState::Waiting(Box::new(waiting)));
        App { shared, guard, data, clerk, run, links: Mutex::new(links) }
    }

    /// Opens the outputs, once; `confirmed` are the lines that a person confirmed.
    pub fn confirm(&self, confirmed: Vec<String>) {
        let mut state = self.run.lock().unwrap_or_else(PoisonError::into_inner);
        *state = match std::mem::replace(&mut *state, RunState::Over) {
            RunState::Waiting(waiting) => {
                let Waiting { consumer, seed, planned, reports } = *waiting;
                let (asked, orders) = mpsc::channel();
                let shared = self.shared.clone();
                RunState::Running(
                    asked,
                    thread::spawn(move || run(consumer, seed, planned, confirmed, &orders, &shared, reports)),
                )
            }
            other => other,
        };
    }

    /// Hands an order to the player.
    ///
    /// # Errors
    /// Nothing has been confirmed, or the output has ended.
    pub fn ask(&self, asked: Asked) -> Result<(), String> {
        match &*self.run.lock().unwrap_or_else(PoisonError::into_inner) {
            RunState::Waiting(_) => Err("nothing plays before the two confirmations".to_owned()),
            RunState::Running(orders, _) => orders.send(asked).map_err(|_| "the output has ended".to_owned()),
            RunState::Over => Err("the output has ended".to_owned()),
        }
    }

    /// Ends the run; it has ended when the handle has. `None` when nothing was played.
    pub fn end(&self) -> Option<JoinHandle<Over>> {
        self.shared.end();
        match std::mem::replace(&mut *self.run.lock().unwrap_or_else(PoisonError::into_inner), RunState::Over) {
            RunState::Running(_, run) => Some(run),
            _ => None,
        }
    }

    /// Says which link works next.
    pub fn say_link(&self) {
        if let Ok(mut links) = self.links.lock() {
            links(&self.guard.link());
        }
    }

    /// Hands a task to the clerk.
    pub fn note(&self, task: Task) {
        // It works until the server has ended.
        let _ = self.clerk.send(task);
    }
}
