//! Pressures: what each beat of the heart starts at each site, and what the transducer there sees of it.
//!
//! ```text
//! P onset ─── a waves of the atria, kick in the ventricles
//! QRS onset ─┬─ c, x, v, y of atria and veins          ┐
//!            ├─ contraction of the ventricles          ├─ trace ── stopcock ── line ── channel
//!            └─ pulses of the arteries, of the brain   ┘
//! ```
//!
//! Each site has a [`trace::Trace`], the pressure in the vessel, and a [`line::Tap`], the way to the transducer.
//! Between events both are closed-form in time. What is told as a pulse is the pressure in the vessel.

pub mod arterial;
pub mod chambers;
pub mod contractions;
pub mod ejection;
pub mod intracranial;
pub mod line;
pub mod reach;
pub mod sites;
pub mod trace;

use crate::anatomy::PressureSite;
use crate::chosen::bit;
use crate::field::Field;
use crate::time::{Instant, Span};
use crate::truth::{Event, Observer};
use arterial::RADIAL;
use contractions::Contractions;
use ejection::{Ejection, Stroke};
use line::Tap;
use sites::Moment;
use trace::{Plan, Trace};

pub use crate::chosen::{AT_ONCE, Chosen, TooManySites};

/// Beats and atrial contractions whose effects have not all arrived: they last at most 0.23 s and come at least
/// 0.15 s apart each.
const PENDING: usize = 5;

/// Who contracts.
#[derive(Clone, Copy, Debug)]
enum Chambers {
    /// Perhaps against closed valves.
    Atria { closed: bool },
    /// See [`Stroke`].
    Ventricles { odd: bool },
}

/// What a contraction of atria or ventricles has still to start.
#[derive(Clone, Copy, Debug)]
struct Pending {
    onset: Instant,
    due: Instant,
    pre_ejection_s: f32,
    chambers: Chambers,
    /// Against a usual contraction.
    strength: f32,
    /// Sites still to come, by bit.
    left: u16,
}

impl Pending {
    const NONE: Pending = Pending {
        onset: Instant::ZERO,
        due: Instant::NEVER,
        pre_ejection_s: 0.0,
        chambers: Chambers::Atria { closed: false },
        strength: 0.0,
        left: 0,
    };

    fn new(onset: Instant, period: Span, chambers: Chambers, strength: f32, sites: u16) -> Pending {
        let pre_ejection_s = arterial::pre_ejection_s(period);
        let mut pending = Pending { onset, due: Instant::NEVER, pre_ejection_s, chambers, strength, left: sites };
        let arrivals = Chosen::from_bits(sites).sites().map(|site| pending.arrival(site));
        pending.due = arrivals.min().unwrap_or(Instant::NEVER);
        pending
    }

    fn arrival(&self, site: PressureSite) -> Instant {
        self.onset.plus(match self.chambers {
            Chambers::Ventricles { .. } => sites::beat_delay(site, self.pre_ejection_s),
            Chambers::Atria { .. } => sites::atrial_delay(site),
        })
    }

    /// Takes out the sites whose turn is now, and notes when the next ones' comes.
    fn take(&mut self) -> Chosen {
        let now = core::mem::replace(&mut self.due, Instant::NEVER);
        let mut taken = 0;
        for site in Chosen::from_bits(self.left).sites() {
            let arrives = self.arrival(site);
            if arrives == now {
                taken |= bit(site);
            } else {
                self.due = self.due.min(arrives);
            }
        }
        self.left &= !taken;
        Chosen::from_bits(taken)
    }
}

/// From P onset to the start of the a wave.
const A_WAVE: Span = Span::from_secs(chambers::A_WAVE_S);

/// From QRS onset to the closing of the valves.
const CLOSING: Span = Span::from_secs(chambers::CLOSING_S);

/// Sites at which the contraction of the atria starts something.
const ATRIAL: u16 = Chosen::EVERY
    & !bit(PressureSite::Arterial)
    & !bit(PressureSite::Femoral)
    & !bit(PressureSite::Pulmonary)
    & !bit(PressureSite::Intracranial);

/// All pressures.
#[derive(Clone, Debug)]
pub struct Pressures {
    chosen: Chosen,
    taps: [Tap; AT_ONCE],
    pending: [Pending; PENDING],
    ejection: Ejection,
    /// The aorta, in the heart's time: what an artery of the body has seen once the pulse has come to it. Kept at every beat, played
    /// or not, as the left ventricle and a cuff need it.
    aorta: Trace,
    /// Sites whose present cycle began with a pulse, by bit.
    pulsing: u16,
    /// When the ventricles last closed and opened their inflow valves.
    systole: (Instant, Instant),
    contractions: Contractions,
}

