//! The run: the live player on a thread of its own, led by orders, at the pace of the clock.

use crate::clerk::Task;
use crate::consumer::{ChangeCheck, Coder, Consumer};
use crate::log::{self, LogChange, LogTail, RunLog};
use crate::order::{Order, changed};
use crate::running::StepReporter;
use crate::shared::{OutputState, SessionState};
use crate::tee::{BlockSender, RenderedBlock, Tee};
use crate::{controls, marks, rest};
use pulsewright_core::body::{ADULT, Body};
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::{Script, TimedBeat};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{Instant, Span};
use pulsewright_core::truth::Event;
use pulsewright_script::{Document, DocumentStep};
use pulsewright_stream::{Command, LivePlayer, send};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::Duration;

/// How long outputs rest before the program ends, from the block in which all are at 0.
const LAST_REST: Span = Span::millis(200);

/// How long the end waits for outputs that come to rest: a wave under way lasts less than this. Shorter than [`PATIENCE`].
const LONGEST_END: Span = Span::secs(2);

/// How long the end waits for a consumer that takes nothing.
const PATIENCE: Duration = Duration::from_secs(3);

/// An order with the place for its answer.
pub struct PendingOrder {
    /// The order.
    pub order: Order,
    /// From then on it is given up: the person has read that nothing has changed.
    pub until: std::time::Instant,
    /// Takes the frame at which it takes effect, or why it can't be done.
    pub reply: Box<dyn FnOnce(Result<u64, String>) + Send>,
}

/// How a run ended.
#[derive(Debug, Default)]
pub struct RunEnd {
    /// Remarks of the consumer, a sentence each.
    pub remarks: Vec<String>,
    /// Why the output did not take all frames.
    pub failed: Option<String>,
}

/// Where a run reports what it plays.
pub struct RunReports {
    /// The log.
    pub log: RunLog,
    /// Takes the steps of the plan, for the record.
    pub tasks: Sender<Task>,
}

/// Plays until the end is asked for or the consumer goes away.
///
/// `confirmed` are the lines that a person confirmed before; the log keeps them as preparations of its first step.
pub fn run(
    consumer: Consumer,
    seed: u64,
    planned: Vec<DocumentStep>,
    confirmed: Vec<String>,
    orders: &Receiver<PendingOrder>,
    shared: &Arc<SessionState>,
    reports: RunReports,
) -> RunEnd {
    let failed = |why: String| {
        shared.set_output(OutputState::Ended(why.clone()));
        RunEnd { remarks: Vec::new(), failed: Some(why) }
    };
    let Consumer { open, mut coder, pressures, pace, forbids, .. } = consumer;
    shared.set_output(OutputState::Opening);
    let sink = match open() {
        Ok(sink) => sink,
        Err(error) => return failed(format!("it can't be opened: {error}")),
    };
    let document = document(seed, confirmed);
    let items = document.items();
    let script = match Script::new(document.seed(), &items) {
        Ok(script) => script,
        Err(error) => return failed(error.to_string()),
    };
    let arena = bumpalo::Bump::new();
    let live = RefCell::new(LivePlayer::new(&arena, &document, &script, pressures, shared.rate));
    let (making, made) = mpsc::channel();
    let RunReports { log, tasks } = reports;
    let mut lead = Lead::new(shared, log.clone(), planned, forbids);
    let mut steps = StepReporter::new(tasks);
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
        let start = shared.rate.instant_of(live.position());
        let first = live.position();
        let (filled, began) = fill(&mut live, &mut block, shared, &making, &mut *coder, bytes);
        let frames = block.get(..filled).unwrap_or_default();
        lead.look(frames, start);
        steps.take(frames, first, began.map(|frame| (frame, lead.step)));
        if began.is_some() {
            lead.report(&live);
        }
        filled as u64
    };
    let tee = Tee::new(sink, made, shared.clone());
    let outcome = send(shared.rate, pace, Vec::new(), make, tee, || shared.asked_long_ago(PATIENCE));
    steps.end();
    log.change(LogChange::Ended(lead.tail(&live.borrow())));
    let failed = match outcome {
        Ok(ended) if ended.not_taken > 0 => Some(format!("it did not take the last {} frames", ended.not_taken)),
        Ok(_) => None,
        Err(error) => Some(format!("it takes no more frames: {error}")),
    };
    shared.set_output(OutputState::Ended(failed.clone().unwrap_or_else(|| "the session was closed".to_owned())));
    RunEnd { remarks: coder.remarks(), failed }
}

