//! Intervals at random whose mean holds over a long time.
//!
//! Independent draws would leave the mean rate of an hour wrong by some tenths of a beat a minute. Each interval gives back
//! a fiftieth of what those before have run ahead or behind, so the sum stays within some beats of its place for ever, and
//! neighbours keep a correlation of about -0.01.

use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::Span;

/// Balance of the intervals drawn so far.
#[derive(Clone, Debug)]
pub(super) struct Irregular {
    /// Sum of the intervals less that of their means, s.
    behind_s: f32,
    count: u64,
}

/// Share that an interval gives back.
const GIVEN_BACK: f32 = 0.02;

/// No impulse passes sooner after another: effective refractory periods of the AV node are 230 to 425 ms (textbooks, from
/// memory); in fast rates a share of the mean, as the ventricles'.
const FLOOR_S: f32 = 0.3;
const FLOOR_SHARE: f32 = 0.56;
/// Longest interval beyond the floor over its mean: keeps a draw in a million from making a pause of its own.
const LONGEST: f32 = 6.0;

impl Irregular {
    pub(super) const fn new() -> Irregular {
        Irregular { behind_s: 0.0, count: 0 }
    }

    pub(super) fn reset(&mut self) {
        self.behind_s = 0.0;
    }

    /// An interval of atrial fibrillation: a refractory period, and beyond it a log-normal time, with this mean and
    /// this standard deviation over the mean.
    pub(super) fn fibrillation(&mut self, mean: Span, variation: f32, noise: &Noise) -> Span {
        let mean_s = mean.as_secs();
        let floor_s = math::min(FLOOR_S, FLOOR_SHARE * mean_s);
        let beyond_s = mean_s - floor_s;
        let ratio = variation * mean_s / beyond_s;
        let variance = math::ln(1.0 + ratio * ratio);
        let normal = normal(noise, Purpose::FibrillationInterval, self.count);
        let drawn = math::exp(math::sqrt(variance) * normal - 0.5 * variance);
        let interval_s = floor_s + beyond_s * math::min(drawn, LONGEST);
        self.given_back(interval_s, mean_s, floor_s)
    }

    /// An interval with this mean, and a standard deviation of this share of it.
    pub(super) fn interval(&mut self, mean: Span, variation: f32, purpose: Purpose, noise: &Noise) -> Span {
        let mean_s = mean.as_secs();
        let interval_s = mean_s * (1.0 + variation * noise.bell(purpose, self.count));
        self.given_back(interval_s, mean_s, 0.4 * mean_s)
    }

    fn given_back(&mut self, interval_s: f32, mean_s: f32, least_s: f32) -> Span {
        self.count = self.count.wrapping_add(1);
        let interval_s = math::max(interval_s - GIVEN_BACK * self.behind_s, least_s);
        self.behind_s += interval_s - mean_s;
        Span::from_secs(interval_s)
    }
}

/// A normally distributed value: mean 0, variance 1, within ±6.7 (Box and Muller 1958).
fn normal(noise: &Noise, purpose: Purpose, index: u64) -> f32 {
    let index = index.wrapping_mul(2);
    // Never zero, whose logarithm there is not.
    let uniform = (noise.bits(purpose, index) as f32 + 1.0) * (1.0 / 4_294_967_296.0);
    math::sqrt(-2.0 * math::min(math::ln(uniform), 0.0)) * math::cos_turn(noise.bits(purpose, index.wrapping_add(1)))
}
