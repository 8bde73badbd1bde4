//! The largest potential of leads and electrodes, from the settings: what a file's scale must hold.

use super::leads::{DOWER, lead_of};
use super::templates::{Templates, Wave};
use crate::artefact::crest;
use crate::field::Field;
use crate::math::{abs, max};
use crate::reach::SettingRanges;

/// Largest potential of any beat of the usual bodies at a gain of 1, mV; their tall R waves stay below 3.
const TALLEST_MV: f32 = 5.0;

/// How much larger the waves of any person may be, for a deviation of 1: waves of the tallest template, each 3.47 deviations up, and
/// the details beside them.
const LARGER_PERSON: f32 = 2.0;

/// Largest T wave of any beat of the usual bodies, mV.
const TALLEST_T_MV: f32 = 1.5;

/// Shifts of the ST segment and lost QRS force, each the mean of a region's leads; the largest lead of a region has up to this
/// much of it.
const LEVELS: [Field; 10] = [
    Field::StInferiorMv,
    Field::StAnteriorMv,
    Field::StLateralMv,
    Field::TInferiorMv,
    Field::TAnteriorMv,
    Field::TLateralMv,
    Field::QInferiorMv,
    Field::QAnteriorMv,
    Field::QLateralMv,
    Field::UMv,
];
const LARGEST_LEAD: f32 = 1.5;

/// How much larger harmonics make the peak of 1 mV RMS of mains, for 1 %.
const HARMONIC: f32 = 0.016;

/// Largest share of a pacing pulse in any lead, which is set in lead II.
const PULSE_SHARE: f32 = 1.5;

/// The largest potential of a beat and of its T wave alone, mV: at least those of the usual bodies, so that a body which differs a little
/// keeps the scales of their files.
fn tallest_mv(templates: &Templates) -> (f32, f32) {
    // Of P, QRS and T together at most.
    let residuals = templates.residuals.iter().flat_map(|residuals| residuals.0.into_iter().flatten());
    let residual = 3.0 * residuals.fold(0.0, |most, residual| max(most, residual.most_mv()));
    let p = residual + templates.p.iter().fold(0.0, |tallest, waves| max(tallest, sum_mv(waves)));
    let beats = templates.complexes.iter().map(|complex| (sum_mv(complex.qrs), sum_mv(complex.t)));
    beats.fold((TALLEST_MV, TALLEST_T_MV), |(beat, t), (qrs, own_t)| (max(beat, p + qrs + own_t), max(t, own_t)))
}

/// A potential that waves do not go beyond in any lead, mV.
fn sum_mv(waves: &[Wave]) -> f32 {
    // The other limb leads are no larger than the largest of I, II and III.
    let third = [0, 1, 2].map(|axis| DOWER[1][axis] - DOWER[0][axis]);
    let of_lead = |row: [f32; 3]| waves.iter().map(|wave| abs(lead_of(row, wave.mv))).sum();
    DOWER.into_iter().chain([third]).map(of_lead).fold(0.0, max)
}

/// The size that no lead or electrode goes beyond, mV; `paced` when the rhythm has pacing pulses.
pub(crate) fn size_mv(of: SettingRanges<'_>, templates: &Templates, paced: bool) -> f32 {
    let size = |field| of(field).size();
    let levels: f32 = LEVELS.into_iter().map(size).sum();
    // T waves add to what else a beat has.
    let person = 1.0 + LARGER_PERSON * 0.01 * size(Field::PersonPercent);
    let (beat_mv, t_mv) = tallest_mv(templates);
    let waves = beat_mv + max(0.01 * size(Field::TPercent) - 1.0, 0.0) * t_mv;
    let beat = waves * person + LARGEST_LEAD * levels;
    let gain = size(Field::EcgGain);
    let mut mv = beat * gain * (1.0 + 0.005 * size(Field::BreathingGain));
    if of(Field::TestSignal).highest > 0.0 {
        mv = max(mv, size(Field::TestHeightMv) + size(Field::TestTMv));
    }
    if paced {
        // The tail starts where the pulse ends; its charge can make it larger than the 2 mV of its share.
        mv += PULSE_SHARE * gain * size(Field::PacingMv) * (1.0 + of(Field::OvershootCharge).highest);
    }
    let noise: f32 = crest::LAYERS.into_iter().map(|(field, crest)| crest * size(field)).sum();
    // Peaks of harmonics may meet that of the fundamental.
    let harmonics = HARMONIC * size(Field::MainsHarmonics) * size(Field::MainsMv);
    mv + noise + harmonics + size(Field::BreathingWanderMv) + size(Field::TestOffsetMv) + 0.5 * size(Field::TestDriftMv)
}
