//! The cuff: its pressure through inflation, deflation, leak and vent, and the oscillations that the arm adds.
//!
//! ```text
//!  inflated ______
//!          /      '-.._ deflation, linear or in steps     oscillation  .  . : | | : .  .
//!         /            ''-..__                                        SYS   MEAN  DIA
//! _______/                    |__ vent
//! ```
//!
//! The envelope of the oscillations has its largest value at the mean arterial pressure and stated shares of it at the
//! systolic and the diastolic pressure (Geddes 1982: about 0.5 and 0.8). Each side falls as 1 / (1 + x^2), which at 120/80
//! makes it 56 mmHg wide at 50 % and 85 mmHg at 30 % (57 +- 11 and 89 +- 12 mmHg, Liu 2014). Each pulse is drawn with the
//! envelope of its own pressures, so that alternating, irregular and drifting pulses each oscillate by their own size.

mod pulse;
pub(crate) mod reach;

use crate::ecg::deflection::Bump;
use crate::math::{exp, floor, max, min, smooth_step};
use crate::time::{Instant, Span};
use crate::truth::{CuffEvent, CuffPhase, CuffPulse};

pub(crate) use pulse::Pulse;

/// Settings of a measurement.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct CuffConditions {
    /// Pressure to inflate to, mmHg; 0 for no measurement.
    pub inflate_mmhg: f32,
    /// Rate of inflation, mmHg/s.
    pub inflation_mmhg_per_s: f32,
    /// Rate of deflation, mmHg/s; 0 keeps the pressure, but for the leak.
    pub deflation_mmhg_per_s: f32,
    /// Size of the steps in which it deflates, mmHg; 0 for a line.
    pub step_mmhg: f32,
    /// Leak, mmHg/min.
    pub leak_mmhg_per_min: f32,
    /// Pressure at which the valve opens, mmHg.
    pub vent_mmhg: f32,
    /// Pressure that opens the valve during inflation, mmHg.
    pub limit_mmhg: f32,
}

/// Oscillations of an arm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Arm {
    /// Largest oscillation of a regular pulse, foot to peak, mmHg.
    pub largest_mmhg: f32,
    /// Height of a regular pulse of the artery, foot to peak, mmHg: a smaller one oscillates less.
    pub regular_mmhg: f32,
    /// Share of the largest oscillation at the systolic pressure.
    pub systolic_share: f32,
    /// Share of it at the diastolic pressure.
    pub diastolic_share: f32,
}

impl Arm {
    /// Oscillation of a pulse at a cuff pressure, mmHg.
    pub(crate) fn oscillation_mmhg(&self, pulse: &Pulse, cuff_mmhg: f32) -> f32 {
        let above = cuff_mmhg - pulse.mean_mmhg;
        let (width, share) = if above > 0.0 {
            (pulse.systolic_mmhg - pulse.mean_mmhg, self.systolic_share)
        } else {
            (pulse.mean_mmhg - pulse.diastolic_mmhg, self.diastolic_share)
        };
        let x = above / max(width, 0.5);
        let height = max(pulse.systolic_mmhg - pulse.diastolic_mmhg, 0.0) / max(self.regular_mmhg, 0.5);
        self.largest_mmhg * height / (1.0 + (1.0 / share - 1.0) * x * x)
    }
}

/// From the opening of the aortic valve to the foot of a pulse under the cuff, s (from memory).
pub(crate) const TRANSIT_S: f32 = 0.045;
/// Below this pressure the cuff feels no pulse, mmHg.
pub(crate) const LOWEST_MMHG: f32 = 1.0;
/// Time constant of the open valve, s: 260 to 15 mmHg in 3 s (at most 10 s, OIML R 16-2).
const VENT_TAU_S: f32 = 1.05;
/// How long a step of a stepped deflation takes, s.
const STEP_S: f32 = 0.25;
/// A pressure below this is none, mmHg.
const EMPTY_MMHG: f32 = 0.01;

/// The cuff's pressure and its oscillations.
#[derive(Clone, Debug)]
pub(crate) struct Cuff {
    phase: CuffPhase,
    /// When the phase began, and with what pressure, mmHg.
    since: Instant,
    from_mmhg: f32,
    conditions: CuffConditions,
    beats: [Option<(Bump, f32)>; 2],
    newest: u8,
}

impl Cuff {
    /// Empty.
    pub(crate) fn new() -> Cuff {
        Cuff {
            phase: CuffPhase::Vented,
            since: Instant::ZERO,
            from_mmhg: 0.0,
            conditions: CuffConditions::default(),
            beats: [None; 2],
            newest: 0,
        }
    }

    /// A step began: starts a measurement if it asks for one; `vent` opens the valve.
    pub(crate) fn change(&mut self, now: Instant, conditions: &CuffConditions, vent: bool) -> Option<CuffEvent> {
        if vent {
            return (self.phase != CuffPhase::Vented).then(|| self.enter(now, CuffPhase::Vented));
        }
        if conditions.inflate_mmhg <= 0.0 {
            return None;
        }
        let event = self.enter(now, CuffPhase::Inflating);
        self.conditions = *conditions;
        Some(event)
    }

    fn enter(&mut self, now: Instant, phase: CuffPhase) -> CuffEvent {
        self.from_mmhg = self.at(now);
        self.since = now;
        self.phase = phase;
        CuffEvent { at: now, phase, cuff_mmhg: self.from_mmhg }
    }

