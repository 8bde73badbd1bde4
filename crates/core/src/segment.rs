//! Consecutive frames without an event between them: between two events every signal is a function of time, and what is to be
//! worked out for one frame after another is worked out for all of them at once.

use crate::time::{FrameClock, Instant};

/// At most `N` frames, and space to work on them.
#[derive(Clone, Debug)]
pub(crate) struct Segment<const N: usize> {
    count: usize,
    instants: [Instant; N],
    clocks: [u32; N],
    vectors: [[f32; N]; 3],
    fillings: [f32; N],
}

impl<const N: usize> Segment<N> {
    pub(crate) fn new() -> Segment<N> {
        Segment { count: 0, instants: [Instant::ZERO; N], clocks: [0; N], vectors: [[0.0; N]; 3], fillings: [0.0; N] }
    }

    /// How many frames it has.
    pub(crate) fn count(&self) -> usize {
        self.count
    }

    /// Takes the next frames of `clock` up to just before `next`, at least one and at most `most` or as many as it holds.
    pub(crate) fn fill(&mut self, clock: &mut FrameClock, most: usize, next: Instant) {
        let places = self.clocks.iter_mut().zip(&mut self.instants).take(most);
        self.count = clock.run(next, places);
    }

    /// Instants and frame clocks; vectors, which are zero; and space for one value each.
    #[allow(clippy::type_complexity)] // Four names in one place.
    pub(crate) fn parts(&mut self) -> Option<(&[Instant], &[u32], [&mut [f32]; 3], &mut [f32])> {
        let [x, y, z] = &mut self.vectors;
        let vectors = [x.get_mut(..self.count)?, y.get_mut(..self.count)?, z.get_mut(..self.count)?];
        let vectors = vectors.map(|axis| {
            axis.fill(0.0);
            axis
        });
        let (instants, clocks) = (self.instants.get(..self.count)?, self.clocks.get(..self.count)?);
        Some((instants, clocks, vectors, self.fillings.get_mut(..self.count)?))
    }
}
