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
pub mod ejection;
pub mod intracranial;
pub mod line;
pub mod sites;
pub mod trace;

use crate::frame::{Channel, PressureSite};
use crate::settings::Field;
use crate::time::{Instant, Span};
use crate::truth::Pulse;
use chambers::Last;
use core::fmt;
use ejection::{Ejection, Stroke};
use line::Tap;
use sites::Moment;
use trace::{Cycle, Trace};

/// Beats and atrial contractions whose effects have not all arrived: they last at most 0.23 s and come at least
/// 0.15 s apart each.
const PENDING: usize = 5;

/// Pressures played at once.
pub const AT_ONCE: usize = 8;

/// A choice of at most [`AT_ONCE`] sites.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chosen(u16);

/// More than [`AT_ONCE`] sites.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooManySites(
    /// How many.
    pub usize,
);

impl fmt::Display for TooManySites {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} pressures at once, where {AT_ONCE} are possible", self.0)
    }
}

impl core::error::Error for TooManySites {}

impl Chosen {
    /// Every site but the two atria, whose pressures central vein and wedge show too.
    pub const USUAL: Chosen = Chosen(0x3ff & !bit(PressureSite::RightAtrium) & !bit(PressureSite::LeftAtrium));

    /// These sites.
    pub fn new(sites: &[PressureSite]) -> Result<Chosen, TooManySites> {
        Chosen::of_bits(sites.iter().fold(0, |bits, site| bits | bit(*site)))
    }

    /// The sites of those of `channels` that are pressures.
    pub fn of(channels: &[Channel]) -> Result<Chosen, TooManySites> {
        let site = |channel: &Channel| if let Channel::Pressure(site) = channel { bit(*site) } else { 0 };
        let bits = channels.iter().fold(0, |bits, channel| bits | site(channel));
        Chosen::of_bits(bits)
    }

    fn of_bits(bits: u16) -> Result<Chosen, TooManySites> {
        let count = bits.count_ones() as usize;
        if count > AT_ONCE { Err(TooManySites(count)) } else { Ok(Chosen(bits)) }
    }

    /// Whether a site is among them.
    pub fn has(self, site: PressureSite) -> bool {
        self.0 & bit(site) != 0
    }

    /// The sites, in their order.
    pub fn sites(self) -> impl Iterator<Item = PressureSite> {
        PressureSite::ALL.iter().copied().filter(move |site| self.has(*site))
    }

    fn place(self, site: PressureSite) -> Option<usize> {
        self.has(site).then(|| (self.0 & (bit(site) - 1)).count_ones() as usize)
    }
}

/// A contraction.
#[derive(Clone, Copy, Debug)]
enum Contraction {
    /// Of the atria, with this share of their usual force.
    Atria(f32),
    Ventricles(Stroke),
}

/// What a contraction of atria or ventricles has still to start.
#[derive(Clone, Copy, Debug)]
struct Pending {
    onset: Instant,
    due: Instant,
    period_s: f32,
    contraction: Contraction,
    /// Sites still to come, by bit.
    left: u16,
}

impl Pending {
    const NONE: Pending = Pending {
        onset: Instant::ZERO,
        due: Instant::NEVER,
        period_s: 1.0,
        contraction: Contraction::Atria(0.0),
        left: 0,
    };

    fn new(onset: Instant, period: Span, contraction: Contraction, chosen: Chosen) -> Pending {
        let mut pending = Pending { onset, due: Instant::NEVER, period_s: period.as_secs(), contraction, left: 0 };
        for site in chosen.sites() {
            if let Some(delay) = pending.delay(site) {
                pending.left |= bit(site);
                pending.due = pending.due.min(onset.plus(delay));
            }
        }
        pending
    }

    fn delay(&self, site: PressureSite) -> Option<Span> {
        match self.contraction {
            Contraction::Ventricles(_) => Some(sites::beat_delay(site, Span::from_secs(self.period_s))),
            Contraction::Atria(_) => sites::atrial_delay(site),
        }
    }

    /// Takes out the first site whose turn is now, and notes when the next one's comes.
    fn take(&mut self) -> Option<PressureSite> {
        let now = core::mem::replace(&mut self.due, Instant::NEVER);
        let mut taken = None;
        for site in PressureSite::ALL.iter().copied().filter(|site| self.left & bit(*site) != 0) {
            let arrives = self.delay(site).map_or(Instant::NEVER, |delay| self.onset.plus(delay));
            if arrives == now && taken.is_none() {
                taken = Some(site);
            } else {
                self.due = self.due.min(arrives);
            }
        }
        self.left &= !taken.map_or(0, bit);
        taken
    }
}

const fn bit(site: PressureSite) -> u16 {
    1 << site as u16
}

/// All pressures.
#[derive(Clone, Debug)]
pub struct Pressures {
    chosen: Chosen,
    taps: [Tap; AT_ONCE],
    pending: [Pending; PENDING],
    ejection: Ejection,
    /// Sites whose present cycle began with a pulse, by bit.
    pulsing: u16,
    /// Sites that saw an a wave since the last beat, by bit.
    contracted: u16,
    /// When the ventricles last closed and opened their inflow valves.
    systole: Option<(Instant, Instant)>,
}

