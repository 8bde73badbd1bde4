//! The atria: the sinus node or the focus in its place, and the impulses that they send down.

use super::rhythm::{Atria, AvNode, PacingFault, SinusFault, Ventricles};
use super::{
    ATRIA_REFRACTORY, Activation, COMPETING, Clock, Descent, Emit, Heart, HeartConditions, Impulse, SHORTEST,
    SHORTEST_PR, SinusPosition, follows, refuse,
};
use crate::anatomy::{AtrialOrigin, Refusal};
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// Whether a device that is well competes with own beats.
fn sound_device_competes(conditions: &HeartConditions<'_>) -> bool {
    conditions.rhythm.pacing.is_some_and(|pacing| pacing.fault == PacingFault::None)
}

impl Heart {
    pub(super) fn change_atria(
        &mut self,
        now: Instant,
        changed: bool,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
    ) {
        let period = conditions.period();
        match conditions.rhythm.atria {
            Atria::Driving(_) | Atria::Multifocal(_) | Atria::Independent => {
                let atrial_period = conditions.atrial_period();
                let running = self.clock(Clock::Sinus) != Instant::NEVER;
                let place = match self.last_sinus_due {
                    Some(last) if running => self.after(last, atrial_period, conditions, noise),
                    // Dissociated atria do not start in step with the ventricles.
                    _ if now == Instant::ZERO && conditions.rhythm.atria == Atria::Independent => {
                        SinusPosition::regular(now.plus(atrial_period.scaled(0.85)))
                    }
                    _ if now == Instant::ZERO => {
                        SinusPosition::regular(now.plus(period.scaled(0.5)).minus(conditions.pr))
                    }
                    _ => SinusPosition::regular(now.plus(atrial_period.scaled(0.6))),
                };
                if changed || running {
                    let soonest =
                        self.last_atrial.map_or(now, |last| last.plus(atrial_period.scaled(SHORTEST)).max(now));
                    let place = if place.due > now { place } else { SinusPosition { due: now, ..place } };
                    self.schedule_sinus(place, soonest, conditions);
                }
            }
            Atria::Fibrillation { .. } | Atria::Still | Atria::Paced => self.stop(Clock::Sinus),
        }
        if !matches!(conditions.rhythm.av, AvNode::Irregular) {
            self.stop(Clock::Irregular);
        } else if changed {
            self.set(Clock::Irregular, self.new_source(now, period));
        }
    }

    /// Lets the sinus node fire about a place, in step with breathing, but not before `soonest`.
    pub(super) fn schedule_sinus(&mut self, place: SinusPosition, soonest: Instant, conditions: &HeartConditions<'_>) {
        self.sinus_due = place;
        let breathing_s = conditions.variability.breathing_s(place.due, conditions.atrial_period());
        self.set(Clock::Sinus, place.due.shifted(follows(conditions) * breathing_s).max(soonest));
    }

    pub(super) fn fire_sinus(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise, emit: Emit<'_>) {
        self.sinus_count = self.sinus_count.wrapping_add(1);
        self.last_sinus_due = Some(self.sinus_due);
        let mut interval = conditions.atrial_period();
        let mut leaves = true;
        if let Some(fault) = conditions.rhythm.sinus_fault {
            if self.until_fault == 0 {
                self.plan_fault(fault, conditions, noise);
            }
            self.until_fault -= 1;
            if self.until_fault == 0 {
                match fault {
                    SinusFault::Arrest(_) => {
                        let change =
                            conditions.life.pause * noise.signed(Purpose::SinusFault, self.sinus_count | 1 << 63);
                        interval = conditions.pause.scaled(1.0 + change);
                    }
                    SinusFault::ExitBlock(_) => leaves = false,
                }
            }
        }
        let mut origin = AtrialOrigin::Sinus;
        let mut pr = conditions.pr;
        match conditions.rhythm.atria {
            Atria::Driving(from) => origin = from,
            Atria::Multifocal(spread) => {
                interval = self.irregular.interval(interval, spread, Purpose::AtrialFocus, noise);
                let chance = noise.bits(Purpose::AtrialFocus, self.sinus_count | 1 << 63);
                origin = [AtrialOrigin::EctopicHigh, AtrialOrigin::EctopicLow, AtrialOrigin::EctopicLeft]
                    [(chance >> 16) as usize % 3];
                pr = pr.scaled(SHORTEST_PR + 0.3 * (chance & 0xffff) as f32 * (1.0 / 65_536.0));
            }
            // Two sources in competition do not keep step.
            Atria::Independent
                if (matches!(conditions.rhythm.ventricles, Ventricles::Focus { .. })
                    || sound_device_competes(conditions))
                    && matches!(conditions.rhythm.av, AvNode::Conducting) =>
            {
                interval = self.irregular.interval(interval, COMPETING, Purpose::AtrialFocus, noise);
            }
            _ => {}
        }
        let soonest = now.plus(conditions.atrial_period().scaled(SHORTEST));
        let next = self.after(self.sinus_due, interval, conditions, noise);
        self.schedule_sinus(next, soonest, conditions);
        if leaves {
            if conditions.life.pr_ms > 0.0 {
                let change_ms = conditions.life.pr_ms * noise.bell(Purpose::AvConduction, self.sinus_count | 1 << 62);
                pr = Span::from_secs(pr.as_secs() + 0.001 * change_ms);
            }
            let down = Some(Descent::new(pr, conditions.rhythm.code));
            self.activate_atria(now, origin, down, conditions, noise, emit);
        }
    }

