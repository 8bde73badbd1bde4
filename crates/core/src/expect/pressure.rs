//! Pressures as a monitor reads them behind transducer and line: of each pulse its highest and lowest pressure, of all
//! time the mean by integral.
//!
//! The feet of pulses in the vessel are known; the samples say the rest. Behind its line a pulse goes from its own trough to
//! the next one. A parabola about the highest sample gives the peak, lines on both sides of the lowest give the trough. Means
//! are integrals by trapezoids, from trough to trough.

use super::corner::{Corner, Turn};
use super::reading::{BandGatherer, ReadingBand};
use super::rows::RATE;
use crate::math::{max, min};
use crate::time::Instant;

/// A pressure without pulses is looked at in pieces of so many samples.
const PIECE: u32 = RATE.as_hz();

/// So long after the foot of the last pulse a pressure is read in pieces of time, s (common practice, no source).
const QUIET_S: f32 = 4.0;

/// So long after its foot in the vessel a pulse has risen behind any line, s.
const RISEN_S: f32 = 0.3;

/// Sum of samples and their count; at a point between samples, the integral up to it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Sum {
    mmhg: f64,
    count: f64,
}

impl Sum {
    fn take(&mut self, mmhg: f32) {
        self.mmhg += f64::from(mmhg);
        self.count += 1.0;
    }

    /// The integral up to the last sample, which is `mmhg`.
    fn to(self, mmhg: f32) -> Sum {
        Sum { mmhg: self.mmhg - 0.5 * f64::from(mmhg), count: self.count }
    }

    /// The integral up to a turn before the last sample.
    fn back_to(self, turn: Turn) -> Sum {
        Sum { mmhg: self.mmhg - f64::from(turn.area), count: self.count - f64::from(turn.ago) }
    }

    /// From `before` on, the mean and the number of samples.
    fn mean_since(self, before: Sum) -> (f32, f32) {
        let count = self.count - before.count;
        (((self.mmhg - before.mmhg) / count) as f32, count as f32)
    }
}

/// A lowest pressure, and the integral up to it.
#[derive(Clone, Copy, Debug)]
struct Trough {
    mmhg: f32,
    at: Sum,
}

impl Trough {
    const NONE: Trough = Trough { mmhg: f32::INFINITY, at: Sum { mmhg: 0.0, count: 0.0 } };

    fn lower(self, other: Trough) -> Trough {
        if other.mmhg < self.mmhg { other } else { self }
    }
}

/// Time between the feet of two pulses in the vessel.
///
/// Its pulse is the greatest rise in it: a line delays, and then the runoff of the pulse before comes first and may be higher.
#[derive(Clone, Copy, Debug)]
struct Cycle {
    start: Instant,
    lowest: Trough,
    rise: f32,
    peak: f32,
    /// Where the greatest rise begins.
    foot: Trough,
    since_peak: Trough,
    /// It has gone on for so long that it was read before its end.
    read: bool,
}

impl Cycle {
    fn new(start: Instant) -> Cycle {
        let none = Trough::NONE;
        Cycle { start, lowest: none, rise: 0.0, peak: f32::NEG_INFINITY, foot: none, since_peak: none, read: false }
    }

    fn take(&mut self, mmhg: f32, at: Sum) {
        let here = Trough { mmhg, at };
        self.lowest = self.lowest.lower(here);
        if mmhg - self.lowest.mmhg > self.rise {
            (self.rise, self.peak, self.foot) = (mmhg - self.lowest.mmhg, mmhg, self.lowest);
            self.since_peak = Trough::NONE;
        }
        self.since_peak = self.since_peak.lower(here);
    }

    /// The peak lay between samples, if it lay so high.
    fn raise(&mut self, mmhg: f32) {
        if mmhg > self.peak && mmhg - self.foot.mmhg > self.rise {
            (self.rise, self.peak) = (mmhg - self.foot.mmhg, mmhg);
        }
    }

    /// The last trough lay between samples, if it lay so low.
    fn lower(&mut self, trough: Trough) {
        if trough.mmhg >= self.lowest.mmhg {
            return;
        }
        if self.foot.at == self.lowest.at {
            self.rise += self.foot.mmhg - trough.mmhg;
            self.foot = trough;
        } else {
            self.since_peak = self.since_peak.lower(trough);
        }
        self.lowest = trough;
    }
}

/// Samples of a second.
#[derive(Clone, Copy, Debug)]
struct Piece {
    start: Instant,
    low: f32,
    high: f32,
    sum: Sum,
}

