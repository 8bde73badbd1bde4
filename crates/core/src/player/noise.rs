//! Noise of recordings: that of the step glides in while that of the step before glides out.

use crate::block::BlockRows;
#[cfg(not(target_os = "none"))]
use crate::course::GLIDE;
#[cfg(not(target_os = "none"))]
use crate::math::smooth_step;
#[cfg(not(target_os = "none"))]
use crate::recording::RecordedNoise;
use crate::time::{FrameRate, Instant};
use crate::timeline::Placed;
use core::marker::PhantomData;

/// The state of the glide. A board plays no recordings and keeps nothing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fading<'a> {
    /// Whether a step came before, so that noise glides in.
    #[cfg(not(target_os = "none"))]
    glides: bool,
    /// Earlier noise that glides out, with the start of its step and the share of it that was reached.
    #[cfg(not(target_os = "none"))]
    before: Option<(&'a RecordedNoise<'a>, Instant, f32)>,
    of: PhantomData<&'a ()>,
}

impl<'a> Fading<'a> {
    pub(super) const NONE: Fading<'a> = Fading {
        #[cfg(not(target_os = "none"))]
        glides: false,
        #[cfg(not(target_os = "none"))]
        before: None,
        of: PhantomData,
    };

    /// The share of the step's own noise that is reached at `now`.
    #[cfg(not(target_os = "none"))]
    fn reached(&self, placed: &Placed<'_>, now: Instant) -> f32 {
        let since = now.since(placed.start);
        if !self.glides || since >= GLIDE { 1.0 } else { smooth_step(since.as_secs() * (1.0 / GLIDE.as_secs())) }
    }

    /// The glide into a step that begins at `at` and follows `before`. Noise glides out from the share that it has reached; of two
    /// that are heard, that of the step goes on with the share of both, or the earlier one glides on.
    #[cfg(not(target_os = "none"))]
    pub(super) fn after(self, before: Option<&Placed<'a>>, at: Instant) -> Fading<'a> {
        let Some(placed) = before else { return Fading::NONE };
        let reached = self.reached(placed, at);
        let left = (1.0 - reached) * self.before.map_or(0.0, |(.., share)| share);
        let own = placed.step.noise().map(|noise| (noise, placed.start, reached + left));
        let earlier = self.before.map(|(noise, start, _)| (noise, start, left)).filter(|_| left > 0.0);
        Fading { glides: true, before: own.or(earlier), of: PhantomData }
    }

    /// The glide into a step.
    #[cfg(target_os = "none")]
    pub(super) fn after(self, _: Option<&Placed<'a>>, _: Instant) -> Fading<'a> {
        Fading::NONE
    }

    /// Adds the noise of the step and what is left of that before it to rows, the first of them `from`.
    #[cfg(not(target_os = "none"))]
    #[inline(never)]
    pub(super) fn add_to<R: BlockRows + ?Sized>(
        &self,
        placed: &Placed<'a>,
        rate: FrameRate,
        instants: &[Instant],
        rows: &mut R,
        from: usize,
    ) {
        let Some(first) = instants.first() else { return };
        let reached = |now: Instant| self.reached(placed, now);
        if let Some(noise) = placed.step.noise() {
            noise.add_to(placed.start, rate, reached, instants, rows, from);
        }
        if let Some((noise, start, share)) = self.before.filter(|_| first.since(placed.start) < GLIDE) {
            noise.add_to(start, rate, |now| share * (1.0 - reached(now)), instants, rows, from);
        }
    }

    /// A board has none.
    #[cfg(target_os = "none")]
    pub(super) fn add_to<R: BlockRows + ?Sized>(
        &self,
        _: &Placed<'a>,
        _: FrameRate,
        _: &[Instant],
        _: &mut R,
        _: usize,
    ) {
    }
}
