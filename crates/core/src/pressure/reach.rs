//! The lowest and the highest value that pressures take, from the settings: what a file's scale must hold.
//!
//! Bounds, not estimates: pulses that follow too soon, strong beats after a pause, cannon waves and ringing lines stay within.

use super::compressions;
use crate::anatomy::PressureSite;
use crate::field::{Field, TransducerFields, transducer};
use crate::math::{exp, max, min, sqrt};
use crate::reach::{SettingRanges, ValueRange};
use core::f32::consts::{PI, TAU};

/// Pulse pressure of the strongest beat over that of a regular one: a third more after a pause, and a quarter of a beat that
/// stands on the one before.
const STRONGEST: f32 = 1.6;

/// Highest and lowest pressure of an atrium in heights of its a wave over and under its mean: a cannon wave on a v wave; an x
/// descent from a base that cannon waves have pressed down.
const ATRIUM: (f32, f32) = (5.0, 3.0);

/// Way of a pulse's pressure up and down, in heights of the pulse.
const WAYS: f32 = 2.6;

/// Pressures in the vessel at a site, mmHg.
fn vessel(site: PressureSite, of: SettingRanges<'_>) -> ValueRange {
    let chest = of(Field::ChestBreathing);
    let (raised, lowered) = (max(-chest.lowest, 0.0), max(chest.highest, 0.0));
    let artery = |systolic: ValueRange, diastolic: ValueRange| {
        let strongest = STRONGEST * (1.0 + 0.005 * of(Field::PulseVariation).highest);
        let pulse = max(systolic.highest - diastolic.lowest, 1.0);
        ValueRange { lowest: 0.0, highest: systolic.highest + (strongest - 1.0) * pulse }
    };
    let ventricle = |systolic: ValueRange, end_diastolic: ValueRange, artery: ValueRange| {
        let end = end_diastolic.highest + raised;
        let top = max(max(systolic.highest + raised, artery.highest), end + 1.0);
        ValueRange { lowest: -lowered, highest: max(1.25 * top, 2.0 * end) }
    };
    // An atrium fills its ventricle down a gradient, so it is not below the ventricle's end-diastolic pressure.
    let atrium = |mean: ValueRange, wave: ValueRange, end_diastolic: ValueRange| ValueRange {
        lowest: mean.lowest - lowered - ATRIUM.1 * wave.highest,
        highest: max(mean.highest, end_diastolic.highest) + raised + ATRIUM.0 * wave.highest,
    };
    let systemic = || artery(of(Field::ArterialSystolic), of(Field::ArterialDiastolic));
    let lung = || {
        let bare = artery(of(Field::PulmonarySystolic), of(Field::PulmonaryDiastolic));
        ValueRange { lowest: -lowered, highest: bare.highest + raised }
    };
    match site {
        PressureSite::Arterial => systemic(),
        PressureSite::Femoral => {
            let either = |own: ValueRange, other: ValueRange| if own.lowest > 0.0 { own } else { own.and(other) };
            let systolic = either(of(Field::FemoralSystolic), of(Field::ArterialSystolic));
            artery(systolic, either(of(Field::FemoralDiastolic), of(Field::ArterialDiastolic)))
        }
        PressureSite::Pulmonary => lung(),
        PressureSite::Venous | PressureSite::RightAtrium => {
            atrium(of(Field::VenousMean), of(Field::VenousWave), of(Field::RightVentricleEndDiastolic))
        }
        PressureSite::LeftAtrium | PressureSite::Wedge => {
            atrium(of(Field::LeftAtriumMean), of(Field::LeftAtriumWave), of(Field::LeftVentricleEndDiastolic))
        }
        PressureSite::RightVentricle => {
            ventricle(of(Field::RightVentricleSystolic), of(Field::RightVentricleEndDiastolic), lung())
        }
        PressureSite::LeftVentricle => {
            ventricle(of(Field::LeftVentricleSystolic), of(Field::LeftVentricleEndDiastolic), systemic())
        }
        PressureSite::Intracranial => {
            let (mean, pulse) = (of(Field::IntracranialMean), of(Field::IntracranialPulse).highest);
            let (low, high) = (1.5 * pulse + 0.5 * lowered, 1.5 * pulse + 0.5 * raised);
            ValueRange { lowest: mean.lowest - low, highest: mean.highest + high }
        }
    }
}

/// Overshoot of a line's output over its input, mmHg: of an input within `inside` of its middle, that rises and falls by
/// `ways` in all every `every_s`.
///
/// Two bounds, of which the lower holds. Any input at all: the integral of the impulse response's size, (1 + r) / (1 - r) with r
/// the overshoot of a step. An input of limited way in a beat: each part of the way leaves a ring of its size,
/// which decays.
fn ringing(line_hz: f32, damping: f32, inside: f32, ways: f32, every_s: f32) -> f32 {
    if line_hz < super::line::LOWEST_HZ || damping >= 1.0 {
        return 0.0;
    }
    // As the line itself holds it.
    let damping = max(damping, 0.02);
    let turn = sqrt(max(1.0 - damping * damping, 0.02));
    let overshoot = exp(-PI * damping / turn);
    let any = inside * ((1.0 + overshoot) / (1.0 - overshoot) - 1.0);
    let rings = ways / (turn * (1.0 - exp(-TAU * line_hz * damping * every_s)));
    min(any, rings)
}

/// Range of the output of the transducer at a site, mmHg: `of` gives the range of each setting in a step, `ever` in the whole
/// script, as a present pulse goes on when settings change.
pub(crate) fn range(site: PressureSite, of: SettingRanges<'_>, ever: SettingRanges<'_>) -> ValueRange {
    let TransducerFields { level, closed, line_hz, damping } = transducer(site);
    let vessel = vessel(site, ever).raised(compressions::share(site) * ever(Field::CompressionMmhg).highest);
    // Where a step turns the stopcock or moves the level, both pressures are there for a while.
    let open = if ever(closed).lowest >= 1.0 { 0.0 } else { 1.0 };
    let levels = ever(level);
    let seen =
        ValueRange { lowest: open * vessel.lowest + levels.lowest, highest: open * vessel.highest + levels.highest };
    // A line also rings when the level jumps or the stopcock is turned.
    let (height, jump) = (vessel.highest - vessel.lowest, ever(level).highest - ever(level).lowest);
    // At each beat, twice, and at each half of a compression.
    let pressed = ever(Field::CompressionMmhg).highest > 0.0;
    let per_min = if pressed { ever(Field::CompressionsPerMin).highest } else { 0.0 };
    let every_s = min(30.0 / max(ever(Field::RateBpm).highest, 1.0), 30.0 / max(per_min, 1.0));
    let whip = if site == PressureSite::Pulmonary { 2.0 * ever(Field::PulmonaryWhip).highest } else { 0.0 };
    let ways = if open == 0.0 { 2.0 * jump } else { WAYS * height + 2.0 * jump + whip };
    let inside = 0.5 * (height + jump) + whip;
    let beyond = ringing(of(line_hz).highest, of(damping).lowest, inside, ways, every_s);
    ValueRange { lowest: seen.lowest - beyond, highest: seen.highest + beyond }
}
