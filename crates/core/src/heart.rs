//! The heart: impulse sources, AV conduction, ectopy and ventricular foci as a handful of clocks.
//!
//! Each source has a clock that tells when it fires next. The earliest goes first; what it does may set or stop other
//! clocks. Nothing here knows a wave shape or a frame: the heart says when atria and ventricles are activated and from
//! where, [`crate::player`] draws it.
//!
//! ```text
//! sinus ─┐                        ┌─ ectopic focus
//! atria ─┴─ P ── AV node ── QRS ──┴─ regular focus
//! ```

pub mod catalogue;
mod chance;
pub mod rhythm;
mod variability;

use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};
use crate::truth::{BeatCode, Episode};
use chance::Deck;
use rhythm::{Atria, AvNode, Pattern, Rhythm, Ventricles};

pub use variability::Variability;
pub(crate) use variability::tone_phase;

/// What the heart is asked to do at an instant: settings resolved to plain numbers.
#[derive(Clone, Copy, Debug)]
pub struct Demand {
    /// The rhythm.
    pub rhythm: &'static Rhythm,
    /// Rate, bpm.
    pub rate_bpm: f32,
    /// From P onset to QRS onset.
    pub pr: Span,
    /// Sinus variability.
    pub variability: Variability,
}

impl Demand {
    /// Mean interval between beats at the rate set.
    pub fn period(&self) -> Span {
        Span::period(self.rate_bpm)
    }

    /// Period of the sinus node.
    fn sinus_period(&self) -> Span {
        match self.rhythm.atria {
            Atria::IndependentSinus(bpm) => Span::period(bpm),
            _ => self.period(),
        }
    }
}

/// Where a ventricular activation came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Down the conduction system.
    Conducted,
    /// A focus in the ventricles.
    Ventricle,
}

/// What the heart did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Activation {
    /// Atria activated: a P wave starts.
    Atria {
        /// P onset.
        at: Instant,
    },
    /// Ventricles activated: a QRS starts.
    Ventricles {
        /// QRS onset.
        at: Instant,
        /// Where it came from.
        origin: Origin,
        /// Since the activation before; `None` for the first.
        interval: Option<Span>,
        /// Onset of the P wave that led to it.
        p_onset: Option<Instant>,
        /// Type.
        code: BeatCode,
    },
    /// Fibrillation starts or ends.
    Episode {
        /// Which.
        episode: Episode,
        /// When.
        at: Instant,
        /// Start or end.
        starts: bool,
    },
}

/// An impulse on its way from the atria to the ventricles.
#[derive(Clone, Copy, Debug)]
struct Conducting {
    arrives: Instant,
    p_onset: Option<Instant>,
}

/// The clocks, in the order in which they go when they ring together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
enum Clock {
    /// The sinus node.
    Sinus,
    /// An impulse that fibrillating atria bring through the node.
    Irregular,
    /// An impulse arriving at the ventricles.
    Arrival,
    /// A premature beat.
    Ectopic,
    /// A regular ventricular focus.
    Focus,
}

const CLOCKS: usize = 5;

/// Impulses that can be in the AV node at once: PR is at most 0.6 s and the node takes no two within 60 % of a period.
const CONDUCTING: usize = 4;

/// The heart's state between events.
#[derive(Clone, Debug)]
pub struct Heart {
    rhythm: &'static Rhythm,
    clocks: [Instant; CLOCKS],
    conducting: [Option<Conducting>; CONDUCTING],
    /// Where the sinus beat now due, and the one before, would lie without variability.
    sinus_due: Instant,
    last_sinus_due: Option<Instant>,
    last_atrial: Option<Instant>,
    last_entry: Option<Instant>,
    last_ventricular: Option<Instant>,
    last_from_ventricle: Option<Instant>,
    /// The node was invaded from below and will not pass the next impulse from above.
    concealed: bool,
    conducted_since_ectopic: u16,
    next_ectopic_after: u16,
    ectopic_count: u64,
    deck: Deck,
}

