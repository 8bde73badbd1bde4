//! The resampling filter of recordings.

use crate::math;
use crate::time::FrameRate;

/// Frames or samples to either side of an instant that have a part in its value.
const HALF: i64 = 32;

/// Attenuation of the stop band, dB.
const STOP_DB: f32 = 80.0;

/// Of Kaiser's window.
const BETA: f32 = 0.1102 * (STOP_DB - 8.7);

/// Half of the transition band over the frame rate: (80 - 7.95) / (2.285 * 2 pi * 64) / 2.
const HALF_TRANSITION: f64 = 0.0392;

/// An interpolated value lies below this times the largest sample: the sum of the weights' sizes is at most 2.8.
pub(super) const MOST_GROWTH: f32 = 3.0;

/// The resampling filter for a recording and a frame rate.
pub(super) struct ResamplingFilter {
    /// Half of its pass band, in turns a sample: units of 2^-32.
    cutoff: u32,
    /// The same as a number: the zeros of `sin(x)/x` lie this share of a sample apart, turned over.
    zeros: f32,
    /// Samples to either side.
    half: i64,
    /// One over the half width of the window, in samples.
    window: f32,
    /// Whether a frame at the instant of a sample has its value.
    interpolates: bool,
}

/// A place so near to a sample, in units of 2^-32 samples, is that of the sample: instants of frames are rounded.
const NEAR: u64 = 1 << 10;

/// Samples that are weighted at a time.
const TAPS: usize = 16;

/// One over the squares of 1 to 15: what follows in the series is below 1e-8 of the sum.
const TERMS: [f32; 15] = {
    let mut terms = [0.0; 15];
    let mut k = 0;
    while k < terms.len() {
        terms[k] = 1.0 / ((k + 1) * (k + 1)) as f32;
        k += 1;
    }
    terms
};

impl ResamplingFilter {
    pub(super) fn new(rate: u64, frame_rate: FrameRate) -> ResamplingFilter {
        let frames = u64::from(frame_rate.as_hz()) << 32;
        if frames >= rate {
            let window = 1.0 / HALF as f32;
            return ResamplingFilter { cutoff: 1 << 31, zeros: 1.0, half: HALF, window, interpolates: true };
        }
        // Frames a sample.
        let share = frames as f64 / rate as f64;
        let width = HALF as f64 / share;
        ResamplingFilter {
            cutoff: ((0.5 - HALF_TRANSITION) * share * 4_294_967_296.0) as u32,
            zeros: ((1.0 - 2.0 * HALF_TRANSITION) * share) as f32,
            half: width as i64 + 1,
            window: (1.0 / width) as f32,
            interpolates: false,
        }
    }

    /// The values of channels at a place, in units of 2^-32 samples.
    pub(super) fn values<const N: usize>(&self, channels: &[&[f32]; N], place: u64) -> [f32; N] {
        let (whole, part) = (place >> 32, place & 0xffff_ffff);
        let sample = |channel: &[f32], index: u64| {
            let last = channel.len().saturating_sub(1);
            channel.get(usize::try_from(index).unwrap_or(last).min(last)).copied().unwrap_or(0.0)
        };
        if self.interpolates && !(NEAR..=(1 << 32) - NEAR).contains(&part) {
            let index = whole + (part >> 31);
            return channels.map(|channel| sample(channel, index));
        }
        let mut sums = [[0.0; TAPS]; N];
        let mut totals = [0.0; TAPS];
        let turns = ((part * u64::from(self.cutoff)) >> 32) as u32;
        let part = part as f32 * (1.0 / 4_294_967_296.0);
        for first in (1 - self.half..=self.half).step_by(TAPS) {
            let weights = self.weights(first, part, turns);
            totals.iter_mut().zip(weights).for_each(|(total, weight)| *total += weight);
            let index = whole.saturating_add_signed(first);
            let inside = usize::try_from(index).ok().filter(|_| whole as i64 >= -first);
            for (sums, channel) in sums.iter_mut().zip(channels).filter(|(_, channel)| !channel.is_empty()) {
                let samples =
                    inside.and_then(|index| channel.get(index..index.checked_add(TAPS)?)?.first_chunk::<TAPS>());
                let near_an_end =
                    || core::array::from_fn(|i| sample(channel, whole.saturating_add_signed(first + i as i64)));
                let samples = samples.copied().unwrap_or_else(near_an_end);
                sums.iter_mut().zip(weights).zip(samples).for_each(|((sum, weight), sample)| *sum += weight * sample);
            }
        }
        let total: f32 = totals.iter().sum();
        sums.map(|sums| sums.iter().sum::<f32>() / total)
    }

    /// The weights of samples from the `first` after a place on, which lies `part` of a sample after one: `turns` of the cut-off.
    fn weights(&self, first: i64, part: f32, turns: u32) -> [f32; TAPS] {
        let apart: [f32; TAPS] = core::array::from_fn(|i| (first + i as i64) as f32 - part);
        let z = apart.map(|apart| {
            let from_middle = apart * self.window;
            0.25 * BETA * BETA * math::max(1.0 - from_middle * from_middle, 0.0)
        });
        // The modified Bessel function of order zero, by its series.
        let mut weights = [1.0; TAPS];
        for term in TERMS.iter().rev() {
            weights.iter_mut().zip(z).for_each(|(sum, z)| *sum = 1.0 + *sum * z * term);
        }
        for (i, ((weight, apart), z)) in weights.iter_mut().zip(apart).zip(z).enumerate() {
            let x = core::f32::consts::PI * self.zeros * apart;
            let sine = math::sin_turn(((first + i as i64) as u32).wrapping_mul(self.cutoff).wrapping_sub(turns));
            let wave = if math::abs(x) < 1e-3 { 1.0 } else { sine / x };
            *weight = if z > 0.0 { *weight * wave } else { 0.0 };
        }
        weights
    }
}
