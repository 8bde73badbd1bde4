//! The run: the live player on a thread of its own, led by orders, at the pace of the clock.

use crate::consumer::{Coder, Consumer};
use crate::desk::{Change, Desk};
use crate::order::{Order, changed};
use crate::shared::{OutputState, Shared};
use crate::tee::{Made, Making, Tee};
use crate::{controls, marks, rest};
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::{Script, TimedBeat};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{Instant, Span};
use pulsewright_core::truth::Event;
use pulsewright_script::expect::Expectations;
use pulsewright_script::{Document, Step};
use pulsewright_stream::{LivePlayer, Pace, send};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;
use tokio::sync::oneshot;

/// How long outputs rest before the program ends.
const LAST_REST: Span = Span::millis(200);

/// How long the end waits for a consumer that takes nothing.
const PATIENCE: Duration = Duration::from_secs(3);

/// An order with the place for its answer.
pub struct Asked {
    /// The order.
    pub order: Order,
    /// Takes the frame at which it takes effect, or why it can't be done.
    pub reply: oneshot::Sender<Result<u64, String>>,
}

/// Plays until the end is asked for or the consumer goes away.
///
/// `confirmed` are the lines that a person confirmed before; the log keeps them as preparations of its first step.
pub fn run(
    consumer: Consumer,
    seed: u64,
    planned: Vec<Step>,
    confirmed: Vec<String>,
    orders: &Receiver<Asked>,
    shared: &Arc<Shared>,
    desk: &Desk,
) -> Vec<String> {
    let Consumer { open, mut coder, pressures, .. } = consumer;
    shared.set_output(OutputState::Opening);
    let sink = match open() {
        Ok(sink) => sink,
        Err(error) => {
            shared.set_output(OutputState::Ended(format!("it can't be opened: {error}")));
            return Vec::new();
        }
    };
    let document = document(seed, confirmed);
    let items = document.items();
    let script = match Script::new(document.seed(), &items) {
        Ok(script) => script,
        Err(error) => {
            shared.set_output(OutputState::Ended(error.to_string()));
            return Vec::new();
        }
    };
    let arena = bumpalo::Bump::new();
    let live = RefCell::new(LivePlayer::new(&arena, &document, &script, pressures, shared.rate));
    let (making, made) = mpsc::channel();
    let mut lead = Lead::new(shared, desk, planned);
    let mut block = vec![Frame::default(); live.borrow().block()];
    shared.set_output(OutputState::Taking);
    let make = |bytes: &mut Vec<u8>| {
        let mut live = live.borrow_mut();
        if live.position() > 0 {
            orders.try_iter().for_each(|asked| lead.obey(asked, &mut live));
            lead.go_on(&mut live);
        }
        if lead.is_over(&mut live) {
            return 0;
        }
        let (filled, began) = fill(&mut live, &mut block, shared, &making, &mut *coder, bytes);
        if began {
            lead.report(&live);
        }
        filled
    };
    let tee = Tee::new(sink, made, shared.clone());
    let outcome = send(shared.rate, Pace::Clock, Vec::new(), make, tee, || shared.asked_long_ago(PATIENCE));
    desk.change(Change::Ended(live.borrow().log()));
    let ended = match outcome {
        Ok(ended) if ended.not_taken > 0 => format!("it did not take the last {} frames", ended.not_taken),
        Ok(_) => "the console was closed".to_owned(),
        Err(error) => format!("it takes no more frames: {error}"),
    };
    shared.set_output(OutputState::Ended(ended));
    coder.remarks()
}

/// Makes a block; returns how many frames it has, and whether a step began in it.
fn fill(
    live: &mut LivePlayer<'_>,
    block: &mut [Frame],
    shared: &Shared,
    making: &Making,
    coder: &mut dyn Coder,
    bytes: &mut Vec<u8>,
) -> (u64, bool) {
    let first = live.position();
    let (mut marks, mut began) = (Vec::new(), false);
    let filled = live.fill_observed(block, &mut |event| {
        began |= matches!(event, Event::Step { .. });
        marks.extend(marks::mark(&event, shared.rate));
    });
    let frames = block.get(..filled).unwrap_or_default();
    coder.encode(frames, bytes);
    let _ = making.send(Made::new(first, frames, marks, shared.rate));
    (filled as u64, began)
}

