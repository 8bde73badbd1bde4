//! A digest of played frames that parts can work out side by side.

use pulsewright_core::frame::Frame;

/// The sum over all frames of a mix of each frame's bits with its index: order and place count, yet the digest of a whole
/// is the sum of the digests of its parts.
///
/// Not cryptographic: it tells signals apart that differ by mistake.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FramesDigest(u64);

/// Odd constants with well-spread bits: the golden ratio, and the two multipliers of Stafford's mixer 13.
const SPREAD: u64 = 0x9e37_79b9_7f4a_7c15;
const MIX: [u64; 2] = [0xbf58_476d_1ce4_e5b9, 0x94d0_49bb_1331_11eb];

impl FramesDigest {
    /// Takes in consecutive frames, the first of them at `index`.
    pub fn update(&mut self, index: u64, frames: &[Frame]) {
        let mut index = index;
        for frame in frames {
            let mut state = index.wrapping_mul(SPREAD);
            for value in frame
                .leads_mv
                .iter()
                .chain([&frame.respiration_ohm])
                .chain(&frame.pressure_mmhg)
                .chain(&frame.cuff_mmhg)
            {
                state = (state ^ u64::from(value.to_bits())).wrapping_mul(MIX[0]);
                state ^= state >> 32;
            }
            self.0 = self.0.wrapping_add(mix(state));
            index = index.wrapping_add(1);
        }
    }

    /// Adds the digest of another part.
    pub fn add(&mut self, other: FramesDigest) {
        self.0 = self.0.wrapping_add(other.0);
    }

    /// The digest so far.
    pub const fn value(self) -> u64 {
        self.0
    }
}

fn mix(state: u64) -> u64 {
    let state = (state ^ (state >> 30)).wrapping_mul(MIX[0]);
    let state = (state ^ (state >> 27)).wrapping_mul(MIX[1]);
    state ^ (state >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(count: u16) -> Vec<Frame> {
        (0..count).map(|i| Frame { leads_mv: [f32::from(i % 7); 8], ..Frame::default() }).collect()
    }

    fn digest(parts: &[(u64, &[Frame])]) -> u64 {
        let mut digest = FramesDigest::default();
        for (index, frames) in parts {
            let mut part = FramesDigest::default();
            part.update(*index, frames);
            digest.add(part);
        }
        digest.value()
    }

    #[test]
    fn parts_add_up_and_any_change_shows() {
        let whole = frames(100);
        let value = digest(&[(0, &whole)]);
        assert_eq!(value, digest(&[(60, &whole[60..]), (0, &whole[..60])]));
        assert_ne!(value, digest(&[(1, &whole)]));
        let mut swapped = whole.clone();
        swapped.swap(3, 4);
        assert_ne!(value, digest(&[(0, &swapped)]));
        let mut touched = whole;
        touched[99].leads_mv[7] = -0.0;
        assert_ne!(value, digest(&[(0, &touched)]));
    }
}
