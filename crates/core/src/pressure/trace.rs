//! A pressure in time: cubics from knot to knot, then an exponential tail, then stillness.
//!
//! ```text
//!            o           knots: time, pressure, slope; the cubic between two of them meets both (Hermite)
//!          /   \
//!         /     o--o
//!   -----o          ''--..___ tail: towards an asymptote, from the expected end on as in stillness
//! ```
//!
//! A pulse or an atrial wave replaces the knots still to come by its own, from the present pressure.
//! So a trace is closed-form in time between events, never tears, and has its integral in closed form.

use super::chest::Chest;
use crate::anatomy::PressureSite;
use crate::math::{clamp, exp, max, min};
use crate::time::{Instant, PackedInstant, Span};
use crate::truth::Pulse;

/// Most knots of a plan, the starting one included.
pub(crate) const KNOTS: usize = 7;

/// A point that the pressure passes through.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Knot {
    /// Time since the start of the plan, s.
    pub at_s: f32,
    /// Pressure, mmHg.
    pub mmhg: f32,
    /// Slope, mmHg/s.
    pub slope: f32,
}

/// A knot as stored: a player has room for a few kilobytes only.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Packed {
    mmhg: f32,
    /// In 1/8192 s.
    at: u16,
    /// In 1/2 mmHg/s.
    slope: i16,
}

const AT_PER_S: f32 = 8192.0;
const SLOPE_PER_MMHG_PER_S: f32 = 2.0;

impl Packed {
    fn new(at_s: f32, mmhg: f32, slope: f32) -> Packed {
        // `as` rounds towards zero and saturates.
        Packed { mmhg, at: (at_s * AT_PER_S + 0.5) as u16, slope: (slope * SLOPE_PER_MMHG_PER_S) as i16 }
    }

    fn at_s(&self) -> f32 {
        f32::from(self.at) * (1.0 / AT_PER_S)
    }

    fn knot(&self) -> Knot {
        Knot { at_s: self.at_s(), mmhg: self.mmhg, slope: f32::from(self.slope) * (1.0 / SLOPE_PER_MMHG_PER_S) }
    }
}

/// Where a pressure goes when no beat comes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stillness {
    /// Asymptote, mmHg.
    pub mmhg: f32,
    /// Rate, 1/s.
    pub per_s: f32,
}

/// The course after the last knot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TraceTail {
    /// Asymptote, mmHg.
    pub asymptote_mmhg: f32,
    /// Rate, 1/s.
    pub per_s: f32,
    /// When the next pulse is expected, s since the start of the plan; after the last knot.
    pub due_s: f32,
    /// The course from then on.
    pub still: Stillness,
}

impl TraceTail {
    /// How long the bend from the tail to stillness takes, s.
    fn bend_s(&self) -> f32 {
        clamp(1.1 / max(self.per_s, 0.1), 0.5, 1.6)
    }
}

/// Where the pressure goes from now on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TracePlan {
    knots: [Packed; KNOTS],
    len: u8,
    /// The course after the last knot.
    pub tail: TraceTail,
}

impl TracePlan {
    /// A plan from a pressure and slope now.
    pub(crate) fn new(mmhg: f32, slope: f32, tail: TraceTail) -> TracePlan {
        let mut knots = [Packed::default(); KNOTS];
        knots[0] = Packed::new(0.0, mmhg, slope);
        TracePlan { knots, len: 1, tail }
    }

    /// A plan from a pressure and slope now through knots: of each the time, the pressure and the slope, as [`TracePlan::add`] takes them.
    pub(crate) fn through((mmhg, slope): (f32, f32), tail: TraceTail, knots: &[(f32, f32, f32)]) -> TracePlan {
        let mut plan = TracePlan::new(mmhg, slope, tail);
        for &(at_s, mmhg, slope) in knots {
            plan.add(at_s, mmhg, slope);
        }
        plan
    }

    /// Goes on to a pressure and slope at a time after the last knot; held at a least distance from it.
    // In place: a plan is large, and a beat makes dozens.
    pub(crate) fn add(&mut self, at_s: f32, mmhg: f32, slope: f32) {
        let last_s = self.last().at_s;
        if let Some(place) = self.knots.get_mut(self.len as usize) {
            *place = Packed::new(max(at_s, last_s + SHORTEST_S), mmhg, slope);
            self.len += 1;
        }
    }

