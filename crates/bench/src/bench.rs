//! A session: opened, confirmed, led by requests, ended.

use crate::addresses::Addresses;
use crate::checks::{Checks, RecordFile, RecordFolder};
use crate::clerk::{Clerk, Reply, Task};
use crate::consumer::Consumer;
use crate::error::BenchError;
use crate::lists::StoredLists;
use crate::log::{LogChange, RunLog};
use crate::order::{Order, Request};
use crate::planned::PlannedSteps;
use crate::run::{PendingOrder, RunEnd, RunReports, run};
use crate::shared::{SessionState, SessionView};
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::{FileError, folder_of};
use pulsewright_record::calendar;
use pulsewright_script::DocumentStep;
use pulsewright_stream::Command;
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant, SystemTime};

/// How long an order waits for the player, which waits for the consumer; one that waited longer is dropped without an answer.
/// A stop is carried out whenever it can be.
pub const ANSWER: Duration = Duration::from_secs(2);

/// How long the end waits for a consumer that takes nothing.
const PATIENCE: Duration = Duration::from_secs(6);

/// A session to be opened.
pub struct Setup {
    /// Frames a second.
    pub rate: FrameRate,
    /// Seed of everything left to chance.
    pub seed: u64,
    /// Folder of logs, records, drafts, the address book and favourites; without one only the one record is kept.
    pub folder: Option<PathBuf>,
    /// A plan whose steps are offered.
    pub plan: Option<PlannedSteps>,
    /// The one record of the plan; without it each asset gets a record in the folder.
    pub record: Option<RecordFile>,
    /// The consumer of the frames.
    pub consumer: Consumer,
}

/// How a session ended.
#[derive(Debug, Default)]
pub struct SessionEnd {
    /// The log, when something was played and it was written.
    pub log: Option<PathBuf>,
    /// The record that was signed last.
    pub record: Option<PathBuf>,
    /// Why the output did not take all frames.
    pub failed: Option<String>,
    /// Remarks of the consumer, a sentence each.
    pub remarks: Vec<String>,
}

/// A session. Dropped without [`Bench::close`] it leaves its threads behind.
pub struct Bench {
    shared: Arc<SessionState>,
    clerk: Sender<Task>,
    run: Mutex<RunState>,
    writers: Mutex<Option<Writers>>,
    log: Option<PathBuf>,
    delay: Duration,
}

/// The threads that write to the disk.
struct Writers {
    clerk: JoinHandle<Option<PathBuf>>,
    log: RunLog,
    writer: JoinHandle<Result<(), FileError>>,
}

/// A run that waits for the confirmations.
struct Waiting {
    consumer: Consumer,
    seed: u64,
    planned: Vec<DocumentStep>,
    reports: RunReports,
}

/// The run, before and after it was confirmed.
enum RunState {
    Waiting(Box<Waiting>),
    Running(Sender<PendingOrder>, JoinHandle<RunEnd>),
    Over,
}