/// Makes a block; returns how many frames it has, and the frame at which a step began in it: every step is longer than a block.
fn fill(
    live: &mut LivePlayer<'_>,
    block: &mut [Frame],
    shared: &SessionState,
    making: &BlockSender,
    coder: &mut dyn Coder,
    bytes: &mut Vec<u8>,
) -> (usize, Option<u64>) {
    let first = live.position();
    let (mut marks, mut began) = (Vec::new(), None);
    let filled = live.fill_observed(block, &mut |event| {
        if let Event::Step { at, .. } = event {
            began = Some(shared.rate.frame_at_or_after(at));
        }
        marks.extend(marks::mark(&event, shared.rate));
    });
    let frames = block.get(..filled).unwrap_or_default();
    coder.encode(frames, bytes);
    let _ = making.send(RenderedBlock::new(first, frames, marks, shared.rate));
    (filled, began)
}

/// The document that a run starts from: outputs at rest.
fn document(seed: u64, confirmed: Vec<String>) -> Document {
    let step = DocumentStep { prepare: confirmed, ..resting(&ADULT) };
    log::document(seed).with_steps(log::TITLE.to_owned(), String::new(), vec![step])
}

/// The step of outputs at rest.
fn resting(body: &'static Body) -> DocumentStep {
    DocumentStep { name: Some(rest::NAME.to_owned()), ..DocumentStep::new(None, rest::settings(body)) }
}

/// Rhythms one after the other.
struct Sequence {
    steps: Vec<(&'static Rhythm, f64)>,
    at: usize,
    /// When the present rhythm's time is over; while it waits, how much of it is left.
    ends: Result<Instant, Span>,
}

impl Sequence {
    /// The sequence at its next entry; `None` after the last one.
    fn next(&self) -> Option<Sequence> {
        let next = Sequence { steps: self.steps.clone(), at: self.at + 1, ends: self.ends };
        (next.at < next.steps.len()).then_some(next)
    }
}

/// Leads the player by orders.
struct Lead<'s> {
    shared: &'s SessionState,
    log: RunLog,
    forbids: ChangeCheck,
    /// How many steps the log has.
    logged: usize,
    /// The settings that play when outputs do not rest.
    patient: Settings,
    resting: bool,
    sequence: Option<Sequence>,
    /// Steps of the plan.
    planned: Vec<DocumentStep>,
    /// Place of the step of the plan that plays.
    step: Option<usize>,
    /// When the rest before the end began.
    closing: Option<Instant>,
    /// Since when every lead and pressure is at 0.
    quiet: Option<Instant>,
}

