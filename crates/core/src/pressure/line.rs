//! The catheter line between vessel and transducer: a second-order system in closed form.
//!
//! ```text
//! y'' / w^2 + 2 z y' / w + y = u        w = 2 pi f, f the natural frequency, z the damping ratio
//! ```
//!
//! A trace `u` is made of cubics and exponentials. To each of them the line answers with another cubic and exponential
//! (the settled output). Where one piece follows another, or a stopcock is turned, a free oscillation makes up the
//! difference in value and slope. So the output is closed-form in time too: the exact
//! response, and no filter state between frames.
//! Source of the model: Gardner, "Direct blood pressure measurement: dynamic response requirements", 1981.

use super::chest::Chest;
use super::trace::{Trace, TracePiece};
use crate::math::{abs, clamp, cos_turn, exp, max, min, phase_of, sin_turn, sqrt};
use crate::time::Instant;
use core::f32::consts::TAU;

/// Natural frequency and damping of a line, as the solutions of its equation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PressureLine {
    /// Mean rate of decay: the damping ratio times 2 pi times the natural frequency, 1/s; 0 for a line that passes
    /// everything.
    sigma: f32,
    /// Difference of the two solutions: an angular frequency when the line rings, the negative of a rate when it
    /// creeps, 1/s.
    apart: f32,
}

/// Below this natural frequency, Hz, a line counts as ideal.
pub(crate) const LOWEST_HZ: f32 = 1.0;

impl PressureLine {
    /// A line that passes everything as it is.
    pub(crate) const IDEAL: PressureLine = PressureLine { sigma: 0.0, apart: 0.0 };

    /// A line of this natural frequency, Hz (ideal below [`LOWEST_HZ`]), and damping ratio, held to 0.02 to 3.
    pub(crate) fn new(natural_hz: f32, damping: f32) -> PressureLine {
        if natural_hz < LOWEST_HZ {
            return PressureLine::IDEAL;
        }
        let damping = clamp(damping, 0.02, 3.0);
        // At critical damping both solutions fall together; a hundredth to the side the response is the same to 0.5 %.
        let damping = if damping > 0.99 && damping < 1.01 { 0.99 } else { damping };
        let omega = TAU * natural_hz;
        let apart = omega * sqrt(abs(1.0 - damping * damping));
        PressureLine { sigma: damping * omega, apart: if damping < 1.0 { apart } else { -apart } }
    }

    fn is_ideal(&self) -> bool {
        self.sigma == 0.0
    }

    /// 2 pi times the natural frequency, squared, 1/s^2.
    fn stiffness(&self) -> f32 {
        self.sigma * self.sigma + self.apart * abs(self.apart)
    }

    /// Whether the line rings rather than creeps.
    fn turns(&self) -> bool {
        self.apart > 0.0
    }

    fn slow(&self) -> f32 {
        if self.turns() { self.sigma } else { self.sigma + self.apart }
    }

    fn fast(&self) -> f32 {
        self.sigma - self.apart
    }

    /// Output for a vector that turns at a frequency, Hz, once the line has settled: real and imaginary part; (1, 0) when it passes
    /// everything.
    pub(super) fn answer(&self, hz: f32) -> (f32, f32) {
        if self.is_ideal() {
            return (1.0, 0.0);
        }
        let (omega, inertia) = (TAU * hz, 1.0 / self.stiffness());
        let (stiff, resists) = (1.0 - inertia * omega * omega, 2.0 * self.sigma * inertia * omega);
        let per = 1.0 / (stiff * stiff + resists * resists);
        (stiff * per, -resists * per)
    }

    /// Settled output of the line for this piece.
    fn through(&self, piece: &TracePiece) -> TracePiece {
        if self.is_ideal() {
            return *piece;
        }
        let inertia = 1.0 / self.stiffness();
        let lag = 2.0 * self.sigma * inertia;
        let [u0, u1, u2, u3] = piece.c;
        let k = piece.per_s;
        if k > 0.0 {
            let resistance = 1.0 - lag * k + inertia * k * k;
            // An overdamped line can fall as slowly as the runoff itself; next to that the answer is held finite.
            let held = if resistance >= 0.0 { max(resistance, 0.02) } else { min(resistance, -0.02) };
            return TracePiece { c: [u0, u1 / held, 0.0, 0.0], ..*piece };
        }
        let y3 = u3;
        let y2 = u2 - 3.0 * lag * y3;
        let y1 = u1 - 2.0 * lag * y2 - 6.0 * inertia * y3;
        let y0 = u0 - lag * y1 - 2.0 * inertia * y2;
        TracePiece { c: [y0, y1, y2, y3], ..*piece }
    }
}

