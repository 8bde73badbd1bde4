//! Frequencies whose phase at any instant is an integer, so that they neither drift nor depend on where one starts.

use crate::time::Instant;

/// A frequency in 2^-16 Hz.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frequency(u32);

impl Frequency {
    /// The frequency nearest below `hz`, 0 to 65 535 Hz; zero for NaN.
    pub(crate) const fn hz(hz: f32) -> Frequency {
        Frequency((hz * 65_536.0) as u32)
    }

    /// Phase at an instant, in 2^-32 turns.
    pub(crate) const fn phase(self, at: Instant) -> u32 {
        // The product is in 2^-48 turns, of which whole turns fall off the top.
        ((self.0 as u64).wrapping_mul(at.ticks()) >> 16) as u32
    }
}
