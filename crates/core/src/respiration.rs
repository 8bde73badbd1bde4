//! Breathing: breaths one after another, and the impedance that they and the heart make.
//!
//! ```text
//!        .-.                   .-.
//!       /   \                 /   \
//! _____/     '.__rest________/     '.__   depth over the base; inspiration : expiration as set
//!      |period to the ms     |
//! ```
//!
//! Periodic breathing is breaths for a while, then a pause. A pause is reported as an apnoea from the end of the last breath to
//! the start of the next; so is breathing without rate or depth, in which no breath is reported.
//!
//! Against a closed throat the chest is drawn in while the diaphragm pulls, so that the impedance falls at each effort (paradoxical
//! movement: texts of sleep medicine, from memory; its sign in the impedance is common practice, no source). Efforts are reported as
//! breaths that say so.

use crate::ecg::deflection::Bump;
use crate::field::Field;
use crate::math;
use crate::reach::{SettingRanges, ValueRange};
use crate::time::{Instant, Span};
use crate::truth::Breath;

/// Settings of breathing from now on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BreathingConditions {
    /// Breaths a minute; 0 is apnoea.
    pub per_minute: f32,
    /// Depth, ohm; 0 is apnoea.
    pub depth_ohm: f32,
    /// Expiration over inspiration time.
    pub expiration_ratio: f32,
    /// A ventilator's breaths: filled fast, emptied by recoil.
    pub ventilated: bool,
    /// A closed throat.
    pub obstructed: bool,
    /// Length of the pauses of periodic breathing, s; 0 for none.
    pub pause_s: f32,
    /// From one pause to the next, s.
    pub pause_every_s: f32,
    /// How much shallower the breaths next to a pause are, 0 to 1.
    pub waxing: f32,
    /// Standard deviation of the length and of the depth of a breath, share, and two draws of chance for the next one.
    pub irregular: f32,
    pub chance: [f32; 2],
    /// A sigh after this many breaths; 0 for none.
    pub sigh_every: u16,
    /// Fall of the pressure in the chest with full lungs, mmHg.
    pub chest_mmhg: f32,
}

impl BreathingConditions {
    /// Whether nothing moves.
    fn is_apnoea(&self) -> bool {
        self.per_minute <= 0.0 || self.depth_ohm <= 0.0
    }

    /// Factor by which the next breath differs from the mean one; as often above 1 as below.
    fn differs(&self, draw: usize) -> f32 {
        let chance = self.chance.get(draw).copied().unwrap_or(0.0);
        1.0 + math::clamp(self.irregular * chance, -LARGEST_CHANGE, LARGEST_CHANGE)
    }
}

/// Depth of a sigh over that of other breaths: two to three times (from memory).
const SIGH: f32 = 2.5;

/// Most by which a breath differs from the mean one.
const LARGEST_CHANGE: f32 = 0.6;

/// Slowest breath: at lower rates a rest follows.
const SLOWEST: Span = Span::secs(6);

/// The range of the impedance, ohm, over the settings of the whole script: what a file's scale must hold.
pub(crate) fn range(ever: SettingRanges<'_>) -> ValueRange {
    let sigh = if ever(Field::SighEvery).highest > 0.0 { SIGH } else { 1.0 };
    let deepest = if ever(Field::BreathIrregular).highest > 0.0 { 1.0 + LARGEST_CHANGE } else { 1.0 };
    // Two heartbeats may show at once; between the arms they are larger.
    let breath = sigh * deepest * ever(Field::BreathDepthOhm).highest;
    let base = ever(Field::BaseOhm);
    let drawn_in = if ever(Field::Obstructed).highest > 0.0 { breath } else { 0.0 };
    ValueRange { lowest: base.lowest - drawn_in, highest: base.highest }
        .raised(breath + 3.0 * ever(Field::CardiacOhm).highest)
}

/// An action of breathing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Act {
    /// A breath starts.
    Breath(Breath),
    /// An apnoea starts or ends.
    Apnoea {
        /// When.
        at: Instant,
        /// Start or end.
        starts: bool,
    },
}

/// The breath being drawn and what comes next.
#[derive(Clone, Debug)]
pub(crate) struct Respiration {
    breath: Option<Breath>,
    ventilated: bool,
    /// Fall of the pressure in the chest with full lungs, mmHg: that which was set as the breath began.
    chest_mmhg: f32,
    period: Span,
    next: Instant,
    /// When an apnoea starts; `NEVER` when none is coming.
    pause: Instant,
    paused: bool,
    /// Breaths since the last pause, and since the last sigh.
    since_pause: u16,
    since_sigh: u16,
    heartbeats: [Option<(Bump, f32)>; 2],
    newest: u8,
}

impl Respiration {
    /// At rest between breaths; the first one starts at once.
    pub(crate) fn new() -> Respiration {
        Respiration {
            breath: None,
            ventilated: false,
            chest_mmhg: 0.0,
            period: Span::MAX,
            next: Instant::ZERO,
            pause: Instant::NEVER,
            paused: false,
            since_pause: 0,
            since_sigh: 0,
            heartbeats: [None; 2],
            newest: 0,
        }
    }

