//! Noise of the same size in every lead.

/// Two uncorrelated signals of the same RMS, of which every lead is a mixture of that RMS.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Pair(pub(super) f32, pub(super) f32);

impl Pair {
    /// Adds another pair at this size.
    pub(super) fn add(&mut self, other: Pair, mv: f32) {
        self.0 += other.0 * mv;
        self.1 += other.1 * mv;
    }
}
