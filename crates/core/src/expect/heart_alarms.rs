//! Alarms of the heart: from the instants and the types of its beats, the pulses of a pacing device, and episodes.

use super::alarm::{AlarmBoard, AlarmKind, AlarmSink};
use super::limits::AlarmLimit;
use super::rate::{AveragingRule, RateMeter};
use crate::math::{abs, min};
use crate::time::{Instant, Span};
use crate::truth::{Beat, BeatCode};

/// Alarms of rate, which other alarms take the place of.
const OF_RATE: [AlarmKind; 4] =
    [AlarmKind::ExtremeTachycardia, AlarmKind::ExtremeBradycardia, AlarmKind::HighRate, AlarmKind::LowRate];

/// Alarms of patterns of beats.
const OF_PATTERN: [AlarmKind; 6] = [
    AlarmKind::VentricularTachycardia,
    AlarmKind::VentricularRhythm,
    AlarmKind::Bigeminy,
    AlarmKind::Trigeminy,
    AlarmKind::AtrialFibrillation,
    AlarmKind::Irregular,
];

/// Alarms of a pacing device's pulses.
const OF_PACING: [AlarmKind; 2] = [AlarmKind::NoCapture, AlarmKind::NoSensing];

/// So long after its last pulse a pacing device is out of use, s (common practice, no source).
const PULSES_OVER_S: f32 = 4.0;

/// A QRS that begins this soon after a pulse hides whether the pulse captured, s (common practice, no source).
const ANSWERED_S: f32 = 0.1;

/// The last beats, one bit each, the newest lowest.
#[derive(Clone, Copy, Debug, Default)]
struct Pattern {
    bits: u16,
    kept: u8,
}

impl Pattern {
    fn push(&mut self, set: bool) {
        self.bits = self.bits << 1 | u16::from(set);
        self.kept = (self.kept + 1).min(16);
    }

    /// Whether the last nine beats are of a group of `length` that holds one ventricular beat.
    fn repeats(&self, length: u8) -> bool {
        if self.kept < 9 {
            return false;
        }
        let ventricular = |back: u8| self.bits >> back & 1 == 1;
        // Each beat is like the one a group before, and a group has one ventricular beat.
        let one = (0..length).filter(|back| ventricular(*back)).count() == 1;
        one && (0..9 - length).all(|back| ventricular(back) == ventricular(back + length))
    }
}

/// A long interval that may be a missed beat.
#[derive(Clone, Copy, Debug)]
struct Missed {
    begin: Instant,
    onset: Instant,
    regular_s: f32,
}

/// State of the alarms of the heart.
#[derive(Clone, Debug)]
pub(super) struct HeartAlarms {
    /// Over steps, forgotten by silence and fibrillation.
    rate: RateMeter,
    pattern: Pattern,
    /// Premature beats of any origin.
    premature: Pattern,
    /// The last beat, or the start of the script.
    last: Instant,
    last_own: Option<Instant>,
    last_pulse: Option<Instant>,
    /// A pulse that did not capture and that no QRS has followed so far.
    unanswered: Option<Instant>,
    fibrillating: Option<Instant>,
    fibrillating_atria: bool,
    /// Ventricular beats in a row, and the first of them.
    run: u16,
    run_began: Instant,
    /// Since when each beat is beyond a limit: extreme high, extreme low, high, low.
    beyond: [Option<Instant>; 4],
    irregular_since: Option<Instant>,
    missed: Option<Missed>,
}

/// Whether a beat is a premature one from above the ventricles.
pub(super) fn supraventricular(code: BeatCode) -> bool {
    matches!(
        code,
        BeatCode::AtrialPremature
            | BeatCode::AberratedAtrialPremature
            | BeatCode::JunctionalPremature
            | BeatCode::SupraventricularPremature
    )
}

/// A limit, as it holds now.
type Limit<'l> = &'l dyn Fn(AlarmLimit) -> f32;

