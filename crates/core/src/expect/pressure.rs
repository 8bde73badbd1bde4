//! Pressures as a monitor reads them behind transducer and line: of each pulse its highest and lowest pressure, of all
//! time the mean by integral.
//!
//! The feet of pulses are known; samples count between them. A parabola about the highest sample gives the peak.

use super::reading::{Gathered, ReadingBand};
use crate::math::{max, min};
use crate::time::Instant;

/// Pieces of time over which a pressure without pulses is looked at, s.
const PIECE_S: f32 = 1.0;

#[derive(Clone, Copy, Debug)]
struct Stretch {
    start: Instant,
    low: f32,
    high: f32,
    /// Lowest since the highest.
    since_high: f32,
    /// Lowest before the highest.
    before_high: f32,
    sum: f32,
    count: u32,
}

impl Stretch {
    fn new(start: Instant) -> Stretch {
        let none = f32::INFINITY;
        Stretch { start, low: none, high: -none, since_high: none, before_high: none, sum: 0.0, count: 0 }
    }

    fn take(&mut self, mmhg: f32) {
        self.low = min(self.low, mmhg);
        self.since_high = min(self.since_high, mmhg);
        if mmhg > self.high {
            self.high = mmhg;
            self.before_high = min(self.before_high, self.since_high);
            self.since_high = f32::INFINITY;
        }
        self.sum += mmhg;
        self.count += 1;
    }

    fn mean(&self) -> f32 {
        self.sum / self.count as f32
    }
}

/// Highest, lowest, mean of stretches of time.
#[derive(Clone, Copy, Debug)]
struct Triple {
    high: Gathered,
    low: Gathered,
    mean: Gathered,
}

impl Triple {
    const NONE: Triple = Triple { high: Gathered::NONE, low: Gathered::NONE, mean: Gathered::NONE };

    fn take(&mut self, stretch: &Stretch, low: f32) {
        if stretch.count > 0 {
            self.high.take(stretch.high, 1.0);
            self.low.take(low, 1.0);
            self.mean.take(stretch.mean(), stretch.count as f32);
        }
    }
}

/// Readings of a pulse, or of a second without one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    pub(super) from: Instant,
    pub(super) high: f32,
    pub(super) low: f32,
    pub(super) mean: f32,
}

/// Systolic, diastolic and mean pressure.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bands {
    pub(super) systolic: Option<ReadingBand>,
    pub(super) diastolic: Option<ReadingBand>,
    pub(super) mean: Option<ReadingBand>,
}

/// Reads one pressure.
#[derive(Clone, Debug)]
pub(super) struct PressureMeter {
    from: Instant,
    /// Whether the stretch since the last foot is whole.
    whole: bool,
    pulse: Stretch,
    piece: Stretch,
    /// Lowest after the peak of the pulse before.
    after_peak: f32,
    before: [f32; 2],
    /// By pulses and by pieces of time; each once settled, and over the whole step.
    pulses: [Triple; 2],
    pieces: [Triple; 2],
    all: Gathered,
    last_foot: Option<Instant>,
}

impl PressureMeter {
    pub(super) fn new() -> PressureMeter {
        PressureMeter {
            from: Instant::ZERO,
            whole: false,
            pulse: Stretch::new(Instant::ZERO),
            piece: Stretch::new(Instant::ZERO),
            after_peak: f32::INFINITY,
            before: [f32::NAN; 2],
            pulses: [Triple::NONE; 2],
            pieces: [Triple::NONE; 2],
            all: Gathered::NONE,
            last_foot: None,
        }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, begin: Instant, from: Instant) {
        let kept = (self.pulse, self.whole, self.after_peak, self.before, self.last_foot);
        *self = PressureMeter { from, ..PressureMeter::new() };
        (self.pulse, self.whole, self.after_peak, self.before, self.last_foot) = kept;
        self.piece = Stretch::new(begin);
    }

    /// Some time was passed over: the present pulse is not whole.
    pub(super) fn interrupt(&mut self, now: Instant) {
        self.whole = false;
        self.after_peak = f32::INFINITY;
        self.piece = Stretch::new(now);
        self.before = [f32::NAN; 2];
    }

    /// Takes a sample; returns the readings of a second without a pulse when it ends.
    pub(super) fn sample(&mut self, at: Instant, mmhg: f32) -> Option<Look> {
        let [a, b] = self.before;
        self.before = [b, mmhg];
        self.pulse.take(mmhg);
        if b > a && b >= mmhg {
            // The vertex of the parabola through three samples, limited in case they are not of one wave.
            let bend = 2.0 * b - a - mmhg;
            let rise = (mmhg - a) * (mmhg - a) / (8.0 * bend);
            self.pulse.high = max(self.pulse.high, b + min(rise, 0.25 * bend));
        }
        if at >= self.from {
            self.all.take(mmhg, 1.0);
        }
        self.piece.take(mmhg);
        if at.since(self.piece.start).as_secs() < PIECE_S {
            return None;
        }
        let piece = core::mem::replace(&mut self.piece, Stretch::new(at));
        let [settled, all] = &mut self.pieces;
        all.take(&piece, piece.low);
        if piece.start >= self.from {
            settled.take(&piece, piece.low);
        }
        let quiet = self.last_foot.is_none_or(|foot| at.since(foot).as_secs() > 4.0);
        quiet.then(|| Look { from: piece.start, high: piece.high, low: piece.low, mean: piece.mean() })
    }

    /// A pulse begins; returns the readings of the cycle before, if that was a pulse (`pulse_before`).
    pub(super) fn foot(&mut self, at: Instant, pulse_before: bool) -> Option<Look> {
        let pulse = core::mem::replace(&mut self.pulse, Stretch::new(at));
        let before = core::mem::replace(&mut self.after_peak, pulse.since_high);
        self.last_foot = Some(at);
        if !core::mem::replace(&mut self.whole, true) || !pulse_before || pulse.count < 3 {
            return None;
        }
        // Diastolic is the trough between the last peak and the upstroke, behind any line.
        let low = min(before, pulse.before_high);
        let [settled, all] = &mut self.pulses;
        all.take(&pulse, low);
        if pulse.start >= self.from {
            settled.take(&pulse, low);
        }
        Some(Look { from: pulse.start, high: pulse.high, low, mean: pulse.mean() })
    }

    /// Readings of the step that ends at `end`; without pulses, and unless the transducer is `closed`, only the mean.
    pub(super) fn bands(&self, closed: bool, end: Instant) -> Bands {
        // Pulses of its first seconds count only in a step too short for others.
        let ceased = self.last_foot.is_none_or(|foot| foot < self.from && end.since(foot).as_secs() > 3.0);
        let first = |of: &[Triple; 2]| of.iter().find(|triple| triple.mean.band().is_some()).copied();
        let read = |triple: Triple| Bands {
            systolic: triple.high.band(),
            diastolic: triple.low.band(),
            mean: triple.mean.band(),
        };
        let pulses = first(&self.pulses).filter(|_| !ceased);
        let bands = match (closed, pulses, first(&self.pieces)) {
            (false, Some(pulses), _) => read(pulses),
            (true, _, Some(pieces)) => read(pieces),
            (false, None, Some(pieces)) => Bands { mean: pieces.mean.band(), ..Bands::default() },
            _ => Bands { mean: self.all.band(), ..Bands::default() },
        };
        // The integral over all settled time; pulses cut at its edges would shift it.
        let mean = bands.mean.map(|band| match self.all.band() {
            Some(all) => ReadingBand { mean: all.mean, ..band }.with(all.mean),
            None => band,
        });
        Bands { mean, ..bands }
    }
}
