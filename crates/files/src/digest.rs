//! A digest of played frames that parts can work out side by side.

use pulsewright_core::block::{BLOCK, Block};
use pulsewright_core::frame::Frame;
use pulsewright_core::internal::vectors::{self, Loop};

/// The sum over all frames of a frame's bits, folded to one word, times a key of its index: order and place count, yet the
/// digest of a whole is the sum of the digests of its parts.
///
/// Not cryptographic: it separates signals that differ by mistake. A signal that is not played counts as zero.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FramesDigest(u64);

/// An odd constant with well-spread bits: the golden ratio.
const SPREAD: u32 = 0x9e37_79b9;

/// Turn of a value's bits by its place in the frame: each of up to 32 places has its own, and no two signs meet.
const fn turn(place: usize) -> u32 {
    (place as u32 * 11) % 32
}

/// Key of the frame at the low half of an index, and its high half: odd, and far from any simple function
/// of the index. Two rounds of Marsaglia's xorshift, which needs no product.
#[inline]
const fn key(low: u32, high: u32) -> u32 {
    let mut state = low.wrapping_add(high.wrapping_mul(SPREAD)) ^ SPREAD;
    let mut round = 0;
    while round < 2 {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        round += 1;
    }
    state | 1
}

/// A block to be taken in, the first of its frames at `index`.
struct Update<'a> {
    digest: &'a mut FramesDigest,
    index: u64,
    block: &'a Block,
}

impl Loop for Update<'_> {
    #[inline(always)]
    fn run(self) {
        let Update { digest, index, block } = self;
        let mut words = [0_u32; BLOCK];
        for (place, column) in block.played() {
            for (word, value) in words.iter_mut().zip(column) {
                *word ^= value.to_bits().rotate_left(turn(place));
            }
        }
        let words = words.get(..block.len()).unwrap_or_default();
        // The low half of an index goes round within a block once in four thousand million frames.
        let before = words.len().min((u32::MAX - index as u32) as usize + 1);
        let (before, after) = words.split_at(before);
        digest.take(index, before);
        digest.take(index.wrapping_add(before.len() as u64), after);
    }
}

impl FramesDigest {
    /// Takes in consecutive frames, the first of them at `index`.
    pub fn update(&mut self, index: u64, block: &Block) {
        vectors::run(Update { digest: self, index, block });
    }

    /// Takes in words of frames whose indices have one high half.
    #[inline(always)]
    fn take(&mut self, index: u64, words: &[u32]) {
        let (low, high) = (index as u32, (index >> 32) as u32);
        // First all keys: a loop that also takes sums of 64 bits would take half as many at a time.
        let mut keys = [0; BLOCK];
        let keys = &mut keys[..words.len()];
        for (i, place) in keys.iter_mut().enumerate() {
            *place = key(low.wrapping_add(i as u32), high);
        }
        let mut sum = 0_u64;
        for (key, word) in keys.iter().zip(words) {
            sum = sum.wrapping_add(u64::from(*key) * u64::from(*word));
        }
        self.0 = self.0.wrapping_add(sum);
    }

    /// As [`FramesDigest::update`] with every signal of `frames`.
    pub fn update_frames(&mut self, index: u64, frames: &[Frame]) {
        for (first, frames) in (index..).step_by(BLOCK).zip(frames.chunks(BLOCK)) {
            self.update(first, &Block::of_frames(frames));
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

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(count: u16) -> Vec<Frame> {
        (0..count)
            .map(|i| Frame {
                leads_mv: std::array::from_fn(|lead| f32::from(i % 7) + 0.1 * lead as f32),
                ..Frame::default()
            })
            .collect()
    }

    fn digest(parts: &[(u64, &[Frame])]) -> u64 {
        let mut digest = FramesDigest::default();
        for (index, frames) in parts {
            let mut part = FramesDigest::default();
            part.update_frames(*index, frames);
            digest.add(part);
        }
        digest.value()
    }

    #[test]
    fn the_widest_vectors_make_the_sum_of_the_plainest() {
        let block = Block::of_frames(&frames(200));
        for index in [0, 77, u64::from(u32::MAX) - 40] {
            let [one, other] = [true, false].map(|widest| {
                let mut digest = FramesDigest::default();
                let update = Update { digest: &mut digest, index, block: &block };
                if widest {
                    vectors::run(update)
                } else {
                    update.run()
                }
                digest
            });
            assert_eq!(one, other);
        }
    }

    #[test]
    fn parts_add_up_and_any_change_shows() {
        let whole = frames(100);
        let value = digest(&[(0, &whole)]);
        assert_eq!(value, digest(&[(60, &whole[60..]), (0, &whole[..60])]));
        assert_ne!(value, digest(&[(1, &whole)]));
        let late = u64::from(u32::MAX) - 40;
        let value_late = digest(&[(late, &whole)]);
        assert_eq!(
            value_late,
            digest(&[(late, &whole[..70]), (late + 70, &whole[70..])]),
            "past the low half of an index"
        );
        assert_ne!(value_late, digest(&[(late + (1 << 32), &whole)]));
        let changed = |change: fn(&mut Vec<Frame>)| {
            let mut frames = whole.clone();
            change(&mut frames);
            digest(&[(0, &frames)])
        };
        assert_ne!(value, changed(|frames| frames.swap(3, 4)), "two frames change places");
        assert_ne!(value, changed(|frames| frames[99].leads_mv[7] = -0.0), "a sign");
        assert_ne!(
            value,
            changed(|frames| frames[8].leads_mv[2] = f32::from_bits(1.0_f32.to_bits() + 1)),
            "a last bit"
        );
        assert_ne!(value, changed(|frames| frames[9].leads_mv.swap(0, 1)), "two leads change places");
        assert_ne!(
            value,
            changed(|frames| frames.iter_mut().for_each(|frame| frame.leads_mv = frame.leads_mv.map(|mv| -mv)))
        );
        assert_ne!(value, changed(|frames| frames[50].cuff_mmhg[1] = 1e-3), "the last value of a frame");
        assert_ne!(value, changed(|frames| frames.truncate(99)), "a frame less");
        // Errors that cancel in a plain sum: up, twice down, up.
        assert_ne!(
            value,
            changed(|frames| {
                for (i, mv) in [(20, 1.0), (21, -2.0), (22, 1.0)] {
                    frames[i].respiration_ohm += mv;
                }
            })
        );
    }
}