impl HeartAlarms {
    pub(super) fn new() -> HeartAlarms {
        HeartAlarms {
            rate: RateMeter::new(AveragingRule::Beats),
            pattern: Pattern::default(),
            premature: Pattern::default(),
            last: Instant::ZERO,
            last_own: None,
            last_pulse: None,
            unanswered: None,
            fibrillating: None,
            fibrillating_atria: false,
            run: 0,
            run_began: Instant::ZERO,
            beyond: [None; 4],
            irregular_since: None,
            missed: None,
        }
    }

    fn forget(&mut self) {
        *self = HeartAlarms {
            last: self.last,
            last_own: self.last_own,
            last_pulse: self.last_pulse,
            unanswered: self.unanswered,
            fibrillating: self.fibrillating,
            fibrillating_atria: self.fibrillating_atria,
            ..HeartAlarms::new()
        };
    }

    /// Discards the time until `now`, in which the signal is not a heart's.
    pub(super) fn suspend(&mut self, now: Instant, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        self.last = now;
        self.forget();
        self.last_pulse = None;
        self.unanswered = None;
        let others = OF_PACING.into_iter().chain([AlarmKind::Asystole, AlarmKind::Pause]);
        for kind in OF_RATE.into_iter().chain(OF_PATTERN).chain(others) {
            board.clear(kind, now, sink);
        }
    }

    /// Advances to `now`.
    pub(super) fn pass(&mut self, now: Instant, limit: Limit<'_>, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        let known = self.unanswered.map(|pulse| (pulse, pulse.plus(Span::from_secs(ANSWERED_S))));
        if let Some((pulse, known)) = known.filter(|(_, known)| now > *known) {
            self.unanswered = None;
            board.raise(AlarmKind::NoCapture, pulse, known);
        }
        let over = self.last_pulse.map(|pulse| pulse.plus(Span::from_secs(PULSES_OVER_S)));
        if let Some(over) = over.filter(|over| now > *over) {
            self.last_pulse = None;
            for kind in OF_PACING {
                board.clear(kind, over, sink);
            }
        }
        if let Some(began) = self.fibrillating {
            let known = began.plus(Span::from_secs(limit(AlarmLimit::FibrillationS)));
            if now >= known {
                board.raise(AlarmKind::VentricularFibrillation, began, known);
            }
            return;
        }
        let reached = |limit_s: f32| {
            let at = self.last.plus(Span::from_secs(limit_s));
            (limit_s > 0.0 && now > at).then_some(at)
        };
        if let Some(at) = reached(limit(AlarmLimit::AsystoleS)) {
            board.raise(AlarmKind::Asystole, self.last, at);
            board.clear(AlarmKind::Pause, at, sink);
            for kind in OF_RATE.into_iter().chain(OF_PATTERN) {
                board.clear(kind, at, sink);
            }
            self.forget();
            return;
        }
        if let Some(at) = reached(limit(AlarmLimit::PauseS)).filter(|_| !board.holds(AlarmKind::Asystole)) {
            board.raise(AlarmKind::Pause, self.last, at);
        }
    }

    /// A beat, its type known.
    pub(super) fn beat(&mut self, beat: &Beat, limit: Limit<'_>, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        let now = beat.peak;
        if self.unanswered.is_some_and(|pulse| beat.onset.since(pulse).as_secs() <= ANSWERED_S) {
            self.unanswered = None;
        }
        self.pass(now, limit, board, sink);
        let ventricular =
            matches!(beat.code, BeatCode::VentricularPremature | BeatCode::ROnT | BeatCode::VentricularEscape);
        if !matches!(beat.code, BeatCode::Paced | BeatCode::PacedFusion) {
            self.last_own = Some(beat.onset);
        }
        board.clear(AlarmKind::Asystole, now, sink);
        board.clear(AlarmKind::Pause, now, sink);
        let before = self.last;
        let regular_s = self.regular_s();
        let interval_s = self.rate.beat(now);
        self.last = now;
        if beat.code == BeatCode::ROnT {
            board.flash(AlarmKind::ROnT, beat.onset, now, now, sink);
        }
        let missed = self.missed.take();
        if let (Some(missed), Some(interval_s)) = (missed, interval_s)
            && interval_s < 1.3 * missed.regular_s
        {
            board.flash(AlarmKind::MissedBeat, missed.begin, missed.onset, before, sink);
        }
        if let (Some(regular_s), Some(interval_s)) = (regular_s, interval_s) {
            let longest_s = 0.01 * limit(AlarmLimit::MissedBeatPercent) * regular_s;
            let pulses = board.holds(AlarmKind::NoSensing);
            // A single longer interval is a pause; several are another rate.
            if !pulses && interval_s > longest_s && interval_s <= limit(AlarmLimit::PauseS) {
                let onset = before.plus(Span::from_secs(longest_s));
                self.missed = Some(Missed { begin: before, onset, regular_s });
            }
        }
        self.premature.push(ventricular || supraventricular(beat.code));
        self.runs(beat, ventricular, limit, board, sink);
        self.rates(now, before, interval_s, limit, board, sink);
        self.irregular(now, limit, board, sink);
    }

