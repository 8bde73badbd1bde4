//! The one place where a sample becomes an integer: scale, round half to even, clamp and count.

use crate::scale::Scale;
pub use pulsewright_core::block::BLOCK;

/// Counts of stored samples.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Samples beyond the scale, stored as its end.
    pub clipped: u64,
    /// NaN samples. No signal has any; a file with one is refused.
    pub not_numbers: u64,
    /// Sum of the codes modulo 2^16, for formats whose header has it; zero for others.
    pub sum: u16,
}

impl Tally {
    /// Adds another's counts.
    pub fn add(&mut self, other: Tally) {
        self.clipped += other.clipped;
        self.not_numbers += other.not_numbers;
        self.sum = self.sum.wrapping_add(other.sum);
    }
}

/// Turns samples of one channel into codes.
#[derive(Clone, Copy, Debug)]
pub struct Quantiser {
    steps_per_unit: f64,
    offset: f64,
    min: f64,
    max: f64,
}

/// Adding 1.5 × 2^52 leaves no bit below one: the addition itself rounds half to even, without a function call.
const ROUNDER: f64 = 6_755_399_441_055_744.0;

/// Beyond every code and well within the range of [`ROUNDER`].
const BOUND: f64 = 1_099_511_627_776.0;

/// The sign of an `f32`.
const SIGN: u32 = 1 << 31;

/// Samples looked at side by side.
const LANES: usize = 32;

impl Quantiser {
    /// For values of this scale.
    #[inline(always)]
    pub fn new(scale: &Scale) -> Quantiser {
        let (min, max) = scale.bits().limits();
        Quantiser {
            steps_per_unit: scale.steps_per_unit(),
            offset: scale.offset(),
            min: f64::from(min),
            max: f64::from(max),
        }
    }

