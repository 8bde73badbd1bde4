//! Intracranial pressure: percussion, tidal and dicrotic wave (P1, P2, P3) on a mean.
//!
//! ```text
//!      P1
//!     / \_P2
//!    /     \ .P3
//! __/       '   ''--.__
//! ```
//!
//! P1 over P2 over P3 is normal; P2 over P1 warns of a stiff brain (JNNP 2004).

use super::arterial::ejection_time_s;
use super::trace::{Stillness, TracePlan, TraceTail};
use crate::math::{ln, max, min};
use crate::time::Span;

/// Shares of P1 in the dips and in P3 (shape common practice, no source).
const AFTER_P1: f32 = 0.9;
const DIP: f32 = 0.45;
const P3: f32 = 0.52;
/// The runoff aims this share of the pulse below the foot.
const BELOW: f32 = 0.25;

/// A pulse of `pulse_mmhg` from foot to top, about `mean_mmhg`; `second` is P2 over P1.
pub(crate) fn pulse(here: (f32, f32), mean_mmhg: f32, pulse_mmhg: f32, second: f32, period: Span) -> TracePlan {
    let period_s = max(period.as_secs(), 0.15);
    let unit = shape((0.0, 0.0), 0.0, 1.0, second, period_s, period);
    shape(here, mean_mmhg - pulse_mmhg * unit.integral(period_s) / period_s, pulse_mmhg, second, period_s, period)
}

fn shape(here: (f32, f32), base: f32, pulse: f32, second: f32, period_s: f32, period: Span) -> TracePlan {
    let scale = min(ejection_time_s(period), 0.5 * period_s) / 0.294;
    let top = 1.0 / max(1.0, second);
    let height = |share: f32| base + share * top * pulse;
    let last_s = 0.36 * scale;
    let per_s = ln((P3 * top + BELOW) / BELOW) / max(period_s - last_s, 0.05);
    let asymptote = base - BELOW * pulse;
    let tail = TraceTail {
        asymptote_mmhg: asymptote,
        per_s,
        due_s: period_s,
        still: Stillness { mmhg: asymptote, per_s: 1.0 },
    };
    let slope = -(P3 * top + BELOW) * pulse * per_s;
    let knots = [
        (0.08 * scale, height(1.0), 0.0),
        (0.13 * scale, height(AFTER_P1 * min(second, 1.0)), 0.0),
        (0.18 * scale, height(second), 0.0),
        (0.29 * scale, height(DIP), 0.0),
        (last_s, height(P3), slope),
    ];
    TracePlan::through(here, tail, &knots)
}
