//! Consecutive frames without an event between them: between two events every signal is a function of time, and is
//! computed for all of them at once.

use crate::frame_clock::FrameClock;
use crate::time::Instant;
use crate::vectors::LANES;

/// At most `N` frames, and space to work on them.
#[derive(Clone, Debug)]
pub(crate) struct Segment<const N: usize> {
    count: usize,
    instants: [Instant; N],
    clocks: [u32; N],
    vectors: [[f32; N]; 3],
    lung_volumes: [f32; N],
}

impl<const N: usize> Segment<N> {
    pub(crate) fn new() -> Segment<N> {
        Segment {
            count: 0,
            instants: [Instant::ZERO; N],
            clocks: [0; N],
            vectors: [[0.0; N]; 3],
            lung_volumes: [0.0; N],
        }
    }

    /// How many frames it has.
    pub(crate) fn count(&self) -> usize {
        self.count
    }

    /// Whether frames are worked on in lanes, the last filled up with frames that are not the segment's.
    pub(crate) const IN_LANES: bool = LANES > 1 && N > LANES;

    /// Takes the next frames of `clock` up to just before `next`, at least one and at most `most` or as many as it holds.
    pub(crate) fn fill(&mut self, clock: &mut FrameClock, most: usize, next: Instant) {
        self.count = if Self::IN_LANES {
            clock.run_lanes(next, most, &mut self.clocks, &mut self.instants)
        } else {
            clock.run(next, self.clocks.iter_mut().zip(&mut self.instants).take(most))
        };
    }

    /// The columns to work on.
    pub(crate) fn parts(&mut self) -> Option<Parts<'_>> {
        let filled = if Self::IN_LANES { self.count.next_multiple_of(LANES).min(N) } else { self.count };
        let [x, y, z] = &mut self.vectors;
        let vectors = [x.get_mut(..filled)?, y.get_mut(..filled)?, z.get_mut(..filled)?];
        let vectors = vectors.map(|axis| {
            axis.fill(0.0);
            axis
        });
        Some(Parts {
            instants: self.instants.get(..self.count)?,
            clocks: self.clocks.get(..self.count)?,
            filled: self.clocks.get(..filled)?,
            vectors,
            lung_volumes: self.lung_volumes.get_mut(..self.count)?,
        })
    }
}

/// The parts of a segment.
pub(crate) struct Parts<'a> {
    pub(crate) instants: &'a [Instant],
    /// Frame clocks.
    pub(crate) clocks: &'a [u32],
    /// The same with those that fill up the last lanes.
    pub(crate) filled: &'a [u32],
    /// As many as are filled, all zero.
    pub(crate) vectors: [&'a mut [f32]; 3],
    /// Space for one value a frame.
    pub(crate) lung_volumes: &'a mut [f32],
}
