//! The heart: impulse sources, AV conduction, ectopy, foci and a pacing device as a handful of clocks.
//!
//! Each source has a clock with the time when it fires next. The earliest fires first, and may set or stop other
//! clocks. Nothing here knows a wave shape or a frame: the heart reports when atria and ventricles are activated and
//! from where, [`crate::player`] draws it.
//!
//! ```text
//! sinus node ─┐                                ┌─ premature focus
//! ectopic ────┼─ atria ── AV node ── ventricles┼─ regular focus, escape focus
//! device ─────┘                                └─ device
//! ```

mod atria;
mod av_node;
pub mod catalogue;
mod clock;
mod conditions;
mod ectopy;
mod impulse;
mod irregular;
mod listed;
mod pacing;
mod recovery;
mod repolarisation;
pub mod rhythm;
mod variability;
mod ventricles;

use crate::anatomy::{AtrialOrigin, BeatCode, Episode, Pathway, Refusal};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};
use av_node::NodeMemory;
use clock::{CLOCK_ORDER, CLOCKS, Clock};
use impulse::{Descent, Impulse, SinusPosition};
use irregular::Irregular;
use recovery::QtMemory;
use rhythm::{Atria, AvNode, Rhythm, Ventricles};

pub(crate) use conditions::{Activation, Conduction, Emit, HeartConditions, ListedBeat, RequestedBeat};
pub(crate) use recovery::{Length, qrs_ms};
pub(crate) use variability::{Life, Variability};

/// Impulses on their way at once: PR is at most 0.6 s and the node takes no two within 60 % of a period.
const IMPULSES: usize = 4;

/// The heart's state between events.
#[derive(Clone, Debug)]
pub(crate) struct Heart {
    /// Which rhythm is played; `None` before the first.
    which: Option<usize>,
    /// Which of [`Episode::RHYTHMS`] are under way.
    episodes: [bool; Episode::RHYTHMS.len()],
    clocks: [Instant; CLOCKS],
    impulses: [Option<Impulse>; IMPULSES],
    node: NodeMemory,
    /// Pulses that the device has given to the ventricles in this rhythm.
    device_pulses: u64,
    irregular: Irregular,
    memory: QtMemory,
    /// Where the sinus beat now due, and the one before, would lie without variability.
    sinus_due: SinusPosition,
    last_sinus_due: Option<SinusPosition>,
    sinus_count: u64,
    last_atrial: Option<Instant>,
    last_ventricular: Option<Instant>,
    conducted_since_ectopic: u16,
    next_ectopic_after: u16,
    ectopic_left: u8,
    ectopic_count: u64,
    focus_count: u64,
    /// Ventricular activations so far.
    beats: u64,
    /// Sinus impulses until the next fault.
    until_fault: u16,
    /// The RR interval before the one under way.
    interval_before: Option<Span>,
}

/// The ventricles answer no second impulse this soon after one, or 55 % of a period where that is shorter; beats of a list come
/// in any case.
fn ventricles_refractory(conditions: &HeartConditions<'_>) -> Span {
    if conditions.listed.is_some() {
        return Span::ZERO;
    }
    conditions.period().scaled(0.55).min(Span::millis(240))
}
/// The atria answer no second impulse this soon after one, or 55 % of their period where that is shorter: effective refractory
/// periods of human atria are 150 to 360 ms (textbooks, from memory).
const ATRIA_REFRACTORY: Span = Span::millis(200);
/// Impulses from above and from a ventricular focus that arrive within 50 ms of each other fuse, or within a tenth of a
/// period where that is shorter.
fn fusion(conditions: &HeartConditions<'_>) -> Span {
    conditions.period().scaled(0.1).min(Span::millis(50))
}
/// Share of its period below which no variability brings the sinus node.
const SHORTEST: f32 = 0.3;
/// How far a focus in the atria, and a flutter circuit, follow the variability of the sinus node (common practice, no source).
const FOCUS_FOLLOWS: f32 = 0.3;
const FLUTTER_FOLLOWS: f32 = 0.05;
/// Standard deviation of PP over its mean in atria beside which the ventricles have a focus of their own (common practice, no
/// source).
const COMPETING: f32 = 0.04;
/// Shortest PR of several foci over that set; the longest is as much longer.
const SHORTEST_PR: f32 = 0.85;
/// PR of a junctional beat whose P comes first, and RP of one whose P comes last.
const JUNCTIONAL_PR: Span = Span::millis(80);
const JUNCTIONAL_RP: Span = Span::millis(90);
/// Ashman's aberrancy: an interval over this share of the mean, and then one below this share of it (common practice, no
/// source).
const ASHMAN_LONG: f32 = 1.2;
const ASHMAN_SHORT: f32 = 0.6;
/// From a pulse of the device to the wave that it brings: below 40 ms, textbooks (from memory).
const CAPTURE: Span = Span::millis(20);

