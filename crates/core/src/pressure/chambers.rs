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

use super::arterial::{ejection_time_s, pre_ejection_s};
use super::contractions::Contractions;
use super::trace::{Plan, Stillness, Tail};
use crate::math::{clamp, max, min};
use crate::time::Span;

/// Heights of the waves of an atrium, in units of its a wave over the resting pressure of the atrium.
///
/// Right atrium a over v, left atrium v over a (mean a and v of both: Miller's Anesthesia, normal pressures).
#[derive(Debug)]
pub struct Atrium {
    c: f32,
    x: f32,
    v: f32,
    y: f32,
    /// How much slower than the chamber, s: the catheter's or the lung's delay.
    pub lag_s: f32,
}

/// Right atrium.
pub static RIGHT_ATRIUM: Atrium = Atrium { c: 0.5, x: -0.55, v: 0.65, y: -0.3, lag_s: 0.0 };
/// A central vein: the right atrium's pressure a little later.
pub static CENTRAL_VEIN: Atrium = Atrium { c: 0.45, x: -0.5, v: 0.65, y: -0.28, lag_s: 0.02 };
/// Left atrium.
pub static LEFT_ATRIUM: Atrium = Atrium { c: 0.3, x: -0.4, v: 1.15, y: -0.3, lag_s: 0.015 };
/// Wedged pulmonary artery: the left atrium's pressure 0.1 to 0.15 s later and duller (textbook, from memory).
pub static WEDGE: Atrium = Atrium { c: 0.12, x: -0.35, v: 1.1, y: -0.25, lag_s: 0.13 };

/// From P onset to the start of the a wave, s (electromechanical delay of the atria; from memory).
pub const A_WAVE_S: f32 = 0.07;
/// From QRS onset to the closing of the valves, s: the c wave and the rise of ventricular pressure start (from memory).
pub const CLOSING_S: f32 = 0.045;
const A_RISE_S: f32 = 0.085;
const A_FALL_S: f32 = 0.085;
/// A cannon wave in units of a normal a wave (common practice, no source).
const CANNON: f32 = 3.5;
/// Return of an atrium to rest, 1/s.
const REST_PER_S: f32 = 6.0;

fn rest(base: f32, due_s: f32) -> Tail {
    Tail { asymptote_mmhg: base, per_s: REST_PER_S, due_s, then: Stillness::Vein }
}

/// The a wave of `wave_mmhg` from a pressure and slope over `base_mmhg`; `cannon` when the valves are closed.
#[inline(never)]
pub fn a_wave(here: (f32, f32), base_mmhg: f32, wave_mmhg: f32, cannon: bool, period: Span) -> Plan {
    let height = if cannon { CANNON * wave_mmhg } else { wave_mmhg };
    let peak = max(base_mmhg + height, here.0 + 0.2 * wave_mmhg);
    Plan::new(here.0, here.1, rest(base_mmhg, 2.0 * period.as_secs())).to(A_RISE_S, peak, 0.0).to(
        A_RISE_S + A_FALL_S,
        base_mmhg + 0.1 * height,
        0.0,
    )
}

/// c, x, v and y from the closing of the valves on, from a pressure and slope.
///
/// The cycles of `contractions` would have had the mean as set. Where the atria did not contract since the beat before, the x
/// descent is shallow.
pub fn systole(
    form: &Atrium,
    here: (f32, f32),
    (mean_mmhg, wave_mmhg): (f32, f32),
    contractions: &Contractions,
    period: Span,
) -> Plan {
    // The resting pressure of the atrium, under which the waves leave the mean as set.
    let base = mean_mmhg - wave_mmhg * contractions.mean(form, period);
    waves(form, here, base, wave_mmhg, contractions.came_before(), period)
}