/// A free oscillation that dies away: it starts at `from_s` with a value and a slope.
#[derive(Clone, Copy, Debug)]
struct Ring {
    from_s: f32,
    quiet_s: f32,
    /// Amplitudes of cosine and sine, or of the slow and the fast exponential.
    a: f32,
    b: f32,
}

/// e^-16 is below 2e-7: the oscillation is over.
const QUIET: f32 = 16.0;

impl Ring {
    const NONE: Ring = Ring { from_s: 0.0, quiet_s: f32::NEG_INFINITY, a: 0.0, b: 0.0 };

    fn new(line: &PressureLine, from_s: f32, value: f32, slope: f32) -> Ring {
        if line.is_ideal() {
            return Ring::NONE;
        }
        let slow = line.slow();
        let b = (slope + slow * value) / if line.turns() { line.apart } else { 2.0 * line.apart };
        let a = if line.turns() { value } else { value - b };
        Ring { from_s, quiet_s: from_s + QUIET / slow, a, b }
    }

    #[inline]
    fn at(&self, line: &PressureLine, t_s: f32) -> f32 {
        if t_s >= self.quiet_s {
            return 0.0;
        }
        let x = t_s - self.from_s;
        let slow = exp(-line.slow() * x);
        if line.turns() {
            let phase = phase_of(line.apart * (1.0 / TAU) * x);
            slow * (self.a * cos_turn(phase) + self.b * sin_turn(phase))
        } else {
            self.a * slow + self.b * exp(-line.fast() * x)
        }
    }

    fn slope(&self, line: &PressureLine, t_s: f32) -> f32 {
        if t_s >= self.quiet_s {
            return 0.0;
        }
        let x = t_s - self.from_s;
        let slow = exp(-line.slow() * x);
        if line.turns() {
            let phase = phase_of(line.apart * (1.0 / TAU) * x);
            let (c, s) = (cos_turn(phase), sin_turn(phase));
            let (w, sigma) = (line.apart, line.slow());
            slow * ((self.b * w - sigma * self.a) * c - (self.a * w + sigma * self.b) * s)
        } else {
            -line.slow() * self.a * slow - line.fast() * self.b * exp(-line.fast() * x)
        }
    }
}

/// How a transducer is connected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Connection {
    /// Share of the vessel's pressure that arrives: 1 open to the patient, 0 closed.
    pub open: f32,
    /// Added to it, mmHg: zero offset or height, or the static level when closed.
    pub level_mmhg: f32,
    /// The line.
    pub line: PressureLine,
}

/// A transducer's view of a trace.
#[derive(Clone, Debug)]
pub(crate) struct Transducer {
    /// The pressure in the vessel.
    pub(crate) trace: Trace,
    /// Settled output of the line, until a time of the trace's plan.
    seen: TracePiece,
    until_s: f32,
    ring: Ring,
    open: f32,
    line: PressureLine,
}

impl Transducer {
    /// Connected directly to `trace`.
    pub(crate) fn new(trace: Trace) -> Transducer {
        let (seen, until_s) = trace.piece_at(0.0);
        Transducer { seen, until_s, trace, ring: Ring::NONE, open: 1.0, line: PressureLine::IDEAL }
    }

    /// Whether another transducer sees the same from now on, to the last bit: the pressures in the vessels are the same, and no
    /// line rings on.
    pub(crate) fn agrees(&self, other: &Transducer) -> bool {
        self.line.is_ideal() && other.line.is_ideal() && self.trace == other.trace
    }

    /// Goes on to the piece in which `now` lies.
    fn advance(&mut self, now: Instant) {
        let t_s = self.trace.time_s(now);
        if self.line.is_ideal() {
            // Nothing rings, so that only the last piece counts.
            if t_s >= self.until_s {
                self.see(t_s);
            }
            return;
        }
        while t_s >= self.until_s {
            let at_s = self.until_s;
            self.change_trace(at_s, at_s, |_| ());
        }
    }

    /// Sees the trace at a time of its plan.
    fn see(&mut self, t_s: f32) {
        let (piece, until_s) = self.trace.piece_at(t_s);
        self.seen = self.line.through(&piece);
        self.until_s = until_s;
    }

    /// Pressure and slope at a time of the plan.
    fn here(&self, t_s: f32) -> (f32, f32) {
        let (value, slope) = self.seen.here(t_s);
        (self.ring.at(&self.line, t_s) + self.open * value, self.ring.slope(&self.line, t_s) + self.open * slope)
    }

