//! Breathing: breaths one after another, and the impedance that they and the heart make.

use crate::ecg::deflection::Bump;
use crate::math;
use crate::time::{Instant, Span};
use crate::truth::Breath;

/// What breathing is asked to do from now on.
#[derive(Clone, Copy, Debug)]
pub struct Demand {
    /// Breaths a minute; 0 is apnoea.
    pub per_minute: f32,
    /// Depth, ohm.
    pub depth_ohm: f32,
    /// Expiration over inspiration time.
    pub expiration_ratio: f32,
}

/// The breath being drawn and when the next one starts.
#[derive(Clone, Debug)]
pub struct Respiration {
    breath: Option<Breath>,
    period: Span,
    next: Instant,
    heartbeats: [Option<(Bump, f32)>; 2],
    newest: usize,
}

impl Respiration {
    /// At rest between breaths; the first one starts at once.
    pub fn new() -> Respiration {
        Respiration { breath: None, period: Span::MAX, next: Instant::ZERO, heartbeats: [None; 2], newest: 0 }
    }

    /// When the next breath starts; `NEVER` in apnoea.
    pub fn next(&self) -> Instant {
        self.next
    }

    /// A step changed the demand: an apnoea ends or begins, another rate moves the next breath.
    ///
    /// The breath being drawn is finished first.
    pub fn retime(&mut self, now: Instant, demand: &Demand) {
        if demand.per_minute <= 0.0 {
            self.next = Instant::NEVER;
            return;
        }
        self.period = Span::period(demand.per_minute);
        let earliest = self.breath.map_or(now, |breath| if breath.end > now { breath.end } else { now });
        if self.next == Instant::NEVER || self.next < now {
            self.next = earliest;
        }
    }

    /// Starts the breath that is due.
    pub fn start(&mut self, demand: &Demand) -> Option<Breath> {
        if demand.per_minute <= 0.0 {
            self.next = Instant::NEVER;
            return None;
        }
        let start = self.next;
        self.period = Span::period(demand.per_minute);
        let inspiration = self.period.scaled(1.0 / (1.0 + demand.expiration_ratio));
        // At low rates a breath is no slower than 6 s; a rest follows.
        let breathing = self.period.min(Span::secs(6));
        let inspiration = inspiration.min(breathing.scaled(1.0 / (1.0 + demand.expiration_ratio)));
        let breath =
            Breath { start, peak: start.plus(inspiration), end: start.plus(breathing), depth_ohm: demand.depth_ohm };
        self.breath = Some(breath);
        self.next = start.plus(self.period);
        Some(breath)
    }

    /// Lets a heartbeat show in the impedance.
    pub fn heartbeat(&mut self, onset: Instant, ohm: f32) {
        if ohm <= 0.0 {
            return;
        }
        // About 0.1 to 0.2 s after the QRS, Baker and Geddes (from memory).
        let bump = Bump::new(onset.plus(Span::millis(80)), 0.10, 0.0, 0.20);
        self.newest ^= 1;
        if let Some(place) = self.heartbeats.get_mut(self.newest) {
            *place = Some((bump, ohm));
        }
    }

    /// Start of the breath being drawn and the period of breathing; `MAX` without breath.
    pub fn pace(&self) -> (Instant, Span) {
        match self.breath {
            Some(breath) if self.next != Instant::NEVER => (breath.start, self.period),
            _ => (Instant::ZERO, Span::MAX),
        }
    }

    /// How far the lungs are filled, 0 to 1.
    pub fn filling(&self, now: Instant) -> f32 {
        let Some(breath) = self.breath else {
            return 0.0;
        };
        if now < breath.peak {
            math::smooth_step(now.since(breath.start).as_secs() / breath.peak.since(breath.start).as_secs())
        } else {
            1.0 - math::smooth_step(now.since(breath.peak).as_secs() / breath.end.since(breath.peak).as_secs())
        }
    }

    /// Change of impedance against the base, ohm.
    pub fn impedance_ohm(&self, now: Instant) -> f32 {
        let depth = self.breath.map_or(0.0, |breath| breath.depth_ohm);
        let mut sum = depth * self.filling(now);
        for (bump, ohm) in self.heartbeats.iter().flatten() {
            if bump.end() > now {
                sum += ohm * bump.at(now.clock());
            }
        }
        sum
    }
}

impl Default for Respiration {
    fn default() -> Respiration {
        Respiration::new()
    }
}