    /// The last knot.
    pub(crate) fn last(&self) -> Knot {
        self.knot(self.len as usize - 1)
    }

    /// A knot; the starting one is 0.
    pub(crate) fn knot(&self, index: usize) -> Knot {
        self.knots.get(index).map(Packed::knot).unwrap_or_default()
    }

    /// Adds a value and a slope, mmHg and mmHg/s, to some of its knots, by their times.
    pub(crate) fn lift(&mut self, knots: core::ops::Range<usize>, by: impl Fn(f32) -> (f32, f32)) {
        for place in self.knots.get_mut(knots).into_iter().flatten() {
            let (Knot { at_s, mmhg, slope }, (more, steeper)) = (place.knot(), by(place.at_s()));
            *place = Packed::new(at_s, mmhg + more, slope + steeper);
        }
    }

    /// The piece in which a time since the start of the plan lies.
    fn index_at(&self, t_s: f32) -> usize {
        let knots = self.knots.iter().take(self.len as usize).skip(1);
        let index = knots.take_while(|knot| t_s >= knot.at_s()).count();
        if index + 1 < self.len as usize || t_s < self.due_s() {
            index
        } else if t_s < self.due_s() + self.tail.bend_s() {
            index + 1
        } else {
            index + 2
        }
    }

    /// When the tail ends, s since the start of the plan.
    fn due_s(&self) -> f32 {
        max(self.tail.due_s, self.last().at_s + SHORTEST_S)
    }

    /// Piece `index`: 0 to `len - 2` between knots, `len - 1` the tail, `len` the bend after the
    /// expected end, then stillness; and when it ends, s since the start of the plan.
    #[inline]
    fn piece(&self, index: usize) -> (TracePiece, f32) {
        let len = self.len as usize;
        if index + 1 < len {
            let (a, b) = (self.knot(index), self.knot(index + 1));
            return (TracePiece::cubic(a, b), b.at_s);
        }
        self.piece_after_knots(index - (len - 1))
    }

    /// Piece `index` after the knots: 0 for the tail.
    #[inline(never)]
    fn piece_after_knots(&self, index: usize) -> (TracePiece, f32) {
        let last = self.last();
        let tail = self.tail;
        let early = TracePiece::decay(last.at_s, tail.asymptote_mmhg, last.mmhg - tail.asymptote_mmhg, tail.per_s);
        let due_s = self.due_s();
        if index == 0 {
            return (early, due_s);
        }
        // The slope goes over to that of stillness in half a parabola, about as curved as a runoff is, so that a pause
        // shows no corner.
        let Stillness { mmhg: asymptote_mmhg, per_s } = tail.still;
        let (from, slope) = early.here(due_s);
        let bend_s = tail.bend_s();
        let third = bend_s * (1.0 / 3.0);
        let to = (from + third * (slope + 2.0 * per_s * asymptote_mmhg)) / (1.0 + 2.0 * third * per_s);
        let still = Knot { at_s: due_s + bend_s, mmhg: to, slope: -per_s * (to - asymptote_mmhg) };
        if index == 1 {
            return (TracePiece::cubic(Knot { at_s: due_s, mmhg: from, slope }, still), still.at_s);
        }
        (TracePiece::decay(still.at_s, asymptote_mmhg, to - asymptote_mmhg, per_s), f32::INFINITY)
    }

    /// The rest of the plan after `gone_s`; a tail that is over goes on from its present pressure.
    pub(crate) fn after(&self, gone_s: f32) -> TracePlan {
        let index = self.index_at(gone_s);
        let (mmhg, slope) = self.here(gone_s);
        let due_s = max(self.tail.due_s - gone_s, SHORTEST_S);
        let mut rest = TracePlan::new(mmhg, slope, TraceTail { due_s, ..self.tail });
        for knot in self.knots.iter().take(self.len as usize).skip(index + 1).map(Packed::knot) {
            rest.add(knot.at_s - gone_s, knot.mmhg, knot.slope);
        }
        rest
    }

