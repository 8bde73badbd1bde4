//! Readings and alarms of a correct monitor, computed from the signal as played.
//!
//! ```text
//! script ── player ──┬─ events ────────────────── beats, pulses, breaths, alarms ──┐
//!                    └─ pressures at transducers ─ systolic, diastolic, mean ──────┴─ Expected, one for each step
//! ```
//!
//! A [`Forecast`] plays a script without drawing its ECG and gives, step by step, each reading as a [`ReadingBand`] (lowest,
//! highest, mean) with its [`Causes`], and the alarms with the instants at which they begin, must be known, and end.
//! No setting is taken for a reading: only the signal as played counts, behind its line and transducer.
//! Settings serve for the words of a cause alone.
//!
//! Averaging of the readings:
//!
//! | reading | how it is averaged |
//! |---|---|
//! | heart rate, pulse rate | the last 12 RR intervals without the longest and the shortest, the last 4 when three in a row exceed 1200 ms (makers' disclosures under EC13 4.1.2.1 d); the mean of the step is its beats over their time. Pulses count twice: all of them, and those at least half as high as the highest of the last 8, behind the line |
//! | respiration rate | the last 8 breaths of at least 0.1 ohm |
//! | systolic, diastolic | highest and lowest pressure of each pulse at the transducer |
//! | mean | of each pulse from trough to trough; the mean of the step is that of all time between its first and last trough |
//! | ST | of each beat that is conducted from above, 60 ms after the J point against QRS onset |
//! | cuff | the envelope of the oscillations of a deflation, by several sensible methods ([`CuffMeter`]) |
//!
//! A step's readings count from 20 s on, or from half of a shorter step on.

mod alarm;
mod bell;
mod breaths;
mod causes;
mod corner;
mod cuff;
mod envelope;
mod expected;
mod heart_alarms;
mod limits;
mod pressure;
mod pressure_alarms;
mod pulses;
mod rate;
mod reading;
mod rows;
mod st;
mod watch;

pub use alarm::{Alarm, AlarmKind, AlarmSink, StepAlarm, StepAlarms};
pub use breaths::SMALLEST_BREATH_OHM;
pub use cuff::{CuffMeter, CuffReading};
pub use expected::{Expected, Pressure};
pub use limits::{AlarmLimit, AlarmLimits};
pub use reading::{Cause, Causes, Reading, ReadingBand};

use crate::frame::Lead;
use crate::player::Player;
use crate::script::Script;
use crate::site_set::SiteSet;
use crate::time::{Instant, Span};
use crate::timeline::Timeline;
use core::sync::atomic::{AtomicBool, Ordering};
use rows::{PressureRows, RATE, ROWS};
use watch::{Listener, Watch};

/// So long a step's pressures are sampled without a gap; a ramp's all the time.
const CLOSELY: Span = Span::secs(300);

/// From then on so long, once in [`NOW_AND_THEN`].
const A_WHILE: Span = Span::secs(20);

/// See [`A_WHILE`].
const NOW_AND_THEN: Span = Span::secs(120);

/// Plays a script and says of each step what to expect.
///
/// Bounded memory, some 12 KiB; the work is that of its events, and of the pressures at 250 samples a second.
#[derive(Clone, Debug)]
pub struct Forecast<'a> {
    player: Player<'a>,
    timeline: Timeline<'a>,
    watch: Watch<'a>,
    sites: SiteSet,
    last: Instant,
    step_start: Instant,
    stop: Option<&'a AtomicBool>,
    over: bool,
}

impl<'a> Forecast<'a> {
    /// Of `script` up to `last` at most; a step that holds lasts until then. Only the pressures of `sites` are worked out.
    pub fn new(script: &Script<'a>, sites: SiteSet, limits: AlarmLimits, last: Instant) -> Forecast<'a> {
        let last = script.duration().map_or(last, |duration| last.min(Instant::ZERO.plus(duration)));
        Forecast {
            player: Player::new(script, RATE).with_pressures_at(sites),
            timeline: script.timeline(),
            watch: Watch::new(sites, limits),
            sites,
            last,
            step_start: Instant::ZERO,
            stop: None,
            over: false,
        }
    }

    /// The same with the ST level in these leads. It costs some work at each beat.
    pub fn with_st_in(mut self, leads: &[Lead]) -> Forecast<'a> {
        self.player = self.player.with_beats_in(leads);
        self
    }

    /// The same, over soon after another thread has set `stop`: a step can last for a year.
    pub fn stopped_by(self, stop: &'a AtomicBool) -> Forecast<'a> {
        Forecast { stop: Some(stop), ..self }
    }

    /// The next step; `None` after the last. `sink` gets every alarm as it ends.
    pub fn next_step(&mut self, sink: &mut dyn AlarmSink) -> Option<Expected> {
        let mut rows = PressureRows::new();
        while !self.over {
            if self.stop.is_some_and(|stop| stop.load(Ordering::Relaxed)) {
                return None;
            }
            self.some(&mut rows, sink);
            if let Some(expected) = self.watch.done() {
                return Some(expected);
            }
        }
        None
    }

    /// Plays a few frames, or passes over some time.
    fn some(&mut self, rows: &mut PressureRows, sink: &mut dyn AlarmSink) {
        let Forecast { player, timeline, watch, last, .. } = self;
        let position = player.position();
        let now = RATE.instant_of(position);
        if now >= *last {
            let mut listener = Listener { watch, timeline, last: *last, sink };
            player.pass_to(*last, &mut listener);
            watch.end_cuff(*last);
            watch.finish(*last, sink);
            watch.end(sink);
            self.over = true;
            return;
        }
        // No frame of the next step before the events of this one.
        let next = timeline.next_start();
        let end = if next > now { next } else { timeline.clone().nth(1).map_or(*last, |after| after.start) };
        let left = RATE.frame_at_or_after(end.min(*last)).saturating_sub(position).max(1);
        let since = now.since(self.step_start);
        let period = NOW_AND_THEN.ticks();
        let gap = next > now && since >= CLOSELY && since.ticks() % period >= A_WHILE.ticks() && !watch.moves();
        let mut listener = Listener { watch, timeline, last: *last, sink };
        if gap && left > 1 {
            let rest_s = Span::from_ticks(period - since.ticks() % period).as_secs();
            let frames = (rest_s * RATE.as_hz() as f32) as u64 + 1;
            listener.watch.begin_skip();
            player.skip_observed(frames.min(left - 1), &mut listener);
            let now = RATE.instant_of(player.position());
            watch.end_skip(now);
            watch.pass(now, sink);
        } else {
            let count = left.min(ROWS as u64) as usize;
            let filled = player.fill_pressures(rows, count, &mut listener);
            for site in self.sites.sites() {
                let samples = rows.of(site).get(..filled).unwrap_or_default();
                watch.samples(site, samples, |i| RATE.instant_of(position + i as u64), sink);
            }
            watch.pass(RATE.instant_of(position + filled.saturating_sub(1) as u64), sink);
        }
        self.step_start = watch.start();
    }
}