impl Heart {
    /// A heart at rest; the first [`Heart::change`] starts it.
    pub(crate) fn new() -> Heart {
        Heart {
            which: None,
            episodes: [false; Episode::RHYTHMS.len()],
            clocks: [Instant::NEVER; CLOCKS],
            impulses: [None; IMPULSES],
            node: NodeMemory::new(),
            device_pulses: 0,
            irregular: Irregular::new(),
            memory: QtMemory::new(),
            sinus_due: SinusPosition::regular(Instant::NEVER),
            last_sinus_due: None,
            sinus_count: 0,
            last_atrial: None,
            last_ventricular: None,
            conducted_since_ectopic: 0,
            next_ectopic_after: 0,
            ectopic_left: 0,
            ectopic_count: 0,
            focus_count: 0,
            beats: 0,
            until_fault: 0,
            interval_before: None,
        }
    }

    /// QRS onset of the first beat to come, if one is due.
    pub(crate) fn first_beat(&self, conditions: &HeartConditions<'_>) -> Option<Instant> {
        let follows = conditions.rhythm.pacing.is_some_and(|pacing| pacing.mode.follows_atria());
        let conducts = follows || !matches!(conditions.rhythm.av, AvNode::Blocked);
        let above = if conducts { self.clock(Clock::Sinus).min(self.clock(Clock::PaceAtrium)) } else { Instant::NEVER };
        let first = above
            .plus(conditions.pr)
            .min(self.clock(Clock::Irregular))
            .min(self.clock(Clock::Focus))
            .min(self.clock(Clock::PaceVentricle))
            .min(conditions.listed.map_or(Instant::NEVER, |listed| listed.onset));
        (first != Instant::NEVER).then_some(first)
    }

    /// Onset of the last ventricular activation.
    pub(crate) fn last_beat(&self) -> Option<Instant> {
        self.last_ventricular
    }

    /// When something happens next.
    pub(crate) fn next(&self) -> Instant {
        self.clocks.iter().copied().min().unwrap_or(Instant::NEVER)
    }

    fn clock(&self, clock: Clock) -> Instant {
        self.clocks[clock as usize]
    }

    fn set(&mut self, clock: Clock, at: Instant) {
        self.clocks[clock as usize] = at;
    }

    fn stop(&mut self, clock: Clock) {
        self.set(clock, Instant::NEVER);
    }

    /// Applies changed conditions at `now`: sources that stay keep their beat, new ones start after it.
    ///
    /// At the very start the first QRS comes half a period in, or as soon after as PR allows.
    pub(crate) fn change(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise, emit: Emit<'_>) {
        let changed = self.which.replace(conditions.which) != Some(conditions.which);
        if changed {
            self.node.reset();
            self.device_pulses = 0;
            self.irregular.reset();
            self.focus_count = 0;
            self.until_fault = 0;
        }
        if conditions.listed.is_some() {
            self.lose_impulses(now, Refusal::Refractory, emit);
        }
        self.change_atria(now, changed, conditions, noise);
        self.change_ventricles(now, changed, conditions, emit);
        self.change_device(now, changed, conditions);
        if changed {
            self.stop(Clock::Ectopic);
            self.stop(Clock::Retrograde);
            self.ectopic_left = 0;
            self.plan_ectopic(conditions, noise);
            for (under_way, episode) in self.episodes.iter_mut().zip(Episode::RHYTHMS) {
                let starts = plays(conditions.rhythm, episode);
                if core::mem::replace(under_way, starts) != starts {
                    emit(Activation::Episode { episode, at: now, starts });
                }
            }
        }
    }

    /// First beat of a ventricular source that starts at `now`: a period after the last beat.
    fn new_source(&self, now: Instant, period: Span) -> Instant {
        match self.last_ventricular {
            Some(last) if last.plus(period) > now => last.plus(period),
            Some(_) => now.plus(period.scaled(0.2)),
            None => now.plus(period.scaled(0.5)),
        }
    }

    fn change_ventricles(&mut self, now: Instant, changed: bool, conditions: &HeartConditions<'_>, emit: Emit<'_>) {
        match conditions.rhythm.ventricles {
            Ventricles::Focus { .. } => self.set(Clock::Focus, self.new_source(now, conditions.period())),
            Ventricles::Following => self.stop(Clock::Focus),
            Ventricles::Fibrillation { .. } | Ventricles::Flutter { .. } => {
                self.stop(Clock::Focus);
                self.lose_impulses(now, Refusal::Fibrillation, emit);
            }
        }
        if conditions.rhythm.escape.is_none() {
            self.stop(Clock::Escape);
        } else if changed {
            self.await_escape(self.last_ventricular.unwrap_or(now).max(now), conditions);
        }
    }