    /// Pressure and slope at a time since the start.
    #[inline(never)]
    pub(crate) fn here(&self, t_s: f32) -> (f32, f32) {
        self.piece(self.index_at(t_s)).0.here(t_s)
    }

    /// Highest pressure at a knot, mmHg.
    pub(crate) fn highest_mmhg(&self) -> f32 {
        self.knots.iter().take(self.len as usize).fold(f32::NEG_INFINITY, |highest, knot| max(highest, knot.mmhg))
    }

    /// Integral from the start to `until_s`, mmHg s.
    #[inline(never)]
    pub(crate) fn integral(&self, until_s: f32) -> f32 {
        let mut sum = 0.0;
        for index in 0..self.len as usize + 2 {
            let (piece, end_s) = self.piece(index);
            sum += piece.integral_and_end(min(end_s, until_s)).0;
            if end_s >= until_s {
                break;
            }
        }
        sum
    }
}

/// A plan without a pulse for so long can begin anew, s.
const LONG_S: f32 = 16.0;

/// Shortest piece, s: keeps reciprocals finite.
pub(crate) const SHORTEST_S: f32 = 2.5e-4;

/// A stretch of trace in the time x since `from_s`: a cubic c0 + c1 x + c2 x^2 + c3 x^3, or, where `per_s` is not zero, a
/// decay c0 + c1 e^(-per_s x).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TracePiece {
    pub(crate) from_s: f32,
    pub(crate) c: [f32; 4],
    pub(crate) per_s: f32,
}

impl TracePiece {
    fn cubic(a: Knot, b: Knot) -> TracePiece {
        let per = 1.0 / (b.at_s - a.at_s);
        let rise = (b.mmhg - a.mmhg) * per;
        let c2 = (3.0 * rise - 2.0 * a.slope - b.slope) * per;
        let c3 = (a.slope + b.slope - 2.0 * rise) * per * per;
        TracePiece { from_s: a.at_s, c: [a.mmhg, a.slope, c2, c3], per_s: 0.0 }
    }

    fn decay(from_s: f32, asymptote: f32, above: f32, per_s: f32) -> TracePiece {
        TracePiece { from_s, c: [asymptote, above, 0.0, 0.0], per_s: max(per_s, 1e-3) }
    }

    /// Value at a time of the plan, mmHg.
    #[inline]
    pub(crate) fn at(&self, t_s: f32) -> f32 {
        let x = t_s - self.from_s;
        let [c0, c1, c2, c3] = self.c;
        if self.per_s == 0.0 { c0 + x * (c1 + x * (c2 + x * c3)) } else { c0 + c1 * exp(-self.per_s * x) }
    }

    /// Value and slope at a time of the plan, mmHg and mmHg/s.
    pub(crate) fn here(&self, t_s: f32) -> (f32, f32) {
        let x = t_s - self.from_s;
        let [c0, c1, c2, c3] = self.c;
        if self.per_s == 0.0 {
            (c0 + x * (c1 + x * (c2 + x * c3)), c1 + x * (2.0 * c2 + x * 3.0 * c3))
        } else {
            let left = exp(-self.per_s * x);
            (c0 + c1 * left, -self.per_s * c1 * left)
        }
    }

    /// Integral from the start of the piece to a time of the plan, mmHg s, and the value there, mmHg.
    #[inline]
    fn integral_and_end(&self, until_s: f32) -> (f32, f32) {
        let x = until_s - self.from_s;
        let [c0, c1, c2, c3] = self.c;
        if self.per_s == 0.0 {
            let integral = x * (c0 + x * (c1 * 0.5 + x * (c2 * (1.0 / 3.0) + x * c3 * 0.25)));
            (integral, c0 + x * (c1 + x * (c2 + x * c3)))
        } else {
            let left = exp(-self.per_s * x);
            (x * c0 + c1 * (1.0 - left) / self.per_s, c0 + c1 * left)
        }
    }
}

