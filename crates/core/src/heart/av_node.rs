//! The AV node: conduction, delay and block of impulses from above.

use super::conditions::HeartConditions;
use super::rhythm::{AvNode, CONCEALED_SHARE, Ventricles, whole_ratio};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// The node takes no second impulse this soon after one, or 60 % of a period where that is shorter.
const REFRACTORY: Span = Span::millis(300);
/// After a ventricular beat the impulse from below keeps the node refractory for this long.
const INVADED: Span = Span::millis(300);
/// With a regular focus, for this share of its period where that is longer.
const INVADED_SHARE: f32 = 0.58;

/// How much longer the first impulse takes that an invaded node lets through, s, and how that decays (concealed conduction; sizes
/// common practice, no source).
const TIRED_S: f32 = 0.08;
const RECOVERY_S: f32 = 0.3;

/// Type I: delay grows as base + scale exp(-recovery / tau); tau and the first increment as shares of the atrial period.
/// With these an increment of about a tenth of a period comes first and each one after is smaller, so RR shortens
/// towards the pause, as textbooks describe it; the map settles before it could block on its own.
const TAU: f32 = 0.4;
const FIRST_INCREMENT: f32 = 0.13;

/// The node's memory.
#[derive(Clone, Debug)]
pub(super) struct NodeMemory {
    last_entry: Option<Instant>,
    last_exit: Option<Instant>,
    /// Until when an impulse from below keeps the node taken.
    taken_until: Instant,
    /// Whether that impulse left it half recovered for the one from above.
    invaded: bool,
    fresh: bool,
    round: u16,
    ratio: u16,
    rounds: u64,
}

impl NodeMemory {
    pub(super) const fn new() -> NodeMemory {
        NodeMemory {
            last_entry: None,
            last_exit: None,
            taken_until: Instant::ZERO,
            invaded: false,
            fresh: true,
            round: 0,
            ratio: 0,
            rounds: 0,
        }
    }

    /// A new rhythm: rounds begin anew, with an impulse that passes.
    pub(super) fn reset(&mut self) {
        self.taken_until = Instant::ZERO;
        self.round = 0;
        self.fresh = true;
    }

    /// Ventricles fired on their own; `conceal` when the impulse got into the node deep enough to stop the next one.
    pub(super) fn invade(&mut self, now: Instant, conceal: bool, conditions: &HeartConditions<'_>) {
        let share = if conceal {
            conditions.atrial_period().scaled(CONCEALED_SHARE)
        } else if matches!(conditions.rhythm.ventricles, Ventricles::Focus { .. }) {
            conditions.period().scaled(INVADED_SHARE)
        } else {
            Span::ZERO
        };
        self.taken_until = now.plus(share.max(INVADED));
        self.invaded = !conceal && matches!(conditions.rhythm.ventricles, Ventricles::Following);
    }

    /// Whether the node has recovered at `at` from an impulse from below.
    pub(super) fn takes(&self, at: Instant) -> bool {
        at >= self.taken_until
    }

    /// An impulse left the node and reached the ventricles.
    pub(super) fn left(&mut self, now: Instant) {
        self.last_exit = Some(now);
        self.taken_until = Instant::ZERO;
        self.invaded = false;
    }

    /// An impulse from above at `now`: the delay to the ventricles, or `None` when it is lost.
    pub(super) fn offer(
        &mut self,
        now: Instant,
        pr: Span,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
    ) -> Option<Span> {
        if now < self.taken_until {
            return None;
        }
        // Half recovered from the impulse from below, it takes longer.
        let tired_s = if self.invaded {
            TIRED_S * math::exp(now.since(self.taken_until).as_secs() * (-1.0 / RECOVERY_S))
        } else {
            0.0
        };
        let pr = pr.plus(Span::from_secs(tired_s));
        let whole = whole_ratio(conditions.ratio);
        let delay = match conditions.rhythm.av {
            AvNode::Blocked | AvNode::Irregular => None,
            AvNode::Conducting => {
                let refractory = conditions.atrial_period().scaled(0.6).min(REFRACTORY);
                let taken = self.last_entry.is_some_and(|last| now.since(last) < refractory);
                (!taken).then_some(pr)
            }
            AvNode::OneOf | AvNode::Varying if core::mem::take(&mut self.fresh) => Some(pr),
            AvNode::OneOf => self.count(whole, noise, false).then_some(pr),
            AvNode::Varying => self.count(whole, noise, true).then_some(pr),
            AvNode::Dropping => (!self.count(whole, noise, false)).then_some(pr),
            AvNode::Decremental => self.decrement(now, pr, whole, conditions),
        };
        if delay.is_some() {
            self.last_entry = Some(now);
        }
        delay
    }

    /// Counts an impulse; true for the last of a round.
    fn count(&mut self, ratio: u16, noise: &Noise, vary: bool) -> bool {
        if self.round == 0 {
            self.ratio = ratio;
            if vary && ratio > 2 {
                let choices = u64::from(ratio) - 1;
                let chance = u64::from(noise.bits(Purpose::AvConduction, self.rounds));
                self.ratio = 2 + ((chance * choices) >> 32) as u16;
            }
        }
        self.round += 1;
        if self.round >= self.ratio {
            self.round = 0;
            self.rounds = self.rounds.wrapping_add(1);
            return true;
        }
        false
    }

    /// Type I: the delay by the time since the last impulse left; lost when the node has recovered too little.
    fn decrement(&self, now: Instant, pr: Span, ratio: u16, conditions: &HeartConditions<'_>) -> Option<Span> {
        let period_s = conditions.atrial_period().as_secs();
        let pr_s = pr.as_secs();
        let delay_s = |recovery_s: f32| {
            pr_s + FIRST_INCREMENT * period_s * math::exp((period_s - pr_s - recovery_s) / (TAU * period_s))
        };
        let Some(exit) = self.last_exit else { return Some(pr) };
        let recovery_s = now.since(exit).as_secs();
        // Where the refractory period must lie for the ratio: between the recovery before the last beat that passes
        // and the recovery before the one that fails. Two rounds of the map, because a round begins where the last ended.
        let passes = ratio.clamp(2, 10) - 1;
        let mut after_pause_s = pr_s;
        let mut refractory_s = 0.0;
        for _ in 0..2 {
            let mut now_s = after_pause_s;
            let mut before_s = 2.0 * period_s - now_s;
            for _ in 1..passes {
                before_s = period_s - now_s;
                now_s = delay_s(before_s);
            }
            refractory_s = 0.5 * (math::min(before_s, period_s) + period_s - now_s);
            after_pause_s = delay_s(2.0 * period_s - now_s);
        }
        (recovery_s >= refractory_s).then(|| Span::from_secs(delay_s(recovery_s)))
    }
}