impl Bench {
    /// Opens a session; the outputs stay closed.
    ///
    /// # Errors
    /// When the folder can't be had, its lists or address book can't be read, or the record is taken.
    pub fn open(setup: Setup, view: Box<dyn SessionView>) -> Result<Bench, BenchError> {
        let Setup { rate, seed, folder, plan, record, consumer } = setup;
        let delay = consumer.delay;
        let (planned, plan) = plan.map_or((Vec::new(), None), |plan| (plan.steps, Some(plan.plan)));
        if let Some(folder) = &folder {
            fs::create_dir_all(folder).map_err(FileError::of(folder))?;
        }
        let (lists, addresses) = (StoredLists::open(folder.as_deref())?, Addresses::open(folder.as_deref())?);
        let moment = calendar::utc(SystemTime::now()).replace(':', "-");
        let path = folder.as_ref().map(|folder| folder.join(format!("played-{moment}.json")));
        // What belongs to a record stands beside it then.
        let beside = || record.as_ref().map_or(PathBuf::new(), |record| folder_of(&record.path).to_owned());
        let folder = folder.unwrap_or_else(beside);
        let shared = Arc::new(SessionState::new(rate, consumer.pace, view));
        let (log, writer) = RunLog::new(path.clone(), seed, shared.clone())?;
        let place = RecordFolder::new(folder, record)?;
        let checks = plan.map(|plan| Checks::new(plan, place, consumer.name.clone(), rate, log.clone()));
        let (tasks, clerk) = Clerk { lists, addresses, checks, shared: shared.clone() }.work();
        let reports = RunReports { log: log.clone(), tasks: tasks.clone() };
        Ok(Bench {
            shared,
            clerk: tasks,
            run: Mutex::new(RunState::Waiting(Box::new(Waiting { consumer, seed, planned, reports }))),
            writers: Mutex::new(Some(Writers { clerk, log, writer })),
            log: path,
            delay,
        })
    }

    /// The log that is written, where there is a folder.
    pub fn log(&self) -> Option<&Path> {
        self.log.as_deref()
    }

    /// Seconds since a frame left the consumer; `None` before that.
    pub fn seconds_after(&self, frame: u64) -> Option<f64> {
        let taken = self.shared.seconds_after(frame)?;
        Some(taken - self.delay.as_secs_f64()).filter(|seconds| *seconds >= 0.0)
    }