    /// When a breath or an apnoea starts next; `NEVER` in apnoea.
    pub(crate) fn next(&self) -> Instant {
        self.next.min(self.pause)
    }

    /// A step changed the conditions: an apnoea ends or begins, another rate moves the next breath.
    ///
    /// The breath being drawn is finished first.
    pub(crate) fn retime(&mut self, now: Instant, conditions: &BreathingConditions) {
        let idle = self.breath.map_or(now, |breath| breath.end.max(now));
        if conditions.is_apnoea() {
            if !self.paused && self.pause == Instant::NEVER {
                self.pause = idle;
            }
            self.next = Instant::NEVER;
            return;
        }
        self.period = Span::period(conditions.per_minute);
        if self.next == Instant::NEVER || self.next < now {
            // A pause still to come belongs to the breathing before.
            self.pause = Instant::NEVER;
            self.next = idle;
        }
    }

    /// Whether the chest works against a closed throat, from the first effort on.
    pub(crate) fn is_obstructed(&self) -> bool {
        !self.paused && self.breath.is_some_and(|breath| breath.obstructed)
    }

    /// Processes the event that is due.
    pub(crate) fn start(&mut self, conditions: &BreathingConditions) -> Option<Act> {
        if self.pause <= self.next && self.pause != Instant::NEVER {
            let at = core::mem::replace(&mut self.pause, Instant::NEVER);
            self.paused = true;
            return Some(Act::Apnoea { at, starts: true });
        }
        if conditions.per_minute <= 0.0 {
            self.next = Instant::NEVER;
            return None;
        }
        let start = self.next;
        if conditions.depth_ohm <= 0.0 {
            // The depth of a ramp is zero here; the next breath may have some.
            self.next = start.plus(Span::period(conditions.per_minute));
            return (!core::mem::replace(&mut self.paused, true)).then_some(Act::Apnoea { at: start, starts: true });
        }
        if core::mem::take(&mut self.paused) {
            self.since_pause = 0;
            return Some(Act::Apnoea { at: start, starts: false });
        }
        self.period = Span::period(conditions.per_minute);
        if conditions.irregular > 0.0 {
            self.period = self.period.scaled(conditions.differs(0));
        }
        let breathing = self.period.min(SLOWEST);
        let inspiration = breathing.scaled(1.0 / (1.0 + conditions.expiration_ratio));
        let depth_ohm = conditions.depth_ohm * self.effort(conditions) * conditions.differs(1);
        let (peak, end) = (start.plus(inspiration), start.plus(breathing));
        let breath = Breath { start, peak, end, depth_ohm, obstructed: conditions.obstructed };
        self.breath = Some(breath);
        self.ventilated = conditions.ventilated;
        self.chest_mmhg = conditions.chest_mmhg;
        self.next = start.plus(self.period);
        if conditions.pause_s > 0.0 && self.since_pause >= self.breaths_between(conditions) {
            self.pause = breath.end;
            self.next = breath.end.plus(Span::from_secs(conditions.pause_s));
        }
        Some(Act::Breath(breath))
    }

    /// Breaths from one pause to the next.
    fn breaths_between(&self, conditions: &BreathingConditions) -> u16 {
        // At least one; `as` saturates.
        math::max(
            (conditions.pause_every_s - conditions.pause_s) / Span::period(conditions.per_minute).as_secs() + 0.5,
            1.0,
        ) as u16
    }

    /// Share of its depth that the breath now starting has; counts it.
    fn effort(&mut self, conditions: &BreathingConditions) -> f32 {
        self.since_pause = self.since_pause.saturating_add(1);
        self.since_sigh = self.since_sigh.saturating_add(1);
        let mut effort = 1.0;
        if conditions.pause_s > 0.0 && conditions.waxing > 0.0 {
            // Half a sine over the breaths between two pauses.
            let share = (f32::from(self.since_pause) - 0.5) / f32::from(self.breaths_between(conditions));
            let height = math::sin_turn(math::phase_of(0.5 * math::clamp(share, 0.0, 1.0)));
            effort = 1.0 - conditions.waxing * (1.0 - height);
        }
        if conditions.sigh_every > 0 && self.since_sigh > conditions.sigh_every {
            self.since_sigh = 0;
            effort *= SIGH;
        }
        effort
    }

    /// Lets a heartbeat show in the impedance.
    pub(crate) fn heartbeat(&mut self, onset: Instant, ohm: f32) {
        if ohm <= 0.0 {
            return;
        }
        // About 0.1 to 0.2 s after the QRS, Baker and Geddes (from memory).
        let bump = Bump::new(onset.plus(Span::millis(80)), 0.10, 0.0, 0.20);
        self.newest ^= 1;
        if let Some(place) = self.heartbeats.get_mut(usize::from(self.newest)) {
            *place = Some((bump, ohm));
        }
    }

    /// Start of the breath being drawn and the period of breathing; `MAX` without breath.
    pub(crate) fn pace(&self) -> (Instant, Span) {
        match self.breath {
            Some(breath) if self.next != Instant::NEVER && !self.paused => (breath.start, self.period),
            _ => (Instant::ZERO, Span::MAX),
        }
    }