    fn await_escape(&mut self, from: Instant, conditions: &HeartConditions<'_>) {
        if let Some(escape) = conditions.rhythm.escape {
            self.set(Clock::Escape, from.plus(Span::period(escape.bpm)));
        }
    }

    /// Place of the sinus impulse an interval after another, with random variability.
    fn after(
        &self,
        last: SinusPosition,
        interval: Span,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
    ) -> SinusPosition {
        let regular = last.regular.plus(interval);
        let wander_s = conditions.variability.change_s(last.regular, regular, conditions.atrial_period(), noise);
        SinusPosition { due: last.due.plus(interval).shifted(follows(conditions) * wander_s), regular }
    }

    /// Lets the earliest clock ring.
    pub(crate) fn fire(&mut self, conditions: &HeartConditions<'_>, noise: &Noise, emit: Emit<'_>) {
        let now = self.next();
        let Some(clock) = CLOCK_ORDER.into_iter().find(|clock| self.clock(*clock) == now) else { return };
        match clock {
            Clock::Sinus => self.fire_sinus(now, conditions, noise, emit),
            Clock::Retrograde => {
                self.stop(Clock::Retrograde);
                self.activate_atria(now, AtrialOrigin::Junction, None, conditions, noise, emit);
            }
            Clock::PaceAtrium => self.pace_atrium(now, conditions, emit),
            Clock::PacedAtria => {
                self.stop(Clock::PacedAtria);
                let down = Some(Descent::new(conditions.pr, conditions.rhythm.code));
                self.activate_atria(now, AtrialOrigin::Paced, down, conditions, noise, emit);
            }
            Clock::Irregular => {
                self.await_irregular(now, conditions, noise);
                let impulse = self.conducted(now, None, conditions.rhythm.code, conditions);
                self.activate_ventricles(self.aberrant(impulse, conditions), conditions, noise, emit);
            }
            Clock::Arrival => {
                let arrived =
                    self.impulses.iter_mut().find(|place| place.is_some_and(|impulse| impulse.arrives == now));
                let impulse = arrived.and_then(Option::take);
                self.set(Clock::Arrival, self.next_arrival());
                if let Some(impulse) = impulse {
                    self.activate_ventricles(impulse, conditions, noise, emit);
                }
            }
            Clock::Ectopic => self.fire_ectopic(now, conditions, noise, emit),
            Clock::Focus => self.fire_focus(now, conditions, noise, emit),
            Clock::Escape => {
                self.stop(Clock::Escape);
                if let Some(escape) = conditions.rhythm.escape {
                    self.activate_from(escape.focus, escape.code, now, None, conditions, noise, emit);
                    self.await_escape(now, conditions);
                }
            }
            Clock::PaceVentricle => self.pace_ventricle(now, conditions, emit),
        }
    }

    /// An impulse from above.
    fn conducted(
        &self,
        arrives: Instant,
        p_onset: Option<Instant>,
        code: BeatCode,
        conditions: &HeartConditions<'_>,
    ) -> Impulse {
        Impulse { arrives, p_onset, pathway: conditions.rhythm.pathway, code, ventricular: false, turn: 0, asked: None }
    }

    fn send(&mut self, impulse: Impulse, emit: Emit<'_>) {
        match self.impulses.iter_mut().find(|place| place.is_none()) {
            Some(place) => *place = Some(impulse),
            None => refuse(impulse.asked, impulse.arrives, Refusal::Blocked, emit),
        }
        self.set(Clock::Arrival, self.next_arrival());
    }

    /// Stops every impulse on its way.
    fn lose_impulses(&mut self, now: Instant, why: Refusal, emit: Emit<'_>) {
        for impulse in core::mem::take(&mut self.impulses).into_iter().flatten() {
            refuse(impulse.asked, now, why, emit);
        }
        self.stop(Clock::Arrival);
    }

    fn next_arrival(&self) -> Instant {
        self.impulses.iter().flatten().map(|impulse| impulse.arrives).min().unwrap_or(Instant::NEVER)
    }

    fn await_irregular(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise) {
        if matches!(conditions.rhythm.av, AvNode::Irregular) {
            let interval = self.irregular.fibrillation(conditions.period(), conditions.irregularity, noise);
            self.set(Clock::Irregular, now.plus(interval));
        }
    }