impl Piece {
    fn new(start: Instant) -> Piece {
        Piece { start, low: f32::INFINITY, high: f32::NEG_INFINITY, sum: Sum::default() }
    }

    fn take(&mut self, mmhg: f32) {
        self.low = min(self.low, mmhg);
        self.high = max(self.high, mmhg);
        self.sum.take(mmhg);
    }

    fn mean(&self) -> (f32, f32) {
        self.sum.mean_since(Sum::default())
    }
}

/// Highest, lowest, mean of stretches of time.
#[derive(Clone, Copy, Debug)]
struct Triple {
    high: BandGatherer,
    low: BandGatherer,
    mean: BandGatherer,
}

impl Triple {
    const NONE: Triple = Triple { high: BandGatherer::NONE, low: BandGatherer::NONE, mean: BandGatherer::NONE };

    fn take(&mut self, piece: &Piece) {
        let (mean, count) = piece.mean();
        self.high.take(piece.high, 1.0);
        self.low.take(piece.low, 1.0);
        self.mean.take(mean, count);
    }

    /// Takes the mean of the pulse that ends with the foot of `next`, if it began at `since` or later.
    fn take_mean(&mut self, ended: Option<Last>, next: &Cycle, since: Instant) {
        if let Some(ended) = ended.filter(|ended| ended.start >= since) {
            let (mean, count) = next.foot.at.mean_since(ended.foot);
            self.mean.take(mean, count);
        }
    }
}

/// Readings of a pulse, or of a second without one.
#[derive(Clone, Copy, Debug)]
pub(super) struct PressureLook {
    pub(super) from: Instant,
    pub(super) high: f32,
    pub(super) low: f32,
    pub(super) mean: f32,
    /// From the foot of the pulse to its peak; 0 without one.
    pub(super) rise: f32,
    /// The pulse was read before, while it went on.
    pub(super) again: bool,
}

/// Systolic, diastolic and mean pressure.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bands {
    pub(super) systolic: Option<ReadingBand>,
    pub(super) diastolic: Option<ReadingBand>,
    pub(super) mean: Option<ReadingBand>,
}

/// The last whole pulse.
#[derive(Clone, Copy, Debug)]
struct Last {
    start: Instant,
    foot: Sum,
}

/// Reads one pressure.
#[derive(Clone, Debug)]
pub(super) struct PressureMeter {
    /// A smaller rise is no pulse, mmHg.
    smallest_mmhg: f32,
    from: Instant,
    sum: Sum,
    corner: Corner,
    /// Since the last foot, if that was seen.
    cycle: Option<Cycle>,
    last: Option<Last>,
    /// Lowest since the peak of the last pulse.
    trough: Trough,
    piece: Piece,
    before: [f32; 2],
    /// By pulses and by pieces of time; each once settled, and over the whole step.
    pulses: [Triple; 2],
    pieces: [Triple; 2],
    last_foot: Option<Instant>,
}

impl PressureMeter {
    /// A smaller rise than `smallest_mmhg` is no pulse.
    pub(super) fn new(smallest_mmhg: f32) -> PressureMeter {
        PressureMeter {
            smallest_mmhg,
            from: Instant::ZERO,
            sum: Sum::default(),
            corner: Corner::new(),
            cycle: None,
            last: None,
            trough: Trough::NONE,
            piece: Piece::new(Instant::ZERO),
            before: [f32::NAN; 2],
            pulses: [Triple::NONE; 2],
            pieces: [Triple::NONE; 2],
            last_foot: None,
        }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, begin: Instant, from: Instant) {
        self.from = from;
        self.piece = Piece::new(begin);
        (self.pulses, self.pieces) = ([Triple::NONE; 2], [Triple::NONE; 2]);
    }

    /// Some time was passed over: the present pulse is not whole.
    pub(super) fn interrupt(&mut self, now: Instant) {
        (self.cycle, self.last, self.trough) = (None, None, Trough::NONE);
        (self.corner, self.before) = (Corner::new(), [f32::NAN; 2]);
        self.piece = Piece::new(now);
    }

