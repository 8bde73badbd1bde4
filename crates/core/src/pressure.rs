//! Pressures: the pulse of each beat at each site, and the transducer's view of it.
//!
//! ```text
//! P onset ─── a waves of the atria, kick in the ventricles
//! QRS onset ─┬─ c, x, v, y of atria and veins          ┐
//!            ├─ contraction of the ventricles          ├─ trace ── stopcock ── line ── channel
//!            └─ pulses of the arteries, of the brain   ┘
//! ```
//!
//! Each site has a `trace::Trace`, the pressure in the vessel, and a `line::Transducer`, which sees it through stopcock and line.
//! Between events both are closed-form in time. To both comes what the chest adds as it breathes (`chest`), which is so slow that no
//! line changes it. The pulses reported are those in the vessel.

pub(crate) mod arterial;
pub(crate) mod chambers;
mod chest;
pub(crate) mod compressions;
mod conditions;
pub(crate) mod contractions;
pub(crate) mod ejection;
pub(crate) mod intracranial;
pub(crate) mod line;
pub(crate) mod reach;
mod rests;
pub(crate) mod sites;
pub(crate) mod trace;

use crate::anatomy::PressureSite;
use crate::math::max;
use crate::respiration::Respiration;
use crate::site_set::bit;
use crate::time::{Instant, Span};
use crate::truth::{Event, Observer};
use chest::Chest;
use compressions::Compressions;
use contractions::Contractions;
use ejection::{Ejection, Stroke};
use line::{PressureLine, Transducer};
use rests::Rests;
use sites::{HeartState, Moment, Sides, SiteBeat};
use trace::{Trace, TracePlan};

pub(crate) use conditions::{PressureConditions, TransducerConditions};

pub use crate::site_set::{AT_ONCE, SiteSet, TooManySites};

/// Beats and atrial contractions whose effects have not all arrived: they last at most 0.23 s and come at least
/// 0.15 s apart each.
const PENDING: usize = 5;

/// Who contracts.
#[derive(Clone, Copy, Debug)]
enum Chambers {
    /// With a share of their usual force, perhaps against closed valves.
    Atria { force: f32, closed: bool },
    /// In a beat.
    Ventricles(SiteBeat),
}

/// Effects of a contraction of atria or ventricles that are still to start.
#[derive(Clone, Copy, Debug)]
struct Pending {
    onset: Instant,
    due: Instant,
    period: Span,
    chambers: Chambers,
    /// Sites that it has not reached, by bit.
    left: u16,
}

impl Pending {
    const NONE: Pending = Pending {
        onset: Instant::ZERO,
        due: Instant::NEVER,
        period: Span::ZERO,
        chambers: Chambers::Atria { force: 0.0, closed: false },
        left: 0,
    };

    fn new(onset: Instant, period: Span, chambers: Chambers, sites: u16) -> Pending {
        let mut pending = Pending { onset, due: Instant::NEVER, period, chambers, left: sites };
        let arrivals = SiteSet::from_bits(sites).sites().map(|site| pending.arrival(site));
        pending.due = arrivals.min().unwrap_or(Instant::NEVER);
        pending
    }

    fn arrival(&self, site: PressureSite) -> Instant {
        self.onset.plus(match self.chambers {
            Chambers::Ventricles(_) => sites::beat_delay(site, self.period),
            Chambers::Atria { .. } => sites::atrial_delay(site),
        })
    }

    /// Takes out the sites that are due now, and sets the time of the next.
    fn take(&mut self) -> SiteSet {
        let now = core::mem::replace(&mut self.due, Instant::NEVER);
        let mut taken = 0;
        for site in SiteSet::from_bits(self.left).sites() {
            let arrives = self.arrival(site);
            if arrives == now {
                taken |= bit(site);
            } else {
                self.due = self.due.min(arrives);
            }
        }
        self.left &= !taken;
        SiteSet::from_bits(taken)
    }
}

/// How much stronger atria that go their own way make a beat when they happen to contract just before it (the atrial
/// contribution to the stroke is 15 to 25 %; textbook, from memory).
const KICK: f32 = 1.15;

/// Lowest and highest pressure that a site can have had, mmHg.
pub(crate) const EXTREMES_MMHG: [f32; 2] = [-60.0, 400.0];

