//! Atria, ventricles and the great veins.
//!
//! ```text
//!      a                              ______
//!     / \ c       v                  /      \
//! ___/   ' \     / \ y ___      ____/a       \____.--   ventricle
//!           \___/   '               |systole |
//!             x
//! ```
//!
//! The a wave follows a P wave, c, x, v and y follow a QRS, each when it was played: dissociated atria march through,
//! fibrillating ones make no a wave, and atria that contract against closed valves make a cannon wave.
//!
//! A ventricle and its neighbours obey their valves. It leaves the pressure of its atrium when it contracts, meets the pressure
//! in its artery where that has run down to, and stays above it until ejection ends; it falls through the pressure of its atrium
//! and stays below that until it contracts again. Both sides of a valve have knots at the same times, so that between two of
//! them the difference is a cubic, which is nowhere negative.

use super::arterial::{ejection_time_s, pre_ejection_s, still_vein};
use super::trace::{TracePlan, TraceTail};
use crate::math::{clamp, exp, max, min};
use crate::time::Span;

/// Heights of the waves of an atrium, in units of its a wave over the resting pressure of the atrium.
///
/// Right atrium a over v, left atrium v over a (mean a and v of both: Miller's Anesthesia, normal pressures).
#[derive(Debug)]
pub(crate) struct Atrium {
    c: f32,
    x: f32,
    v: f32,
    y: f32,
    /// How much slower than the chamber, s: the catheter's or the lung's delay.
    pub lag_s: f32,
}

/// Right atrium.
pub(crate) static RIGHT_ATRIUM: Atrium = Atrium { c: 0.5, x: -0.55, v: 0.65, y: -0.3, lag_s: 0.0 };
/// A central vein: the right atrium's pressure a little later.
pub(crate) static CENTRAL_VEIN: Atrium = Atrium { c: 0.45, x: -0.5, v: 0.65, y: -0.28, lag_s: 0.02 };
/// Left atrium.
pub(crate) static LEFT_ATRIUM: Atrium = Atrium { c: 0.3, x: -0.4, v: 1.15, y: -0.3, lag_s: 0.0 };
/// Wedged pulmonary artery: the left atrium's pressure 0.1 to 0.15 s later and duller (textbook, from memory).
pub(crate) static WEDGE: Atrium = Atrium { c: 0.12, x: -0.35, v: 1.1, y: -0.25, lag_s: 0.13 };

/// From P onset to the start of the a wave, s (electromechanical delay of the atria; from memory).
pub(crate) const A_WAVE_S: f32 = 0.07;
/// Longest rise of an a wave, s.
const A_RISE_S: f32 = 0.07;
const A_FALL_S: f32 = 0.085;
/// A cannon wave in units of a normal a wave (common practice, no source).
const CANNON: f32 = 3.5;
/// Return of an atrium to its resting pressure, and of the ventricle behind it, 1/s.
const REST_PER_S: f32 = 6.0;
/// Time for which an a wave holds the pressure that it fills the ventricle to, a little longer than to its beat, s.
const FILLED_S: f32 = 0.2;
/// How fast that goes back when no beat comes, 1/s.
const FILLED_PER_S: f32 = 4.0;
/// Gradient that lets blood through an open inflow valve, mmHg.
const INFLOW_MMHG: f32 = 0.15;
/// Gradient of an outflow valve in mid-ejection, and at half the rise (a healthy valve has a few mmHg early on; textbook, from
/// memory), mmHg.
const OUTFLOW_MMHG: f32 = 0.2;
const EARLY_OUTFLOW_MMHG: f32 = 1.0;

/// From QRS onset to the closing of the inflow valves, s: the c wave and the rise of ventricular pressure start (from memory); at
/// high rates sooner, so that 30 ms are left until the outflow valves open.
pub(crate) fn closing_s(period: Span) -> f32 {
    min(0.045, pre_ejection_s(period) - 0.030)
}

/// When the valves of a beat move, s after its inflow valves have closed.
#[derive(Clone, Copy, Debug)]
struct Valves {
    /// The outflow valve opens.
    outflow_s: f32,
    /// It closes.
    end_s: f32,
    /// The inflow valve opens: the v wave.
    inflow_s: f32,
    /// Early filling is over: the y descent.
    filled_s: f32,
}

impl Valves {
    fn new(period: Span) -> Valves {
        let period_s = max(period.as_secs(), 0.15);
        let outflow_s = pre_ejection_s(period) - closing_s(period);
        let end_s = outflow_s + ejection_time_s(period);
        let inflow_s = end_s + min(0.05, 0.1 * period_s);
        Valves { outflow_s, end_s, inflow_s, filled_s: inflow_s + min(0.12, 0.2 * period_s) }
    }
}