    /// Number of impulses before the sinus node fails: that of the rhythm, by chance a few more or less.
    pub(super) fn plan_fault(&mut self, fault: SinusFault, conditions: &HeartConditions<'_>, noise: &Noise) {
        let every = match fault {
            SinusFault::Arrest(beats) => beats.max(1),
            SinusFault::ExitBlock(every) => every.max(2),
        };
        let change = conditions.life.pause * noise.signed(Purpose::SinusFault, self.sinus_count);
        // At least two, or no beat would be left between two faults.
        let least = every.min(2);
        self.until_fault = ((f32::from(every) * (1.0 + change) + 0.5) as u16).max(least);
    }

    /// Atria activated at `now`, unless they are refractory; with PR and code when the impulse may go down.
    pub(super) fn activate_atria(
        &mut self,
        now: Instant,
        origin: AtrialOrigin,
        down: Option<Descent>,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let asked = down.and_then(|descent| descent.asked);
        if !self.atria_ready(now, conditions) {
            let fibrillate = matches!(conditions.rhythm.atria, Atria::Fibrillation { .. });
            let why = if fibrillate { Refusal::Fibrillation } else { Refusal::Refractory };
            return refuse(asked, now, why, emit);
        }
        emit(Activation::Atria { at: now, origin, cycle: conditions.atrial_period() });
        self.last_atrial = Some(now);
        self.device_sees_atria(now, origin == AtrialOrigin::Paced, conditions);
        let Some(descent) = down else {
            // From below: the sinus node starts anew.
            self.reset_sinus(now, conditions, noise);
            return;
        };
        match self.node.offer(now, descent.pr, conditions, noise) {
            Some(delay) => {
                let impulse = self.conducted(now.plus(delay), Some(now), descent.code, conditions);
                let pathway = descent.pathway.unwrap_or(impulse.pathway);
                self.send(Impulse { asked, pathway, ..impulse }, emit);
            }
            None => refuse(asked, now, Refusal::Blocked, emit),
        }
    }

    /// Whether the atria take an impulse.
    pub(super) fn atria_ready(&self, now: Instant, conditions: &HeartConditions<'_>) -> bool {
        let refractory = conditions.atrial_period().scaled(0.55).min(ATRIA_REFRACTORY);
        let fibrillate = matches!(conditions.rhythm.atria, Atria::Fibrillation { .. });
        !fibrillate && self.last_atrial.is_none_or(|last| now.since(last) >= refractory)
    }

    pub(super) fn reset_sinus(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise) {
        if self.clock(Clock::Sinus) != Instant::NEVER {
            let place = SinusPosition::regular(now);
            self.last_sinus_due = Some(place);
            let soonest = now.plus(conditions.atrial_period().scaled(SHORTEST));
            let next = self.after(place, conditions.atrial_period(), conditions, noise);
            self.schedule_sinus(next, soonest, conditions);
        }
    }
}