    /// Lets the line ring at a time of the plan, where the pressure was another, the level included that it has now.
    fn ring(&mut self, t_s: f32, (value, slope): (f32, f32), level_mmhg: f32) {
        let (settled, its_slope) = self.seen.here(t_s);
        let rest = value - self.open * settled - level_mmhg;
        self.ring = Ring::new(&self.line, t_s, rest, slope - self.open * its_slope);
    }

    /// Lets `change` replace the trace's piece at `old_s` of the old plan, `new_s` of the new one.
    fn change_trace(&mut self, old_s: f32, new_s: f32, change: impl FnOnce(&mut Trace)) {
        let before = self.here(old_s);
        change(&mut self.trace);
        self.see(new_s);
        self.ring(new_s, before, 0.0);
    }

    /// Lets `change` give the trace another plan at `now`.
    pub(crate) fn redirect(&mut self, now: Instant, change: impl FnOnce(&mut Trace)) {
        if self.line.is_ideal() {
            change(&mut self.trace);
            // Seen when somebody looks.
            self.until_s = 0.0;
            return;
        }
        self.advance(now);
        self.change_trace(self.trace.time_s(now), 0.0, change);
    }

    /// Changes the connection at `now`, where the level was `before_mmhg`; a line rings when the pressure jumps. `pressed` is what a
    /// line shows of a compression of the chest.
    pub(crate) fn connect(
        &mut self,
        now: Instant,
        before_mmhg: f32,
        connection: &Connection,
        chest: &Chest<'_>,
        pressed: impl Fn(&PressureLine) -> (f32, f32),
    ) {
        self.count_anew(now, &connection.line, chest);
        let pressed = |line: &PressureLine| {
            let ((press, its_slope), (breath, slope)) = (pressed(line), chest.here(now));
            (press + breath, its_slope + slope)
        };
        self.advance(now);
        let t_s = self.trace.time_s(now);
        let (value, slope) = self.here(t_s);
        let (press, its_slope) = pressed(&self.line);
        let before = (value + self.open * press + before_mmhg, slope + self.open * its_slope);
        self.open = connection.open;
        self.line = connection.line;
        self.see(t_s);
        let (press, its_slope) = pressed(&self.line);
        self.ring(t_s, (before.0 - self.open * press, before.1 - self.open * its_slope), connection.level_mmhg);
    }

    /// Strikes the line at `now`: a whip that swings by about `mmhg`.
    pub(crate) fn strike(&mut self, now: Instant, mmhg: f32) {
        self.kick(now, |line| (0.0, mmhg * sqrt(line.stiffness())));
    }

    /// Lets the line ring from `now` on by this value and slope more, for a pressure that does not come from the trace.
    pub(crate) fn press(&mut self, now: Instant, chest: &Chest<'_>, kick: impl FnOnce(&PressureLine) -> (f32, f32)) {
        if self.line.is_ideal() || self.open == 0.0 {
            return;
        }
        self.count_anew(now, &PressureLine::IDEAL, chest);
        self.kick(now, kick);
    }

    fn kick(&mut self, now: Instant, kick: impl FnOnce(&PressureLine) -> (f32, f32)) {
        self.advance(now);
        let t_s = self.trace.time_s(now);
        let (value, slope) = (self.ring.at(&self.line, t_s), self.ring.slope(&self.line, t_s));
        let (more, steeper) = kick(&self.line);
        self.ring = Ring::new(&self.line, t_s, value + more, slope + steeper);
    }

    /// The time of a trace that has long been still ends some day, and a line would ring in it for ever: it begins anew.
    fn count_anew(&mut self, now: Instant, next: &PressureLine, chest: &Chest<'_>) {
        if !(self.line.is_ideal() && next.is_ideal()) && self.trace.is_long_still(now) {
            self.redirect(now, |trace| trace.count_from(now, chest));
        }
    }

    /// The line, and the share of the vessel's pressure that arrives.
    pub(crate) fn way(&self) -> (&PressureLine, f32) {
        (&self.line, self.open)
    }

    /// Pressure at the transducer at `now`, without the level, mmHg.
    #[inline]
    pub(crate) fn at(&mut self, now: Instant) -> f32 {
        let t_s = self.trace.time_s(now);
        if t_s >= self.until_s {
            self.advance(now);
        }
        self.open * self.seen.at(t_s) + self.ring.at(&self.line, t_s)
    }
}
