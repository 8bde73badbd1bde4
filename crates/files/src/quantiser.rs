//! The one place where a sample becomes an integer: scale, round half to even, clamp and count.
//!
//! Integer widths are generic through `num-traits`. Only its integer traits are used here, and only they may be: its
//! float functions change their results when any crate of a build switches its `std` feature on.

use crate::scale::Scale;
use num_traits::{AsPrimitive, PrimInt, ToBytes};
use pulsewright_core::frame::{Channel, Frame};

/// Frames worked on together: their samples of one channel stay in the innermost cache.
pub const BLOCK: usize = 256;

/// What is counted while samples are stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Samples beyond the scale, stored as its end.
    pub clipped: u64,
    /// Samples that are no numbers. No signal has any; a file with one is refused.
    pub not_numbers: u64,
    /// Sum of the codes modulo 2^16, of formats whose header tells it; zero of others.
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

/// Copies one channel's samples out of at most [`BLOCK`] frames.
pub fn gather<'a>(frames: &[Frame], channel: Channel, column: &'a mut [f32; BLOCK]) -> &'a [f32] {
    let mut count = 0;
    for (sample, frame) in column.iter_mut().zip(frames) {
        *sample = frame.sample(channel);
        count += 1;
    }
    &column[..count]
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

/// Beyond every code and well within what [`ROUNDER`] can round.
const BOUND: f64 = 1_099_511_627_776.0;

impl Quantiser {
    /// For values of this scale.
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
    /// sample, and of two equally near the even one.
    pub fn quantise<'a>(&self, samples: &[f32], codes: &'a mut [i32; BLOCK]) -> (&'a [i32], Tally) {
        let (mut clipped, mut not_numbers) = (0_u32, 0_u32);
        let mut count = 0;
        for (code, sample) in codes.iter_mut().zip(samples) {
            let steps = ((f64::from(*sample) - self.offset) * self.steps_per_unit).clamp(-BOUND, BOUND);
            let rounded = (steps + ROUNDER) - ROUNDER;
            let held = rounded.max(self.min).min(self.max);
            clipped += u32::from(held != rounded);
            not_numbers += u32::from(sample.is_nan());
            *code = held as i32;
            count += 1;
        }
        let tally = Tally { clipped: u64::from(clipped - not_numbers), not_numbers: u64::from(not_numbers), sum: 0 };
        (&codes[..count], tally)
    }
}

/// Writes `codes` as little-endian integers `T`, the lowest `WIDTH` bytes of each, at every `stride` bytes of `bytes`.
pub fn spread<T, const WIDTH: usize>(codes: &[i32], stride: usize, bytes: &mut [u8])
where
    T: PrimInt + ToBytes + 'static,
    i32: AsPrimitive<T>,
{
    for (place, code) in bytes.chunks_mut(stride).zip(codes) {
        let sample: T = code.as_();
        let sample = sample.to_le_bytes();
        if let (Some(place), Some(sample)) = (place.get_mut(..WIDTH), sample.as_ref().get(..WIDTH)) {
            place.copy_from_slice(sample);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::{Bits, Reach};
    use pulsewright_core::frame::ChannelKind;

    fn quantiser(bits: Bits) -> Quantiser {
        // A reach so wide that the step is a whole unit: samples are codes.
        let reach = Reach { lowest: -1e9, highest: 1e9, centre: 0.0 };
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
    fn what_is_no_number_is_counted_apart() {
        let mut codes = [0; BLOCK];
        let (_, tally) = quantiser(Bits::B16).quantise(&[f32::NAN, 1.0, 1e9], &mut codes);
        assert_eq!(tally, Tally { clipped: 1, not_numbers: 1, sum: 0 });
    }

    #[test]
    fn decimal_steps_are_met_to_half_a_step() {
        let scale = Scale::new(ChannelKind::Potential, Bits::B16, Reach { lowest: -5.0, highest: 5.0, centre: 0.0 });
        let quantiser = Quantiser::new(&scale);
        let mut codes = [0; BLOCK];
        for wanted in -32_768..=32_767_i32 {
            // The `f32` nearest to a code's value comes back as the code.
            let sample = (f64::from(wanted) * 0.001) as f32;
            assert_eq!(quantiser.quantise(&[sample], &mut codes).0, [wanted]);
        }
    }

    #[test]
    fn codes_are_spread_as_little_endian_bytes_of_their_width() {
        let mut bytes = [0xaa; 12];
        spread::<i16, 2>(&[-2, 258], 6, &mut bytes[2..]);
        assert_eq!(bytes, [0xaa, 0xaa, 0xfe, 0xff, 0xaa, 0xaa, 0xaa, 0xaa, 0x02, 0x01, 0xaa, 0xaa]);
        let mut bytes = [0; 6];
        spread::<i32, 3>(&[-8_388_608, 8_388_607], 3, &mut bytes);
        assert_eq!(bytes, [0x00, 0x00, 0x80, 0xff, 0xff, 0x7f]);
        let mut bytes = [0; 4];
        spread::<i32, 4>(&[i32::MIN], 4, &mut bytes);
        assert_eq!(bytes, [0, 0, 0, 0x80]);
    }
}