    /// Takes a sample; says whether a piece of time ends with it.
    pub(super) fn sample(&mut self, mmhg: f32) -> bool {
        let [a, b] = self.before;
        self.before = [b, mmhg];
        self.sum.take(mmhg);
        let turn = self.corner.take(mmhg);
        let here = self.sum.to(mmhg);
        if let Some(cycle) = &mut self.cycle {
            cycle.take(mmhg, here);
            if b > a && b >= mmhg {
                // The vertex of the parabola through three samples, limited in case they are not of one wave.
                let bend = 2.0 * b - a - mmhg;
                let rise = (mmhg - a) * (mmhg - a) / (8.0 * bend);
                cycle.raise(b + min(rise, 0.25 * bend));
            }
            if let Some(turn) = turn {
                cycle.lower(Trough { mmhg: turn.mmhg, at: here.back_to(turn) });
            }
        }
        self.piece.take(mmhg);
        self.piece.sum.count >= f64::from(PIECE)
    }

    /// At `now`, the readings of a pulse that has gone on for so long that pieces of time are read in its place; once.
    pub(super) fn outlasted(&mut self, now: Instant) -> Option<PressureLook> {
        let before_mmhg = self.before[1];
        let cycle = self.cycle.as_mut().filter(|cycle| !cycle.read && now.since(cycle.start).as_secs() > QUIET_S)?;
        if cycle.rise <= 0.0 || cycle.rise < self.smallest_mmhg {
            return None;
        }
        cycle.read = true;
        let (mean, _) = self.sum.to(before_mmhg).mean_since(cycle.foot.at);
        let low = self.trough.lower(cycle.foot).mmhg;
        Some(PressureLook { from: cycle.start, high: cycle.peak, low, mean, rise: cycle.rise, again: false })
    }

    /// A piece of time ends; returns its readings if it had no pulse.
    pub(super) fn end_piece(&mut self, at: Instant) -> Option<PressureLook> {
        let piece = core::mem::replace(&mut self.piece, Piece::new(at));
        let [settled, all] = &mut self.pieces;
        all.take(&piece);
        if piece.start >= self.from {
            settled.take(&piece);
        }
        let quiet = self.last_foot.is_none_or(|foot| at.since(foot).as_secs() > QUIET_S);
        let (mean, _) = piece.mean();
        quiet.then_some(PressureLook {
            from: piece.start,
            high: piece.high,
            low: piece.low,
            mean,
            rise: 0.0,
            again: false,
        })
    }

    /// A pulse begins in the vessel; returns the readings of the pulse before.
    pub(super) fn foot(&mut self, at: Instant) -> Option<PressureLook> {
        self.last_foot = Some(at);
        let cycle = self.cycle.replace(Cycle::new(at))?;
        if cycle.rise <= 0.0 || cycle.rise < self.smallest_mmhg {
            self.trough = self.trough.lower(cycle.lowest);
            return None;
        }
        // Diastolic is the trough between the last peak and the upstroke.
        let low = self.trough.lower(cycle.foot).mmhg;
        self.trough = cycle.since_peak;
        let ended = self.last.replace(Last { start: cycle.start, foot: cycle.foot.at });
        for (triple, since) in self.pulses.iter_mut().zip([self.from, Instant::ZERO]) {
            triple.take_mean(ended, &cycle, since);
            if cycle.start >= since {
                triple.high.take(cycle.peak, 1.0);
                triple.low.take(low, 1.0);
            }
        }
        let (mean, _) = self.sum.to(self.before[1]).mean_since(cycle.foot.at);
        Some(PressureLook { from: cycle.start, high: cycle.peak, low, mean, rise: cycle.rise, again: cycle.read })
    }

    /// Whether all of the pulse that goes on was seen.
    pub(super) fn follows(&self) -> bool {
        self.cycle.is_some()
    }

    /// The settled pulses and all, up to `end`, with the mean of the last one whose successor has risen.
    fn pulses(&self, end: Instant) -> [Triple; 2] {
        let mut pulses = self.pulses;
        if let Some((cycle, last)) = self.cycle.zip(self.last)
            && cycle.rise > self.smallest_mmhg
            && end.since(cycle.start).as_secs() > RISEN_S
        {
            for (triple, since) in pulses.iter_mut().zip([self.from, Instant::ZERO]) {
                triple.take_mean(Some(last), &cycle, since);
            }
        }
        pulses
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
        let pieces = first(&self.pieces);
        match first(&self.pulses(end)).filter(|_| !ceased && !closed) {
            Some(pulses) => read(pulses),
            None if closed => pieces.map(read).unwrap_or_default(),
            None => Bands { mean: pieces.and_then(|pieces| pieces.mean.band()), ..Bands::default() },
        }
    }
}