/// From the closing of the inflow valves until atria that begin to contract find them open before they are done, s.
pub(crate) fn closed_s(period: Span) -> f32 {
    max(Valves::new(period).inflow_s - A_RISE_S, 0.0)
}

/// An atrium and the ventricle that it fills.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Side {
    /// The waves of the atrium.
    pub atrium: &'static Atrium,
    /// Its resting pressure, on which the waves are, mmHg.
    pub rest_mmhg: f32,
    /// Height of its a wave, mmHg.
    pub wave_mmhg: f32,
    /// Pressure to which its contraction fills the ventricle, mmHg.
    pub end_diastolic_mmhg: f32,
    /// Mean filling pressure, mmHg.
    pub filling_mmhg: f32,
    /// Expected interval between beats.
    pub period: Span,
    /// Interval between beats with the valve times of this one.
    pub timing: Span,
    /// Rise of an a wave, s: it is over before a conducted beat closes the valves.
    pub rise_s: f32,
}

/// Rise of the a wave of atria that contract `before_s` before a conducted beat closes the valves, s.
pub(crate) fn rise_s(before_s: f32) -> f32 {
    clamp(0.65 * before_s, 0.03, A_RISE_S)
}

impl Side {
    /// Pressure to which the ventricle fills by itself, mmHg.
    fn diastasis_mmhg(&self) -> f32 {
        min(self.rest_mmhg, self.end_diastolic_mmhg)
    }

    /// Pressure to which a contraction of the atrium fills the ventricle, mmHg.
    fn filled_mmhg(&self, force: f32) -> f32 {
        let by_itself = self.diastasis_mmhg();
        by_itself + min(force, 1.0) * (self.end_diastolic_mmhg - by_itself)
    }

    fn tail(&self, asymptote_mmhg: f32, per_s: f32) -> TraceTail {
        let due_s = 2.0 * max(self.period.as_secs(), 0.15);
        TraceTail { asymptote_mmhg, per_s, due_s, still: still_vein(self.filling_mmhg) }
    }

    /// The a wave with a share of the usual force, from a pressure and slope; a cannon wave when the valves are `closed`.
    #[inline(never)]
    pub(crate) fn a_wave(&self, here: (f32, f32), force: f32, closed: bool) -> TracePlan {
        let (rest, wave) = (self.rest_mmhg, force * self.wave_mmhg);
        let (height, rise_s) = if closed { (CANNON * wave, A_RISE_S) } else { (wave, self.rise_s) };
        // It does not fall below the pressure of the ventricle that it has filled or will fill.
        let end = max(rest + 0.1 * height, self.filled_mmhg(force) + INFLOW_MMHG);
        let peak = max(max(rest + height, here.0 + 0.2 * wave), end + INFLOW_MMHG);
        let knots = [(rise_s, peak, 0.0), (rise_s + A_FALL_S, end, 0.0), (rise_s + FILLED_S, end, 0.0)];
        TracePlan::through(here, self.tail(rest, FILLED_PER_S), &knots)
    }

    /// The a wave in a ventricle that has relaxed, from a pressure and slope there.
    pub(crate) fn kick(&self, here: (f32, f32), force: f32) -> TracePlan {
        let filled = self.filled_mmhg(force);
        let tail = self.tail(self.diastasis_mmhg(), FILLED_PER_S);
        // Fast filling must not overshoot.
        let slope = min(here.1, 3.0 * max(filled - here.0, 0.0) / self.rise_s);
        TracePlan::through((here.0, slope), tail, &[(self.rise_s, filled, 0.0), (self.rise_s + FILLED_S, filled, 0.0)])
    }

    /// The a wave in a ventricle that is still to relax, along the rest of a plan: it fills it late, with the rest of its force.
    pub(crate) fn late_kick(&self, mut rest: TracePlan, force: f32) -> TracePlan {
        let filling_s = min(0.06, 0.08 * max(self.period.as_secs(), 0.15));
        let filled_s = max(rest.last().at_s + filling_s, A_RISE_S);
        let by_itself = self.diastasis_mmhg();
        let left = exp(-FILLED_PER_S * max(filled_s - self.rise_s - FILLED_S, 0.0));
        let filled = by_itself + left * (self.filled_mmhg(force) - by_itself);
        rest.tail = self.tail(by_itself, FILLED_PER_S);
        rest.add(filled_s, filled, 0.0);
        let until_s = self.rise_s + FILLED_S;
        if filled_s < until_s {
            rest.add(until_s, filled, 0.0);
        }
        rest
    }

