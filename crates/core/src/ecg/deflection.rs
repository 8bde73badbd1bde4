//! Deflections: short bumps with compact support, and the fixed list of those being drawn.
//!
//! A bump rises for `rise`, holds, falls for `fall`; each flank is half of (1 - x^2)^3:
//!
//! ```text
//!          ____
//!        .'    '.
//! _____.'        '.______
//!      |rise|hold|fall|
//! ```
//!
//! It starts and ends with zero slope and zero curvature, so an eye finds no corner; it needs no transcendental function;
//! outside its support it is exactly zero. A flank is within 5 % of its foot for the outer 20 % of its length, so the
//! duration that an eye or a delineator sees is about 0.8 of the support.

use crate::time::{Instant, PackedInstant, Span};
use crate::vectors::{self, LANES, Loop};
use core::ops::Range;

/// Shape of a bump in time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bump {
    /// Frame clock of the start; within 128 s of any frame at which the bump is drawn.
    start: u32,
    end: PackedInstant,
    rise_s: f32,
    hold_end_s: f32,
    per_rise: f32,
    per_fall: f32,
}

/// Heights worked out before they are added up: few enough for registers and stack of a microcontroller.
const TOGETHER: usize = if LANES == 1 { 16 } else { 64 };

/// Shortest flank, s: keeps its reciprocal finite.
const MIN_FLANK_S: f32 = 1e-5;

impl Bump {
    /// A bump from `start`, with its flanks and plateau in seconds.
    pub(crate) fn new(start: Instant, rise_s: f32, hold_s: f32, fall_s: f32) -> Bump {
        let rise_s = crate::math::max(rise_s, MIN_FLANK_S);
        let fall_s = crate::math::max(fall_s, MIN_FLANK_S);
        let hold_end_s = rise_s + crate::math::max(hold_s, 0.0);
        let end = start.plus(Span::from_secs(hold_end_s + fall_s));
        let end = PackedInstant::new(end);
        Bump { start: start.clock(), end, rise_s, hold_end_s, per_rise: 1.0 / rise_s, per_fall: 1.0 / fall_s }
    }

    /// End of the support.
    pub(crate) fn end(&self) -> Instant {
        self.end.instant()
    }

    /// From start to end, s.
    pub(crate) fn length_s(&self) -> f32 {
        self.hold_end_s + 1.0 / self.per_fall
    }

    /// Which of consecutive frame clocks, all within 128 s of the bump, lie inside its support.
    ///
    /// Outside, it is exactly zero by the clock and not by the rounding of a flank, so that it may be left out of the sum before
    /// its start and after its end: when that happens depends on how many frames are asked for at a time.
    fn inside(&self, clocks: &[u32]) -> Range<usize> {
        let end = self.end().clock();
        let outside_before = |clock: &u32| clock.wrapping_sub(self.start) as i32 <= 0;
        let before_end = |clock: &u32| (clock.wrapping_sub(end) as i32) < 0;
        // Many bumps are under way at the first clock, and at the last.
        let under_way = LANES > 1 && clocks.first().is_some_and(|clock| !outside_before(clock));
        let from = if under_way { 0 } else { clocks.partition_point(outside_before) };
        let goes_on = LANES > 1 && clocks.last().is_some_and(before_end);
        let to = if goes_on { clocks.len() } else { clocks.partition_point(before_end) };
        from..to.max(from)
    }

    /// All bits if a frame clock within 128 s of the bump lies inside its support, none if outside.
    #[inline(always)]
    fn mask(&self, clock: u32) -> u32 {
        let end = self.end().clock();
        let inside = (clock.wrapping_sub(self.start) as i32 > 0) & ((clock.wrapping_sub(end) as i32) < 0);
        u32::from(inside).wrapping_neg()
    }

    /// Adds to each of `sums` its factor times the height at consecutive frame clocks within 128 s of the bump.
    // Not inlined, nor generic over how many sums: a microcontroller has room for it once.
    #[inline(never)]
    pub(crate) fn add_to(&self, clocks: &[u32], sums: &mut [(&mut [f32], f32)]) {
        vectors::run(AddTo { bump: self, clocks, sums });
    }

