//! Noise of recordings: that of the step glides in while that of the step before glides out.

use crate::block::Rows;
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
    /// The noise of the step before, with the start of that step.
    #[cfg(not(target_os = "none"))]
    before: Option<(&'a RecordedNoise<'a>, Instant)>,
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

    /// The glide into a step that follows `before`.
    #[cfg(not(target_os = "none"))]
    pub(super) fn after(before: Option<&Placed<'a>>) -> Fading<'a> {
        let noise = before.and_then(|placed| Some((placed.step.noise()?, placed.start)));
        Fading { glides: before.is_some(), before: noise, of: PhantomData }
    }

    /// The glide into a step that follows `before`.
    #[cfg(target_os = "none")]
    pub(super) fn after(_: Option<&Placed<'a>>) -> Fading<'a> {
        Fading::NONE
    }

    /// Adds the noise of the step and what is left of that before it to rows, the first of them `from`.
    #[cfg(not(target_os = "none"))]
    #[inline(never)]
    pub(super) fn add_to<R: Rows + ?Sized>(
        &self,
        placed: &Placed<'a>,
        rate: FrameRate,
        instants: &[Instant],
        rows: &mut R,
        from: usize,
    ) {
        let Some(first) = instants.first() else { return };
        let come = |now: Instant| {
            let since = now.since(placed.start);
            if !self.glides || since >= GLIDE { 1.0 } else { smooth_step(since.as_secs() * (1.0 / GLIDE.as_secs())) }
        };
        if let Some(noise) = placed.step.noise() {
            noise.add_to(placed.start, rate, come, instants, rows, from);
        }
        if let Some((noise, start)) = self.before.filter(|_| first.since(placed.start) < GLIDE) {
            noise.add_to(start, rate, |now| 1.0 - come(now), instants, rows, from);
        }
    }

    /// A board has none.
    #[cfg(target_os = "none")]
    pub(super) fn add_to<R: Rows + ?Sized>(&self, _: &Placed<'a>, _: FrameRate, _: &[Instant], _: &mut R, _: usize) {}
}
