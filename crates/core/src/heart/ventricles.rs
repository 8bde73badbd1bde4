//! The ventricles: their activation, impulses that meet there, and the reports of both.

use super::rhythm::{Focus, JunctionalP, Ventricles};
use super::{
    Activation, Clock, Emit, Heart, HeartConditions, Impulse, JUNCTIONAL_PR, JUNCTIONAL_RP, RequestedBeat, fusion,
    refuse, ventricles_refractory,
};
use crate::anatomy::{AtrialOrigin, BeatCode, Pathway, Refusal};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// Shares of the ventricles of a fused beat's later impulse: half where the two start together, less the later it comes (sizes
/// common practice, no source).
const TOGETHER: f32 = 0.5;
const LATEST: f32 = 0.2;

/// The share of an impulse that comes `later` than the other.
fn share_of_later(later: Span, conditions: &HeartConditions<'_>) -> f32 {
    let part = math::min(later.as_secs() / fusion(conditions).as_secs(), 1.0);
    TOGETHER + (LATEST - TOGETHER) * part
}

impl Heart {
    /// A focus below the atria fires, maybe on request.
    // Source, time and request, and the three arguments that every part of the heart takes.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn activate_from(
        &mut self,
        focus: Focus,
        code: BeatCode,
        now: Instant,
        asked: Option<RequestedBeat>,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let mut impulse = Impulse { asked, ..self.conducted(now, None, code, conditions) };
        match focus {
            Focus::Junction(p) => match p {
                JunctionalP::Before => {
                    let ready = self.atria_ready(now, conditions);
                    self.activate_atria(now, AtrialOrigin::Junction, None, conditions, noise, emit);
                    impulse.arrives = now.plus(JUNCTIONAL_PR);
                    impulse.p_onset = ready.then_some(now);
                    self.send(impulse, emit);
                    return;
                }
                JunctionalP::Within => self.set(Clock::Retrograde, now.plus(Span::millis(10))),
                JunctionalP::After => self.set(Clock::Retrograde, now.plus(JUNCTIONAL_RP)),
                JunctionalP::Absent => {}
            },
            Focus::Ventricle(pathway) => {
                impulse.pathway = pathway;
                impulse.ventricular = true;
            }
            Focus::Twisting(_) | Focus::Shifting => {
                impulse.pathway = Pathway::RightVentricle;
                impulse.ventricular = true;
            }
        }
        self.activate_ventricles(impulse, conditions, noise, emit);
    }

    pub(super) fn activate_ventricles(
        &mut self,
        impulse: Impulse,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let now = impulse.arrives;
        if matches!(conditions.rhythm.ventricles, Ventricles::Fibrillation { .. } | Ventricles::Flutter { .. }) {
            return refuse(impulse.asked, now, Refusal::Fibrillation, emit);
        }
        let refractory = ventricles_refractory(conditions);
        let interval = self.last_ventricular.map(|last| now.since(last));
        if interval.is_some_and(|interval| interval < refractory) {
            return refuse(impulse.asked, now, Refusal::Refractory, emit);
        }
        self.interval_before = interval;
        self.last_ventricular = Some(now);
        self.beats = self.beats.wrapping_add(1);
        let mut beat = impulse;
        let mut fused = None;
        if impulse.ventricular {
            // An impulse on its way down meets the impulse from below and is lost; without one the next is lost.
            let met = self.impulses.iter().flatten().any(|impulse| !impulse.ventricular);
            if let Some(meeting) = self.take_meeting(now, conditions) {
                fused = Some((meeting.pathway, share_of_later(meeting.arrives.since(now), conditions)));
                beat.p_onset = meeting.p_onset;
                let paced = matches!(impulse.code, BeatCode::Paced | BeatCode::PacedFusion);
                beat.code = if paced { BeatCode::PacedFusion } else { BeatCode::Fusion };
            }
            self.lose_impulses(now, Refusal::Refractory, emit);
            let interpolated = conditions.rhythm.ectopy.is_some_and(|ectopy| ectopy.interpolated);
            let premature = matches!(conditions.rhythm.ventricles, Ventricles::Following);
            self.node.invade(now, premature && !interpolated && !met, conditions);
        } else {
            if let (Ventricles::Focus { focus: Focus::Ventricle(pathway), .. }, true) =
                (conditions.rhythm.ventricles, self.clock(Clock::Focus) <= now.plus(fusion(conditions)))
            {
                // The focus fires while the impulse from above spreads.
                let later = self.clock(Clock::Focus).since(now);
                fused = Some((pathway, share_of_later(later, conditions)));
                beat.code = BeatCode::Fusion;
            }
            self.node.left(now);
            self.conducted_since_ectopic = self.conducted_since_ectopic.saturating_add(1);
        }
        let Impulse { pathway, p_onset, code, .. } = beat;
        // Before the others answer: a premature beat to come waits for the end of this one.
        let length = self.repolarise(now, interval, [Some(pathway), fused.map(|(other, _)| other)], conditions, noise);
        self.answer_ventricles(now, &impulse, conditions, noise);
        let turn = match conditions.rhythm.ventricles {
            // Half a turn in so many beats; over more than one, none is quite upright or upside down.
            Ventricles::Focus { focus: Focus::Twisting(beats), .. } => {
                let turn = math::phase_of(0.5 * (self.focus_count % 4096) as f32 / math::max(beats, 1.0));
                turn | u32::from(beats > 1.0)
            }
            // Within a third of a turn to either side, most within a sixth; half of each beat's axis is that of the beat before.
            Ventricles::Focus { focus: Focus::Shifting, .. } => {
                let chance = |beat: u64| noise.signed(Purpose::EctopicShape, beat | 1 << 63);
                math::phase_of(0.16 * (chance(self.focus_count) + chance(self.focus_count.wrapping_add(1)))) | 1
            }
            _ => impulse.turn,
        };
        let odd = self.beats & 1 == 1;
        emit(Activation::Ventricles { at: now, pathway, fused, odd, turn, interval, length, p_onset, code });
    }

    /// The impulse from above that would arrive close enough to `now` to fuse.
    fn take_meeting(&mut self, now: Instant, conditions: &HeartConditions<'_>) -> Option<Impulse> {
        let until = now.plus(fusion(conditions));
        let meets = |impulse: Impulse| !impulse.ventricular && impulse.arrives <= until;
        self.impulses.iter_mut().find(|place| place.is_some_and(meets)).and_then(Option::take)
    }

    /// Other sources answer to a ventricular activation.
    fn answer_ventricles(&mut self, now: Instant, impulse: &Impulse, conditions: &HeartConditions<'_>, noise: &Noise) {
        self.await_escape(now, conditions);
        self.device_sees_ventricles(now, impulse.code == BeatCode::Paced, conditions);
        if self.clock(Clock::Irregular) < now.plus(conditions.period().scaled(0.4)) {
            self.await_irregular(now, conditions, noise);
        }
        if impulse.ventricular {
            return;
        }
        if let (Ventricles::Focus { focus: Focus::Ventricle(_), spread, .. }, true) =
            (conditions.rhythm.ventricles, impulse.p_onset.is_some())
        {
            // A captured beat reaches the focus and sets it back.
            self.await_focus(now, spread, conditions, noise);
        }
        self.schedule_ectopic(now, conditions, noise);
    }
}
