//! A stretch of samples that is played over and over.

use super::filter::ResamplingFilter;
use crate::math;
use crate::time::Span;

/// Whether recordings are played here: not on a board without an operating system. Their arithmetic is double precision, which such a
/// board has no unit for, and images carry none.
pub(crate) const PLAYED: bool = cfg!(not(target_os = "none"));

/// How long a pass fades into the next one.
const FADE: Span = Span::millis(80);

/// Fewest and most samples a second.
pub const RATES_HZ: [f64; 2] = [1.0, 100_000.0];

/// Samples of a larger size are none that something measured; frames made of them would be no numbers.
const LARGEST: f32 = 1e12;

/// The part of a recording that is played.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    /// Samples a second, in units of 2^-32.
    pub(super) rate: u64,
    /// Where the stretch begins.
    pub(super) from: Span,
    /// After this time it begins again.
    pub(super) length: Span,
    /// Time of its first pass that is over when it starts to play.
    pub(super) passed: Span,
}

impl Stretch {
    /// All of channels with so many samples a second; an empty one is not there.
    ///
    /// `None` without a sample, with channels of different lengths, with samples that are no numbers or beyond
    /// 1e12, or with a rate out of
    /// [`RATES_HZ`]; and always on a board without an operating system.
    pub(super) fn whole(channels: &[&[f32]], rate_hz: f64) -> Option<Stretch> {
        let samples = channels.iter().map(|channel| channel.len()).max().filter(|samples| *samples > 0)?;
        let [least, most] = RATES_HZ;
        let even = channels.iter().all(|channel| channel.is_empty() || channel.len() == samples);
        if !PLAYED
            || !even
            || !(least..=most).contains(&rate_hz)
            || !channels.iter().all(|channel| channel.iter().all(|value| math::abs(*value) <= LARGEST))
        {
            return None;
        }
        let rate = (rate_hz * 4_294_967_296.0) as u64;
        let length = Span::from_ticks(u64::try_from(((samples as u128) << 64) / u128::from(rate)).unwrap_or(u64::MAX));
        Some(Stretch { rate, from: Span::ZERO, length, passed: Span::ZERO })
    }

    /// The values of channels at a time after the start of the step.
    pub(super) fn values<const N: usize>(
        &self,
        filter: &ResamplingFilter,
        channels: &[&[f32]; N],
        since: Span,
    ) -> [f32; N] {
        let played = since.plus(self.passed).ticks();
        let length = self.length.ticks().max(1);
        let within = played % length;
        let here = filter.values(channels, self.place(within));
        if played < length || within >= FADE.ticks() {
            return here;
        }
        let before = filter.values(channels, self.place(within.saturating_add(length)));
        let share = Span::from_ticks(within).as_secs() * (1.0 / FADE.as_secs());
        let new = 0.5 - 0.5 * math::cos_turn(math::small_phase(0.5 * share));
        core::array::from_fn(|i| {
            let [new_value, old_value] = [&here, &before].map(|values| values.get(i).copied().unwrap_or(0.0));
            old_value + new * (new_value - old_value)
        })
    }

    /// The place in the samples, in units of 2^-32 samples, of a time after the start of the stretch.
    fn place(&self, within: u64) -> u64 {
        let ticks = u128::from(self.from.ticks()) + u128::from(within);
        u64::try_from((ticks * u128::from(self.rate)) >> 32).unwrap_or(u64::MAX)
    }
}