/// The same from a resting pressure of `base`, with waves of `wave`, mmHg; `follows_a` where the atria contracted before.
#[inline(never)]
pub fn waves(form: &Atrium, here: (f32, f32), base: f32, wave: f32, follows_a: bool, period: Span) -> Plan {
    let period_s = max(period.as_secs(), 0.15);
    let ejection_s = ejection_time_s(period);
    let opening_s = max(pre_ejection_s(period) - CLOSING_S, 0.0);
    let end_s = opening_s + ejection_s;
    let x = if follows_a { form.x } else { 0.35 * form.x };
    let c_s = min(0.045, 0.2 * end_s);
    let x_s = opening_s + 0.6 * ejection_s;
    // v at the end of T, y before the next P.
    let v_s = end_s + min(0.05, 0.1 * period_s);
    let y_s = v_s + min(0.12, 0.2 * period_s);
    Plan::new(here.0, here.1, rest(base, 2.0 * period_s))
        // An a wave under way, a cannon wave most of all, does not break off.
        .to(c_s, max(base + form.c * wave, base + 0.85 * (here.0 - base)), 0.0)
        .to(x_s, base + x * wave, 0.0)
        .to(v_s, base + form.v * wave, 0.0)
        .to(y_s, base + form.y * wave, 0.0)
}

/// Heights of a ventricle's pressure at the end of ejection, in units of the systolic pressure, and at its lowest, in
/// units of the end-diastolic pressure.
#[derive(Debug)]
pub struct Ventricle {
    opening: f32,
    end: f32,
    lowest: f32,
}

/// Left ventricle.
pub static LEFT_VENTRICLE: Ventricle = Ventricle { opening: 0.66, end: 0.80, lowest: 0.25 };
/// Right ventricle.
pub static RIGHT_VENTRICLE: Ventricle = Ventricle { opening: 0.45, end: 0.62, lowest: 0.2 };

/// Ventricular pressure from the closing of the valves on.
pub fn contraction(
    form: &Ventricle,
    here: (f32, f32),
    systolic_mmhg: f32,
    end_diastolic_mmhg: f32,
    strength: f32,
    period: Span,
) -> Plan {
    let period_s = max(period.as_secs(), 0.15);
    let ejection_s = ejection_time_s(period);
    let opening_s = max(pre_ejection_s(period) - CLOSING_S, 0.012);
    // A weak beat still has to reach what opens the valve, or fails just below it.
    let share = form.opening + (1.0 - form.opening) * min(strength, 1.4);
    let range = systolic_mmhg - end_diastolic_mmhg;
    let height = |of: f32| end_diastolic_mmhg + of * share * range;
    let end_s = opening_s + ejection_s;
    let low_s = end_s + min(0.09, 0.12 * period_s);
    let filled_s = low_s + min(0.09, 0.12 * period_s);
    // Filled when the next beat is due, however soon that is.
    let per_s = max(8.0, 3.5 / (period_s - filled_s));
    let tail = Tail { asymptote_mmhg: end_diastolic_mmhg, per_s, due_s: 2.0 * period_s, then: Stillness::Same };
    let peak_s = opening_s + 0.42 * ejection_s;
    let open = 0.92 * form.opening;
    // Steepest at the opening of the valve, on the way to the peak.
    let steep = 1.3 * (1.0 - open) * share * range / (peak_s - opening_s);
    Plan::new(here.0, here.1, tail)
        .to(opening_s, height(open), steep)
        .to(peak_s, height(1.0), 0.0)
        .to(end_s, height(form.end), -2.5 * (1.0 - form.end) * share * range / ejection_s)
        .to(low_s, form.lowest * end_diastolic_mmhg, 0.0)
        .to(filled_s, 0.8 * end_diastolic_mmhg, 0.2 * per_s * end_diastolic_mmhg)
}

/// The atrial kick in a filling ventricle, over before the valves close `left_s` from now.
pub fn kick(here: (f32, f32), end_diastolic_mmhg: f32, force: f32, left_s: f32, period: Span) -> Plan {
    let tail =
        Tail { asymptote_mmhg: end_diastolic_mmhg, per_s: 30.0, due_s: 2.0 * period.as_secs(), then: Stillness::Same };
    let end_s = clamp(0.9 * left_s, 0.04, 0.11);
    let top = max((1.0 + 0.3 * force) * end_diastolic_mmhg, here.0 + 0.1 * force * end_diastolic_mmhg);
    Plan::new(here.0, here.1, tail).to(0.55 * end_s, top, 0.0).to(end_s, end_diastolic_mmhg, 0.0)
}