impl<'s> Lead<'s> {
    fn new(shared: &'s SessionState, log: RunLog, planned: Vec<DocumentStep>, forbids: ChangeCheck) -> Lead<'s> {
        let patient = Settings::new(&ADULT, &SINUS);
        let lead = Lead {
            shared,
            log,
            forbids,
            logged: 0,
            patient,
            resting: true,
            sequence: None,
            planned,
            step: None,
            closing: None,
            quiet: None,
        };
        lead.tell(0);
        lead
    }

    fn obey(&mut self, asked: PendingOrder, live: &mut LivePlayer<'_>) {
        // An order that waited too long for the consumer was given up by the person; a stop never is.
        if asked.until < std::time::Instant::now() && !matches!(asked.order, Order::Stop) {
            return;
        }
        let done = self.carry_out(&asked.order, live);
        (asked.reply)(done);
    }

    fn carry_out(&mut self, order: &Order, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let now = live.position();
        if let Order::Change(change) = order
            && let Some(why) = (self.forbids)(change)
        {
            return Err(why);
        }
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
            Order::Change(change @ Command::Rhythm(_)) => {
                let patient = changed(&self.patient, change)?;
                self.sequence = None;
                self.play(patient, Vec::new(), live)
            }
            Order::Change(change) => {
                let patient = changed(&self.patient, change)?;
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
                self.start_entry(Sequence { steps: steps.clone(), at: 0, ends: Err(Span::ZERO) }, live)
            }
            Order::Next => {
                let next = self.sequence.as_ref().and_then(Sequence::next);
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

    /// Starts the entry at which a sequence stands; when its rhythm can't be played everything stays as it was.
    fn start_entry(&mut self, mut sequence: Sequence, live: &mut LivePlayer<'_>) -> Result<u64, String> {
        let (rhythm, seconds) = *sequence.steps.get(sequence.at).ok_or("no rhythm follows")?;
        let paused = sequence.ends.is_err_and(|left| left > Span::ZERO);
        let lasts = Span::millis((seconds * 1000.0) as u64);
        let patient = changed(&self.patient, &Command::Rhythm(rhythm))?;
        let starts = self.shared.rate.instant_of(live.position());
        sequence.ends = if paused { Err(lasts) } else { Ok(starts.plus(lasts)) };
        let before = self.sequence.replace(sequence);
        self.play(patient, Vec::new(), live).inspect_err(|_| self.sequence = before)
    }

    /// Goes on with the sequence when a rhythm's time is over; the last one holds.
    fn go_on(&mut self, live: &mut LivePlayer<'_>) {
        let now = self.shared.rate.instant_of(live.position());
        let over = self.sequence.as_ref().filter(|of| of.ends.is_ok_and(|ends| ends <= now));
        if let Some(next) = over.and_then(Sequence::next)
            && self.start_entry(next, live).is_err()
        {
            // Its settings were checked when the sequence was given; a body chosen since may forbid them, and it then holds.
            self.sequence = None;
            self.tell(live.position());
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
        let at = live.play_step_at_once(resting(self.patient.body()))?;
        self.resting = true;
        self.step = None;
        Ok(self.starts(at))
    }

    fn starts(&self, at: Instant) -> u64 {
        let frame = self.shared.rate.frame_at_or_after(at);
        self.tell(frame);
        frame
    }

    /// Reports to the log the step that has begun.
    fn report(&mut self, live: &LivePlayer<'_>) {
        let tail = self.tail(live);
        self.logged = tail.from + tail.steps.len();
        self.log.change(LogChange::Began(tail, self.resting));
    }

    /// The steps that the log lacks, and the one before: it has ended since it was logged.
    fn tail(&self, live: &LivePlayer<'_>) -> LogTail {
        let from = self.logged.saturating_sub(1);
        LogTail { from, steps: live.log_from(from) }
    }

    /// Looks whether the frames from `start` on are at rest.
    fn look(&mut self, frames: &[Frame], start: Instant) {
        let zero = |sample: &f32| *sample == 0.0;
        let quiet = frames.iter().all(|frame| frame.leads_mv.iter().chain(&frame.pressure_mmhg).all(zero));
        self.quiet = if quiet { self.quiet.or(Some(start)) } else { None };
    }

    /// Whether the end was asked for and outputs have come to rest: a wave that had begun went on to its end first.
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
        let rested = self.quiet.is_some_and(|quiet| now.since(quiet.max(since)) >= LAST_REST);
        (rested || now.since(since) >= LONGEST_END) && live.may_stop()
    }

    /// Says to the view what plays from this frame on.
    fn tell(&self, frame: u64) {
        let rhythm = self.patient.rhythm();
        let sequence = self.sequence.as_ref().map(|of| {
            let steps: Vec<Value> = of.steps.iter().map(|(rhythm, seconds)| json!([rhythm.id, seconds])).collect();
            json!({"steps": steps, "at": of.at, "paused": of.ends.is_err()})
        });
        self.shared.news(&json!({
            "t": "state", "resting": self.resting, "rhythm": rhythm.id, "name": rhythm.name, "body": self.patient.body().id,
            "values": controls::values(&self.patient), "since": frame, "sequence": sequence, "step": self.step,
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::consumer::Coder;
    use crate::shared::SessionView;
    use pulsewright_core::pressure::SiteSet;
    use pulsewright_core::time::FrameRate;
    use pulsewright_stream::Pace;
    use std::io::{self, Write};
    use std::sync::Mutex;
    use std::thread;

    /// Keeps what it takes.
    struct Kept(Arc<Mutex<Vec<u8>>>);

    impl Write for Kept {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// Shows nothing.
    struct Unseen;

    impl SessionView for Unseen {
        fn news(&self, _: &Value) {}

        fn frames(&self, _: u64, _: &[f32]) {}
    }

    /// Lead II and the arterial pressure.
    struct Two;

    impl Coder for Two {
        fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
            for frame in frames {
                bytes
                    .extend([frame.leads_mv[1], frame.pressure_mmhg[0]].iter().flat_map(|sample| sample.to_le_bytes()));
            }
        }

        fn remarks(&self) -> Vec<String> {
            Vec::new()
        }
    }

    fn frames(bytes: &[u8]) -> Vec<[f32; 2]> {
        let sample = |bytes: &[u8]| f32::from_le_bytes(bytes.try_into().unwrap());
        bytes.chunks_exact(8).map(|frame| [sample(&frame[..4]), sample(&frame[4..])]).collect()
    }

    #[test]
    fn the_end_comes_after_the_wave_under_way() {
        let folder = tempfile::tempdir().unwrap();
        // Over a beat of 0.86 s, so that the end meets different waves.
        let ends: Vec<_> = [1200, 1300, 1400, 1500, 1600, 1700, 1800, 1900]
            .map(|after_ms| {
                let log = folder.path().join(format!("log-{after_ms}.json"));
                thread::spawn(move || {
                    let shared = Arc::new(SessionState::new(FrameRate::lit(500), Pace::Clock, Box::new(Unseen)));
                    let (log, writer) = RunLog::new(Some(log), 1, shared.clone()).unwrap();
                    let kept = Arc::new(Mutex::new(Vec::new()));
                    let sink = Kept(kept.clone());
                    let consumer = Consumer {
                        name: "a test".to_owned(),
                        leaves: true,
                        pressures: SiteSet::USUAL,
                        pace: Pace::Clock,
                        delay: Duration::ZERO,
                        forbids: Box::new(|_| None),
                        coder: Box::new(Two),
                        open: Box::new(move || Ok(Box::new(sink))),
                    };
                    let (asked, orders) = mpsc::channel();
                    let until = std::time::Instant::now() + Duration::from_secs(60);
                    let order = Order::Change(Command::Rhythm(&SINUS));
                    asked.send(PendingOrder { order, until, reply: Box::new(drop) }).unwrap();
                    let ender = shared.clone();
                    let end = thread::spawn(move || {
                        thread::sleep(Duration::from_millis(after_ms));
                        ender.end();
                    });
                    let reports = RunReports { log: log.clone(), tasks: mpsc::channel().0 };
                    let over = run(consumer, 1, Vec::new(), Vec::new(), &orders, &shared, reports);
                    end.join().unwrap();
                    assert_eq!(over.failed, None);
                    log.change(LogChange::Close);
                    writer.join().unwrap().unwrap();
                    frames(&kept.lock().unwrap())
                })
            })
            .into_iter()
            .map(|played| played.join().unwrap())
            .collect();
        for played in ends {
            let highest = |of: usize| played.iter().map(|frame| frame[of]).fold(0.0, f32::max);
            assert!(
                highest(0) > 0.3 && highest(1) > 60.0,
                "a heart was played: {} mV, {} mmHg",
                highest(0),
                highest(1)
            );
            // A wave that was cut would leave a step before the rest.
            let last = played.iter().rev().find(|frame| frame[0] != 0.0).map_or(0.0, |frame| frame[0]);
            assert!(last.abs() < 0.03, "the ECG ends at {last} mV");
            assert!(played.iter().rev().take(90).all(|frame| *frame == [0.0, 0.0]), "{:?}", played.last());
            assert!(played.len() < 500 * 5, "it ended by itself");
        }
    }

    #[test]
    fn an_output_that_cannot_be_opened_is_a_failure() {
        let folder = tempfile::tempdir().unwrap();
        let shared = Arc::new(SessionState::new(FrameRate::lit(500), Pace::Clock, Box::new(Unseen)));
        let path = folder.path().join("log.json");
        let (log, writer) = RunLog::new(Some(path.clone()), 1, shared.clone()).unwrap();
        let consumer = Consumer {
            name: "a test".to_owned(),
            leaves: true,
            pressures: SiteSet::USUAL,
            pace: Pace::Clock,
            delay: Duration::ZERO,
            forbids: Box::new(|_| None),
            coder: Box::new(Two),
            open: Box::new(|| Err(io::Error::other("unplugged"))),
        };
        let reports = RunReports { log: log.clone(), tasks: mpsc::channel().0 };
        let over = run(consumer, 1, Vec::new(), Vec::new(), &mpsc::channel().1, &shared, reports);
        assert_eq!(over.failed.as_deref(), Some("it can't be opened: unplugged"));
        log.change(LogChange::Close);
        writer.join().unwrap().unwrap();
        assert!(!path.exists());
    }
}
