//! Premature beats.

use super::rhythm::{Coupling, EctopicConduction, EctopicSite, Focus, JunctionalP, Pattern};
use super::{
    Clock, Descent, Emit, Heart, HeartConditions, Impulse, JUNCTIONAL_PR, RequestedBeat, refuse, ventricles_refractory,
};
use crate::anatomy::{AtrialOrigin, BeatCode, Pathway, Refusal};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// Foci of multifocal beats, with the turn of their axis in 2^-32 turns: two in each ventricle, 70 degrees apart or more.
const FOCI: [(Pathway, u32); 4] = [
    (Pathway::RightVentricle, 0),
    (Pathway::LeftVentricle, 0),
    (Pathway::RightVentricle, 0x3800_0000),
    (Pathway::LeftVentricle, 0xc800_0000),
];

/// An atrial or junctional premature beat waits for T at most until this share of the period.
const LATEST: f32 = 0.9;

impl Heart {
    /// A premature beat requested by the script, at `now`; it comes, or the reason is reported.
    pub(crate) fn premature(
        &mut self,
        now: Instant,
        site: EctopicSite,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let asked = Some(RequestedBeat { at: now, site });
        self.ectopic_count = self.ectopic_count.wrapping_add(1);
        // Between a pulse that captures and its beat no other source activates the ventricles.
        let paced = self.impulses.iter().flatten().any(|impulse| impulse.code == BeatCode::Paced);
        if paced && !matches!(site, EctopicSite::Atrium | EctopicSite::Junction) {
            return refuse(asked, now, Refusal::Refractory, emit);
        }
        self.activate_ectopic(now, site, asked, conditions, noise, emit);
    }

    pub(super) fn fire_ectopic(
        &mut self,
        now: Instant,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        self.stop(Clock::Ectopic);
        let Some(ectopy) = conditions.rhythm.ectopy else { return };
        self.ectopic_count = self.ectopic_count.wrapping_add(1);
        self.ectopic_left = self.ectopic_left.saturating_sub(1);
        if self.ectopic_left == 0 {
            self.conducted_since_ectopic = 0;
            self.plan_ectopic(conditions, noise);
        }
        if ectopy.foci > 1 {
            let chance = noise.bits(Purpose::EctopicShape, self.ectopic_count | 1 << 61);
            let focus = ((u64::from(chance) * u64::from(ectopy.foci)) >> 32) as usize;
            let (pathway, turn) = FOCI.get(focus).copied().unwrap_or(FOCI[0]);
            self.activate_ventricular(now, pathway, turn, None, conditions, noise, emit);
        } else {
            self.activate_ectopic(now, ectopy.site, None, conditions, noise, emit);
        }
        if self.ectopic_left > 0 {
            let due = now.plus(conditions.atrial_period().scaled(ectopy.run_period));
            let ventricular = !matches!(ectopy.site, EctopicSite::Atrium | EctopicSite::Junction);
            self.set(Clock::Ectopic, if ventricular { due.max(self.after_t()) } else { due });
        }
    }

    fn activate_ectopic(
        &mut self,
        now: Instant,
        site: EctopicSite,
        asked: Option<RequestedBeat>,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let left = match site {
            EctopicSite::Atrium => {
                if self.atria_ready(now, conditions) {
                    self.reset_sinus(now, conditions, noise);
                }
                let own = asked.is_none().then_some(conditions.rhythm.ectopy).flatten();
                let conduction = own.map_or(EctopicConduction::Normal, |ectopy| ectopy.conduction);
                let premature = Descent { asked, ..Descent::new(conditions.pr, BeatCode::AtrialPremature) };
                let down = match conduction {
                    EctopicConduction::Normal => Some(premature),
                    EctopicConduction::Aberrant => Some(Descent {
                        pathway: Some(Pathway::RightBundleBranchBlock),
                        code: BeatCode::AberratedAtrialPremature,
                        ..premature
                    }),
                    EctopicConduction::Blocked => None,
                };
                self.activate_atria(now, AtrialOrigin::EctopicHigh, down, conditions, noise, emit);
                return;
            }
            EctopicSite::Junction => {
                let focus = Focus::Junction(JunctionalP::Before);
                self.activate_from(focus, BeatCode::JunctionalPremature, now, asked, conditions, noise, emit);
                return;
            }
            EctopicSite::RightVentricle => false,
            EctopicSite::LeftVentricle => true,
            EctopicSite::BothVentricles => self.ectopic_count.is_multiple_of(2),
        };
        let pathway = if left { Pathway::LeftVentricle } else { Pathway::RightVentricle };
        self.activate_ventricular(now, pathway, 0, asked, conditions, noise, emit);
    }