    /// Height, 0 to 1, at a frame clock inside the support.
    #[inline]
    fn height(&self, clock: u32) -> f32 {
        let t = clock.wrapping_sub(self.start) as i32 as f32 * (1.0 / 16_777_216.0);
        let before = crate::math::min((t - self.rise_s) * self.per_rise, 0.0);
        let after = crate::math::max((t - self.hold_end_s) * self.per_fall, 0.0);
        let x = before + after;
        let w = 1.0 - crate::math::min(x * x, 1.0);
        w * w * w
    }
}

/// Arguments of [`Bump::add_to`].
struct AddTo<'a, 'b> {
    bump: &'a Bump,
    clocks: &'a [u32],
    sums: &'a mut [(&'b mut [f32], f32)],
}

impl Loop for AddTo<'_, '_> {
    #[inline(always)]
    fn run(self) {
        let inside = self.bump.inside(self.clocks);
        if inside.is_empty() {
            return;
        }
        // Whole lanes, with zeros outside.
        let mut from = inside.start / LANES * LANES;
        let end = inside.end.next_multiple_of(LANES).min(self.clocks.len());
        while from < end {
            let part = from..end.min(from + TOGETHER);
            let mut heights = [0.0; TOGETHER];
            for (height, clock) in heights.iter_mut().zip(self.clocks.get(part.clone()).unwrap_or_default()) {
                *height = self.bump.height(*clock);
                if LANES > 1 {
                    *height = f32::from_bits(height.to_bits() & self.bump.mask(*clock));
                }
            }
            for (sums, factor) in self.sums.iter_mut() {
                // The loop needs no remainder where the count is a multiple of the lanes.
                let sums = sums.get_mut(part.clone()).unwrap_or_default();
                let lanes = if LANES > 1 { sums.len() / LANES } else { 0 };
                let (in_lanes, rest) = sums.split_at_mut(lanes * LANES);
                let rest_heights = heights.get(lanes * LANES..).unwrap_or_default();
                for (sums, heights) in
                    in_lanes.as_chunks_mut::<LANES>().0.iter_mut().zip(heights.as_chunks::<LANES>().0)
                {
                    sums.iter_mut().zip(heights).for_each(|(sum, height)| *sum += *factor * height);
                }
                rest.iter_mut().zip(rest_heights).for_each(|(sum, height)| *sum += *factor * height);
            }
            from += TOGETHER;
        }
    }
}

/// A bump with its direction and size on the Frank vector (X left, Y down, Z back), mV.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Deflection {
    /// Shape in time.
    pub bump: Bump,
    /// Peak, mV.
    pub vector_mv: [f32; 3],
}

/// Most deflections drawn at once.
///
/// Half as much again as the densest rhythm needs: two overlapping fused beats of thirteen waves, P waves and ectopy.
pub(crate) const CAPACITY: usize = 48;

/// The deflections being drawn, in the order in which they were started.
#[derive(Clone, Debug)]
pub(crate) struct Deflections {
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
    pub(crate) fn start(&mut self, deflection: Deflection) {
        if self.len == CAPACITY {
            self.list.copy_within(1.., 0);
            self.len -= 1;
        }
        if let Some(place) = self.list.get_mut(self.len) {
            *place = deflection;
            self.len += 1;
        }
    }

    /// All that are being drawn.
    pub(crate) fn all(&self) -> &[Deflection] {
        self.last(self.len)
    }

    /// The `count` started last.
    pub(crate) fn last(&self, count: usize) -> &[Deflection] {
        self.list.get(self.len.saturating_sub(count)..self.len).unwrap_or_default()
    }

    /// Forgets what has ended before `now`, keeping the order: sums are always formed oldest first.
    pub(crate) fn retire(&mut self, now: Instant) {
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

    /// Adds every deflection at consecutive frame clocks, of which the last lies before `until`.
    pub(crate) fn add_to(&self, until: Instant, clocks: &[u32], [x, y, z]: [&mut [f32]; 3]) {
        for deflection in self.list.iter().take(self.len) {
            if (deflection.bump.start.wrapping_sub(until.clock()) as i32) < 0 {
                let [mv_x, mv_y, mv_z] = deflection.vector_mv;
                deflection.bump.add_to(clocks, &mut [(&mut *x, mv_x), (&mut *y, mv_y), (&mut *z, mv_z)]);
            }
        }
    }
}