    /// Ashman's phenomenon (Gouaux and Ashman 1947): the right bundle, whose refractory period follows the interval before,
    /// does not conduct a beat that ends a long interval's short successor.
    fn aberrant(&self, impulse: Impulse, conditions: &HeartConditions<'_>) -> Impulse {
        let (Some(before), Some(last)) = (self.interval_before, self.last_ventricular) else { return impulse };
        let long = before > conditions.period().scaled(ASHMAN_LONG);
        let short = impulse.arrives.since(last) < before.scaled(ASHMAN_SHORT);
        if conditions.rhythm.pathway == Pathway::Normal && long && short {
            let pathway = Pathway::RightBundleBranchBlock;
            return Impulse { pathway, code: BeatCode::AberratedAtrialPremature, ..impulse };
        }
        impulse
    }

    /// Time from `now` to the next beat of a source that does not depend on this one.
    fn next_regular(&self, now: Instant, conditions: &HeartConditions<'_>) -> Span {
        if let Some(listed) = conditions.listed {
            // A beat that is to fall on T leaves it as it is.
            return if listed.on_t || listed.onset <= now { Span::MAX } else { listed.onset.since(now) };
        }
        // One that is due at once meets refractory ventricles.
        let soonest = now.plus(ventricles_refractory(conditions));
        let mut next = self.clock(Clock::Irregular).min(self.clock(Clock::Focus));
        let passes = matches!(conditions.rhythm.av, AvNode::Conducting | AvNode::Dropping | AvNode::Decremental);
        let tracks = conditions.rhythm.pacing.is_some_and(|pacing| pacing.mode.follows_atria());
        let sinus = self.clock(Clock::Sinus);
        if sinus != Instant::NEVER && (tracks || passes && self.node.takes(sinus)) {
            let mut arrives = sinus.plus(conditions.pr);
            if matches!(conditions.rhythm.atria, Atria::Multifocal(_)) {
                // Foci in turn have PR of their own.
                let earlier = sinus.plus(conditions.pr.scaled(SHORTEST_PR));
                let later = sinus.plus(conditions.pr.scaled(2.0 - SHORTEST_PR));
                arrives = if later < soonest { earlier } else { earlier.max(soonest) };
            }
            next = next.min(arrives);
        }
        // On its way already.
        let underway = self.impulses.iter().flatten().map(|impulse| impulse.arrives).filter(|at| *at >= soonest);
        next = next.min(underway.min().unwrap_or(Instant::NEVER));
        next = match conditions.rhythm.av {
            // The soonest that the node lets another through.
            AvNode::Varying => next.min(now.plus(conditions.atrial_period().scaled(2.0))),
            _ => next,
        };
        if next == Instant::NEVER || next < soonest { Span::MAX } else { next.since(now) }
    }

    fn fire_focus(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise, emit: Emit<'_>) {
        let Ventricles::Focus { focus, code, spread } = conditions.rhythm.ventricles else {
            self.stop(Clock::Focus);
            return;
        };
        self.focus_count = self.focus_count.wrapping_add(1);
        self.await_focus(now, spread, conditions, noise);
        self.activate_from(focus, code, now, None, conditions, noise, emit);
    }

    fn await_focus(&mut self, now: Instant, spread: f32, conditions: &HeartConditions<'_>, noise: &Noise) {
        let mut interval = conditions.period();
        let spread = math::sqrt(spread * spread + conditions.life.focus * conditions.life.focus);
        if spread > 0.0 {
            interval = self.irregular.interval(interval, spread, Purpose::EctopicShape, noise);
        }
        self.set(Clock::Focus, now.plus(interval));
    }
}

impl Default for Heart {
    fn default() -> Heart {
        Heart::new()
    }
}

/// Reports a requested beat that does not come.
fn refuse(asked: Option<RequestedBeat>, at: Instant, why: Refusal, emit: Emit<'_>) {
    if let Some(asked) = asked {
        emit(Activation::Refused { at, asked, why });
    }
}

/// How far the source of atrial impulses follows the variability of the sinus node.
fn follows(conditions: &HeartConditions<'_>) -> f32 {
    match conditions.rhythm.atria {
        Atria::Driving(AtrialOrigin::Flutter) => FLUTTER_FOLLOWS,
        Atria::Driving(AtrialOrigin::Sinus) | Atria::Independent => 1.0,
        _ => FOCUS_FOLLOWS,
    }
}

/// Whether a rhythm is an episode of this kind.
fn plays(rhythm: &Rhythm, episode: Episode) -> bool {
    match episode {
        Episode::AtrialFibrillation => matches!(rhythm.atria, Atria::Fibrillation { .. }),
        Episode::AtrialFlutter => matches!(rhythm.atria, Atria::Driving(AtrialOrigin::Flutter)),
        Episode::VentricularFlutter => matches!(rhythm.ventricles, Ventricles::Flutter { .. }),
        Episode::VentricularFibrillation => matches!(rhythm.ventricles, Ventricles::Fibrillation { .. }),
        _ => false,
    }
}