impl Pressures {
    /// Nothing under way, zero everywhere.
    pub fn new(chosen: Chosen) -> Pressures {
        Pressures {
            chosen,
            taps: core::array::from_fn(|_| Tap::new(Trace::at_rest(Instant::ZERO, 0.0))),
            pending: [Pending::NONE; PENDING],
            ejection: Ejection::new(),
            pulsing: 0,
            contracted: 0,
            systole: None,
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
        for (site, tap) in self.chosen.sites().zip(&mut self.taps) {
            let rest = moment.rest(site);
            let before = |beat: Instant| {
                let next_s = beat.plus(sites::beat_delay(site, period)).since(Instant::ZERO).as_secs();
                let plan = moment.beat(site, moment.before_beat(site), &stroke, false, None)?;
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
        self.expect(Pending::new(onset, moment.period, Contraction::Atria(force), self.chosen));
    }

    /// The ventricles were activated, `interval` after the time before (`None` for the first); `ejection` is the
    /// rhythm's share of a normal stroke.
    pub fn ventricles(&mut self, onset: Instant, interval: Option<Span>, ejection: f32, moment: &Moment<'_>) -> Stroke {
        let period = moment.period;
        let stroke = self.ejection.stroke(interval, ejection, period);
        let opening_s = arterial::pre_ejection_s(period) + arterial::ejection_time_s(period);
        self.systole = Some((onset.shifted(chambers::CLOSING_S), onset.shifted(opening_s)));
        self.expect(Pending::new(onset, period, Contraction::Ventricles(stroke), self.chosen));
        stroke
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

    /// Starts what has arrived; tells of the pulse that it ends.
    pub fn start(&mut self, moment: &Moment<'_>) -> Option<Pulse> {
        let now = self.next();
        let pending = self.pending.iter_mut().find(|pending| pending.left != 0 && pending.due == now)?;
        let arrived = pending.take()?;
        match pending.contraction {
            Contraction::Ventricles(stroke) => self.start_beat(arrived, now, &stroke, moment),
            Contraction::Atria(force) => {
                self.start_atrial(arrived, now, force, moment);
                None
            }
        }
    }

    fn start_atrial(&mut self, site: PressureSite, now: Instant, force: f32, moment: &Moment<'_>) {
        // What counts is when the atrium contracts, not when that is seen here.
        let contraction = now.minus(sites::lag(site));
        let closed = self.systole.is_some_and(|(closing, opening)| closing <= contraction && contraction < opening);
        let Some(tap) = self.tap(site) else {
            return;
        };
        let base = tap.trace.asymptote_mmhg();
        let Some(plan) = moment.atrial(site, tap.trace.here(now), base, force, closed) else {
            return;
        };
        tap.redirect(now, |trace| trace.follow(now, plan));
        self.contracted |= bit(site);
    }

    fn start_beat(&mut self, site: PressureSite, now: Instant, stroke: &Stroke, moment: &Moment<'_>) -> Option<Pulse> {
        let contracted = self.contracted & bit(site) != 0;
        self.contracted &= !bit(site);
        let pulsing = self.pulsing & bit(site) != 0;
        let tap = self.tap(site)?;
        let cycle = tap.trace.close(now);
        let last = pulsing.then(|| Last { rest_mmhg: tap.trace.asymptote_mmhg(), mean_mmhg: cycle.mean_mmhg(now) });
        let plan = moment.beat(site, tap.trace.here(now), stroke, contracted, last.as_ref())?;
        let told = self.pulse_of(&cycle, site, now, moment);
        let whip = moment.whip(site);
        let tap = self.tap(site)?;
        tap.redirect(now, |trace| trace.begin(now, plan));
        if whip > 0.0 {
            tap.strike(now, whip);
        }
        self.pulsing |= bit(site);
        told
    }

    /// The pulse at `site` that `cycle` was until `end`, if it was one and the transducer is open to it.
    fn pulse_of(&self, cycle: &Cycle, site: PressureSite, end: Instant, moment: &Moment<'_>) -> Option<Pulse> {
        if self.pulsing & bit(site) == 0 || moment.connection(site).open < 0.5 {
            return None;
        }
        Some(Pulse {
            site,
            foot: cycle.from(),
            foot_mmhg: cycle.foot_mmhg,
            rise: Span::from_secs(cycle.highest_s),
            systolic_mmhg: cycle.highest_mmhg,
            end,
            lowest_mmhg: cycle.lowest_mmhg,
            mean_mmhg: cycle.mean_mmhg(end),
        })
    }

    /// The pulses cut off by the end of the script at `end`.
    pub fn finish(&mut self, end: Instant, moment: &Moment<'_>, mut tell: impl FnMut(Pulse)) {
        for site in self.chosen.sites() {
            let Some(tap) = self.tap(site) else {
                continue;
            };
            let cycle = tap.trace.close(end);
            if let Some(pulse) = self.pulse_of(&cycle, site, end, moment) {
                tell(pulse);
            }
        }
        self.pulsing = 0;
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