impl Heart {
    /// A heart at rest; the first [`Heart::change`] starts it.
    pub fn new() -> Heart {
        Heart {
            rhythm: &catalogue::ASYSTOLE,
            clocks: [Instant::NEVER; CLOCKS],
            conducting: [None; CONDUCTING],
            sinus_due: Instant::NEVER,
            last_sinus_due: None,
            last_atrial: None,
            last_entry: None,
            last_ventricular: None,
            last_from_ventricle: None,
            concealed: false,
            conducted_since_ectopic: 0,
            next_ectopic_after: 0,
            ectopic_count: 0,
            deck: Deck::new(),
        }
    }

    /// QRS onset of the first beat to come, if one is due.
    pub fn first_beat(&self, demand: &Demand) -> Option<Instant> {
        let sinus = self.clocks[Clock::Sinus as usize];
        let conducted = if sinus == Instant::NEVER { sinus } else { sinus.plus(demand.pr) };
        let first = [conducted, self.clocks[Clock::Irregular as usize], self.clocks[Clock::Focus as usize]]
            .into_iter()
            .min()
            .unwrap_or(Instant::NEVER);
        (first != Instant::NEVER && demand.rhythm.beats()).then_some(first)
    }

    /// When something happens next.
    pub fn next(&self) -> Instant {
        self.clocks.iter().copied().min().unwrap_or(Instant::NEVER)
    }