    /// Volume of the lungs as a share of the breath, 0 to 1.
    pub(crate) fn lung_volume(&self, now: Instant) -> f32 {
        let mut lung_volume = [0.0];
        self.lung_volumes(&[now], &mut lung_volume);
        let [lung_volume] = lung_volume;
        lung_volume
    }

    /// Volume of the lungs as a share of the breath, 0 to 1, at each of consecutive instants.
    pub(crate) fn lung_volumes(&self, instants: &[Instant], lung_volumes: &mut [f32]) {
        let Some(breath) = self.breath else {
            lung_volumes.fill(0.0);
            return;
        };
        let rising = instants.partition_point(|now| *now < breath.peak);
        let (up, down) = instants.split_at_checked(rising).unwrap_or_default();
        let (volumes_up, volumes_down) = lung_volumes.split_at_mut_checked(rising).unwrap_or_default();
        shares(up, breath.start, breath.peak, volumes_up);
        shares(down, breath.peak, breath.end, volumes_down);
        // A ventilator's flow falls from the start of the breath on.
        if self.ventilated {
            volumes_up.iter_mut().for_each(|x| *x = *x * (2.0 - *x));
            volumes_down.iter_mut().for_each(|x| *x = recoil(*x));
        } else {
            volumes_up.iter_mut().for_each(|x| *x = math::smooth_step(*x));
            volumes_down.iter_mut().for_each(|x| *x = 1.0 - math::smooth_step(*x));
        }
    }

    /// Fall of the pressure in the chest with full lungs, mmHg.
    pub(crate) fn chest_mmhg(&self) -> f32 {
        self.chest_mmhg
    }

    /// When the breath being drawn began.
    pub(crate) fn breath_began(&self) -> Instant {
        self.breath.map_or(Instant::ZERO, |breath| breath.start)
    }

    /// When the breath being drawn began, when the lungs are full, and when they are empty again.
    pub(crate) fn turns(&self) -> [Instant; 3] {
        self.breath.map_or([Instant::ZERO; 3], |breath| [breath.start, breath.peak, breath.end])
    }

    /// Volume of the lungs as a share of the breath, 0 to 1; from the next breath on as if that were like the one being drawn.
    pub(crate) fn lung_volume_ahead(&self, now: Instant) -> f32 {
        let over = now.since(self.next);
        self.lung_volume(if over > Span::ZERO { self.breath_began().plus(over) } else { now })
    }

    /// Integral of the volume of the lungs, as a share of the breath, from the start of the breath being drawn, s.
    pub(crate) fn filled_s(&self, until: Instant) -> f32 {
        let Some(breath) = self.breath else { return 0.0 };
        let part = |from: Instant, to: Instant| {
            let length_s = to.since(from).as_secs();
            (length_s, math::min(until.since(from).as_secs() / length_s, 1.0))
        };
        let ((up_s, x), (down_s, y)) = (part(breath.start, breath.peak), part(breath.peak, breath.end));
        if self.ventilated {
            let recoiled = (0.25 * (1.0 - math::exp(-4.0 * y)) - LEFT * y) * (1.0 / (1.0 - LEFT));
            return up_s * x * x * (1.0 - x * (1.0 / 3.0)) + down_s * recoiled;
        }
        let risen = |x: f32| x * x * x * (1.0 - 0.5 * x);
        up_s * risen(x) + down_s * (y - risen(y))
    }

    /// Turns lung volumes at consecutive instants into changes of impedance against the base, ohm.
    pub(crate) fn to_impedances(&self, instants: &[Instant], clocks: &[u32], lung_volumes: &mut [f32]) {
        let Some(first) = instants.first() else { return };
        let depth =
            self.breath.map_or(0.0, |breath| if breath.obstructed { -breath.depth_ohm } else { breath.depth_ohm });
        lung_volumes.iter_mut().for_each(|lung_volume| *lung_volume *= depth);
        for (bump, ohm) in self.heartbeats.iter().flatten() {
            if bump.end() > *first {
                bump.add_to(clocks, &mut [(&mut *lung_volumes, *ohm)]);
            }
        }
    }
}

/// How much of the time between two instants has gone by at each of consecutive instants.
fn shares(instants: &[Instant], from: Instant, to: Instant, shares: &mut [f32]) {
    let length_s = to.since(from).as_secs();
    for (share, now) in shares.iter_mut().zip(instants) {
        *share = now.since(from).as_secs();
    }
    shares.iter_mut().for_each(|share| *share /= length_s);
}

/// What the exponential of a passive expiration would leave.
const LEFT: f32 = 0.018_315_64;

/// Passive expiration from 1 to 0: an exponential of a quarter of its length, less what it would leave.
fn recoil(x: f32) -> f32 {
    if x >= 1.0 {
        return 0.0;
    }
    (math::exp(-4.0 * x) - LEFT) * (1.0 / (1.0 - LEFT))
}

impl Default for Respiration {
    fn default() -> Respiration {
        Respiration::new()
    }
}