/// The document that a run starts from: outputs at rest.
fn document(seed: u64, confirmed: Vec<String>) -> Document {
    let step = Step {
        name: Some(rest::NAME.to_owned()),
        duration: None,
        settings: rest::settings(&ADULT),
        ramps: Vec::new(),
        beats: Vec::new(),
        expect: Expectations::default(),
        cautions: Vec::new(),
        prepare: confirmed,
    };
    Document::default().with_steps("Bench console".to_owned(), String::new(), vec![step]).with_seed(seed)
}

/// Rhythms one after the other.
struct Sequence {
    steps: Vec<(&'static Rhythm, f64)>,
    at: usize,
    /// When the present rhythm's time is over; while it waits, how much of it is left.
    ends: Result<Instant, Span>,
}

/// Leads the player by orders.
struct Lead<'s> {
    shared: &'s Shared,
    desk: &'s Desk,
    /// What plays when outputs do not rest.
    patient: Settings,
    resting: bool,
    sequence: Option<Sequence>,
    /// Steps of the plan.
    planned: Vec<Step>,
    /// Place of the step of the plan that plays.
    step: Option<usize>,
    /// When the rest before the end began.
    closing: Option<Instant>,
}

impl<'s> Lead<'s> {
    fn new(shared: &'s Shared, desk: &'s Desk, planned: Vec<Step>) -> Lead<'s> {
        let patient = Settings::new(&ADULT, &SINUS);
        let lead = Lead { shared, desk, patient, resting: true, sequence: None, planned, step: None, closing: None };
        lead.tell(0);
        lead
    }

    fn obey(&mut self, asked: Asked, live: &mut LivePlayer<'_>) {
        // An order that waited too long for the consumer was given up by the person; a stop never is.
        if asked.reply.is_closed() && !matches!(asked.order, Order::Stop) {
            return;
        }
        let done = self.carry_out(&asked.order, live);
        let _ = asked.reply.send(done);
    }

    fn carry_out(&mut self, order: &Order, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let now = live.position();
        if !self.resting {
            // A ramp of the plan may have moved them.
            self.patient = live.settings();
        }
        match order {
            Order::Step(place) => {
                let step = self.planned.get(*place).ok_or("the plan has no such step")?.clone();
                let patient = step.settings;
                let at = live.play_step_at_once(step)?;
                (self.patient, self.resting, self.sequence, self.step) = (patient, false, None, Some(*place));
                Ok(self.starts(at))
            }
            Order::Rhythm(_) => {
                let patient = changed(&self.patient, order)?;
                self.sequence = None;
                self.play(patient, Vec::new(), live)
            }
            Order::Body(_) | Order::Set(_) => {
                let patient = changed(&self.patient, order)?;
                if self.resting {
                    self.patient = patient;
                    self.tell(now);
                    return Ok(now);
                }
                self.play(patient, Vec::new(), live)
            }
            Order::Beat(_) if self.resting => Err("outputs are at rest: choose a rhythm first".to_owned()),
            Order::Beat(site) => {
                let beats = vec![TimedBeat { after: Span::ZERO, site: *site }];
                self.play(self.patient, beats, live)
            }
            Order::Sequence(steps) => {
                let before = self.sequence.replace(Sequence { steps: steps.clone(), at: 0, ends: Err(Span::ZERO) });
                let started = self.start_entry(0, live);
                if started.is_err() {
                    self.sequence = before;
                }
                started
            }
            Order::Next => {
                let next = self.sequence.as_ref().map(|sequence| sequence.at + 1);
                let next = next.filter(|next| self.sequence.as_ref().is_some_and(|of| *next < of.steps.len()));
                self.start_entry(next.ok_or("no rhythm follows: build a sequence first")?, live)
            }
            Order::Pause(on) => {
                let instant = self.shared.rate.instant_of(now);
                let sequence = self.sequence.as_mut().ok_or("there is no sequence to pause")?;
                sequence.ends = match (sequence.ends, on) {
                    (Ok(ends), true) => Err(ends.since(instant)),
                    (Err(left), false) => Ok(instant.plus(left)),
                    (same, _) => same,
                };
                self.tell(now);
                Ok(now)
            }
            Order::Stop => {
                self.sequence = None;
                self.rest(live)
            }
        }
    }

    /// Starts an entry of the sequence.
    fn start_entry(&mut self, at: usize, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let entry = self.sequence.as_ref().and_then(|sequence| sequence.steps.get(at).copied());
        let (rhythm, seconds) = entry.ok_or("no rhythm follows")?;
        let paused = self.sequence.as_ref().is_some_and(|of| of.ends.is_err_and(|left| left > Span::ZERO));
        let lasts = Span::millis((seconds * 1000.0) as u64);
        let patient = changed(&self.patient, &Order::Rhythm(rhythm))?;
        let starts = self.shared.rate.instant_of(live.position());
        if let Some(sequence) = &mut self.sequence {
            sequence.at = at;
            sequence.ends = if paused { Err(lasts) } else { Ok(starts.plus(lasts)) };
        }
        self.play(patient, Vec::new(), live)
    }

    /// Goes on with the sequence when a rhythm's time is over; the last one holds.
    fn go_on(&mut self, live: &mut LivePlayer<'_>) {
        let now = self.shared.rate.instant_of(live.position());
        let over = self.sequence.as_ref().is_some_and(|of| of.ends.is_ok_and(|ends| ends <= now));
        let next = self.sequence.as_ref().map_or(0, |sequence| sequence.at + 1);
        if over && self.sequence.as_ref().is_some_and(|sequence| next < sequence.steps.len()) {
            // Its settings were checked when the sequence was given; a body chosen since may forbid them, and it then holds.
            if self.start_entry(next, live).is_err() {
                self.sequence = None;
                self.tell(live.position());
            }
        }
    }

    fn play(&mut self, patient: Settings, beats: Vec<TimedBeat>, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let at = live.play_at_once(None, patient, beats)?;
        self.patient = patient;
        self.resting = false;
        // It is no longer the step that the plan wants.
        self.step = None;
        Ok(self.starts(at))
    }

    fn rest(&mut self, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let at = live.play_at_once(Some(rest::NAME.to_owned()), rest::settings(self.patient.body()), Vec::new())?;
        self.resting = true;
        self.step = None;
        Ok(self.starts(at))
    }

    fn starts(&self, at: Instant) -> u64 {
        let frame = self.shared.rate.frame_at_or_after(at);
        self.tell(frame);
        frame
    }

    /// Reports to the desk the step that has begun.
    fn report(&self, live: &LivePlayer<'_>) {
        self.desk.change(Change::Playing { log: live.log(), resting: self.resting });
    }

    /// Whether the end was asked for and outputs have come to rest.
    fn is_over(&mut self, live: &mut LivePlayer<'_>) -> bool {
        if !self.shared.ending() {
            return false;
        }
        let now = self.shared.rate.instant_of(live.position());
        let Some(since) = self.closing else {
            self.closing = Some(now);
            // Resting settings never exclude each other.
            return !self.resting && self.rest(live).is_err();
        };
        now.since(since) >= LAST_REST && live.may_stop()
    }

    /// Says to all pages what plays from this frame on.
    fn tell(&self, frame: u64) {
        let rhythm = self.patient.rhythm();
        let sequence = self.sequence.as_ref().map(|of| {
            let steps: Vec<Value> = of.steps.iter().map(|(rhythm, seconds)| json!([rhythm.id, seconds])).collect();
            let ends = of.ends.ok().map(|ends| self.shared.rate.frame_at_or_after(ends));
            json!({"steps": steps, "at": of.at, "paused": of.ends.is_err(), "ends": ends})
        });
        self.shared.set_state(json!({
            "t": "state", "resting": self.resting, "rhythm": rhythm.id, "name": rhythm.name, "body": self.patient.body().id,
            "values": controls::values(&self.patient), "since": frame, "sequence": sequence, "step": self.step,
        }));
    }
}
