//! Deflections: short bumps with compact support, and the fixed list of those being drawn.
//!
//! A bump rises for `rise`, holds, falls for `fall`; each flank is half of the biweight (1 - x^2)^2:
//!
//! ```text
//!          ____
//!        .'    '.
//! _____.'        '.______
//!      |rise|hold|fall|
//! ```
//!
//! It starts and ends with zero slope, so nothing tears; it needs no transcendental function; outside its support it
//! is exactly zero. A flank is within 5 % of its foot for the outer 12 % of its length, so the duration that an eye or
//! a delineator sees is about 0.88 of the support.

use crate::time::{Instant, PackedInstant, Span};

/// Shape of a bump in time.
#[derive(Clone, Copy, Debug)]
pub struct Bump {
    /// Frame clock of the start; within 128 s of any frame at which the bump is drawn.
    start: u32,
    end: PackedInstant,
    rise_s: f32,
    hold_end_s: f32,
    per_rise: f32,
    per_fall: f32,
}

/// Shortest flank, s: keeps its reciprocal finite.
const MIN_FLANK_S: f32 = 1e-5;

impl Bump {
    /// A bump from `start`, with its flanks and plateau in seconds.
    pub fn new(start: Instant, rise_s: f32, hold_s: f32, fall_s: f32) -> Bump {
        let rise_s = crate::math::max(rise_s, MIN_FLANK_S);
        let fall_s = crate::math::max(fall_s, MIN_FLANK_S);
        let hold_end_s = rise_s + crate::math::max(hold_s, 0.0);
        let end = start.plus(Span::from_secs(hold_end_s + fall_s));
        let end = PackedInstant::new(end);
        Bump { start: start.clock(), end, rise_s, hold_end_s, per_rise: 1.0 / rise_s, per_fall: 1.0 / fall_s }
    }

    /// End of the support.
    pub fn end(&self) -> Instant {
        self.end.instant()
    }

    /// Height, 0 to 1, at a frame clock within 128 s of the bump.
    ///
    /// Exactly zero outside, by the clock and not by the rounding of a flank, so that a bump may be left out of the sum
    /// before its start and after its end: when that happens depends on how many frames are asked for at a time.
    #[inline]
    pub(crate) fn at(&self, clock: u32) -> f32 {
        let since = clock.wrapping_sub(self.start);
        let inside = self.end().clock().wrapping_sub(self.start).saturating_sub(1);
        if since.wrapping_sub(1) >= inside {
            return 0.0;
        }
        let t = since as i32 as f32 * (1.0 / 16_777_216.0);
        let before = crate::math::min((t - self.rise_s) * self.per_rise, 0.0);
        let after = crate::math::max((t - self.hold_end_s) * self.per_fall, 0.0);
        let x = before + after;
        let w = 1.0 - crate::math::min(x * x, 1.0);
        w * w
    }
}

/// A bump with its direction and size on the Frank vector (X left, Y down, Z back), mV.
#[derive(Clone, Copy, Debug)]
pub struct Deflection {
    /// Shape in time.
    pub bump: Bump,
    /// Peak, mV.
    pub vector_mv: [f32; 3],
}

/// Most deflections drawn at once.
///
/// Twice what the densest rhythm needs: two overlapping ventricular beats of eight waves, a P wave and ectopy.
pub const CAPACITY: usize = 32;

/// The deflections being drawn, in the order in which they were started.
#[derive(Clone, Debug)]
pub struct Deflections {
    list: [Deflection; CAPACITY],
    len: usize,
}

impl Default for Deflections {
    fn default() -> Deflections {
        let nothing = Deflection { bump: Bump::new(Instant::ZERO, 0.0, 0.0, 0.0), vector_mv: [0.0; 3] };
        Deflections { list: [nothing; CAPACITY], len: 0 }
    }
}

impl Deflections {
    /// Adds a deflection; when the list is full, the oldest gives way.
    pub fn start(&mut self, deflection: Deflection) {
        if self.len == CAPACITY {
            self.list.copy_within(1.., 0);
            self.len -= 1;
        }
        if let Some(place) = self.list.get_mut(self.len) {
            *place = deflection;
            self.len += 1;
        }
    }

    /// Forgets what has ended before `now`, keeping the order: sums are always formed oldest first.
    pub fn retire(&mut self, now: Instant) {
        let mut kept = 0;
        for i in 0..self.len {
            let Some(&deflection) = self.list.get(i) else { break };
            if deflection.bump.end() > now
                && let Some(place) = self.list.get_mut(kept)
            {
                *place = deflection;
                kept += 1;
            }
        }
        self.len = kept;
    }

    /// Adds every deflection at the given frame clocks, of which the last lies before `until`.
    pub(crate) fn add_to(&self, until: Instant, clocks: &[u32], vector: &mut [[f32; 3]]) {
        for deflection in self.list.iter().take(self.len) {
            if deflection.bump.start.wrapping_sub(until.clock()) as i32 >= 0 {
                continue;
            }
            let [x, y, z] = deflection.vector_mv;
            for (clock, sum) in clocks.iter().zip(vector.iter_mut()) {
                let height = deflection.bump.at(*clock);
                sum[0] += x * height;
                sum[1] += y * height;
                sum[2] += z * height;
            }
        }
    }
}
