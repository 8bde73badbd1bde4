//! Premature beats.

use super::rhythm::{Coupling, EctopicSite, Focus, JunctionalP, Pattern};
use super::{Asked, Clock, Demand, Descent, Emit, Heart, refuse};
use crate::anatomy::{AtrialOrigin, BeatCode, Pathway, Refusal};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

impl Heart {
    /// A premature beat asked for from outside, at `now`; it comes, or it is told why not.
    pub fn premature(&mut self, now: Instant, site: EctopicSite, demand: &Demand, noise: &Noise, emit: Emit<'_>) {
        let asked = Some(Asked { at: now, site });
        self.ectopic_count = self.ectopic_count.wrapping_add(1);
        // Between a pulse that captures and its beat the ventricles are the pulse's.
        let paced = self.impulses.iter().flatten().any(|impulse| impulse.code == BeatCode::Paced);
        if paced && !matches!(site, EctopicSite::Atrium | EctopicSite::Junction) {
            return refuse(asked, now, Refusal::Refractory, emit);
        }
        self.activate_ectopic(now, site, asked, demand, noise, emit);
    }

    pub(super) fn fire_ectopic(&mut self, now: Instant, demand: &Demand, noise: &Noise, emit: Emit<'_>) {
        self.stop(Clock::Ectopic);
        let Some(ectopy) = demand.rhythm.ectopy else { return };
        self.ectopic_count = self.ectopic_count.wrapping_add(1);
        self.ectopic_left = self.ectopic_left.saturating_sub(1);
        if self.ectopic_left > 0 {
            self.set(Clock::Ectopic, now.plus(demand.atrial_period().scaled(ectopy.run_period)));
        } else {
            self.conducted_since_ectopic = 0;
            self.plan_ectopic(demand, noise);
        }
        self.activate_ectopic(now, ectopy.site, None, demand, noise, emit);
    }

    fn activate_ectopic(
        &mut self,
        now: Instant,
        site: EctopicSite,
        asked: Option<Asked>,
        demand: &Demand,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let left = match site {
            EctopicSite::Atrium => {
                if self.atria_ready(now, demand) {
                    self.reset_sinus(now, demand, noise);
                }
                let down = Some(Descent { pr: demand.pr, code: BeatCode::AtrialPremature, asked });
                self.activate_atria(now, AtrialOrigin::EctopicHigh, down, demand, noise, emit);
                return;
            }
            EctopicSite::Junction => {
                let focus = Focus::Junction(JunctionalP::Before);
                self.activate_from(focus, BeatCode::JunctionalPremature, now, asked, demand, noise, emit);
                return;
            }
            EctopicSite::RightVentricle => false,
            EctopicSite::LeftVentricle => true,
            EctopicSite::BothVentricles => self.ectopic_count.is_multiple_of(2),
        };
        let pathway = if left { Pathway::LeftVentricle } else { Pathway::RightVentricle };
        let early = self.last_ventricular.is_some_and(|last| now.since(last) < demand.qt());
        let code = if early { BeatCode::ROnT } else { BeatCode::VentricularPremature };
        self.activate_from(Focus::Ventricle(pathway), code, now, asked, demand, noise, emit);
    }

    /// After a conducted beat at `now`: is a premature beat due?
    pub(super) fn schedule_ectopic(&mut self, now: Instant, demand: &Demand) {
        let Some(ectopy) = demand.rhythm.ectopy else { return };
        if self.conducted_since_ectopic < self.next_ectopic_after || self.ectopic_left > 0 {
            return;
        }
        let after = match ectopy.coupling {
            Coupling::Period(share) => demand.atrial_period().scaled(share),
            Coupling::Qt(share) => demand.qt().scaled(share),
        };
        // An atrial focus is coupled to the P wave, the others to the QRS.
        let from = match ectopy.site {
            EctopicSite::Atrium | EctopicSite::Junction => self.last_atrial.unwrap_or(now),
            _ => now,
        };
        let soonest = now.plus(Span::millis(20));
        let due = from.plus(after);
        self.ectopic_left = ectopy.run.max(1);
        self.set(Clock::Ectopic, if due > soonest { due } else { soonest });
    }

    /// After how many conducted beats the next premature beat comes.
    pub(super) fn plan_ectopic(&mut self, demand: &Demand, noise: &Noise) {
        self.conducted_since_ectopic = 0;
        self.next_ectopic_after = match demand.rhythm.ectopy.map(|ectopy| ectopy.pattern) {
            None => 0,
            Some(Pattern::AfterEvery(beats)) => beats.max(1),
            Some(Pattern::PerMinute(per_minute)) => {
                let mean = demand.rate_bpm / math::max(per_minute, 0.1);
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