    /// Codes of at most [`BLOCK`] samples.
    ///
    /// Difference and product are exact in `f64` for steps of a power of ten, so the code is the one nearest to the
    /// sample; when two are equally near, the even one.
    #[inline(always)]
    pub fn quantise<'a>(&self, samples: &[f32], codes: &'a mut [i32; BLOCK]) -> (&'a [i32], Tally) {
        let count = samples.len().min(BLOCK);
        let codes = &mut codes[..count];
        let tally = self.fill(&samples[..count], codes);
        (codes, tally)
    }

    #[inline(always)]
    fn fill(&self, samples: &[f32], codes: &mut [i32]) -> Tally {
        if self.holds(samples) {
            self.within(samples, codes);
            return Tally::default();
        }
        self.clamped(samples, codes)
    }

    /// Codes of samples within the scale, see [`Quantiser::holds`].
    #[inline(always)]
    pub fn within(&self, samples: &[f32], codes: &mut [i32]) {
        // The low half of the sum's bits is the rounded integer itself.
        let code = |steps: f64| (steps + ROUNDER).to_bits() as i32;
        if self.offset == 0.0 {
            let steps = |sample: f32| f64::from(sample) * self.steps_per_unit;
            codes.iter_mut().zip(samples).for_each(|(place, sample)| *place = code(steps(*sample)));
        } else {
            codes.iter_mut().zip(samples).for_each(|(place, sample)| *place = code(self.steps(*sample)));
        }
    }

    /// Codes of any samples, and the counts of clipped ones and NaN.
    #[inline(always)]
    pub fn clamped(&self, samples: &[f32], codes: &mut [i32]) -> Tally {
        let (mut clipped, mut not_numbers) = (0_u32, 0_u32);
        for (code, sample) in codes.iter_mut().zip(samples) {
            let rounded = (self.steps(*sample).clamp(-BOUND, BOUND) + ROUNDER) - ROUNDER;
            let clamped = rounded.max(self.min).min(self.max);
            clipped += u32::from(clamped != rounded);
            not_numbers += u32::from(sample.is_nan());
            *code = clamped as i32;
        }
        Tally { clipped: u64::from(clipped - not_numbers), not_numbers: u64::from(not_numbers), sum: 0 }
    }

    #[inline(always)]
    fn steps(&self, sample: f32) -> f64 {
        (f64::from(sample) - self.offset) * self.steps_per_unit
    }

    /// Whether all samples are numbers, and well within the scale; samples at its ends may count as beyond it.
    #[inline(always)]
    pub fn holds(&self, samples: &[f32]) -> bool {
        let offset = self.offset as f32;
        // Without their sign, the bits of floats are in the order of their values, and NaN comes last.
        let size = |sample: f32| (sample - offset).to_bits() & !SIGN;
        let mut largest = [0; LANES];
        let (chunks, rest) = samples.as_chunks::<LANES>();
        for chunk in chunks {
            largest.iter_mut().zip(chunk).for_each(|(largest, sample)| *largest = size(*sample).max(*largest));
        }
        let largest = largest.into_iter().chain(rest.iter().map(|sample| size(*sample))).fold(0, u32::max);
        let reach = self.max.min(-self.min) - 2.0;
        f64::from(f32::from_bits(largest)) * self.steps_per_unit <= reach
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{Bits, ChannelRange};
    use pulsewright_core::frame::ChannelKind;

    fn quantiser(bits: Bits) -> Quantiser {
        // A reach so wide that the step is a whole unit: samples are codes.
        let reach = ChannelRange { lowest: -1e9, highest: 1e9, centre: 0.0 };
        Quantiser { steps_per_unit: 1.0, ..Quantiser::new(&Scale::new(ChannelKind::Potential, bits, reach)) }
    }

    fn code(bits: Bits, sample: f32) -> (i32, u64) {
        let mut codes = [0; BLOCK];
        let (codes, tally) = quantiser(bits).quantise(&[sample], &mut codes);
        (codes[0], tally.clipped)
    }

    #[test]
    fn halves_go_to_the_even_code() {
        let codes = [0.5, 1.5, 2.5, -0.5, -1.5, 0.49999997, 2.5000002].map(|sample| code(Bits::B16, sample).0);
        assert_eq!(codes, [0, 2, 2, 0, -2, 0, 3]);
    }

    #[test]
    fn the_ends_are_held_and_counted() {
        assert_eq!(code(Bits::B16, 32_767.49), (32_767, 0));
        assert_eq!(code(Bits::B16, 32_767.5), (32_767, 1));
        assert_eq!(code(Bits::B16, -32_768.5), (-32_768, 0));
        assert_eq!(code(Bits::B16, -32_768.504), (-32_768, 1));
        assert_eq!(code(Bits::B24, 8_388_607.0), (8_388_607, 0));
        assert_eq!(code(Bits::B24, 8_388_608.0), (8_388_607, 1));
        assert_eq!(code(Bits::B24, -8_388_608.0), (-8_388_608, 0));
        assert_eq!(code(Bits::B32, 2_147_483_500.0), (2_147_483_520, 0));
        assert_eq!(code(Bits::B32, 2_147_483_600.0), (i32::MAX, 1));
        assert_eq!(code(Bits::B32, -2_147_483_600.0), (i32::MIN, 0));
        for huge in [f32::MAX, f32::INFINITY] {
            assert_eq!(code(Bits::B16, huge), (32_767, 1));
            assert_eq!(code(Bits::B32, -huge), (i32::MIN, 1));
        }
    }

    #[test]
    fn nan_is_counted_apart() {
        let mut codes = [0; BLOCK];
        let (_, tally) = quantiser(Bits::B16).quantise(&[f32::NAN, 1.0, 1e9], &mut codes);
        assert_eq!(tally, Tally { clipped: 1, not_numbers: 1, sum: 0 });
    }

    #[test]
    fn decimal_steps_are_met_to_half_a_step() {
        let scale =
            Scale::new(ChannelKind::Potential, Bits::B16, ChannelRange { lowest: -5.0, highest: 5.0, centre: 0.0 });
        let quantiser = Quantiser::new(&scale);
        let mut codes = [0; BLOCK];
        for wanted in -32_768..=32_767_i32 {
            // The `f32` nearest to a code's value comes back as the code.
            let sample = (f64::from(wanted) * 0.001) as f32;
            assert_eq!(quantiser.quantise(&[sample], &mut codes).0, [wanted]);
        }
    }
}