impl Pressures {
    /// Nothing under way, zero everywhere.
    pub fn new(chosen: Chosen) -> Pressures {
        Pressures {
            chosen,
            taps: core::array::from_fn(|_| Tap::new(Trace::at_rest(Instant::ZERO, 0.0))),
            pending: [Pending::NONE; PENDING],
            ejection: Ejection::new(),
            aorta: Trace::at_rest(Instant::ZERO, 0.0),
            pulsing: 0,
            systole: (Instant::ZERO, Instant::ZERO),
            contractions: Contractions::default(),
        }
    }

    /// The sites played.
    pub fn chosen(&self) -> Chosen {
        self.chosen
    }

    /// The start: every pulse under way so that the next comes with the first beat; at rest when no beat is coming.
    pub fn begin(&mut self, first_beat: Option<Instant>, moment: &Moment<'_>) {
        let stroke = Stroke { strength: moment.ejection, odd: false };
        let period = moment.period;
        let pre_ejection_s = arterial::pre_ejection_s(period);
        let aorta =
            first_beat.map_or(moment.rest(PressureSite::Arterial), |_| moment.before_beat(PressureSite::Arterial).0);
        self.aorta = Trace::at_rest(Instant::ZERO, aorta);
        for (site, tap) in self.chosen.sites().zip(&mut self.taps) {
            let rest = moment.rest(site);
            let before = |beat: Instant| {
                let next_s = beat.plus(sites::beat_delay(site, pre_ejection_s)).since(Instant::ZERO).as_secs();
                let plan = moment.beat(site, moment.before_beat(site), &stroke, &self.contractions)?;
                (next_s < period.as_secs()).then(|| plan.after(period.as_secs() - next_s))
            };
            let trace = match first_beat.and_then(before) {
                Some(plan) => Trace::new(Instant::ZERO, plan),
                None => Trace::at_rest(Instant::ZERO, rest),
            };
            *tap = Tap::new(trace);
        }
    }

    /// A step changed how the transducers are connected; `levels` are those that held before.
    pub fn connect(&mut self, levels: &[f32; PressureSite::COUNT], moment: &Moment<'_>) {
        for (site, tap) in self.chosen.sites().zip(&mut self.taps) {
            let level_mmhg = levels.get(site as usize).copied().unwrap_or(0.0);
            tap.connect(moment.at, level_mmhg, &moment.connection(site));
        }
    }

    /// The atria were activated and contract with this share of their usual force.
    pub fn atria(&mut self, onset: Instant, force: f32, moment: &Moment<'_>) {
        let start = onset.plus(A_WAVE);
        let (closing, opening) = self.systole;
        let closed = closing <= start && start < opening;
        self.contractions.atria(start.since(closing), force, closed);
        self.expect(Pending::new(onset, moment.period, Chambers::Atria { closed }, force, self.chosen.bits() & ATRIAL));
    }

    /// The ventricles were activated, `interval` after the time before (`None` for the first); `ejection` is the
    /// rhythm's share of a normal stroke.
    pub fn ventricles(&mut self, onset: Instant, interval: Option<Span>, ejection: f32, moment: &Moment<'_>) -> Stroke {
        let period = moment.period;
        let stroke = self.ejection.stroke(interval, ejection, period);
        let opening_s = arterial::pre_ejection_s(period) + arterial::ejection_time_s(period);
        let closing = onset.plus(CLOSING);
        self.contractions.ventricles(closing.since(self.systole.0));
        self.systole = (closing, onset.plus(Span::from_secs(opening_s)));
        // Atria that have been activated and contract only once the valves have closed do so against them.
        for pending in &mut self.pending {
            if let Chambers::Atria { closed } = &mut pending.chambers {
                *closed |= pending.onset.plus(A_WAVE) >= closing;
            }
        }
        let opening = onset.plus(Span::from_secs(arterial::pre_ejection_s(period)));
        let (foot_mmhg, _) = self.aorta.here(opening);
        let target = moment.target(PressureSite::Arterial, stroke.odd);
        if let Some(plan) = arterial::pulse(&RADIAL, foot_mmhg, stroke.strength, moment.ejection, &target) {
            self.aorta.begin(opening, &plan);
        }
        let ventricles = Chambers::Ventricles { odd: stroke.odd };
        self.expect(Pending::new(onset, period, ventricles, stroke.strength, self.chosen.bits()));
        stroke
    }

    /// Foot, highest and mean pressure, mmHg, of the pulse that the beat from `onset` sends into the arteries of the body; `None`
    /// when that beat was too weak to open the valve. The mean is to the next pulse expected.
    pub fn ejected(&self, onset: Instant, period: Span) -> Option<(f32, f32, f32)> {
        self.aorta.begun_after(onset).then(|| self.aorta.whole_pulse(period.as_secs()))
    }

    fn expect(&mut self, pending: Pending) {
        if let Some(place) = self.pending.iter_mut().find(|place| place.left == 0) {
            *place = pending;
        }
    }

