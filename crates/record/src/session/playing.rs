//! The player on a thread of its own: frames in real time; every step plays until [`Command::Next`].

use crate::plan::PlanError;
use crate::walk::Walk;
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Ramp, Script, Step};
use pulsewright_core::time::FrameRate;
use pulsewright_core::timeline::Placed;
use pulsewright_core::truth::Event;
use pulsewright_files::digest::FramesDigest;
use pulsewright_script::Document;
use pulsewright_stream::Clock;
use std::io;
use std::sync::mpsc::{Receiver, Sender, TryRecvError};
use std::time::{Duration, Instant};

/// Blocks a second: how late a command may take effect.
const BLOCKS_PER_S: u32 = 50;

/// How late the output may take a block without a report.
const LATE: Duration = Duration::from_millis(500);

/// Where frames go.
pub trait Output: Send {
    /// Takes frames, at the moment at which they are due.
    ///
    /// # Errors
    /// When they can't be taken; the session ends.
    fn take(&mut self, frames: &[Frame]) -> io::Result<()>;

    /// Whether a signal leaves the program.
    fn plays(&self) -> bool {
        true
    }

    /// How long a frame is under way in an output with a clock of its own, such as a sound card: it waits until it has room for
    /// frames. `None` for one that takes them when they are due.
    fn delay(&self) -> Option<Duration> {
        None
    }

    /// The pressures that are to be played for it.
    fn pressures(&self) -> SiteSet {
        SiteSet::USUAL
    }

    /// No frames follow: what waits is played, and the output comes to rest.
    fn finish(&mut self) {}

    /// Remarks about it at the end, a sentence each.
    fn remarks(&self) -> Vec<String> {
        Vec::new()
    }
}

/// Nowhere: only the clock runs, for a rig that plays by itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Output for Silent {
    fn take(&mut self, _: &[Frame]) -> io::Result<()> {
        Ok(())
    }

    fn plays(&self) -> bool {
        false
    }
}

/// Commands to the player. The first [`Command::Next`] starts it; it ends when a channel closes.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    /// Go on to the next step; after the last one, end.
    Next,
}

/// Reports of the player.
#[derive(Debug)]
pub(super) enum Progress {
    /// A step of the plan began.
    Began {
        /// Its index.
        step: usize,
        /// When its first frame was due.
        at: Instant,
    },
    /// A step ended.
    Ended {
        /// Its index.
        step: usize,
        /// Frames played.
        frames: u64,
        /// Their digest.
        digest: String,
    },
    /// The output took so many seconds too long.
    Slipped(f64),
}

/// The ramps of the steps in playing order from `first` on: each as long as in its step.
pub(super) fn ramps(document: &Document, first: usize) -> Result<Vec<Vec<Ramp>>, PlanError> {
    let originals = document.items();
    let walk = Walk::new(document)?;
    let of_step = |item: usize| match originals.get(item) {
        Some(Item::Step(step)) => {
            step.ramps.iter().map(|ramp| Ramp { over: ramp.over.or(step.duration), ..*ramp }).collect()
        }
        _ => Vec::new(),
    };
    Ok(walk.placed().iter().skip(first).map(|placed| of_step(placed.item)).collect())
}

/// The steps in playing order from `first` on, all of them holding, with their `ramps`.
pub(super) fn bench<'a>(
    document: &'a Document,
    first: usize,
    ramps: &'a [Vec<Ramp>],
) -> Result<Vec<Item<'a>>, PlanError> {
    let originals = document.items();
    let walk = Walk::new(document)?;
    let held = |(placed, ramps): (&Placed<'_>, &'a Vec<Ramp>)| match originals.get(placed.item) {
        Some(Item::Step(step)) => Some(Item::Step(Step { duration: None, ramps, ..*step })),
        _ => None,
    };
    Ok(walk.placed().iter().skip(first).zip(ramps).filter_map(held).collect())
}

/// Plays until [`Command::Next`] ends the last step, or the command channel closes.
pub(super) fn play(
    script: &Script<'_>,
    first_step: usize,
    rate: FrameRate,
    output: &mut dyn Output,
    commands: &Receiver<Command>,
    reports: &Sender<Progress>,
) -> io::Result<()> {
    let Ok(Command::Next) = commands.recv() else { return Ok(()) };
    let last = (first_step + script.items().len()).checked_sub(1);
    let mut player = Player::new(script, rate).with_pressures_at(output.pressures());
    let mut block = vec![Frame::default(); (rate.as_hz() / BLOCKS_PER_S).max(1) as usize];
    let mut current: Option<Running> = None;
    let mut clock = Clock::starting_in(Duration::ZERO, rate);
    loop {
        match commands.try_recv() {
            Ok(Command::Next) if current.as_ref().is_some_and(|running| Some(running.step) == last) => break,
            Ok(Command::Next) => player.next_step(),
            Err(TryRecvError::Disconnected) => break,
            Err(TryRecvError::Empty) => {}
        }
        let first = player.position();
        let mut events = Vec::new();
        let filled = player.fill_observed(&mut block, &mut |event: Event| {
            if let Event::Step { item, at } = event {
                events.push((item, rate.frame_at_or_after(at).max(first)));
            }
        });
        let frames = block.get(..filled).unwrap_or_default();
        let delay = output.delay();
        if delay.is_none() {
            clock.wait_for(first);
        }
        let mut from = 0;
        for (item, frame) in events {
            let step = first_step + item;
            let at = usize::try_from(frame - first).unwrap_or(0).min(frames.len());
            if let Some(mut over) = current.take() {
                over.take(frames.get(from..at).unwrap_or_default());
                let _ = reports.send(over.ended());
            }
            from = at;
            current = Some(Running { step, frames: 0, digest: FramesDigest::default() });
            let at = delay.map_or_else(|| clock.due(frame), |delay| Instant::now() + delay);
            let _ = reports.send(Progress::Began { step, at });
        }
        if let Some(running) = &mut current {
            running.take(frames.get(from..).unwrap_or_default());
        }
        output.take(frames)?;
        let late = clock.late(first + filled as u64);
        if late > LATE && delay.is_none() {
            // The output is the slower clock: from here on its time counts.
            clock.put_off(late);
            let _ = reports.send(Progress::Slipped(late.as_secs_f64()));
        }
        if filled == 0 {
            break;
        }
    }
    if let Some(over) = current {
        let _ = reports.send(over.ended());
    }
    Ok(())
}

/// The step being played.
struct Running {
    step: usize,
    frames: u64,
    digest: FramesDigest,
}

impl Running {
    fn take(&mut self, frames: &[Frame]) {
        self.digest.update_frames(self.frames, frames);
        self.frames += frames.len() as u64;
    }

    fn ended(self) -> Progress {
        Progress::Ended { step: self.step, frames: self.frames, digest: format!("{:016x}", self.digest.value()) }
    }
}