/// A site that the pressure in the chest does not reach, as it does not reach the arteries that the beats go on from.
const BODY: PressureSite = PressureSite::Arterial;

/// From P onset to the start of the a wave.
const A_WAVE: Span = Span::from_secs(chambers::A_WAVE_S);

/// Sites at which the contraction of the atria starts something.
const ATRIAL: u16 = SiteSet::EVERY
    & !bit(PressureSite::Arterial)
    & !bit(PressureSite::Femoral)
    & !bit(PressureSite::Pulmonary)
    & !bit(PressureSite::Intracranial);

/// All pressures.
#[derive(Clone, Debug)]
pub(crate) struct Pressures {
    chosen: SiteSet,
    transducers: [Transducer; AT_ONCE],
    pending: [Pending; PENDING],
    ejection: Ejection,
    /// Aorta and pulmonary artery at the heart; the other sites of an artery see the same pulse later. Followed at every beat,
    /// played or not, as ventricles and cuff need them.
    arteries: Sides<Trace>,
    rests: Rests,
    /// Sites whose present cycle began with a pulse, by bit.
    pulsing: u16,
    /// From when to when atria that begin to contract do so against closed inflow valves, in the last beat.
    systole: (Instant, Instant),
    contractions: Contractions,
    compressions: Compressions,
}

impl Pressures {
    /// No pulse in progress, zero everywhere.
    pub(crate) fn new(chosen: SiteSet) -> Pressures {
        Pressures {
            chosen,
            transducers: core::array::from_fn(|_| Transducer::new(Trace::at_rest(Instant::ZERO, 0.0))),
            pending: [Pending::NONE; PENDING],
            ejection: Ejection::new(),
            arteries: Sides { left: Trace::at_rest(Instant::ZERO, 0.0), right: Trace::at_rest(Instant::ZERO, 0.0) },
            rests: Rests::default(),
            pulsing: 0,
            systole: (Instant::ZERO, Instant::ZERO),
            contractions: Contractions::default(),
            compressions: Compressions::NONE,
        }
    }

    /// The sites played.
    pub(crate) fn chosen(&self) -> SiteSet {
        self.chosen
    }

    /// The start: every pulse in progress, so that the next comes with the first beat; at rest when no beat is coming.
    pub(crate) fn begin(&mut self, first_beat: Option<Instant>, moment: &Moment<'_>) {
        let beat = moment.beat(Stroke { strength: moment.ejection, odd: false }, None);
        self.rests.seek(moment);
        self.rests.find_both(&self.contractions);
        let rests = self.rests.mmhg();
        let period_s = moment.period.as_secs();
        // So far into a regular beat that it ends with the next; at its start when that comes late.
        let gone_s = |delay: Span| {
            let next = first_beat.map(|onset| onset.plus(delay).since(Instant::ZERO).as_secs())?;
            (next < 2.0 * period_s).then(|| max(period_s - next, 0.0))
        };
        let trace = |plan: Option<TracePlan>, rest_mmhg: f32| match plan {
            Some(plan) => Trace::new(Instant::ZERO, plan),
            None => Trace::at_rest(Instant::ZERO, rest_mmhg),
        };
        let whole = |site| moment.pulse(site, moment.before_beat(site, rests).0, &beat);
        let opening = gone_s(Span::from_secs(arterial::pre_ejection_s(moment.period)));
        let artery = |site| trace(whole(site).zip(opening).map(|(plan, gone_s)| plan.after(gone_s)), moment.rest(site));
        let arteries = Sides { left: artery(PressureSite::Arterial), right: artery(PressureSite::Pulmonary) };
        let regular = |site, rest_mmhg| trace(whole(site), rest_mmhg);
        let regular =
            Sides { left: regular(PressureSite::Arterial, 0.0), right: regular(PressureSite::Pulmonary, 0.0) };
        let heart = HeartState { arteries: &regular, rests, contractions: &self.contractions };
        for (site, transducer) in self.chosen.sites().zip(&mut self.transducers) {
            let start = || moment.start(site, moment.before_beat(site, rests), &beat, &heart);
            let gone_s = gone_s(sites::beat_delay(site, moment.period));
            let plan = gone_s.and_then(|gone_s| Some(start()?.after(gone_s)));
            *transducer = Transducer::new(trace(plan, moment.rest(site)));
        }
        self.arteries = arteries;
    }

