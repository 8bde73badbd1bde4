//! A session: the plan played step by step in real time, and asked about in a terminal.
//!
//! A step holds until its readings are entered; one with nothing to read plays for its duration. Alarms are asked about
//! first, their time counts from the step's first frame. After every answer the record is saved, so a
//! session that was cut off goes on at its last step.

pub mod answers;
mod asking;
pub mod draft;
mod playing;

pub use playing::{Output, Silent};

use crate::plan::{Plan, PlanError, PlanStep};
use crate::record::PlayedStep;
use answers::Answers;
use asking::Talk;
use playing::{Command, Progress, bench, play, ramps};
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_script::Document;
use std::io::{self, BufRead, Write};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

/// Why a session did not come to its end.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// The person left, or the input ended.
    #[error("left before the end; the same command line goes on from here")]
    Left,
    /// A preparation was refused, so nothing is played.
    #[error("nothing was played, because this is not prepared: {0}; the same command line goes on from here")]
    NotPrepared(String),
    /// The output of frames failed.
    #[error("the signal could not be written: {0}")]
    Output(String),
    /// The terminal failed, or the draft.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The core refuses the script.
    #[error(transparent)]
    Plan(#[from] PlanError),
}

/// The terminal that a session talks through.
pub struct Terminal<'a> {
    /// Its width, columns; lines break between words.
    pub columns: usize,
    /// Throws away what was typed and not yet read: a key pressed before an alarm's question must not answer it.
    pub discard_typed: &'a dyn Fn(),
}

/// The parts of a session.
pub struct Session<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The document that it was made of.
    pub document: &'a Document,
    /// Frames a second.
    pub rate: FrameRate,
    /// The terminal.
    pub terminal: Terminal<'a>,
}

impl Session<'_> {
    /// Asks and plays until the plan is done; the record is taken up where it stands.
    ///
    /// # Errors
    /// When the person leaves, or something fails; the entries until then have been saved.
    pub fn run(
        &self,
        answers: &mut Answers,
        output: &mut dyn Output,
        input: &mut impl BufRead,
        out: &mut impl Write,
    ) -> Result<(), SessionError> {
        let plays = output.plays();
        let mut talk = Talk { input, out, terminal: &self.terminal };
        talk.before(self.plan, answers)?;
        let played = answers.record().played.as_ref().map_or(0, |played| played.steps.len());
        if played < self.plan.steps.len() {
            if plays {
                talk.safe()?;
            }
            if played > 0 {
                talk.say(&format!("Taking up at step {} of {}.", played + 1, self.plan.steps.len()))?;
            }
            self.steps(played, answers, output, &mut talk)?;
        }
        talk.after(self.plan, answers)
    }

    fn steps(
        &self,
        first: usize,
        answers: &mut Answers,
        output: &mut dyn Output,
        talk: &mut Talk<'_, impl BufRead, impl Write>,
    ) -> Result<(), SessionError> {
        let ramps = ramps(self.document, first)?;
        let items = bench(self.document, first, &ramps)?;
        let script = Script::new(self.document.seed(), &items)
            .map_err(|error| SessionError::Plan(PlanError::Script(error.to_string())))?;
        let (commands, commanded) = channel();
        let (reports, progress) = channel();
        thread::scope(|scope| {
            let (script, rate) = (&script, self.rate);
            let player = scope.spawn(move || play(script, first, rate, output, &commanded, &reports));
            let asked = self.ask_all(first, answers, &progress, &|command| _ = commands.send(command), talk);
            // The player ends when its command channel closes.
            drop(commands);
            let played = player.join().unwrap_or_else(|_| Err(io::Error::other("the player stopped")));
            match (asked, played) {
                (Err(SessionError::Output(_)) | Ok(()), Err(error)) => Err(SessionError::Output(error.to_string())),
                (asked, _) => asked,
            }
        })
    }

    fn ask_all(
        &self,
        first: usize,
        answers: &mut Answers,
        progress: &Receiver<Progress>,
        command: &dyn Fn(Command),
        talk: &mut Talk<'_, impl BufRead, impl Write>,
    ) -> Result<(), SessionError> {
        for (index, step) in self.plan.steps.iter().enumerate().skip(first) {
            talk.heading(step, index, self.plan.steps.len())?;
            talk.prepare(&step.id, &step.prepare, answers)?;
            command(Command::Next);
            let began = self.wait(progress, step, answers, talk)?;
            let lasts = self.lasts(index);
            if step.has_items() {
                talk.alarms(step, began, answers)?;
                talk.clears(step, began, answers)?;
                talk.readings(step, answers)?;
                talk.silent(step, answers)?;
                talk.checks(step, answers)?;
            } else if let Some(lasts) = lasts {
                talk.say(&format!("  Nothing to read: the next step follows after {} s.", lasts.as_secs_f64()))?;
                thread::sleep((began + lasts).saturating_duration_since(Instant::now()));
            } else {
                talk.ask("  Enter to go on: ")?;
            }
        }
        command(Command::Next);
        while let Ok(report) = progress.recv() {
            self.note(report, answers, talk)?;
        }
        Ok(())
    }

    /// How long a step plays that has nothing to read; `None` holds.
    fn lasts(&self, index: usize) -> Option<Duration> {
        let walk = crate::walk::Walk::new(self.document).ok()?;
        let item = walk.placed().get(index)?.item;
        self.document.step(item)?.duration.map(|span| Duration::from_secs_f64(span.as_secs_f64()))
    }

    /// Waits for a step to begin, and says when it did.
    fn wait(
        &self,
        progress: &Receiver<Progress>,
        step: &PlanStep,
        answers: &mut Answers,
        talk: &mut Talk<'_, impl BufRead, impl Write>,
    ) -> Result<Instant, SessionError> {
        loop {
            match progress.recv() {
                Ok(Progress::Began { step: begun, at })
                    if self.plan.steps.get(begun).is_some_and(|of| of.id == step.id) =>
                {
                    return Ok(at);
                }
                Ok(other) => self.note(other, answers, talk)?,
                Err(_) => return Err(SessionError::Output("the player stopped".to_owned())),
            }
        }
    }

    fn note(
        &self,
        progress: Progress,
        answers: &mut Answers,
        talk: &mut Talk<'_, impl BufRead, impl Write>,
    ) -> Result<(), SessionError> {
        match progress {
            Progress::Ended { step, frames, digest } => {
                let id = self.plan.steps.get(step).map_or(String::new(), |step| step.id.clone());
                Ok(answers.played(PlayedStep { id, frames, digest })?)
            }
            Progress::Slipped(seconds) => talk.say(&format!(
                "  The output took {seconds:.1} s too long to take the signal: times of this step are not to be relied on."
            )),
            Progress::Began { .. } => Ok(()),
        }
    }
}