/// Extremes and area of a cycle, from one pulse to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cycle {
    from: PackedInstant,
    /// Pressure at the start, mmHg.
    pub foot_mmhg: f32,
    /// Highest pressure at a knot, mmHg.
    pub highest_mmhg: f32,
    /// When it was reached, s since the start.
    pub highest_s: f32,
    /// Lowest pressure at a knot or at the end, mmHg.
    pub lowest_mmhg: f32,
    area: f32,
}

impl Cycle {
    fn new(from: Instant, foot_mmhg: f32) -> Cycle {
        let (highest_mmhg, lowest_mmhg) = (foot_mmhg, foot_mmhg);
        Cycle { from: PackedInstant::new(from), foot_mmhg, highest_mmhg, highest_s: 0.0, lowest_mmhg, area: 0.0 }
    }

    /// Start.
    pub(crate) fn from(&self) -> Instant {
        self.from.instant()
    }

    /// The pulse at `site` that it was until `end`.
    pub(crate) fn pulse(&self, site: PressureSite, end: Instant, chest: &Chest<'_>) -> Pulse {
        Pulse {
            site,
            foot: self.from(),
            foot_mmhg: self.foot_mmhg,
            rise: Span::from_secs(self.highest_s),
            systolic_mmhg: self.highest_mmhg,
            end,
            lowest_mmhg: self.lowest_mmhg,
            mean_mmhg: self.mean_mmhg(end, chest),
        }
    }

    /// Mean from the start to `end`, mmHg.
    pub(crate) fn mean_mmhg(&self, end: Instant, chest: &Chest<'_>) -> f32 {
        let length_s = end.since(self.from()).as_secs();
        if length_s > 0.0 { (self.area + chest.area(self.from(), end)) / length_s } else { self.foot_mmhg }
    }

    /// Takes in a piece from its start to a time of the plan, which is `at`; returns the pressure then, without the chest's.
    fn take(&mut self, piece: &TracePiece, until_s: f32, at: impl Fn() -> Instant, chest: &Chest<'_>) -> f32 {
        let (integral, mmhg) = piece.integral_and_end(until_s);
        self.area += integral;
        self.see(mmhg, at, chest);
        mmhg
    }

    /// Takes in the pressure at an instant, to which the chest adds its own; what lies before the breath under way was taken in as
    /// that began.
    fn see(&mut self, mmhg: f32, at: impl Fn() -> Instant, chest: &Chest<'_>) {
        let Some(more) = chest.since_breath(&at) else { return };
        let mmhg = mmhg + more;
        if mmhg > self.highest_mmhg {
            self.highest_mmhg = mmhg;
            self.highest_s = at().since(self.from()).as_secs();
        }
        self.lowest_mmhg = min(self.lowest_mmhg, mmhg);
    }
}

/// A pressure in progress: the plan, and the present cycle up to the start of that plan.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Trace {
    base: PackedInstant,
    plan: TracePlan,
    cycle: Cycle,
}

impl Trace {
    /// A trace that starts with `plan` at `now`.
    pub(crate) fn new(now: Instant, plan: TracePlan) -> Trace {
        Trace { base: PackedInstant::new(now), cycle: Cycle::new(now, plan.knot(0).mmhg), plan }
    }

    /// A trace at rest.
    pub(crate) fn at_rest(now: Instant, mmhg: f32) -> Trace {
        let tail = TraceTail { asymptote_mmhg: mmhg, per_s: 1.0, due_s: 1.0, still: Stillness { mmhg, per_s: 1.0 } };
        Trace::new(now, TracePlan::new(mmhg, 0.0, tail))
    }

    /// Seconds since the start of the plan; exact to 2^-24 s, held at 255 s, where every tail has arrived.
    #[inline]
    pub(crate) fn time_s(&self, now: Instant) -> f32 {
        let ticks = now.since(self.base.instant()).ticks() >> 8;
        let held = if ticks > 0xffff_ffff { 0xffff_ffff } else { ticks as u32 };
        held as f32 * (1.0 / 16_777_216.0)
    }

    /// The piece in which a time of the plan lies, and when it ends, s since the start of the plan.
    pub(crate) fn piece_at(&self, t_s: f32) -> (TracePiece, f32) {
        self.plan.piece(self.plan.index_at(t_s))
    }