    /// A premature beat of the ventricles, its axis turned.
    // As `activate_from`.
    #[allow(clippy::too_many_arguments)]
    fn activate_ventricular(
        &mut self,
        now: Instant,
        pathway: Pathway,
        turn: u32,
        asked: Option<RequestedBeat>,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        // R-on-T: its QRS begins before the T wave of the beat before has ended.
        let code = if now < self.memory.t_end { BeatCode::ROnT } else { BeatCode::VentricularPremature };
        let conducted = self.conducted(now, None, code, conditions);
        let impulse = Impulse { pathway, ventricular: true, turn, asked, ..conducted };
        self.activate_ventricles(impulse, conditions, noise, emit);
    }

    /// After a conducted beat at `now`: is a premature beat due?
    pub(super) fn schedule_ectopic(&mut self, now: Instant, conditions: &HeartConditions<'_>, noise: &Noise) {
        let Some(ectopy) = conditions.rhythm.ectopy else { return };
        if self.conducted_since_ectopic < self.next_ectopic_after || self.ectopic_left > 0 {
            return;
        }
        // An atrial focus is coupled to the P wave, the others to the QRS.
        let atrial = matches!(ectopy.site, EctopicSite::Atrium | EctopicSite::Junction);
        let from = if atrial { self.last_atrial.unwrap_or(now) } else { now };
        let mut after = match ectopy.coupling {
            _ if conditions.coupling > Span::ZERO => conditions.coupling,
            Coupling::Period(share) => conditions.atrial_period().scaled(share),
            Coupling::Qt(share) => self.memory.t_end.since(now).scaled(share),
        };
        if conditions.life.coupling_ms > 0.0 {
            let change_ms =
                conditions.life.coupling_ms * noise.bell(Purpose::EctopicShape, self.ectopic_count | 1 << 62);
            after = Span::from_secs(after.as_secs() + 0.001 * change_ms);
        }
        let mut due = from.plus(after).max(now.plus(Span::millis(20)));
        if ectopy.site == EctopicSite::Junction {
            // Not so early that it finds the ventricles refractory.
            let ready = now.plus(ventricles_refractory(conditions)).plus(Span::millis(15));
            due = due.max(ready.minus(JUNCTIONAL_PR));
        }
        let own = conditions.coupling == Span::ZERO && matches!(ectopy.coupling, Coupling::Period(_));
        let blocked = ectopy.conduction == EctopicConduction::Blocked;
        if own && !atrial {
            due = due.max(self.after_t());
        } else if own && !blocked {
            // It has further to go, and stays early in a heart so fast that QT takes most of the interval.
            let way = if ectopy.site == EctopicSite::Junction { JUNCTIONAL_PR } else { now.since(from) };
            let late = now.plus(conditions.atrial_period().scaled(LATEST)).min(self.after_t());
            due = due.max(late.minus(way));
        }
        self.ectopic_left = ectopy.run.max(1);
        self.set(Clock::Ectopic, due);
    }

    /// When QT takes nine tenths of the time since the last beat: a premature beat that is not meant to fall on the T wave waits
    /// so long, as the ventricles recover by its end.
    fn after_t(&self) -> Instant {
        let t_end = self.memory.t_end;
        let qt = t_end.since(self.last_ventricular.unwrap_or(t_end));
        t_end.plus(qt.scaled(1.0 / 9.0)).plus(Span::millis(1))
    }

    /// Number of conducted beats before the next premature beat.
    pub(super) fn plan_ectopic(&mut self, conditions: &HeartConditions<'_>, noise: &Noise) {
        self.conducted_since_ectopic = 0;
        self.next_ectopic_after = match conditions.rhythm.ectopy.map(|ectopy| ectopy.pattern) {
            None => 0,
            Some(Pattern::AfterEvery(beats)) => beats.max(1),
            Some(Pattern::PerMinute(per_minute)) => {
                let per_minute =
                    if conditions.premature_per_min > 0.0 { conditions.premature_per_min } else { per_minute };
                let mean = conditions.rate_bpm / math::max(per_minute, 0.1);
                // The first comes early, so that a short look shows one.
                let share = if self.ectopic_count == 0 {
                    0.3
                } else {
                    0.5 + noise.uniform(Purpose::Ectopy, self.ectopic_count)
                };
                math::max(mean * share, 2.0) as u16
            }
        };
    }
}