    /// The shortest of the last intervals, s, if the others are as long but for missed beats.
    fn regular_s(&self) -> Option<f32> {
        let intervals = self.rate.intervals();
        let last = intervals.get(..intervals.len().min(6)).filter(|last| last.len() >= 3)?;
        if self.premature.bits & 0x7f != 0 {
            return None;
        }
        let shortest = last.iter().copied().fold(f32::INFINITY, min);
        last.iter().all(|interval| *interval < 1.1 * shortest || *interval > 1.8 * shortest).then_some(shortest)
    }

    /// Ventricular beats: single, in pairs, in runs, in patterns.
    fn runs(
        &mut self,
        beat: &Beat,
        ventricular: bool,
        limit: Limit<'_>,
        board: &mut AlarmBoard,
        sink: &mut dyn AlarmSink,
    ) {
        let now = beat.peak;
        self.pattern.push(ventricular);
        let patterned = [(AlarmKind::Bigeminy, 2), (AlarmKind::Trigeminy, 3)];
        for (kind, length) in patterned {
            let holds = self.pattern.repeats(length).then_some(now);
            board.set(kind, holds, now, sink);
        }
        let needed = limit(AlarmLimit::TachycardiaBeats) as u16;
        if !ventricular {
            let (run, began) = (core::mem::take(&mut self.run), self.run_began);
            let in_pattern = patterned.iter().any(|(kind, _)| board.holds(*kind));
            let kind = match run {
                1 if !in_pattern => Some(AlarmKind::VentricularPremature),
                2 => Some(AlarmKind::Couplet),
                3.. if run < needed => Some(AlarmKind::VentricularRun),
                _ => None,
            };
            if let Some(kind) = kind {
                board.flash(kind, began, began, now, sink);
            }
            board.clear(AlarmKind::VentricularTachycardia, now, sink);
            board.clear(AlarmKind::VentricularRhythm, now, sink);
            return;
        }
        if self.run == 0 {
            self.run_began = beat.onset;
        }
        self.run = self.run.saturating_add(1);
        if self.run < needed.max(2) {
            return;
        }
        // Of the run alone: as many intervals as lie in it.
        let within = usize::from(needed.max(2) - 1);
        let intervals = self.rate.intervals().get(..within).unwrap_or(self.rate.intervals());
        let mean_s = intervals.iter().sum::<f32>() / intervals.len().max(1) as f32;
        let fast = mean_s > 0.0 && 60.0 / mean_s >= limit(AlarmLimit::TachycardiaBpm);
        let (kind, other) = match fast {
            true => (AlarmKind::VentricularTachycardia, AlarmKind::VentricularRhythm),
            false => (AlarmKind::VentricularRhythm, AlarmKind::VentricularTachycardia),
        };
        board.clear(other, now, sink);
        board.raise(kind, self.run_began, now);
    }

