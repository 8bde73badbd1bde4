//! The PR interval of a step at an instant.

use crate::field::Field;
use crate::math;
use crate::time::Instant;
use crate::timeline::Placed;

/// From P onset to QRS onset, s.
pub(super) fn pr_s(placed: &Placed<'_>, at: Instant) -> f32 {
    0.001 * placed.value(Field::PrMs, at) * pr_follows(placed, at)
}

/// Factor on PR, where it follows the rate: shorter in fast hearts, by 0.3 of the logarithm of RR (about 160 ms at
/// 70 bpm and 127 ms at 150, as in exercise; from memory).
fn pr_follows(placed: &Placed<'_>, at: Instant) -> f32 {
    if !placed.step.is_on(Field::PrFollows) {
        return 1.0;
    }
    let faster = placed.value(Field::RateBpm, at) / placed.step.body().resting_bpm;
    math::pow(math::clamp(faster, 0.4, 4.0), -0.3)
}
