//! The pacing device and its timing cycles.

use super::rhythm::{Atria, Pacing, PacingFault, PacingMode};
use super::{Activation, CAPTURE, Clock, Emit, Heart, HeartConditions, Impulse};
use crate::anatomy::{BeatCode, Chamber, Pathway};
use crate::time::{Instant, Span};

/// A device that tracks faster atria waits this much longer than their period before it paces them.
const TRACKING: f32 = 1.3;

/// No impulse reaches the atria backwards sooner after a QRS onset (common practice, no source).
const SOONEST_BACK: Span = Span::millis(100);

impl Heart {
    pub(super) fn change_device(&mut self, now: Instant, changed: bool, conditions: &HeartConditions<'_>) {
        let Some(pacing) = conditions.rhythm.pacing else {
            self.stop(Clock::PaceAtrium);
            self.stop(Clock::PaceVentricle);
            return;
        };
        let due = self.new_source(now, conditions.period());
        match pacing.mode {
            PacingMode::Vvi => {
                self.stop(Clock::PaceAtrium);
                self.set(Clock::PaceVentricle, due);
            }
            PacingMode::Aai | PacingMode::Ddd | PacingMode::Biventricular => {
                let earlier = due.minus(conditions.pr);
                if changed {
                    self.stop(Clock::PaceVentricle);
                }
                // A loop begins with a pulse to the atria.
                let begins = matches!(conditions.rhythm.atria, Atria::Paced) || pacing.fault == PacingFault::Loop;
                let at = if begins { earlier } else { due.plus(conditions.period()) };
                self.set(Clock::PaceAtrium, if at > now { at } else { now });
            }
        }
    }

    /// Period after which the device paces the atria.
    fn atrial_escape(&self, conditions: &HeartConditions<'_>) -> Span {
        match conditions.rhythm.atria {
            Atria::Paced => conditions.period(),
            _ => conditions.period().scaled(TRACKING),
        }
    }

    pub(super) fn pace_atrium(&mut self, now: Instant, conditions: &HeartConditions<'_>, emit: Emit<'_>) {
        self.stop(Clock::PaceAtrium);
        let Some(pacing) = conditions.rhythm.pacing else { return };
        self.set(Clock::PaceAtrium, now.plus(self.atrial_escape(conditions)));
        // Atria that have just beaten, or are about to, do not answer.
        let own = self.clock(Clock::Sinus).min(self.clock(Clock::Retrograde)) < now.plus(CAPTURE);
        let captures = !own && self.atria_ready(now, conditions);
        if captures {
            self.set(Clock::PacedAtria, now.plus(CAPTURE));
        }
        emit(Activation::Pace { at: now, chamber: Chamber::Atrium, captures });
        if pacing.mode.follows_atria() {
            self.set(Clock::PaceVentricle, now.plus(conditions.pr));
        }
    }

    /// An atrial activation; `own` when the device made it, whose cycle is timed from its pulse.
    pub(super) fn device_sees_atria(&mut self, now: Instant, own: bool, conditions: &HeartConditions<'_>) {
        let Some(pacing) = conditions.rhythm.pacing else { return };
        if own || pacing.mode == PacingMode::Vvi || pacing.fault == PacingFault::NoSensing {
            return;
        }
        self.set(Clock::PaceAtrium, now.plus(self.atrial_escape(conditions)));
        if pacing.mode.follows_atria() {
            self.set(Clock::PaceVentricle, now.plus(conditions.pr));
        }
    }

    /// A ventricular activation; `own` when the device made it.
    pub(super) fn device_sees_ventricles(&mut self, now: Instant, own: bool, conditions: &HeartConditions<'_>) {
        let Some(Pacing { mode, fault }) = conditions.rhythm.pacing else { return };
        if own && fault == PacingFault::Loop {
            // Backwards to the atria, whose beat the device follows after PR: a round takes a period.
            let down = conditions.pr.plus(CAPTURE);
            let back = Span::from_ticks(conditions.period().ticks().saturating_sub(down.ticks())).max(SOONEST_BACK);
            self.set(Clock::Retrograde, now.plus(back));
        }
        if own || fault == PacingFault::NoSensing {
            return;
        }
        match mode {
            PacingMode::Vvi => self.set(Clock::PaceVentricle, now.plus(conditions.period())),
            PacingMode::Ddd | PacingMode::Biventricular => self.stop(Clock::PaceVentricle),
            PacingMode::Aai => {}
        }
    }

    pub(super) fn pace_ventricle(&mut self, now: Instant, conditions: &HeartConditions<'_>, emit: Emit<'_>) {
        self.stop(Clock::PaceVentricle);
        let Some(Pacing { mode, fault }) = conditions.rhythm.pacing else { return };
        self.device_pulses = self.device_pulses.wrapping_add(1);
        let pulses = self.device_pulses;
        if mode == PacingMode::Vvi {
            let silent =
                matches!(fault, PacingFault::Oversensing(after) if pulses.is_multiple_of(u64::from(after.max(1))));
            self.set(Clock::PaceVentricle, now.plus(if silent { conditions.pause } else { conditions.period() }));
        }
        let answers = !matches!(fault, PacingFault::NoCapture(every) if pulses.is_multiple_of(u64::from(every.max(1))));
        // Ventricles that have just beaten do not answer.
        let ready =
            self.last_ventricular.is_none_or(|last| now.since(last) >= super::ventricles_refractory(conditions));
        // Pseudo-fusion: what begins before the pulse could take hold is the heart's own beat.
        let own = [Clock::Arrival, Clock::Irregular, Clock::Ectopic, Clock::Focus, Clock::Escape];
        let own = own.into_iter().any(|clock| self.clock(clock) < now.plus(CAPTURE));
        let captures = answers && ready && !own;
        emit(Activation::Pace { at: now, chamber: Chamber::Ventricle, captures });
        if captures {
            let impulse = Impulse {
                arrives: now.plus(CAPTURE),
                p_onset: None,
                pathway: if mode == PacingMode::Biventricular { Pathway::Biventricular } else { Pathway::Paced },
                code: BeatCode::Paced,
                ventricular: true,
                turn: 0,
                asked: None,
            };
            self.send(impulse, emit);
        }
    }
}