    /// Time from the start of the phase to its end, s; infinite when it goes on.
    fn length_s(&self) -> f32 {
        let conditions = &self.conditions;
        match self.phase {
            CuffPhase::Inflating => {
                let top = min(conditions.inflate_mmhg, conditions.limit_mmhg);
                max(top - self.from_mmhg, 0.0) / max(conditions.inflation_mmhg_per_s, 0.1)
            }
            CuffPhase::Deflating => {
                let rate = conditions.deflation_mmhg_per_s + conditions.leak_mmhg_per_min * (1.0 / 60.0);
                if rate > 0.0 { max(self.from_mmhg - conditions.vent_mmhg, 0.0) / rate } else { f32::INFINITY }
            }
            CuffPhase::OverPressure | CuffPhase::Vented => f32::INFINITY,
        }
    }

    /// When the next phase begins; `NEVER` when this one goes on.
    pub(crate) fn next(&self) -> Instant {
        let length_s = self.length_s();
        if length_s < 1e6 { self.since.plus(Span::from_secs(length_s)) } else { Instant::NEVER }
    }

    /// Begins the phase that is due.
    pub(crate) fn start(&mut self) -> Option<CuffEvent> {
        let now = self.next();
        match self.phase {
            CuffPhase::Inflating if self.conditions.inflate_mmhg > self.conditions.limit_mmhg => {
                Some(self.enter(now, CuffPhase::OverPressure))
            }
            CuffPhase::Inflating => Some(self.enter(now, CuffPhase::Deflating)),
            CuffPhase::Deflating => Some(self.enter(now, CuffPhase::Vented)),
            CuffPhase::OverPressure | CuffPhase::Vented => None,
        }
    }

    /// Pressure at `now` without the oscillations, mmHg.
    pub(crate) fn at(&self, now: Instant) -> f32 {
        let t = now.since(self.since).as_secs();
        let conditions = &self.conditions;
        match self.phase {
            CuffPhase::Inflating => {
                let top = min(conditions.inflate_mmhg, conditions.limit_mmhg);
                min(self.from_mmhg + t * conditions.inflation_mmhg_per_s, max(top, self.from_mmhg))
            }
            CuffPhase::Deflating => {
                let leak = t * conditions.leak_mmhg_per_min * (1.0 / 60.0);
                max(self.from_mmhg - leak - self.deflated_mmhg(t), 0.0)
            }
            CuffPhase::OverPressure | CuffPhase::Vented if self.from_mmhg > EMPTY_MMHG => {
                self.from_mmhg * exp(-t * (1.0 / VENT_TAU_S))
            }
            CuffPhase::OverPressure | CuffPhase::Vented => 0.0,
        }
    }

    /// Fall of the pressure by deflation after `t` s, mmHg.
    fn deflated_mmhg(&self, t: f32) -> f32 {
        let CuffConditions { deflation_mmhg_per_s: rate, step_mmhg: step, .. } = self.conditions;
        if step <= 0.0 || rate <= 0.0 {
            return rate * t;
        }
        // One step after each time in which the line would have let out as much.
        let steps = t * rate / step;
        let whole = floor(steps);
        let since_s = (steps - whole) * step / rate;
        if whole < 1.0 { 0.0 } else { step * (whole - 1.0 + smooth_step(since_s * (1.0 / STEP_S))) }
    }

    /// A pulse arrives at the arm; returns what the cuff feels of it during a deflation.
    pub(crate) fn pulse(&mut self, pulse: &Pulse, period: Span, arm: &Arm) -> Option<CuffPulse> {
        let cuff_mmhg = self.at(pulse.foot);
        if cuff_mmhg < LOWEST_MMHG {
            return None;
        }
        let period_s = period.as_secs();
        let bump = Bump::new(pulse.foot, min(0.12, 0.25 * period_s), 0.0, min(0.35, 0.6 * period_s));
        let oscillation_mmhg = arm.oscillation_mmhg(pulse, cuff_mmhg);
        self.newest ^= 1;
        if let Some(place) = self.beats.get_mut(usize::from(self.newest)) {
            *place = Some((bump, oscillation_mmhg));
        }
        (self.phase == CuffPhase::Deflating).then_some(CuffPulse {
            foot: pulse.foot,
            cuff_mmhg,
            oscillation_mmhg,
            systolic_mmhg: pulse.systolic_mmhg,
            diastolic_mmhg: pulse.diastolic_mmhg,
            systolic_share: arm.systolic_share,
            diastolic_share: arm.diastolic_share,
        })
    }

    /// Whether the cuff is empty until something happens.
    pub(crate) fn is_empty(&self) -> bool {
        matches!(self.phase, CuffPhase::OverPressure | CuffPhase::Vented) && self.from_mmhg <= EMPTY_MMHG
    }

    /// Whether the cuff is empty and feels nothing from `now` on until something happens.
    pub(crate) fn is_still(&self, now: Instant) -> bool {
        self.is_empty() && self.beats.iter().flatten().all(|(bump, _)| bump.end() <= now)
    }

    /// Adds the oscillations, mmHg, at consecutive instants.
    pub(crate) fn add_oscillations(&self, instants: &[Instant], clocks: &[u32], sums: &mut [f32]) {
        let Some(first) = instants.first() else { return };
        for (bump, mmhg) in self.beats.iter().flatten() {
            if bump.end() > *first {
                bump.add_to(clocks, &mut [(&mut *sums, *mmhg)]);
            }
        }
    }
}

impl Default for Cuff {
    fn default() -> Cuff {
        Cuff::new()
    }
}
