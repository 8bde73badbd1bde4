//! Lengths of a beat, and how QT remembers the intervals before.

use crate::time::Instant;

/// QRS duration of a beat that takes `pathway`, ms, where a normal beat's is set: what a pathway adds stays added, and a
/// pathway of its own, over 1.5 times as wide as the normal one, keeps its width.
pub(crate) fn qrs_ms(pathway_ms: f32, normal_ms: f32, set_ms: f32) -> f32 {
    if pathway_ms > 1.5 * normal_ms { pathway_ms } else { pathway_ms + set_ms - normal_ms }
}

/// Memory of QT.
#[derive(Clone, Debug)]
pub(super) struct QtMemory {
    /// The interval that QT has followed so far, s; zero before the first beat.
    pub(super) interval_s: f32,
    /// End of the last T wave.
    pub(super) t_end: Instant,
}

impl QtMemory {
    pub(super) const fn new() -> QtMemory {
        QtMemory { interval_s: 0.0, t_end: Instant::ZERO }
    }
}

/// How long a beat takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Length {
    /// QT with the QRS duration set, ms; a wider QRS adds the difference.
    pub qt_ms: f32,
    /// Factor on the QRS duration of its pathways, below 1 where they would leave a fast rhythm no time.
    pub width: f32,
}