    /// The rhythm being played.
    pub fn rhythm(&self) -> &'static Rhythm {
        self.rhythm
    }

    /// Takes up a changed demand at `now`: sources that stay keep their beat, new ones come in after it.
    ///
    /// At the very start the first QRS comes half a period in, or as soon after as PR allows.
    pub fn change(&mut self, now: Instant, demand: &Demand, noise: &Noise, emit: &mut dyn FnMut(Activation)) {
        let before = core::mem::replace(&mut self.rhythm, demand.rhythm);
        let changed = !core::ptr::eq(before, self.rhythm);
        self.change_atria(now, changed, demand, noise);
        self.change_ventricles(now, changed, demand);
        if changed {
            self.stop(Clock::Ectopic);
            self.concealed = false;
            self.plan_ectopic(demand, noise);
            for episode in [Episode::AtrialFibrillation, Episode::VentricularFibrillation] {
                let starts = plays(self.rhythm, episode);
                if starts != plays(before, episode) {
                    emit(Activation::Episode { episode, at: now, starts });
                }
            }
        }
    }

    fn change_atria(&mut self, now: Instant, changed: bool, demand: &Demand, noise: &Noise) {
        let period = demand.period();
        match demand.rhythm.atria {
            Atria::Sinus | Atria::IndependentSinus(_) => {
                let sinus_period = demand.sinus_period();
                let running = self.clocks[Clock::Sinus as usize] != Instant::NEVER;
                let due = match self.last_sinus_due {
                    Some(last) if running => last.plus(sinus_period),
                    _ if now == Instant::ZERO => Instant::ZERO.plus(sinus_period.scaled(0.5)).minus(demand.pr),
                    _ => now.plus(sinus_period.scaled(0.6)),
                };
                if changed || running {
                    self.schedule_sinus(if due > now { due } else { now }, demand, noise);
                }
            }
            Atria::Fibrillation { .. } | Atria::Still => self.stop(Clock::Sinus),
        }
        match demand.rhythm.av {
            AvNode::Irregular { .. } if changed => {
                let due = match self.last_ventricular {
                    Some(last) => last.plus(period),
                    None => now.plus(period.scaled(0.5)),
                };
                self.clocks[Clock::Irregular as usize] = if due > now { due } else { now.plus(period.scaled(0.3)) };
            }
            AvNode::Irregular { .. } => {}
            AvNode::Conducting | AvNode::Blocked => self.stop(Clock::Irregular),
        }
    }

    fn change_ventricles(&mut self, now: Instant, changed: bool, demand: &Demand) {
        match demand.rhythm.ventricles {
            Ventricles::Focus if changed || self.last_from_ventricle.is_some() => {
                let due = match self.last_ventricular {
                    Some(last) => last.plus(demand.period()),
                    None => now.plus(demand.period().scaled(0.5)),
                };
                self.clocks[Clock::Focus as usize] = if due > now { due } else { now };
            }
            Ventricles::Focus => {}
            Ventricles::Following => self.stop(Clock::Focus),
            Ventricles::Fibrillation { .. } => {
                self.stop(Clock::Focus);
                self.conducting = [None; CONDUCTING];
                self.stop(Clock::Arrival);
            }
        }
    }

    fn stop(&mut self, clock: Clock) {
        self.clocks[clock as usize] = Instant::NEVER;
    }

    fn schedule_sinus(&mut self, due: Instant, demand: &Demand, noise: &Noise) {
        self.sinus_due = due;
        let wandering = demand.variability.displacement_s(due, demand.sinus_period(), noise);
        let at = due.shifted(wandering);
        let floor = self.last_atrial.map_or(Instant::ZERO, |last| last.plus(demand.sinus_period().scaled(0.3)));
        self.clocks[Clock::Sinus as usize] = if at > floor { at } else { floor };
    }

    /// Lets the earliest clock ring.
    pub fn fire(&mut self, demand: &Demand, noise: &Noise, emit: &mut dyn FnMut(Activation)) {
        let now = self.next();
        let Some(index) = self.clocks.iter().position(|clock| *clock == now) else {
            return;
        };
        if index == Clock::Sinus as usize {
            self.last_sinus_due = Some(self.sinus_due);
            self.schedule_sinus(self.sinus_due.plus(demand.sinus_period()), demand, noise);
            self.activate_atria(now, demand, emit);
        } else if index == Clock::Irregular as usize {
            let AvNode::Irregular { spread } = demand.rhythm.av else {
                self.stop(Clock::Irregular);
                return;
            };
            self.activate_ventricles(now, Origin::Conducted, None, demand, emit);
            let share = 1.0 + spread * self.deck.draw(noise, Purpose::FibrillationInterval);
            self.clocks[Clock::Irregular as usize] = now.plus(demand.period().scaled(math::max(share, 0.4)));
        } else if index == Clock::Arrival as usize {
            let arrived = self.conducting.iter_mut().find(|place| place.is_some_and(|impulse| impulse.arrives == now));
            let impulse = arrived.and_then(Option::take);
            self.clocks[Clock::Arrival as usize] = self.next_arrival();
            if let Some(impulse) = impulse {
                self.activate_ventricles(now, Origin::Conducted, impulse.p_onset, demand, emit);
            }
        } else if index == Clock::Ectopic as usize {
            self.stop(Clock::Ectopic);
            self.ectopic_count = self.ectopic_count.wrapping_add(1);
            self.conducted_since_ectopic = 0;
            self.plan_ectopic(demand, noise);
            self.activate_ventricles(now, Origin::Ventricle, None, demand, emit);
        } else {
            self.clocks[Clock::Focus as usize] = now.plus(demand.period());
            self.activate_ventricles(now, Origin::Ventricle, None, demand, emit);
        }
    }

    fn activate_atria(&mut self, now: Instant, demand: &Demand, emit: &mut dyn FnMut(Activation)) {
        emit(Activation::Atria { at: now });
        self.last_atrial = Some(now);
        if self.node_passes(now, demand) {
            self.last_entry = Some(now);
            let impulse = Conducting { arrives: now.plus(demand.pr), p_onset: Some(now) };
            if let Some(place) = self.conducting.iter_mut().find(|place| place.is_none()) {
                *place = Some(impulse);
            }
            self.clocks[Clock::Arrival as usize] = self.next_arrival();
        }
    }

    fn next_arrival(&self) -> Instant {
        self.conducting.iter().flatten().map(|impulse| impulse.arrives).min().unwrap_or(Instant::NEVER)
    }

    /// Whether the AV node takes an impulse from above.
    fn node_passes(&mut self, now: Instant, demand: &Demand) -> bool {
        if !matches!(demand.rhythm.av, AvNode::Conducting) {
            return false;
        }
        if core::mem::take(&mut self.concealed) {
            return false;
        }
        let refractory = demand.period().scaled(0.6).min(NODE_REFRACTORY);
        let entered = self.last_entry.is_some_and(|last| now.since(last) < refractory);
        let invaded = self.last_from_ventricle.is_some_and(|last| now.since(last) < INVADED);
        !entered && !invaded
    }

    fn activate_ventricles(
        &mut self,
        now: Instant,
        origin: Origin,
        p_onset: Option<Instant>,
        demand: &Demand,
        emit: &mut dyn FnMut(Activation),
    ) {
        if matches!(demand.rhythm.ventricles, Ventricles::Fibrillation { .. }) {
            return;
        }
        let refractory = demand.period().scaled(0.55).min(VENTRICLES_REFRACTORY);
        let interval = self.last_ventricular.map(|last| now.since(last));
        if interval.is_some_and(|interval| interval < refractory) {
            return;
        }
        self.last_ventricular = Some(now);
        let code = match origin {
            Origin::Conducted => BeatCode::Normal,
            Origin::Ventricle => BeatCode::VentricularPremature,
        };
        match origin {
            Origin::Conducted => {
                self.last_from_ventricle = None;
                self.conducted_since_ectopic = self.conducted_since_ectopic.saturating_add(1);
                self.schedule_ectopic(now, demand);
            }
            Origin::Ventricle => {
                self.last_from_ventricle = Some(now);
                // The impulse goes up as far as the node and meets there what comes down: the next sinus beat is lost,
                // so two RR make two sinus periods (compensatory pause).
                self.concealed = demand.rhythm.ectopy.is_some();
                self.conducting = [None; CONDUCTING];
                self.stop(Clock::Arrival);
            }
        }
        emit(Activation::Ventricles { at: now, origin, interval, p_onset, code });
    }

    /// After a conducted beat: is a premature beat due?
    fn schedule_ectopic(&mut self, now: Instant, demand: &Demand) {
        let Some(ectopy) = demand.rhythm.ectopy else {
            return;
        };
        if self.conducted_since_ectopic >= self.next_ectopic_after {
            self.clocks[Clock::Ectopic as usize] = now.plus(demand.period().scaled(ectopy.coupling));
        }
    }

    /// After how many conducted beats the next premature beat comes.
    fn plan_ectopic(&mut self, demand: &Demand, noise: &Noise) {
        self.next_ectopic_after = match demand.rhythm.ectopy.map(|ectopy| ectopy.pattern) {
            None => 0,
            Some(Pattern::AfterEvery(beats)) => beats.max(1),
            Some(Pattern::PerMinute(per_minute)) => {
                let mean = demand.rate_bpm / math::max(per_minute, 0.1);
                let share = 0.5 + noise.uniform(Purpose::Ectopy, self.ectopic_count);
                math::max(mean * share, 2.0) as u16
            }
        };
    }
}

impl Default for Heart {
    fn default() -> Heart {
        Heart::new()
    }
}

/// The AV node takes no second impulse this soon after one, or 60 % of a period where that is shorter.
const NODE_REFRACTORY: Span = Span::millis(300);
/// The ventricles answer no second impulse this soon after one, or 55 % of a period where that is shorter.
const VENTRICLES_REFRACTORY: Span = Span::millis(240);
/// For this long after a ventricular focus fired the node is still taken by its impulse from below.
const INVADED: Span = Span::millis(330);

/// Whether a rhythm is an episode of this kind.
fn plays(rhythm: &Rhythm, episode: Episode) -> bool {
    match episode {
        Episode::AtrialFibrillation => matches!(rhythm.atria, Atria::Fibrillation { .. }),
        Episode::VentricularFibrillation => {
            matches!(rhythm.ventricles, Ventricles::Fibrillation { .. })
        }
    }
}