    /// A step changed the connections of the transducers; `levels` are those before, mmHg, of the sites played.
    pub(crate) fn connect(
        &mut self,
        now: Instant,
        levels: &[f32; AT_ONCE],
        respiration: &Respiration,
        set: impl Fn(PressureSite) -> TransducerConditions,
    ) {
        for ((site, transducer), level) in self.chosen.sites().zip(&mut self.transducers).zip(levels) {
            let pressed = |line: &PressureLine| self.compressions.seen(site, line, now);
            let chest = Chest::new(site, respiration);
            transducer.connect(now, *level, &set(site).connection(), &chest, pressed);
        }
    }

    /// Settings changed: with no beat to come, every pressure goes where they now put it.
    pub(crate) fn change(&mut self, moment: &Moment<'_>) {
        let now = moment.at;
        for (site, transducer) in self.chosen.sites().zip(&mut self.transducers) {
            let still = moment.still(site);
            if !transducer.trace.retarget(now, still) {
                let rest = transducer.trace.rest_of_plan(now, still);
                let (cycle, _) = transducer.trace.close(now, &moment.chest(site));
                transducer.redirect(now, |trace| trace.follow(now, &rest, cycle));
            }
        }
        let Sides { left, right } = &mut self.arteries;
        for (site, trace) in [(PressureSite::Arterial, left), (PressureSite::Pulmonary, right)] {
            let still = moment.still(site);
            if !trace.retarget(now, still) {
                let (rest, (cycle, _)) = (trace.rest_of_plan(now, still), trace.close(now, &moment.chest(BODY)));
                trace.follow(now, &rest, cycle);
            }
        }
    }

    /// The atria were activated and contract with this share of their usual force.
    pub(crate) fn atria(&mut self, onset: Instant, force: f32, moment: &Moment<'_>) {
        let start = onset.plus(A_WAVE);
        let (closing, opening) = self.systole;
        let closed = closing <= start && start < opening;
        self.contractions.atria(start.since(closing), force, closed);
        let chambers = Chambers::Atria { force, closed };
        self.expect(Pending::new(onset, moment.period, chambers, self.chosen.bits() & ATRIAL));
    }

    /// The ventricles were activated, `interval` after the time before (`None` for the first). They are `led` where the atria do not go
    /// a way of their own, so that these can't happen to fill them.
    pub(crate) fn ventricles(&mut self, onset: Instant, interval: Option<Span>, led: bool, moment: &Moment<'_>) {
        let period = moment.period;
        let mut stroke = self.ejection.stroke(interval, moment.ejection, period);
        let timing = moment.timing(interval);
        let closing = onset.plus(Span::from_secs(chambers::closing_s(timing)));
        self.contractions.ventricles(closing.since(self.systole.0));
        self.systole = (closing, closing.plus(Span::from_secs(chambers::closed_s(timing))));
        if !led && self.contractions.kicked() {
            stroke.strength *= KICK;
        }
        // Atria that were activated but contract after the valves have closed contract against them.
        for pending in &mut self.pending {
            if let Chambers::Atria { closed, .. } = &mut pending.chambers {
                *closed |= pending.onset.plus(A_WAVE) >= closing;
            }
        }
        if self.chosen.bits() & ATRIAL != 0 {
            self.rests.seek(moment);
        }
        let beat = moment.beat(stroke, interval);
        let opening = onset.plus(Span::from_secs(arterial::pre_ejection_s(timing)));
        let Sides { left, right } = &mut self.arteries;
        for (site, trace) in [(PressureSite::Arterial, left), (PressureSite::Pulmonary, right)] {
            if let Some(plan) = moment.pulse(site, trace.here(opening).0, &beat) {
                trace.begin(opening, &plan, &moment.chest(BODY));
            }
        }
        self.expect(Pending::new(onset, timing, Chambers::Ventricles(beat), self.chosen.bits()));
    }

