//! Pulses of an artery.
//!
//! ```text
//! systolic      .-.
//!              /   \   dicrotic wave
//! notch       /     \_.-.
//!            /           ''--..__
//! foot  ____/                    ''--  = diastolic at the expected next foot
//!           |rise|    |notch
//! ```
//!
//! A pulse of full strength peaks at the systolic pressure set and its runoff, an exponential towards the asymptote,
//! meets the diastolic pressure set exactly when the next foot is due, at any rate: the flow between two beats
//! follows from the rate and the pressures set, and goes on when a beat fails to come. A weaker beat starts from the higher pressure
//! where the early foot finds it and adds less; its runoff scales alike, which is the linear map of a two-element
//! Windkessel, so that with no ejection at all the pressure runs down to the asymptote. No pulse lets the pressure fall faster
//! than an artery empties, so that one that was high before takes some beats to come down to a lower one. However slow beats come, the
//! runoff of a weak one is nearly as fast as that of an artery without flow.

use super::trace::{SHORTEST_S, Stillness, TracePlan, TraceTail};
use crate::math::{clamp, exp, ln, max, min};
use crate::time::Span;

/// Asymptote of the pressure once flow has stopped, mmHg: 24.2 in ventricular fibrillation (Schipke 2003).
const ARREST_MMHG: f32 = 24.2;
/// Time constant with which an artery's pressure falls without flow, s (Schipke 2003: 2.9 +- 1.0).
const STILL_ARTERY_S: f32 = 2.9;
/// The same of the veins, and of the vessels of the lung, as they fill, s (Schipke 2003: 3.6 +- 1.3).
const STILL_VEIN_S: f32 = 3.6;
/// Rise of the central venous pressure to the mean filling pressure when the heart stops, mmHg (Schipke 2003: from 7.5 to 11.0).
const FILLING_OVER_VENOUS_MMHG: f32 = 3.5;
/// Fastest run-off of an artery, 1/s: a time constant of 0.7 s, half of that at rest (common practice, no source).
const FASTEST_PER_S: f32 = 1.4;
/// Share of the asymptote in a low diastolic pressure, so that a runoff always falls.
const LOW_SHARE: f32 = 0.4;

/// Shape of the pulse in an artery.
///
/// Heights are shares of the pulse pressure above diastolic. Notch height: 30 to 45 % in the aorta, radial notch later
/// (textbook, from memory); together with the runoff they put the mean at 0.37 to 0.48 of the pulse pressure from 40
/// to 150 bpm (0.422 +- 0.055 in the brachial artery, Grillo 2020).
#[derive(Debug)]
pub struct ArterialShape {
    /// From the opening of the valve to the foot here, s.
    pub(super) transit_s: f32,
    /// Rise from foot to peak, s: shorter at high rates, longer of a high pulse.
    rise_s: f32,
    /// Height at half the rise; at most 0.72, which [`STEEPNESS`] is for.
    shoulder: f32,
    /// From the end of ejection to the notch, s.
    notch_lag_s: f32,
    notch: f32,
    dicrotic: f32,
    runoff: f32,
    /// Time constant with which it goes to stillness, s.
    still_s: f32,
    /// Whether it stays above the mean filling pressure there, as the arteries of the body do.
    stays_above: bool,
}

/// Radial artery: peak 0.1 to 0.15 s after the foot, transit by a pulse wave velocity of 6 to 10 m/s (textbook, from memory).
pub static RADIAL: ArterialShape = ArterialShape {
    transit_s: 0.070,
    rise_s: 0.12,
    shoulder: 0.72,
    notch_lag_s: 0.035,
    notch: 0.41,
    dicrotic: 0.48,
    runoff: 0.45,
    still_s: STILL_ARTERY_S,
    stays_above: true,
};
/// Femoral artery: later, rounder, notch nearly gone (textbook, from memory).
pub static FEMORAL: ArterialShape = ArterialShape {
    transit_s: 0.085,
    rise_s: 0.15,
    shoulder: 0.68,
    notch_lag_s: 0.055,
    notch: 0.46,
    dicrotic: 0.48,
    runoff: 0.44,
    still_s: STILL_ARTERY_S,
    stays_above: true,
};
/// Pulmonary artery: no transit to speak of, notch as in the aorta (textbook, from memory). Without flow it goes to the mean
/// filling pressure, as the veins do (Schipke 2003).
pub static PULMONARY: ArterialShape = ArterialShape {
    transit_s: 0.0,
    rise_s: 0.14,
    shoulder: 0.66,
    notch_lag_s: 0.010,
    notch: 0.42,
    dicrotic: 0.50,
    runoff: 0.46,
    still_s: STILL_VEIN_S,
    stays_above: false,
};

/// Pressure set, and the period of the beats that are to hold it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArterialTarget {
    /// Systolic, mmHg.
    pub systolic_mmhg: f32,
    /// Diastolic, mmHg.
    pub diastolic_mmhg: f32,
    /// Expected interval between beats.
    pub period: Span,
}

