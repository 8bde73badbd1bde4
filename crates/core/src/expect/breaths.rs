//! Breaths as a monitor counts them: their rate, and the alarms of breathing.

use super::alarm::{AlarmBoard, AlarmKind, AlarmSink};
use super::causes;
use super::limits::AlarmLimit;
use super::rate::{AveragingRule, RateMeter};
use super::reading::{Cause, Reading};
use crate::time::{Instant, Span};
use crate::timeline::PlayedStep;
use crate::truth::Breath;

/// Smallest breath that is seen, ohm (makers' printed specifications).
pub const SMALLEST_BREATH_OHM: f32 = 0.1;

/// A limit, as it holds now.
type Limit<'l> = &'l dyn Fn(AlarmLimit) -> f32;

/// Counts breaths.
#[derive(Clone, Debug)]
pub(super) struct BreathMeter {
    rate: RateMeter,
    last_end: Instant,
    /// Breaths of the step that are not seen.
    shallow: u32,
}

impl BreathMeter {
    pub(super) fn new() -> BreathMeter {
        BreathMeter { rate: RateMeter::new(AveragingRule::Breaths), last_end: Instant::ZERO, shallow: 0 }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, begin: Instant, from: Instant) {
        self.rate.begin(begin, from);
        self.shallow = 0;
    }

    /// Discards the time until `now`, in which an electrode of the impedance is off: a monitor counts nothing, and knows no apnoea.
    pub(super) fn suspend(&mut self, now: Instant, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        self.last_end = now;
        self.rate.forget();
        for kind in [AlarmKind::Apnoea, AlarmKind::LowBreathing, AlarmKind::HighBreathing] {
            board.clear(kind, now, sink);
        }
    }

    /// When a monitor must know an apnoea; `None` where its alarm is off.
    fn known(&self, limit: Limit<'_>) -> Option<Instant> {
        let limit_s = limit(AlarmLimit::ApnoeaS);
        (limit_s > 0.0).then(|| self.last_end.plus(Span::from_secs(limit_s)))
    }

    /// Advances to `now`.
    pub(super) fn pass(&mut self, now: Instant, limit: Limit<'_>, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        if let Some(known) = self.known(limit).filter(|known| now > *known) {
            board.raise(AlarmKind::Apnoea, self.last_end, known);
            board.clear(AlarmKind::LowBreathing, known, sink);
        }
    }

    /// A breath begins, and its end is known.
    pub(super) fn breath(
        &mut self,
        breath: &Breath,
        limit: Limit<'_>,
        board: &mut AlarmBoard,
        sink: &mut dyn AlarmSink,
    ) {
        if breath.depth_ohm < SMALLEST_BREATH_OHM {
            self.shallow += 1;
            return;
        }
        self.pass(breath.start, limit, board, sink);
        if board.holds(AlarmKind::Apnoea) {
            self.rate.resume(breath.start);
            board.clear(AlarmKind::Apnoea, breath.start, sink);
        }
        let before = core::mem::replace(&mut self.last_end, breath.end);
        self.rate.beat(breath.start);
        let [low, high] = [AlarmLimit::BreathsLow, AlarmLimit::BreathsHigh].map(limit);
        if let Some(rate) = self.rate.displayed().filter(|_| self.rate.intervals().len() >= 4) {
            let since = |beyond: bool| beyond.then_some(before);
            board.set(AlarmKind::LowBreathing, since(rate < low), breath.start, sink);
            board.set(AlarmKind::HighBreathing, since(rate > high), breath.start, sink);
        }
    }

    /// The rate of the step that ends at `end`, and from when on it counts.
    pub(super) fn reading(&self, step: &PlayedStep<'_>, end: Instant, limit: Limit<'_>) -> (Reading, Instant) {
        let causes = causes::of_breaths(step, self.shallow);
        let band = self.rate.band(end, None, limit(AlarmLimit::ApnoeaS));
        let band = if causes.has(Cause::Ramp) { band.map(|band| self.rate.moving(band)) } else { band };
        let from = self.rate.from();
        if band.is_some_and(|band| band.high == 0.0) {
            let causes = causes.and_if(self.shallow == 0, Cause::NoBreaths);
            return (Reading { band, causes }, from.max(self.known(limit).unwrap_or(from)));
        }
        let mixed = self.rate.holds_older() && band.is_some_and(|band| band.low < band.high);
        (Reading { band, causes: causes.and_if(mixed, Cause::EarlierBreaths) }, from)
    }
}