    /// Foot, highest and mean pressure, mmHg, of the pulse that the beat from `onset` sends into the arteries of the body; `None`
    /// when that beat was too weak to open the valve. The mean is to the next pulse expected.
    pub(crate) fn ejected(&self, onset: Instant, period: Span) -> Option<(f32, f32, f32)> {
        let aorta = &self.arteries.left;
        aorta.begun_after(onset).then(|| aorta.whole_pulse(period.as_secs()))
    }

    /// Does a part of the work that the last beat has left for the frames after it.
    #[inline]
    pub(crate) fn prepare(&mut self) {
        self.rests.find_one(&self.contractions);
    }

    fn expect(&mut self, pending: Pending) {
        if let Some(place) = self.pending.iter_mut().find(|place| place.left == 0) {
            *place = pending;
        }
    }

    /// When something starts next; `NEVER` when nothing is on its way.
    pub(crate) fn next(&self) -> Instant {
        let pending = self.pending.iter().map(|pending| pending.due).min().unwrap_or(Instant::NEVER);
        pending.min(self.compressions.next())
    }

    /// Starts the effects that have arrived; reports the pulses that this ends to `observer`.
    pub(crate) fn start(&mut self, moment: &Moment<'_>, observer: &mut dyn Observer) {
        let now = self.next();
        if now == self.compressions.next() {
            return self.start_compression(now, moment);
        }
        let due = self.pending.iter_mut().filter(|pending| pending.left != 0 && pending.due == now);
        // When two are due together, the earlier onset comes first.
        let Some(pending) = due.min_by_key(|pending| pending.onset) else {
            return;
        };
        let (arrived, chambers) = (pending.take(), pending.chambers);
        for site in arrived.sites() {
            match chambers {
                Chambers::Ventricles(beat) => self.start_beat(site, now, &beat, moment, observer),
                Chambers::Atria { force, closed } => self.start_atrial(site, now, force, closed, moment),
            }
        }
    }

    /// A step begins at `now` that ends at `until`, or one without compressions when that is `now` too.
    pub(crate) fn compress(&mut self, now: Instant, until: Instant, moment: &Moment<'_>) {
        self.compressions.change(now, until, moment.set.compressions_per_min);
    }

    fn start_compression(&mut self, now: Instant, moment: &Moment<'_>) {
        let part = self.compressions.begin(moment.set.compression_mmhg);
        for (site, transducer) in self.chosen.sites().zip(&mut self.transducers) {
            transducer.press(now, &moment.chest(site), |line| self.compressions.kick(part, site, line));
        }
        self.compressions.go_on(part, moment.set.compressions_per_min);
    }

