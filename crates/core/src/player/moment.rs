//! Settings of the pressures at an instant.

use crate::anatomy::PressureSite;
use crate::field::{Field, transducer};
use crate::pressure::sites::Moment;
use crate::pressure::{PressureConditions, TransducerConditions};
use crate::respiration::Respiration;
use crate::time::{Instant, Span};
use crate::timeline::{Placed, PlayedStep};

/// The pressures' view of an instant: settings, breathing, and the rhythm's interval and stroke.
pub(super) fn moment<'v>(
    step: Option<&Placed<'_>>,
    set: &'v PressureConditions,
    at: Instant,
    respiration: &'v Respiration,
) -> Moment<'v> {
    let rate_bpm = step.map_or(0.0, |placed| placed.value(Field::RateBpm, at));
    let filling_bpm =
        step.map_or(rate_bpm, |placed| placed.step.rhythm().filling_bpm(rate_bpm, || placed.step.get(Field::AvRatio)));
    let ejection = step.map_or(1.0, |placed| placed.step.rhythm().ejection);
    Moment { at, period: Span::period(filling_bpm), set, respiration, ejection }
}

/// The pressures' settings at an instant.
pub(super) fn pressure_conditions(placed: &Placed<'_>, at: Instant) -> PressureConditions {
    let value = |field| placed.value(field, at);
    let closed = |site: &PressureSite| u16::from(placed.step.is_on(transducer(*site).closed)) << *site as u16;
    PressureConditions {
        pulmonary_diastolic_mmhg: value(Field::PulmonaryDiastolic),
        pulmonary_systolic_mmhg: value(Field::PulmonarySystolic),
        arterial_systolic_mmhg: value(Field::ArterialSystolic),
        arterial_diastolic_mmhg: value(Field::ArterialDiastolic),
        femoral_systolic_mmhg: value(Field::FemoralSystolic),
        femoral_diastolic_mmhg: value(Field::FemoralDiastolic),
        arterial_swing_mmhg: value(Field::ArterialSwing),
        pulse_variation_percent: value(Field::PulseVariation),
        alternans_mmhg: value(Field::Alternans),
        venous_mean_mmhg: value(Field::VenousMean),
        pr_ms: value(Field::PrMs),
        intracranial_mean_mmhg: value(Field::IntracranialMean),
        intracranial_pulse_mmhg: value(Field::IntracranialPulse),
        intracranial_second_percent: value(Field::IntracranialSecond),
        pulmonary_whip_mmhg: value(Field::PulmonaryWhip),
        left_ventricle_systolic_mmhg: value(Field::LeftVentricleSystolic),
        right_ventricle_systolic_mmhg: value(Field::RightVentricleSystolic),
        left_ventricle_end_diastolic_mmhg: value(Field::LeftVentricleEndDiastolic),
        right_ventricle_end_diastolic_mmhg: value(Field::RightVentricleEndDiastolic),
        left_atrium_mean_mmhg: value(Field::LeftAtriumMean),
        left_atrium_wave_mmhg: value(Field::LeftAtriumWave),
        venous_wave_mmhg: value(Field::VenousWave),
        compression_mmhg: value(Field::CompressionMmhg),
        compressions_per_min: placed.step.get(Field::CompressionsPerMin),
        closed: PressureSite::ALL.iter().map(closed).sum(),
    }
}

/// Whether a setting of the pressures ramps in a step.
pub(super) fn pressures_ramp(step: &PlayedStep<'_>) -> bool {
    step.ramps().any(|ramp| PRESSURES.contains(&ramp.field))
}

/// The fields of [`PressureConditions`] that may ramp.
const PRESSURES: &[Field] = &[
    Field::PulmonaryDiastolic,
    Field::PulmonarySystolic,
    Field::ArterialSystolic,
    Field::ArterialDiastolic,
    Field::FemoralSystolic,
    Field::FemoralDiastolic,
    Field::ArterialSwing,
    Field::PulseVariation,
    Field::Alternans,
    Field::VenousMean,
    Field::IntracranialMean,
    Field::IntracranialPulse,
    Field::IntracranialSecond,
    Field::LeftVentricleSystolic,
    Field::RightVentricleSystolic,
    Field::LeftVentricleEndDiastolic,
    Field::RightVentricleEndDiastolic,
    Field::LeftAtriumMean,
    Field::LeftAtriumWave,
    Field::VenousWave,
    Field::CompressionMmhg,
];

/// The settings of a transducer at an instant.
pub(super) fn transducer_conditions(placed: &Placed<'_>, site: PressureSite, at: Instant) -> TransducerConditions {
    let fields = transducer(site);
    TransducerConditions {
        level_mmhg: placed.value(fields.level, at),
        closed: placed.step.is_on(fields.closed),
        line_hz: placed.step.get(fields.line_hz),
        damping: placed.step.get(fields.damping),
    }
}