    fn rates(
        &mut self,
        now: Instant,
        before: Instant,
        interval_s: Option<f32>,
        limit: Limit<'_>,
        board: &mut AlarmBoard,
        sink: &mut dyn AlarmSink,
    ) {
        let (Some(interval_s), Some(shown)) = (interval_s, self.rate.displayed()) else { return };
        let kept = self.rate.intervals().len();
        let enough = kept >= 4 || kept >= 2 && interval_s > 1.2;
        let rate = 60.0 / interval_s;
        let [extreme_high, extreme_low, high, low] =
            [AlarmLimit::ExtremeHigh, AlarmLimit::ExtremeLow, AlarmLimit::RateHigh, AlarmLimit::RateLow].map(limit);
        let is_beyond = |value: f32| [value > extreme_high, value < extreme_low, value > high, value < low];
        for (since, is) in self.beyond.iter_mut().zip(is_beyond(rate)) {
            *since = if is { since.or(Some(before)) } else { None };
        }
        let [fast, slow, high, low] = is_beyond(shown).map(|is| is && enough);
        let tachycardia = board.holds(AlarmKind::VentricularTachycardia);
        let sounds = [fast && !tachycardia, slow, high && !fast && !tachycardia, low && !slow];
        for ((kind, sounds), since) in OF_RATE.into_iter().zip(sounds).zip(self.beyond) {
            // Once it sounds the average counts; at first the last beat is beyond the limit too, and no average that only comes
            // back from another rhythm.
            let sounds = sounds && (since.is_some() || board.holds(kind));
            board.set(kind, sounds.then(|| since.unwrap_or(before)), now, sink);
        }
    }

    fn irregular(&mut self, now: Instant, limit: Limit<'_>, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        let intervals = self.rate.intervals();
        let mean = intervals.iter().sum::<f32>() / intervals.len().max(1) as f32;
        let changes = intervals.iter().zip(intervals.iter().skip(1));
        let change = changes.map(|(a, b)| abs(a - b)).sum::<f32>() / 11.0;
        let unrelated = self.premature.bits & 0x1fff == 0 && self.regular_s().is_none();
        let irregular =
            intervals.len() == 12 && unrelated && change > 0.01 * limit(AlarmLimit::IrregularPercent) * mean;
        let since = irregular.then(|| *self.irregular_since.get_or_insert(now.minus(Span::from_secs(12.0 * mean))));
        if !irregular {
            self.irregular_since = None;
        }
        let (atrial, other) = if self.fibrillating_atria { (since, None) } else { (None, since) };
        board.set(AlarmKind::AtrialFibrillation, atrial, now, sink);
        board.set(AlarmKind::Irregular, other, now, sink);
    }

    /// Fibrillation or flutter of the ventricles starts or ends.
    pub(super) fn ventricles(&mut self, at: Instant, starts: bool, board: &mut AlarmBoard, sink: &mut dyn AlarmSink) {
        if starts {
            self.suspend(at, board, sink);
            self.fibrillating = self.fibrillating.or(Some(at));
        } else {
            self.fibrillating = None;
            self.last = at;
            board.clear(AlarmKind::VentricularFibrillation, at, sink);
        }
    }

    /// Fibrillation of the atria starts or ends.
    pub(super) fn atria(&mut self, starts: bool) {
        self.fibrillating_atria = starts;
    }

    /// A pacing device gave a pulse to the ventricles; `period_s` is its own.
    pub(super) fn pace(
        &mut self,
        at: Instant,
        captures: bool,
        period_s: f32,
        board: &mut AlarmBoard,
        sink: &mut dyn AlarmSink,
    ) {
        self.last_pulse = Some(at);
        if captures {
            board.clear(AlarmKind::NoCapture, at, sink);
        } else {
            self.unanswered = Some(at);
        }
        // A pulse within the heart's own QRS came too early to sense it.
        let since_s = self.last_own.map_or(f32::INFINITY, |own| at.since(own).as_secs());
        if since_s > 0.12 && since_s < 0.6 * period_s {
            board.raise(AlarmKind::NoSensing, at, at);
        } else {
            board.clear(AlarmKind::NoSensing, at, sink);
        }
    }

    /// Whether the ventricles fibrillate or flutter.
    pub(super) fn fibrillates(&self) -> bool {
        self.fibrillating.is_some()
    }
}