/// From QRS onset to the opening of the aortic valve, s: pre-ejection period 131 - 0.4 HR ms (Weissler 1968, men, from
/// memory); at rates over 180 bpm no shorter than 60 ms, so that the ventricle has time to build up its pressure.
pub fn pre_ejection_s(period: Span) -> f32 {
    let rate = 60.0 / max(period.as_secs(), 0.15);
    clamp(0.131 - 0.000_4 * rate, 0.060, 0.131)
}

/// Ejection time at this period, s: 413 - 1.7 HR ms (Weissler 1968, men, from memory), at most 45 % of the period.
pub fn ejection_time_s(period: Span) -> f32 {
    let period_s = max(period.as_secs(), 0.15);
    let regression = 0.413 - 0.001_7 * 60.0 / period_s;
    min(max(regression, 0.12), 0.45 * period_s)
}

/// Asymptote of the runoff for a diastolic pressure, mmHg.
pub(crate) fn asymptote(diastolic_mmhg: f32) -> f32 {
    min(ARREST_MMHG, LOW_SHARE * diastolic_mmhg)
}

/// Mean filling pressure, to which all vessels but the arteries of the body go when the heart stops, mmHg.
pub(crate) fn filling_mmhg(venous_mmhg: f32) -> f32 {
    venous_mmhg + FILLING_OVER_VENOUS_MMHG
}

/// How veins, atria and ventricles go to the mean filling pressure.
pub(crate) fn still_vein(filling_mmhg: f32) -> Stillness {
    Stillness { mmhg: filling_mmhg, per_s: 1.0 / STILL_VEIN_S }
}

/// How an artery goes to stillness, for a diastolic and the mean filling pressure.
pub(crate) fn still(form: &ArterialShape, diastolic_mmhg: f32, filling_mmhg: f32) -> Stillness {
    let mmhg = if form.stays_above { max(asymptote(diastolic_mmhg), filling_mmhg) } else { filling_mmhg };
    Stillness { mmhg, per_s: 1.0 / form.still_s }
}

/// Weakest beat that opens the valve.
pub(crate) const WEAKEST: f32 = 0.08;

/// When the parts of a pulse follow each other, s since its foot, and how fast it runs off.
struct Course {
    notch_s: f32,
    dicrotic_s: f32,
    runoff_s: f32,
    per_s: f32,
}

impl Course {
    fn new(form: &ArterialShape, strength: f32, target: &ArterialTarget, timing: Span) -> Course {
        let period_s = max(target.period.as_secs(), 0.15);
        let timing_s = max(timing.as_secs(), 0.15);
        let notch_s = ejection_time_s(timing) + min(form.notch_lag_s, 0.08 * timing_s);
        let dicrotic_s = notch_s + min(0.06, 0.08 * timing_s);
        let runoff_s = dicrotic_s + min(0.06, 0.09 * timing_s);
        let floor = asymptote(target.diastolic_mmhg);
        let size = target.systolic_mmhg - target.diastolic_mmhg;
        // A full pulse has run down to the diastolic pressure when the next is due.
        let set = ln(1.0 + form.runoff * size / (target.diastolic_mmhg - floor)) / (period_s - runoff_s);
        // The weaker the beats, the less they hold the pressure set, and the more it goes to stillness.
        let still = (1.0 - min(strength, 1.0)) * (1.0 / STILL_ARTERY_S);
        Course { notch_s, dicrotic_s, runoff_s, per_s: max(set, still) }
    }
}

/// Pressure to which a weak beat adds its share; the peak of a full beat does not depend on its foot.
fn base(foot_mmhg: f32, strength: f32, target: &ArterialTarget) -> f32 {
    foot_mmhg + min(strength, 1.0) * (target.diastolic_mmhg - foot_mmhg)
}

/// Systolic pressure of a beat of `strength` from a foot at `foot_mmhg` that adds its share to `base_mmhg`.
fn top(base_mmhg: f32, foot_mmhg: f32, strength: f32, target: &ArterialTarget) -> f32 {
    let size = strength * (target.systolic_mmhg - target.diastolic_mmhg);
    max(base_mmhg + size, foot_mmhg + 0.25 * size)
}

/// Diastolic pressure that regular beats of this ejection hold, mmHg: the fixed point of the map from foot to foot.
pub(crate) fn foot(form: &ArterialShape, ejection: f32, target: &ArterialTarget) -> f32 {
    if ejection >= 1.0 {
        return target.diastolic_mmhg;
    }
    let floor = asymptote(target.diastolic_mmhg);
    let above = target.diastolic_mmhg - floor;
    let share = min(ejection, 1.0);
    let course = Course::new(form, ejection, target, target.period);
    let left = exp(-course.per_s * (max(target.period.as_secs(), 0.15) - course.runoff_s));
    let added = form.runoff * ejection * (target.systolic_mmhg - target.diastolic_mmhg);
    floor + left * (share * above + added) / (1.0 - left * (1.0 - share))
}

/// Systolic pressure that regular beats of this ejection hold, mmHg.
pub(crate) fn held(form: &ArterialShape, ejection: f32, target: &ArterialTarget) -> f32 {
    let foot = foot(form, ejection, target);
    top(base(foot, ejection, target), foot, ejection, target)
}

