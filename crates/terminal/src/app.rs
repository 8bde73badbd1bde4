//! The state of the screen, and the work of its keys.

use crate::feed::{LatestNews, NewsFeed};
use pulsewright_bench::{Bench, Request, offer};
use pulsewright_core::time::FrameRate;
use ratatui::crossterm::event::KeyCode;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::MutexGuard;
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::{Duration, Instant};

/// The lines that have to be confirmed before anything plays.
pub const SAFE: [&str; 2] =
    ["the monitor is connected to no person", "the outputs were verified with a calibrated meter"];

/// The screens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Screen {
    /// The question whether this line of [`SAFE`] holds.
    Confirm(usize),
    /// Equipment, instruments, kit, preparations.
    Before,
    /// A step of the plan.
    Step(usize),
    /// Kit, what is missing, the signature.
    After,
    /// The report of the record that was signed.
    Report,
    /// The signal that plays, without a plan.
    Hold,
    /// The rhythms to pick from.
    Rhythms,
    /// The settings of what plays.
    Controls,
    /// The steps of the plan.
    Steps,
}

/// A text that is being typed, or a question with answers of one key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TextEntry {
    /// The value of an item.
    Value(String),
    /// The reason to skip an item.
    Skip(String),
    /// A remark on an item.
    Remark(String),
    /// The priority that a monitor shows with the alarm of this item, which sounded after this time.
    Priority(String, String),
    /// The new value of a setting.
    Setting(String),
    /// Whether to leave.
    Leave,
}

/// The purpose that an answer of the session was asked for.
pub enum AnswerPurpose {
    /// Nothing more to do when it is done.
    Done,
    /// The entry of an item.
    Entered(String),
    /// The last entry was taken back.
    Undone,
    /// The record was opened.
    Begun,
    /// The record was signed.
    Signed,
    /// A step of the plan was ordered.
    Step(usize),
    /// The outputs are open.
    Confirmed,
}

/// An answer of the session.
pub type SessionAnswer = (AnswerPurpose, Result<Value, String>);

/// The state of the screen.
pub struct TerminalApp<'b> {
    /// The session.
    pub bench: &'b Bench,
    feed: NewsFeed,
    /// Answers of the session that have come.
    pub answers: Receiver<SessionAnswer>,
    asked: Sender<SessionAnswer>,
    /// When the state of the output is asked for next.
    pub next_clock: Instant,
    /// Whether the person has left.
    pub over: bool,
    /// The plan as views get it; null without one.
    pub plan: Value,
    /// The offer of a view.
    pub offer: Value,
    /// Name of the output.
    pub output: String,
    /// Frames a second.
    pub rate: FrameRate,
    /// The screen.
    pub screen: Screen,
    /// The screen below a list.
    pub below: Screen,
    /// Whether help lies over it.
    pub help: bool,
    /// The row that is selected.
    pub selected: usize,
    /// The text that is being typed.
    pub typing: Option<TextEntry>,
    /// Text of the search.
    pub search: String,
    /// Texts of forms that the record does not have yet.
    pub typed: BTreeMap<String, String>,
    /// The last message.
    pub message: String,
    /// Whether the record is to be signed as soon as the outputs are at rest.
    pub signs: bool,
    /// The line that was refused.
    pub refused: Option<&'static str>,
    /// The step that began last, and its first frame.
    pub began: (Option<u64>, u64),
    /// How long the countdown of a rest has waited before.
    pub waited: Duration,
    /// Since when the countdown waits; `None` while it runs.
    pub waits_since: Option<Instant>,
    /// The step after which the next one was ordered.
    pub went_on: Option<usize>,
}

