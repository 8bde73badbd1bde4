//! Rates as monitors average them.
//!
//! A heart rate is the mean of the last twelve RR intervals without the longest and the shortest; when three intervals in
//! a row exceed 1200 ms, the mean of the last four. It is the rule that several makers disclose (EC13 4.1.2.1 d,
//! IEC 60601-2-27 201.7.9.2.9.101 b 3). The band also holds the mean over all intervals, which no monitor that averages
//! longer goes beyond.

use super::reading::ReadingBand;
use crate::math::{max, min};
use crate::time::{Instant, Span};

/// Intervals averaged.
const KEPT: usize = 12;

/// When three intervals in a row are longer than this, s, fewer are averaged.
const SLOW_S: f32 = 1.2;

/// How many then.
const FEW: usize = 4;

/// How intervals are averaged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum AveragingRule {
    /// As the module says.
    Beats,
    /// The mean of the last eight (common practice, no source). They reach back into the step before, so that the reading of a
    /// new rate counts from the eighth breath on.
    Breaths,
}

/// Breaths averaged.
const BREATHS: usize = 8;

/// Averages intervals between beats, pulses or breaths.
#[derive(Clone, Debug)]
pub(super) struct RateMeter {
    rule: AveragingRule,
    /// The last intervals, s, the newest first.
    intervals: [f32; KEPT],
    kept: usize,
    last: Option<Instant>,
    /// Intervals that began before are of the step before; only those of breaths are kept.
    begin: Instant,
    /// Intervals of this step, and whether the average still holds older ones.
    fresh: usize,
    mixed: bool,
    /// From here on the reading has settled.
    from: Instant,
    total: Span,
    count: u32,
    shown: Option<ReadingBand>,
    longest_s: f32,
    shortest_s: f32,
    /// Largest ratio of an interval to the one before it, or the other way round.
    change: f32,
    /// The first and the last interval counted, s.
    edges_s: Option<[f32; 2]>,
}

impl RateMeter {
    pub(super) const fn new(rule: AveragingRule) -> RateMeter {
        RateMeter {
            rule,
            intervals: [0.0; KEPT],
            kept: 0,
            last: None,
            begin: Instant::ZERO,
            fresh: 0,
            mixed: false,
            from: Instant::ZERO,
            total: Span::ZERO,
            count: 0,
            shown: None,
            longest_s: 0.0,
            shortest_s: f32::INFINITY,
            change: 1.0,
            edges_s: None,
        }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, begin: Instant, from: Instant) {
        let RateMeter { rule, intervals, last, .. } = *self;
        let kept = if rule == AveragingRule::Breaths { self.kept } else { 0 };
        *self = RateMeter { begin, from, last, intervals, kept, mixed: kept > 0, ..RateMeter::new(rule) };
    }

    /// From here on the reading has settled.
    pub(super) fn from(&self) -> Instant {
        self.from
    }

    /// A silence so long that no rate was shown ends at `at`; what was before does not count any more.
    pub(super) fn resume(&mut self, at: Instant) {
        if at >= self.from {
            self.longest_s = f32::INFINITY;
        }
        self.forget();
    }

    /// Forgets all intervals.
    pub(super) fn forget(&mut self) {
        self.kept = 0;
        self.mixed = false;
        self.last = None;
    }

    /// One more beat; says the interval before it, s.
    pub(super) fn beat(&mut self, at: Instant) -> Option<f32> {
        let last = self.last.replace(at)?;
        let interval = at.since(last);
        let interval_s = interval.as_secs();
        if self.mixed && at >= self.from {
            // It was shown until now.
            self.show();
        }
        if last >= self.begin || self.rule == AveragingRule::Breaths {
            self.push(interval_s);
        }
        self.fresh += usize::from(last >= self.begin);
        if self.mixed && self.fresh >= BREATHS {
            self.settle(at);
        }
        if last >= self.from {
            self.total = self.total.plus(interval);
            self.count += 1;
            self.longest_s = max(self.longest_s, interval_s);
            self.shortest_s = min(self.shortest_s, interval_s);
            if let Some([_, before_s]) = self.edges_s {
                self.change = max(self.change, max(interval_s, before_s) / max(min(interval_s, before_s), 0.01));
            }
            self.edges_s = Some([self.edges_s.map_or(interval_s, |[first, _]| first), interval_s]);
        }
        if at >= self.from {
            self.show();
        }
        Some(interval_s)
    }

    fn show(&mut self) {
        if let Some(rate) = self.displayed() {
            self.shown = Some(self.shown.map_or(ReadingBand::steady(rate), |band| band.with(rate)));
        }
    }