    /// When something starts next; `NEVER` when nothing is on its way.
    pub fn next(&self) -> Instant {
        self.pending.iter().map(|pending| pending.due).min().unwrap_or(Instant::NEVER)
    }

    /// Starts what has arrived; tells `observer` of the pulses that this ends.
    pub fn start(&mut self, moment: &Moment<'_>, observer: &mut dyn Observer) {
        let now = self.next();
        let due = self.pending.iter_mut().filter(|pending| pending.left != 0 && pending.due == now);
        // Of two that are due together the earlier, wherever they are kept.
        let Some(pending) = due.min_by_key(|pending| pending.onset) else {
            return;
        };
        let (arrived, chambers, strength) = (pending.take(), pending.chambers, pending.strength);
        for site in arrived.sites() {
            match chambers {
                Chambers::Ventricles { odd } => self.start_beat(site, now, &Stroke { strength, odd }, moment, observer),
                Chambers::Atria { closed } => self.start_atrial(site, now, strength, closed, moment),
            }
        }
    }

    fn start_atrial(&mut self, site: PressureSite, now: Instant, force: f32, closed: bool, moment: &Moment<'_>) {
        let Some(tap) = self.tap(site) else {
            return;
        };
        let base = tap.trace.asymptote_mmhg();
        let (cycle, here) = tap.trace.close(now);
        let Some(plan) = &moment.atrial(site, here, base, force, closed) else {
            return;
        };
        tap.redirect(now, |trace| trace.follow(now, plan, cycle));
    }

    fn start_beat(
        &mut self,
        site: PressureSite,
        now: Instant,
        stroke: &Stroke,
        moment: &Moment<'_>,
        observer: &mut dyn Observer,
    ) {
        let told = observer.listens() && self.is_told(site, moment);
        let Some(tap) = self.chosen.place(site).and_then(|place| self.taps.get_mut(place)) else {
            return;
        };
        let (cycle, here) = if told {
            let (cycle, here) = tap.trace.close(now);
            (Some(cycle), here)
        } else {
            (None, tap.trace.here(now))
        };
        let Some(plan) = &moment.beat(site, here, stroke, &self.contractions) else {
            return;
        };
        tap.redirect(now, |trace| trace.begin(now, plan));
        let whip = moment.whip(site);
        if whip > 0.0 {
            tap.strike(now, whip);
        }
        self.pulsing |= bit(site);
        if let Some(cycle) = cycle {
            observer.observe(Event::Pulse(cycle.pulse(site, now)));
        }
    }

    /// Whether the cycle at a site is a pulse, and the transducer open to it.
    fn is_told(&self, site: PressureSite, moment: &Moment<'_>) -> bool {
        self.pulsing & bit(site) != 0 && moment.open(site) >= 0.5
    }

    /// The pulses cut off by the end of the script at `end`.
    pub fn finish(&mut self, end: Instant, moment: &Moment<'_>, observer: &mut dyn Observer) {
        for site in self.chosen.sites() {
            let told = self.is_told(site, moment);
            if let Some(tap) = self.tap(site).filter(|_| told) {
                observer.observe(Event::Pulse(tap.trace.close(end).0.pulse(site, end)));
            }
        }
        self.pulsing = 0;
    }

    /// Plays no site until [`Pressures::recall`]; what the heart does is kept, as it costs little. Says which sites were played.
    pub fn rest(&mut self) -> Chosen {
        core::mem::replace(&mut self.chosen, Chosen::NONE)
    }

    /// Plays these sites again; from here on contractions are followed to where they arrive.
    pub fn recall(&mut self, chosen: Chosen) {
        self.chosen = chosen;
    }

    /// Forgets the pressures at every site, when all has arrived that contracted before [`Pressures::recall`].
    ///
    /// What is not known is no number, and whatever is worked out of it is none either: nothing in this module takes another
    /// way round it. Beats draw over it until all is known again.
    pub fn forget(&mut self, moment: &Moment<'_>) {
        for (site, tap) in self.chosen.sites().zip(&mut self.taps) {
            *tap = Tap::new(Trace::new(moment.at, Plan::unknown()));
            tap.connect(moment.at, 0.0, &moment.connection(site));
        }
        self.pulsing = 0;
    }

    /// Whether all is known to the last bit, as if nothing had been forgotten.
    pub fn are_known(&self) -> bool {
        self.chosen.sites().zip(&self.taps).all(|(_, tap)| tap.is_known())
    }

    /// What the transducer at a site sees, if that site is played.
    pub(crate) fn tap(&mut self, site: PressureSite) -> Option<&mut Tap> {
        self.taps.get_mut(self.chosen.place(site)?)
    }
}

/// Levels of every transducer, mmHg.
pub(crate) fn levels(value: &dyn Fn(Field) -> f32) -> [f32; PressureSite::COUNT] {
    core::array::from_fn(|i| PressureSite::ALL.get(i).map_or(0.0, |site| value(sites::fields(*site).level)))
}