impl<'b> TerminalApp<'b> {
    /// At the first question.
    pub fn new(
        bench: &'b Bench,
        feed: NewsFeed,
        plan: Option<Value>,
        output: String,
        rate: FrameRate,
    ) -> TerminalApp<'b> {
        let (asked, answers) = mpsc::channel();
        TerminalApp {
            bench,
            feed,
            answers,
            asked,
            next_clock: Instant::now(),
            over: false,
            plan: plan.unwrap_or(Value::Null),
            offer: offer::all(),
            output,
            rate,
            screen: Screen::Confirm(0),
            below: Screen::Hold,
            help: false,
            selected: 0,
            typing: None,
            search: String::new(),
            typed: BTreeMap::new(),
            message: String::new(),
            signs: false,
            refused: None,
            began: (None, 0),
            waited: Duration::ZERO,
            waits_since: None,
            went_on: None,
        }
    }

    /// The latest news.
    pub fn known(&self) -> MutexGuard<'_, LatestNews> {
        self.feed.known()
    }

    /// Whether there is a plan.
    pub fn has_plan(&self) -> bool {
        !self.plan.is_null()
    }

    /// The steps of the plan.
    pub fn steps(&self) -> &[Value] {
        array(&self.plan, "steps")
    }

    /// The items of a step.
    pub fn items(&self, step: usize) -> &[Value] {
        self.steps().get(step).map_or(&[], |step| array(step, "items"))
    }

    /// The entry of an item, as the session judged it; null when the record is not open.
    pub fn entry(&self, id: &str) -> Value {
        self.known().record.get("items").and_then(|items| items.get(id)).cloned().unwrap_or_default()
    }

    fn is_open(&self, item: &Value) -> bool {
        matches!(text(&self.entry(text(item, "id")), "verdict"), "" | "open")
    }

    /// The first step from `from` on, round the end, that has an open item.
    pub fn first_open(&self, from: usize) -> Option<usize> {
        let count = self.steps().len();
        let open = |step: &usize| self.items(*step).iter().any(|item| self.is_open(item));
        (0..count).map(|at| (from + at) % count).find(open)
    }

    /// Selects the first open item of the step on the screen.
    pub fn select_open(&mut self) {
        let Screen::Step(at) = self.screen else { return };
        self.selected = self.items(at).iter().position(|item| self.is_open(item)).unwrap_or(0);
    }

    /// Asks the session for something.
    pub fn ask(&self, request: Request, after: AnswerPurpose) {
        let asked = self.asked.clone();
        self.bench.request(request, Box::new(move |done| _ = asked.send((after, done))));
    }

    /// Goes to a screen.
    pub fn go(&mut self, screen: Screen) {
        (self.screen, self.selected, self.typing) = (screen, 0, None);
        self.search.clear();
        if let Screen::Step(_) = screen {
            self.select_open();
        }
    }

    /// Opens a list over the present screen.
    pub fn open_list(&mut self, list: Screen) {
        if !matches!(self.screen, Screen::Rhythms | Screen::Controls | Screen::Steps) {
            self.below = self.screen;
        }
        self.go(list);
    }

    /// The first screen after the questions.
    pub fn home(&self) -> Screen {
        if self.has_plan() { Screen::Before } else { Screen::Hold }
    }

    /// Frames a second that views get.
    pub fn shown_per_s(&self) -> f64 {
        f64::from(self.rate.as_hz()) / f64::from(offer::every(self.rate))
    }

    /// Seconds since the first frame of what plays; `None` before it.
    pub fn since_first_frame(&self) -> Option<f64> {
        self.bench.seconds_after(self.first_frame()?)
    }

    /// The first frame of what plays.
    pub fn first_frame(&self) -> Option<u64> {
        self.known().state.get("since").and_then(Value::as_u64)
    }

    /// The step of the plan that plays.
    pub fn playing(&self) -> Option<usize> {
        self.known().state.get("step").and_then(Value::as_u64).map(|step| step as usize)
    }

    /// Seconds that are left of the rest that plays.
    pub fn left_s(&self) -> Option<f64> {
        let rest = self.steps().get(self.playing()?)?.get("rest_s")?.as_f64()?;
        let waiting = self.waits_since.map_or(Duration::ZERO, |since| since.elapsed());
        Some(rest - self.since_first_frame().unwrap_or_default() + (self.waited + waiting).as_secs_f64())
    }

    /// The step that follows: after the one on the screen, or where a record that was taken up has its first open item.
    pub fn follows(&self) -> usize {
        match self.screen {
            Screen::Step(at) => at + 1,
            Screen::After | Screen::Report => self.steps().len(),
            _ => {
                let played = !array(&self.known().record, "played").is_empty();
                if played { self.first_open(0).unwrap_or(0) } else { 0 }
            }
        }
    }

    /// Plays a step of the plan.
    pub fn play_step(&mut self, step: usize) {
        if step < self.steps().len() {
            self.ask(Request::Step { step }, AnswerPurpose::Step(step));
        } else {
            self.go(Screen::After);
        }
    }

    /// Keys that do the same wherever letters are commands.
    pub fn command(&mut self, key: KeyCode) -> bool {
        match key {
            KeyCode::Char('?') => self.help = true,
            KeyCode::Char('q') => {
                self.typing = Some(TextEntry::Leave);
                return true;
            }
            KeyCode::Char('p' | '/') => self.open_list(Screen::Rhythms),
            KeyCode::Char('c') => self.open_list(Screen::Controls),
            KeyCode::Char('b') => self.ask(Request::Beat { site: "right-ventricular".to_owned() }, AnswerPurpose::Done),
            KeyCode::Char('x') | KeyCode::Esc => self.ask(Request::Stop, AnswerPurpose::Done),
            KeyCode::Char('l') if self.has_plan() => self.open_list(Screen::Steps),
            KeyCode::Char('g') if self.has_plan() => self.play_step(self.follows()),
            KeyCode::Char('e') if self.has_plan() => self.go(Screen::After),
            KeyCode::Char('f') if self.has_plan() => self.go(Screen::Before),
            KeyCode::Char('u') if self.has_plan() => self.ask(Request::Undo, AnswerPurpose::Undone),
            KeyCode::Char('w') => self.wait(),
            KeyCode::Up => self.selected = self.selected.saturating_sub(1),
            KeyCode::Down => {
                // Only the report comes here: its last line stays in sight.
                let lines = self.known().record.get("signed").map_or(0, |signed| text(signed, "text").lines().count());
                self.selected = (self.selected + 1).min(lines.saturating_sub(1));
            }
            _ => {}
        }
        false
    }

    /// The countdown of a rest waits, or goes on; the signal does not stop.
    fn wait(&mut self) {
        match self.waits_since.take() {
            Some(since) => self.waited += since.elapsed(),
            None if self.left_s().is_some() => self.waits_since = Some(Instant::now()),
            None => self.message = "No countdown runs: this signal holds.".to_owned(),
        }
    }
}

/// A member that is a list.
pub fn array<'v>(value: &'v Value, member: &str) -> &'v [Value] {
    value.get(member).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

/// A member that is a text.
pub fn text<'v>(value: &'v Value, member: &str) -> &'v str {
    value.get(member).and_then(Value::as_str).unwrap_or_default()
}

/// Types into a text; whether the key was one of typing.
pub fn type_into(text: &mut String, key: KeyCode) -> bool {
    match key {
        KeyCode::Char(letter) => text.push(letter),
        KeyCode::Backspace => _ = text.pop(),
        _ => return false,
    }
    true
}