    /// The present plan.
    pub(crate) fn plan(&self) -> &TracePlan {
        &self.plan
    }

    /// Changes where the trace goes when no beat comes, unless it is on its way already; returns whether it goes to `still`.
    pub(crate) fn retarget(&mut self, now: Instant, still: Stillness) -> bool {
        let before_due = self.time_s(now) < self.plan.due_s();
        if before_due {
            self.plan.tail.still = still;
        }
        before_due || self.plan.tail.still == still
    }

    /// The rest of the plan at `now`, with this stillness.
    pub(crate) fn rest_of_plan(&self, now: Instant, still: Stillness) -> TracePlan {
        let mut rest = self.plan.after(self.time_s(now));
        rest.tail.still = still;
        rest
    }

    /// Whether nothing has come for so long that the trace is still.
    pub(crate) fn is_long_still(&self, now: Instant) -> bool {
        let t_s = self.time_s(now);
        t_s > LONG_S && t_s > self.plan.due_s() + self.plan.tail.bend_s()
    }

    /// Counts time from `now` on, where the trace is still; the cycle, closed at `now`, goes on.
    pub(crate) fn count_from(&mut self, now: Instant, chest: &Chest<'_>) {
        let (cycle, (mmhg, slope)) = self.close(now, chest);
        let still = self.plan.tail.still;
        let tail = TraceTail { asymptote_mmhg: still.mmhg, per_s: still.per_s, due_s: SHORTEST_S, still };
        self.follow(now, &TracePlan::new(mmhg, slope, tail), cycle);
    }

    /// Pressure and slope at `now`.
    pub(crate) fn here(&self, now: Instant) -> (f32, f32) {
        self.plan.here(self.time_s(now))
    }

    /// Follows another plan from `now` on; the cycle, closed at `now`, goes on.
    pub(crate) fn follow(&mut self, now: Instant, plan: &TracePlan, cycle: Cycle) {
        self.base = PackedInstant::new(now);
        self.plan = *plan;
        self.cycle = cycle;
    }

    /// Starts a cycle at `now` with `plan`.
    pub(crate) fn begin(&mut self, now: Instant, plan: &TracePlan, chest: &Chest<'_>) {
        self.follow(now, plan, Cycle::new(now, plan.knot(0).mmhg + chest.here(now).0));
    }

    /// A breath begins at `now`: the present cycle takes in the last one.
    pub(crate) fn breathe(&mut self, now: Instant, chest: &Chest<'_>) {
        // The area of the plan is taken in with the plan.
        let area = self.cycle.area + chest.area(self.cycle.from(), now);
        self.cycle = Cycle { area, ..self.close(now, chest).0 };
    }

    /// Whether the present cycle starts later than this.
    pub(crate) fn begun_after(&self, instant: Instant) -> bool {
        self.cycle.from() > instant
    }

    /// Foot, highest and mean pressure of the present cycle, mmHg, should it last `length_s` and follow its plan.
    pub(crate) fn whole_pulse(&self, length_s: f32) -> (f32, f32, f32) {
        (self.cycle.foot_mmhg, self.plan.highest_mmhg(), self.plan.integral(length_s) / max(length_s, SHORTEST_S))
    }

    /// The cycle as if it ended at `now`, and pressure and slope then, without those of the chest.
    pub(crate) fn close(&self, now: Instant, chest: &Chest<'_>) -> (Cycle, (f32, f32)) {
        let t_s = self.time_s(now);
        let mut cycle = self.cycle;
        let mut index = 0;
        let last = loop {
            let (piece, until_s) = self.plan.piece(index);
            if t_s < until_s {
                break piece;
            }
            cycle.take(&piece, until_s, || self.base.instant().shifted(until_s), chest);
            index += 1;
        };
        let mmhg = cycle.take(&last, t_s, || now, chest);
        for look in chest.looks() {
            if self.base.instant() < look && look < now {
                cycle.see(self.here(look).0, || look, chest);
            }
        }
        // Beyond the range of `time_s`, every tail has arrived.
        let rest_s = now.since(self.base.instant().shifted(t_s)).as_secs();
        cycle.area += rest_s * mmhg;
        (cycle, last.here(t_s))
    }
}