    /// c, x, v and y of the atrium from the closing of the valves on, from a pressure and slope; where the atria did not contract
    /// since the beat before, the x descent is shallow.
    #[inline(never)]
    pub(crate) fn waves(&self, here: (f32, f32), follows_a: bool) -> TracePlan {
        let Atrium { c, x, v, y, .. } = *self.atrium;
        let valves = Valves::new(self.timing);
        let height = |of: f32| self.rest_mmhg + of * self.wave_mmhg;
        let x = if follows_a { x } else { 0.35 * x };
        // It rises above the rest of an a wave; a cannon wave under way does not break off.
        let bump = min(here.0 + 0.3 * c * self.wave_mmhg, height(1.2));
        let c_mmhg = max(max(height(c), bump), height(0.0) + 0.85 * (here.0 - height(0.0)));
        let knots = [
            (min(0.045, 0.2 * valves.end_s), c_mmhg, 0.0),
            (valves.outflow_s + 0.6 * (valves.end_s - valves.outflow_s), height(x), 0.0),
            (valves.inflow_s, height(v), 0.0),
            (valves.filled_s, height(y), 0.0),
        ];
        TracePlan::through(here, self.tail(self.rest_mmhg, REST_PER_S), &knots)
    }

    /// Pressure of the ventricle from the closing of the inflow valve on, from a pressure and slope there.
    pub(crate) fn contraction(&self, form: &Ventricle, here: (f32, f32), outflow: &Outflow<'_>) -> TracePlan {
        let valves = Valves::new(self.timing);
        let Valves { outflow_s, end_s, inflow_s, filled_s } = valves;
        // Atrial pressure when the inflow valve opens, and when early filling is over.
        let v = self.rest_mmhg + self.atrium.v * self.wave_mmhg;
        let y = self.rest_mmhg + self.atrium.y * self.wave_mmhg;
        let lowest = min(form.lowest * self.end_diastolic_mmhg, y - 0.5);
        let suction = -5.0 * (y - lowest) / (filled_s - inflow_s);
        let mut plan = TracePlan::new(here.0, here.1, self.tail(self.diastasis_mmhg(), REST_PER_S));
        let (end, end_slope) = match *outflow {
            Outflow::Open { ejected, over_mmhg } => {
                let [foot, shoulder, top] = [0, 1, 2].map(|index| ejected.knot(index));
                let shoulder_mmhg =
                    shoulder.mmhg + min(EARLY_OUTFLOW_MMHG, 0.1 * (top.mmhg - foot.mmhg)) + 0.7 * over_mmhg;
                // As steep as it came, but not so that it overshoots.
                let came = 1.5 * (foot.mmhg - here.0) / outflow_s;
                let opening = clamp(2.5 * (shoulder_mmhg - foot.mmhg) / shoulder.at_s, 0.0, max(came, 0.0));
                let opening = max(opening, shoulder.slope * 0.1);
                let (end, slope) = ejected.here(end_s - outflow_s);
                let falls = 1.5 * max(top.mmhg + over_mmhg - end, 0.0) / (end_s - outflow_s - top.at_s);
                plan.add(outflow_s, foot.mmhg, opening);
                plan.add(outflow_s + shoulder.at_s, shoulder_mmhg, shoulder.slope);
                plan.add(outflow_s + top.at_s, top.mmhg + OUTFLOW_MMHG + over_mmhg, 0.0);
                (end, min(slope, 0.0) - falls)
            }
            Outflow::Shut { against_mmhg, share } => {
                let room = max(against_mmhg - 2.0 - self.end_diastolic_mmhg, 1.0);
                let peak = self.end_diastolic_mmhg + share * room;
                let peak_s = outflow_s + 0.4 * (end_s - outflow_s);
                let end = max(v, self.end_diastolic_mmhg + 0.7 * share * room);
                plan.add(peak_s, peak, 0.0);
                (end, -(peak - end) / (end_s - peak_s))
            }
        };
        plan.add(end_s, end, end_slope);
        plan.add(inflow_s, v, suction);
        plan.add(filled_s, lowest, 0.0);
        plan
    }
}

/// Knots of a contraction from the opening of the outflow valve to its closing.
pub(crate) const EJECTION: core::ops::Range<usize> = 1..5;

/// The outflow valve of a beat.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Outflow<'a> {
    /// It opens.
    Open {
        /// Pulse of the artery behind it, from the opening on.
        ejected: &'a TracePlan,
        /// By how much the top of the ventricle is above that of the pulse, mmHg.
        over_mmhg: f32,
    },
    /// The beat is too weak for it.
    Shut {
        /// Pressure of the artery, mmHg.
        against_mmhg: f32,
        /// How close the beat comes to it, 0 to 1.
        share: f32,
    },
}

/// Shape of a ventricle's pressure.
#[derive(Debug)]
pub(crate) struct Ventricle {
    /// Pressure at its lowest, in units of the end-diastolic pressure.
    lowest: f32,
}

/// Left ventricle.
pub(crate) static LEFT_VENTRICLE: Ventricle = Ventricle { lowest: 0.25 };
/// Right ventricle.
pub(crate) static RIGHT_VENTRICLE: Ventricle = Ventricle { lowest: 0.2 };