    /// The average holds no older intervals any more; what it was until now counts only if it was the same.
    fn settle(&mut self, at: Instant) {
        self.mixed = false;
        let (Some(shown), Some(rate)) = (self.shown, self.displayed()) else { return };
        if max(shown.high, rate) > 1.01 * min(shown.low, rate) {
            let older = core::mem::replace(self, RateMeter::new(self.rule));
            let RateMeter { intervals, kept, last, begin, fresh, longest_s, .. } = older;
            let longest_s = if longest_s == f32::INFINITY { longest_s } else { 0.0 };
            *self = RateMeter { intervals, kept, last, begin, fresh, longest_s, from: at, ..RateMeter::new(self.rule) };
        }
    }

    fn push(&mut self, interval_s: f32) {
        self.intervals.rotate_right(1);
        if let Some(first) = self.intervals.first_mut() {
            *first = interval_s;
        }
        self.kept = (self.kept + 1).min(KEPT);
    }

    /// The last intervals, s, the newest first.
    pub(super) fn intervals(&self) -> &[f32] {
        self.intervals.get(..self.kept).unwrap_or_default()
    }

    /// Rate that a monitor shows after the last beat, per minute.
    pub(super) fn displayed(&self) -> Option<f32> {
        let intervals = self.intervals();
        let mean = |of: &[f32]| of.iter().sum::<f32>() / of.len() as f32;
        let period_s = match self.rule {
            _ if intervals.is_empty() => return None,
            AveragingRule::Breaths => mean(intervals.get(..BREATHS).unwrap_or(intervals)),
            AveragingRule::Beats
                if intervals.len() >= 3 && intervals.iter().take(3).all(|interval| *interval > SLOW_S) =>
            {
                mean(intervals.get(..FEW).unwrap_or(intervals))
            }
            AveragingRule::Beats if intervals.len() >= 5 => {
                let longest = intervals.iter().copied().fold(0.0, max);
                let shortest = intervals.iter().copied().fold(f32::INFINITY, min);
                (intervals.iter().sum::<f32>() - longest - shortest) / (intervals.len() - 2) as f32
            }
            AveragingRule::Beats => mean(intervals),
        };
        (period_s > 0.0).then(|| 60.0 / period_s)
    }

    /// The band of the step that ends at `end`; a gap of `silence_s` is shown as no rate. `None` when the step is too short.
    ///
    /// `running` is the begin of one that has not been counted because it goes on.
    pub(super) fn band(&self, end: Instant, running: Option<Instant>, silence_s: f32) -> Option<ReadingBand> {
        let last = self.last.max(running);
        let gap_s =
            |to: Instant, last: Option<Instant>| to.since(last.map_or(self.from, |last| last.max(self.from))).as_secs();
        // The gap before the one that goes on has not been counted either.
        let before_s = running.map_or(0.0, |running| gap_s(running, self.last));
        let longest_s = max(self.longest_s, max(before_s, gap_s(end, last)));
        let band = if self.count > 0 {
            let mean = (60.0 * f64::from(self.count) / self.total.as_secs_f64()) as f32;
            ReadingBand { mean, ..self.shown.unwrap_or(ReadingBand::steady(mean)) }.with(mean)
        } else if last.is_none_or(|last| end.since(last).as_secs() >= silence_s) {
            return Some(ReadingBand::steady(0.0));
        } else {
            let resumes = (self.longest_s == f32::INFINITY).then_some(0.0);
            ReadingBand::steady(self.displayed().or(resumes)?)
        };
        Some(if longest_s >= silence_s { band.with(0.0) } else { band })
    }

    /// The band, also with the rates at both ends of the time watched: of a rate that is moved, a monitor that averages less
    /// shows more.
    pub(super) fn moving(&self, band: ReadingBand) -> ReadingBand {
        self.edges_s.map_or(band, |[first_s, last_s]| band.with(60.0 / first_s).with(60.0 / last_s))
    }

    /// Whether the average still holds intervals of the step before.
    pub(super) fn holds_older(&self) -> bool {
        self.mixed
    }

    /// Beats that were counted once settled.
    pub(super) fn beats(&self) -> u32 {
        self.count
    }

    /// Largest ratio of two intervals in a row that were counted.
    pub(super) fn change(&self) -> f32 {
        self.change
    }

    /// Longest over shortest interval that was counted.
    pub(super) fn spread(&self) -> f32 {
        if self.count > 1 { self.longest_s / max(self.shortest_s, 0.01) } else { 1.0 }
    }
}
