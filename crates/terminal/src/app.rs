//! What is on the screen, and what keys do there.

use crate::feed::{Feed, Known};
use crate::{forms, lists, step};
use pulsewright_bench::{Bench, Request, offer};
use pulsewright_core::time::FrameRate;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::MutexGuard;
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::{Duration, Instant};

/// How often the state of the output is asked for.
const CLOCK: Duration = Duration::from_millis(200);

/// The lines that have to be confirmed before anything plays.
pub const SAFE: [&str; 2] =
    ["the monitor is connected to no person", "the outputs were verified with a calibrated meter"];

/// What the screen shows.
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
    /// What plays, without a plan.
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
pub enum Typing {
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

/// What an answer of the session was asked for.
pub enum After {
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

type Answered = (After, Result<Value, String>);

/// What is on the screen.
pub struct App<'b> {
    bench: &'b Bench,
    feed: Feed,
    answers: Receiver<Answered>,
    asked: Sender<Answered>,
    next_clock: Instant,
    over: bool,
    /// The plan as views get it; null without one.
    pub plan: Value,
    /// What views offer.
    pub offer: Value,
    /// Name of the output.
    pub output: String,
    /// Frames a second.
    pub rate: FrameRate,
    /// The screen, and the one below a list.
    pub screen: Screen,
    /// The screen below a list.
    pub below: Screen,
    /// Whether help lies over it.
    pub help: bool,
    /// The row that is selected.
    pub selected: usize,
    /// What is being typed.
    pub typing: Option<Typing>,
    /// Text of the search.
    pub search: String,
    /// Texts of forms that the record does not have yet.
    pub typed: BTreeMap<String, String>,
    /// The last message.
    pub message: String,
    /// The line that was refused.
    pub refused: Option<&'static str>,
    /// The step that began last, and its first frame.
    began: (Option<u64>, u64),
    /// How long the countdown of a rest has waited, and since when it waits.
    pub waited: Duration,
    /// Since when the countdown waits.
    pub waits_since: Option<Instant>,
    /// The step after which the next one was ordered.
    went_on: Option<usize>,
}

impl<'b> App<'b> {
    /// At the first question.
    pub fn new(bench: &'b Bench, feed: Feed, plan: Option<Value>, output: String, rate: FrameRate) -> App<'b> {
        let (asked, answers) = mpsc::channel();
        App {
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
            refused: None,
            began: (None, 0),
            waited: Duration::ZERO,
            waits_since: None,
            went_on: None,
        }
    }

    /// Whether the person has left.
    pub fn is_over(&self) -> bool {
        self.over
    }

    /// What is known now.
    pub fn known(&self) -> MutexGuard<'_, Known> {
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

    /// Asks the session for something.
    pub fn ask(&self, request: Request, after: After) {
        let asked = self.asked.clone();
        self.bench.request(request, Box::new(move |done| _ = asked.send((after, done))));
    }

    /// Goes to a screen.
    pub fn go(&mut self, screen: Screen) {
        (self.screen, self.selected, self.typing) = (screen, 0, None);
        self.search.clear();
        if let Screen::Step(_) = screen {
            step::select_open(self);
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
    fn home(&self) -> Screen {
        if self.has_plan() { Screen::Before } else { Screen::Hold }
    }

    /// Seconds since the first frame of what plays; `None` before it.
    pub fn since_first_frame(&self) -> Option<f64> {
        let known = self.known();
        let every = f64::from(offer::every(self.rate));
        let hz = f64::from(self.rate.as_hz());
        let since = known.state.get("since").and_then(Value::as_u64)? as f64;
        let now = known.count_now(hz / every) * every;
        (now >= since).then(|| (now - since) / hz)
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
                if played { step::first_open(self, 0).unwrap_or(0) } else { 0 }
            }
        }
    }

    /// Plays a step of the plan.
    pub fn play_step(&mut self, step: usize) {
        if step < self.steps().len() {
            self.ask(Request::Step { step }, After::Step(step));
        } else {
            self.go(Screen::After);
        }
    }

    /// Looks at the clock and at what has come. Whether keys that were pressed before now are to be thrown away: a step has begun.
    pub fn tick(&mut self) -> bool {
        if self.next_clock <= Instant::now() {
            self.next_clock = Instant::now() + CLOCK;
            self.bench.tick();
        }
        while let Ok((after, done)) = self.answers.try_recv() {
            match done {
                Ok(value) => self.done(after, &value),
                Err(why) => self.message = why,
            }
        }
        let warning = self.known().warning.take();
        if let Some(words) = warning {
            self.message = words;
        }
        let now = {
            let known = self.known();
            (
                known.state.get("step").and_then(Value::as_u64),
                known.state.get("since").and_then(Value::as_u64).unwrap_or(0),
            )
        };
        let begun = now != self.began;
        if begun {
            self.began = now;
            (self.waited, self.waits_since, self.went_on) = (Duration::ZERO, None, None);
            if let Some(step) = now.0 {
                self.message.clear();
                self.go(Screen::Step(step as usize));
            }
        }
        if let Some(step) = self.playing()
            && self.waits_since.is_none()
            && self.went_on != Some(step)
            && self.left_s().is_some_and(|left| left <= 0.0)
            && step + 1 < self.steps().len()
        {
            self.went_on = Some(step);
            self.play_step(step + 1);
        }
        begun
    }

    fn done(&mut self, after: After, value: &Value) {
        match after {
            After::Done => {}
            After::Entered(id) => step::entered(self, &id, value),
            After::Undone => {
                let name = step::name_of(self, value.as_str().unwrap_or_default());
                self.message = format!("Taken back: {name}. The draft keeps both.");
            }
            After::Begun => {
                self.typed.clear();
                self.selected = 0;
                self.message = "The record is open; every entry is kept at once.".to_owned();
            }
            After::Signed => self.go(Screen::Report),
            After::Step(step) => self.message = format!("Step {} was ordered.", step + 1),
            After::Confirmed => {
                let home = self.home();
                self.go(home);
                if home == Screen::Hold {
                    self.open_list(Screen::Rhythms);
                }
            }
        }
    }

    /// A key was pressed. Whether it opened a question that keys pressed before must not answer.
    pub fn key(&mut self, key: KeyEvent) -> bool {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        if control && key.code == KeyCode::Char('c') {
            self.typing = Some(Typing::Leave);
            return true;
        }
        if self.help {
            self.help = false;
            return false;
        }
        if key.code == KeyCode::F(1) {
            self.help = true;
            return false;
        }
        if control || key.modifiers.contains(KeyModifiers::ALT) {
            return false;
        }
        if self.typing == Some(Typing::Leave) {
            self.typing = None;
            self.over = matches!(key.code, KeyCode::Char('y' | 'Y'));
            return false;
        }
        match self.screen {
            Screen::Confirm(line) => self.confirm(key.code, line),
            Screen::Before | Screen::After => forms::key(self, key.code),
            Screen::Step(at) => step::key(self, key.code, at),
            Screen::Rhythms | Screen::Controls | Screen::Steps => lists::key(self, key.code),
            Screen::Hold | Screen::Report => self.command(key.code),
        }
    }

    fn confirm(&mut self, key: KeyCode, line: usize) -> bool {
        match key {
            KeyCode::Char('y' | 'Y') if line + 1 < SAFE.len() => self.screen = Screen::Confirm(line + 1),
            KeyCode::Char('y' | 'Y') => self.ask(Request::Confirm { person: true, output: true }, After::Confirmed),
            KeyCode::Char('n' | 'N') => {
                self.refused = SAFE.get(line).copied();
                self.over = true;
            }
            KeyCode::Char('?') => self.help = true,
            KeyCode::Char('q') => self.typing = Some(Typing::Leave),
            _ => self.message = "Press y when it holds, n when it does not.".to_owned(),
        }
        // The same key pressed twice must not answer the next question.
        true
    }

    /// Keys that do the same wherever letters are commands.
    pub fn command(&mut self, key: KeyCode) -> bool {
        match key {
            KeyCode::Char('?') => self.help = true,
            KeyCode::Char('q') => {
                self.typing = Some(Typing::Leave);
                return true;
            }
            KeyCode::Char('p' | '/') => self.open_list(Screen::Rhythms),
            KeyCode::Char('c') => self.open_list(Screen::Controls),
            KeyCode::Char('b') => self.ask(Request::Beat { site: "right-ventricular".to_owned() }, After::Done),
            KeyCode::Char('x') | KeyCode::Esc => self.ask(Request::Stop, After::Done),
            KeyCode::Char('l') if self.has_plan() => self.open_list(Screen::Steps),
            KeyCode::Char('g') if self.has_plan() => self.play_step(self.follows()),
            KeyCode::Char('e') if self.has_plan() => self.go(Screen::After),
            KeyCode::Char('f') if self.has_plan() => self.go(Screen::Before),
            KeyCode::Char('u') if self.has_plan() => self.ask(Request::Undo, After::Undone),
            KeyCode::Char('w') => self.wait(),
            KeyCode::Up => self.selected = self.selected.saturating_sub(1),
            KeyCode::Down => self.selected += 1,
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