/// Share of a regular beat's strength from which on a beat counts as regular.
const REGULAR: f32 = 0.95;

/// Share of its depth that the notch of a beat has: the valve of a weak one closes on hardly any flow.
fn notch_depth(strength: f32) -> f32 {
    clamp(2.5 * (strength - 0.3), 0.0, 1.0)
}

/// Fastest rise of an artery, mmHg/s, with a little room to what is published: means of 1000 to 1200, up to 2000 with inotropes (Vaquer 2019, from memory).
const STEEPEST_MMHG_PER_S: f32 = 1990.0;
/// Greatest slope of a rise in units of its mean: with the highest shoulder that a form has, and with one at half the height.
const STEEPNESS: [f32; 2] = [1.92, 1.5];
/// Longest rise, as a share of the ejection time.
const LONGEST_RISE: f32 = 0.6;

/// Time and shoulder of a rise by `rise_mmhg` from foot to peak, s: a high pulse takes longer, and its shoulder is lower, so that it is
/// no steeper than an artery rises.
fn rise(form: &ArterialShape, rise_mmhg: f32, timing: Span) -> (f32, f32) {
    let ejection_s = ejection_time_s(timing);
    let quickest_s = rise_mmhg * (1.0 / STEEPEST_MMHG_PER_S);
    let [high, low] = STEEPNESS;
    let rise_s = max(min(form.rise_s, 0.5 * ejection_s), min(high * quickest_s, LONGEST_RISE * ejection_s));
    let shoulder = 0.5 + max(rise_s / max(quickest_s, SHORTEST_S) - low, 0.0) * (0.22 / (high - low));
    (rise_s, min(form.shoulder, shoulder))
}

/// The pulse from a foot at `foot_mmhg`, of `strength` (1 is that of a full beat) where regular beats have `ejection`.
///
/// A beat as strong as a regular one reaches their pressure from any foot, unless the pressure was so much higher that
/// it has not run off yet. Without a next beat it goes to `still`. The valve opens and closes as in beats of the period `timing`. `None` when the beat is too weak to open it.
pub(crate) fn pulse(
    form: &ArterialShape,
    foot_mmhg: f32,
    strength: f32,
    ejection: f32,
    target: &ArterialTarget,
    timing: Span,
    still: Stillness,
) -> Option<TracePlan> {
    if strength < WEAKEST {
        return None;
    }
    let floor = asymptote(target.diastolic_mmhg);
    let from = if strength >= REGULAR * ejection { foot(form, ejection, target) } else { foot_mmhg };
    let base = base(from, strength, target);
    let size = strength * (target.systolic_mmhg - target.diastolic_mmhg);
    let height = |share: f32| base + share * size;
    let run_off = |at_s: f32| floor + (foot_mmhg - floor) * exp(-FASTEST_PER_S * at_s);
    let Course { notch_s, dicrotic_s, runoff_s, per_s } = Course::new(form, strength, target, timing);
    let runoff = max(max(floor + 0.1, height(form.runoff)), run_off(runoff_s));
    let dicrotic = max(max(runoff, height(form.dicrotic)), run_off(dicrotic_s));
    let notch = height(form.dicrotic - (form.dicrotic - form.notch) * notch_depth(strength));
    let notch = min(max(notch, run_off(notch_s)), dicrotic);
    let due_s = max(target.period.as_secs(), 0.15);
    let tail = TraceTail { asymptote_mmhg: floor, per_s, due_s, still };
    // From a pressure that has run down, a short ejection brings it back in more than one beat.
    let most = max(
        STEEPEST_MMHG_PER_S * LONGEST_RISE / STEEPNESS[1] * ejection_time_s(timing),
        target.systolic_mmhg - target.diastolic_mmhg,
    );
    let systolic = min(top(base, foot_mmhg, strength, target), foot_mmhg + most);
    let height_mmhg = systolic - foot_mmhg;
    let (rise_s, shoulder) = rise(form, height_mmhg, timing);
    let knots = [
        // With this slope both parts of the rise are curved alike where they meet.
        (0.5 * rise_s, foot_mmhg + shoulder * height_mmhg, 1.5 * height_mmhg / rise_s),
        (rise_s, systolic, 0.0),
        (notch_s, notch, 0.0),
        (dicrotic_s, dicrotic, 0.0),
        (runoff_s, runoff, -(runoff - floor) * per_s),
    ];
    Some(TracePlan::through((foot_mmhg, 0.0), tail, &knots))
}

/// Systolic, diastolic and mean pressure, mmHg, that regular beats of this ejection hold; `None` without pulses.
pub fn steady(form: &ArterialShape, target: &ArterialTarget, ejection: f32) -> Option<(f32, f32, f32)> {
    let foot = foot(form, ejection, target);
    let plan = pulse(form, foot, ejection, ejection, target, target.period, still(form, foot, 0.0))?;
    let period_s = target.period.as_secs();
    Some((held(form, ejection, target), foot, plan.integral(period_s) / period_s))
}