    /// Adds the compression under way to what the transducer at a site shows.
    pub(crate) fn add_compression<'m>(
        &self,
        site: PressureSite,
        instants: &[Instant],
        shown: impl Iterator<Item = &'m mut f32>,
    ) {
        if let Some(transducer) = self.chosen.place(site).and_then(|place| self.transducers.get(place)) {
            let (line, open) = transducer.way();
            if open > 0.0 {
                self.compressions.add_to(site, line, instants, shown);
            }
        }
    }

    fn start_atrial(&mut self, site: PressureSite, now: Instant, force: f32, closed: bool, moment: &Moment<'_>) {
        let waited_s = now.since(self.systole.0).as_secs() - 2.0 * moment.period.as_secs();
        self.rests.find_both(&self.contractions);
        let heart = HeartState { arteries: &self.arteries, rests: self.rests.mmhg(), contractions: &self.contractions };
        let Some(transducer) = self.chosen.place(site).and_then(|place| self.transducers.get_mut(place)) else {
            return;
        };
        let plan = moment.atrial(site, &transducer.trace, &heart, force, closed, waited_s);
        let (cycle, _) = transducer.trace.close(now, &moment.chest(site));
        transducer.redirect(now, |trace| trace.follow(now, &plan, cycle));
    }

    fn start_beat(
        &mut self,
        site: PressureSite,
        now: Instant,
        beat: &SiteBeat,
        moment: &Moment<'_>,
        observer: &mut dyn Observer,
    ) {
        let reported = observer.listens() && self.is_reported(site, moment);
        let Some(transducer) = self.chosen.place(site).and_then(|place| self.transducers.get_mut(place)) else {
            return;
        };
        let chest = &moment.chest(site);
        let (cycle, here) = if reported {
            let (cycle, here) = transducer.trace.close(now, chest);
            (Some(cycle), here)
        } else {
            (None, transducer.trace.here(now))
        };
        if ATRIAL & bit(site) != 0 {
            self.rests.find_both(&self.contractions);
        }
        let heart = HeartState { arteries: &self.arteries, rests: self.rests.mmhg(), contractions: &self.contractions };
        let Some(plan) = &moment.start(site, here, beat, &heart) else {
            return;
        };
        transducer.redirect(now, |trace| trace.begin(now, plan, chest));
        let whip = moment.whip(site);
        if whip > 0.0 {
            transducer.strike(now, whip);
        }
        self.pulsing |= bit(site);
        if let Some(cycle) = cycle {
            observer.observe(Event::Pulse(cycle.pulse(site, now, chest)));
        }
    }

    /// Whether the cycle at a site is a pulse, and the transducer open to it.
    fn is_reported(&self, site: PressureSite, moment: &Moment<'_>) -> bool {
        self.pulsing & bit(site) != 0 && moment.is_open(site)
    }

    /// The pulses cut off by the end of the script at `end`.
    pub(crate) fn finish(&mut self, end: Instant, moment: &Moment<'_>, observer: &mut dyn Observer) {
        for site in self.chosen.sites() {
            let reported = self.is_reported(site, moment);
            if let Some(transducer) = self.transducer(site).filter(|_| reported) {
                let chest = &moment.chest(site);
                observer.observe(Event::Pulse(transducer.trace.close(end, chest).0.pulse(site, end, chest)));
            }
        }
        self.pulsing = 0;
    }

    /// Plays no site until [`Pressures::recall`]; still follows the heart, as that costs little. Returns the sites that were played.
    pub(crate) fn rest(&mut self) -> SiteSet {
        // Beats that no site is played for leave these as they are.
        self.rests.find_both(&self.contractions);
        core::mem::replace(&mut self.chosen, SiteSet::NONE)
    }

    /// Plays these sites again; contractions from here on reach them.
    pub(crate) fn recall(&mut self, chosen: SiteSet) {
        self.chosen = chosen;
    }

    /// Sets the pressure at every site to `mmhg`, when all contractions before [`Pressures::recall`] have arrived.
    ///
    /// Beats draw over it. Once the lowest and the highest pressure have led to the same, any pressure between would have too.
    pub(crate) fn forget(
        &mut self,
        now: Instant,
        mmhg: f32,
        respiration: &Respiration,
        set: impl Fn(PressureSite) -> TransducerConditions,
    ) {
        for (site, transducer) in self.chosen.sites().zip(&mut self.transducers) {
            *transducer = Transducer::new(Trace::at_rest(now, mmhg));
            let pressed = |line: &PressureLine| self.compressions.seen(site, line, now);
            transducer.connect(now, 0.0, &set(site).connection(), &Chest::new(site, respiration), pressed);
        }
        self.pulsing = 0;
    }

    /// Whether every site has the pressure that it has in `other`, now and from now on, to the last bit.
    pub(crate) fn agree(&self, other: &Pressures) -> bool {
        let transducers = self.transducers.iter().zip(&other.transducers);
        self.pulsing == other.pulsing
            && self.chosen.sites().zip(transducers).all(|(_, (transducer, other))| transducer.agrees(other))
    }

    /// A breath begins at `now`, after those of `respiration`.
    pub(crate) fn breathe(&mut self, now: Instant, respiration: &Respiration) {
        for (site, transducer) in self.chosen.sites().zip(&mut self.transducers) {
            transducer.trace.breathe(now, &Chest::new(site, respiration));
        }
    }

    /// Fall with full lungs that the transducer at a site shows, mmHg.
    pub(crate) fn falls_mmhg(&self, site: PressureSite, respiration: &Respiration) -> f32 {
        let open =
            self.chosen.place(site).and_then(|place| self.transducers.get(place)).map_or(0.0, |seen| seen.way().1);
        open * Chest::new(site, respiration).fall_mmhg()
    }

    /// The transducer at a site, if that site is played.
    pub(crate) fn transducer(&mut self, site: PressureSite) -> Option<&mut Transducer> {
        self.transducers.get_mut(self.chosen.place(site)?)
    }
}
