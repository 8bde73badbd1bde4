//! Episodes that settings make: a shifted ST segment, noise, an electrode off.

use crate::anatomy::Episode;
use crate::artefact::{OFF, SWITCHES};
use crate::field::Field;
use crate::time::Instant;
use crate::timeline::Placed;
use crate::truth::{Event, Observer};

/// A level of ST that counts as shifted, mV: 1 mm, the criterion of electrocardiography (Fourth Universal Definition of
/// Myocardial Infarction 2018: 0.1 mV in all leads other than V2 and V3).
const SHIFTED_MV: f32 = 0.1;

const ST: [Field; 3] = [Field::StInferiorMv, Field::StAnteriorMv, Field::StLateralMv];

const KINDS: [Episode; 3] = [Episode::StShift, Episode::Noise, Episode::LeadOff];

/// The episodes that are on, and when that may change next within the step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Conditions {
    on: [bool; KINDS.len()],
    next: Instant,
}

impl Conditions {
    pub(super) const fn new() -> Conditions {
        Conditions { on: [false; KINDS.len()], next: Instant::NEVER }
    }

    pub(super) fn next(&self) -> Instant {
        self.next
    }

    /// Reports the conditions that start or end at `at`.
    pub(super) fn look(&mut self, placed: &Placed<'_>, at: Instant, observer: &mut dyn Observer) {
        let on = [shifted(placed, at), noisy(placed, at), off(placed)];
        let before = core::mem::replace(self, Conditions { on, next: next_change(placed, at) }).on;
        for ((episode, before), starts) in KINDS.into_iter().zip(before).zip(on) {
            if before != starts {
                observer.observe(Event::Episode { episode, at, starts });
            }
        }
    }
}

fn shifted(placed: &Placed<'_>, at: Instant) -> bool {
    ST.into_iter().any(|field| crate::math::abs(placed.value(field, at)) >= SHIFTED_MV)
}

fn noisy(placed: &Placed<'_>, at: Instant) -> bool {
    let since = at.since(placed.start);
    let moves_or_is_on = |field| placed.step.course(field).settled(since).is_none_or(|mv| mv != 0.0);
    placed.step.noise().is_some() || SWITCHES.into_iter().any(moves_or_is_on)
}

fn off(placed: &Placed<'_>) -> bool {
    OFF.into_iter().any(|field| placed.step.is_on(field))
}

/// When a ramp passes the level of a shift, or ends.
fn next_change(placed: &Placed<'_>, at: Instant) -> Instant {
    let since = at.since(placed.start);
    let shifts = ST.into_iter().map(|field| placed.step.course(field).passes(SHIFTED_MV, since));
    let noises = SWITCHES.into_iter().map(|field| placed.step.course(field).passes(0.0, since));
    shifts.chain(noises).flatten().map(|span| placed.start.plus(span)).min().unwrap_or(Instant::NEVER)
}