    /// Seconds since a frame left the consumer, for an alarm that sounds or ends now.
    ///
    /// # Errors
    /// In words, while the output takes no frames as they are due, since its time stands still then; and before the frame left.
    pub fn time_now(&self, frame: u64) -> Result<f64, &'static str> {
        if !self.shared.is_on_time() {
            return Err("the output takes no frames as they are due, so nothing can be timed now: time it again");
        }
        self.seconds_after(frame).ok_or("the step has not begun at the output: time it when it plays")
    }

    /// How far the output is, as news.
    pub fn clock(&self) -> Value {
        self.shared.clock()
    }

    /// Says to the view how far the output is: to be called a few times a second.
    pub fn tick(&self) {
        self.shared.send_clock();
    }

    /// Carries out a request of a person; the answer may come later, from another thread. Whether it is an order for the player,
    /// whose answer is dropped after [`ANSWER`].
    pub fn request(&self, request: Request, reply: Reply) -> bool {
        if let Request::Confirm { person, output } = request {
            reply(self.confirm(person, output));
            return false;
        }
        match request.order() {
            Ok(Some(order)) => {
                self.order(order, reply);
                true
            }
            Ok(None) => {
                self.note(Task::Asked(request, reply));
                false
            }
            Err(why) => {
                reply(Err(why));
                false
            }
        }
    }

    /// Opens the outputs once a person has confirmed both.
    fn confirm(&self, person: bool, output: bool) -> Result<Value, String> {
        if !person {
            return Err("outputs stay closed while a person may be connected".to_owned());
        }
        if !output {
            return Err("outputs stay closed until they were verified with a meter".to_owned());
        }
        let moment = calendar::utc(SystemTime::now());
        self.start(vec![
            format!("Connected to no person: confirmed {moment}"),
            format!("Output verified with a calibrated meter: confirmed {moment}"),
        ]);
        Ok(Value::Null)
    }

    /// Starts the clock of a session whose signal does not leave the program; of any other nothing starts.
    pub fn run_clock(&self) {
        let state = self.run.lock().unwrap_or_else(PoisonError::into_inner);
        let leaves = matches!(&*state, RunState::Waiting(waiting) if waiting.consumer.leaves);
        drop(state);
        if !leaves {
            self.start(Vec::new());
        }
    }

    /// Starts a run that waits; the log keeps what was confirmed.
    fn start(&self, confirmed: Vec<String>) {
        let mut state = self.run.lock().unwrap_or_else(PoisonError::into_inner);
        *state = match std::mem::replace(&mut *state, RunState::Over) {
            RunState::Waiting(waiting) => {
                let Waiting { consumer, seed, planned, reports } = *waiting;
                let (asked, orders) = mpsc::channel();
                let shared = self.shared.clone();
                let play = move || run(consumer, seed, planned, confirmed, &orders, &shared, reports);
                RunState::Running(asked, thread::spawn(play))
            }
            other => other,
        };
    }

    /// Hands an order to the player.
    fn order(&self, order: Order, reply: Reply) {
        let played = if let Order::Change(Command::Rhythm(rhythm)) = &order { Some(rhythm.id) } else { None };
        let clerk = self.clerk.clone();
        let reply = move |done: Result<u64, String>| {
            if let (Some(id), Ok(_)) = (played, &done) {
                let _ = clerk.send(Task::Played(id));
            }
            reply(done.map(|frame| json!(frame)));
        };
        let asked = PendingOrder { order, until: Instant::now() + ANSWER, reply: Box::new(reply) };
        let refused = |asked: PendingOrder, why: &str| (asked.reply)(Err(why.to_owned()));
        match &*self.run.lock().unwrap_or_else(PoisonError::into_inner) {
            RunState::Waiting(_) => refused(asked, "nothing plays before the two confirmations"),
            RunState::Running(orders, _) => {
                if let Err(returned) = orders.send(asked) {
                    refused(returned.0, ENDED);
                }
            }
            RunState::Over => refused(asked, ENDED),
        }
    }

    fn note(&self, task: Task) {
        // It works until the session was closed.
        let _ = self.clerk.send(task);
    }

    /// Asks the run to end: outputs come to rest first.
    pub fn end(&self) {
        self.shared.end();
    }

    /// Whether nothing plays any more, after [`Bench::end`], or the consumer takes nothing and the wait for it is over.
    pub fn has_ended(&self) -> bool {
        if self.shared.asked_long_ago(PATIENCE) {
            return true;
        }
        match &*self.run.lock().unwrap_or_else(PoisonError::into_inner) {
            RunState::Running(_, run) => run.is_finished(),
            RunState::Waiting(_) | RunState::Over => true,
        }
    }

    /// Ends the session: outputs come to rest, then everything is written. It does not wait for a consumer that takes nothing.
    ///
    /// # Errors
    /// When the last log can't be written.
    pub fn close(&self) -> Result<SessionEnd, BenchError> {
        self.end();
        while !self.has_ended() {
            thread::sleep(Duration::from_millis(10));
        }
        let over =
            match std::mem::replace(&mut *self.run.lock().unwrap_or_else(PoisonError::into_inner), RunState::Over) {
                RunState::Running(_, run) => Some(ended(run)),
                RunState::Waiting(_) | RunState::Over => None,
            };
        // What was handed in before this is written first.
        self.note(Task::Close);
        let writers = self.writers.lock().unwrap_or_else(PoisonError::into_inner).take();
        let Some(Writers { clerk, log, writer }) = writers else { return Ok(SessionEnd::default()) };
        let record = clerk.join().unwrap_or_default();
        log.change(LogChange::Close);
        writer.join().unwrap_or(Ok(()))?;
        let log = self.log.clone().filter(|log| over.is_some() && log.exists());
        let RunEnd { remarks, failed } = over.unwrap_or_default();
        Ok(SessionEnd { log, record, failed, remarks })
    }
}

/// Why an order can't be carried out any more.
const ENDED: &str = "the output has ended";

/// How a run has ended; one that still waits for its consumer is given up.
fn ended(run: JoinHandle<RunEnd>) -> RunEnd {
    let failed = |why: &str| RunEnd { remarks: Vec::new(), failed: Some(why.to_owned()) };
    if run.is_finished() {
        run.join().unwrap_or_else(|_| failed("the player stopped"))
    } else {
        failed("it took no frames at the end")
    }
}
