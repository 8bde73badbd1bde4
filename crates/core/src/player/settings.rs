//! Values of a step at an instant for breathing, heart, waves, pacing device and cuff.

use super::Player;
use super::pr::pr_s;
use crate::artefact;
use crate::body::{ADULT, PlayedBody};
use crate::cuff;
use crate::ecg::electrogram;
use crate::ecg::overshoot::OvershootTail;
use crate::ecg::person::Person;
use crate::field::Field;
use crate::heart::{self, Variability};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::respiration::{self, Respiration};
use crate::test_signal;
use crate::time::{Instant, Span};
use crate::timeline::Placed;

impl<'a> Player<'a> {
    pub(super) fn value(&self, field: Field, at: Instant) -> f32 {
        self.step.as_ref().map_or(0.0, |placed| placed.value(field, at))
    }

    /// Whether a switch is on.
    pub(super) fn is_on(&self, switch: Field) -> bool {
        self.step.as_ref().is_some_and(|placed| placed.step.is_on(switch))
    }

    pub(super) fn measurement(&self, at: Instant) -> cuff::CuffConditions {
        cuff::CuffConditions {
            inflate_mmhg: self.value(Field::CuffInflate, at),
            inflation_mmhg_per_s: self.value(Field::CuffInflation, at),
            deflation_mmhg_per_s: self.value(Field::CuffDeflation, at),
            step_mmhg: self.value(Field::CuffStep, at),
            leak_mmhg_per_min: self.value(Field::CuffLeak, at),
            vent_mmhg: self.value(Field::CuffVentAt, at),
            limit_mmhg: self.value(Field::CuffLimit, at),
        }
    }

    pub(super) fn breathing(&self, at: Instant) -> respiration::BreathingConditions {
        respiration::BreathingConditions {
            per_minute: self.value(Field::BreathsPerMin, at),
            depth_ohm: self.value(Field::BreathDepthOhm, at) * self.impedance_shares().0,
            expiration_ratio: self.value(Field::ExpirationRatio, at),
            ventilated: self.is_on(Field::Ventilated),
            obstructed: self.is_on(Field::Obstructed),
            pause_s: self.value(Field::BreathPauseS, at),
            pause_every_s: self.value(Field::BreathPauseEveryS, at),
            waxing: 0.01 * self.value(Field::BreathWaxing, at),
            irregular: 0.01 * self.value(Field::BreathIrregular, at),
            chance: [0, 1].map(|draw| self.noise.bell(Purpose::Breath, (at.ticks() >> 22) << 1 | draw)),
            sigh_every: self.step.as_ref().map_or(0, |placed| placed.step.count(Field::SighEvery)),
            chest_mmhg: self.value(Field::ChestBreathing, at),
        }
    }

    /// Shares of breaths and heartbeats that the impedance electrodes see (sizes common practice, no source).
    pub(super) fn impedance_shares(&self) -> (f32, f32) {
        if self.is_on(Field::BreathLead) { (0.6, 1.5) } else { (1.0, 1.0) }
    }

    pub(super) fn wave_conditions(&self, at: Instant) -> electrogram::WaveConditions<'a> {
        let over_a_breath_deg = self.value(Field::AxisBreathDeg, at);
        let mut axis_deg = self.value(Field::AxisDeg, at);
        if over_a_breath_deg > 0.0 {
            // Full lungs push the heart upright: to the right.
            axis_deg += over_a_breath_deg * (self.respiration.lung_volume(at) - 0.5);
        }
        electrogram::WaveConditions {
            shapes: self.step.as_ref().map_or(PlayedBody::from(&ADULT), |placed| placed.step.body()).shapes,
            qrs_ms: self.value(Field::QrsMs, at),
            st_mv: [Field::StInferiorMv, Field::StAnteriorMv, Field::StLateralMv].map(|field| self.value(field, at)),
            t_mv: [Field::TInferiorMv, Field::TAnteriorMv, Field::TLateralMv].map(|field| self.value(field, at)),
            q_mv: [Field::QInferiorMv, Field::QAnteriorMv, Field::QLateralMv].map(|field| self.value(field, at)),
            u_mv: self.value(Field::UMv, at),
            alternans: 0.01 * self.value(Field::AlternansPercent, at),
            t_size: 0.01 * self.value(Field::TPercent, at),
            tenting: 0.01 * self.value(Field::TentingPercent, at),
            axis: math::phase_of(axis_deg * (1.0 / 360.0)),
            life: electrogram::Life {
                shape: 0.01 * self.value(Field::ShapePercent, at),
                width: 0.01 * self.value(Field::QrsSdPercent, at),
                t: 0.01 * self.value(Field::TSdPercent, at),
                person: 0.01 * self.value(Field::PersonPercent, at),
            },
        }
    }

    /// A step's values for the artefacts.
    pub(super) fn artefact_conditions(&self, placed: &Placed<'_>) -> artefact::ArtefactConditions {
        let course = |field| self.glide.course(placed, field);
        artefact::ArtefactConditions {
            start: placed.start,
            mains_hz: placed.step.get(Field::MainsHz),
            mains_drift_hz: placed.step.get(Field::MainsDriftHz),
            mains_harmonics: 0.01 * placed.step.get(Field::MainsHarmonics),
            mains_mv: course(Field::MainsMv),
            wander_mv: course(Field::WanderMv),
            breathing_mv: course(Field::BreathingWanderMv),
            muscle_mv: course(Field::MuscleMv),
            motion_mv: course(Field::MotionMv),
            surgery_mv: course(Field::SurgeryMv),
            electrode_mv: course(Field::ElectrodeMv),
            background_mv: course(Field::BackgroundMv),
            tremor_mv: course(Field::TremorMv),
            tremor_hz: placed.step.get(Field::TremorHz),
            compression_mv: course(Field::CompressionMv),
            compressions_per_min: placed.step.get(Field::CompressionsPerMin),
            bursts: (placed.step.get(Field::ElectrodeBurstS), placed.step.get(Field::ElectrodeEveryS)),
        }
    }

    /// A step's values for the test signals.
    pub(super) fn test_conditions(placed: &Placed<'_>) -> test_signal::TestConditions {
        let (value, course) = (|field| placed.step.get(field), |field| placed.step.course(field));
        test_signal::TestConditions {
            start: placed.start,
            duration: placed.step.duration(),
            signal: placed.step.test_signal(),
            hz: value(Field::TestHz),
            last_hz: value(Field::TestLastHz),
            drift_hz: value(Field::TestDriftHz),
            height_mv: course(Field::TestHeightMv),
            width_ms: course(Field::TestWidthMs),
            offset_mv: course(Field::TestOffsetMv),
            drift_mv: course(Field::TestDriftMv),
        }
    }

    pub(super) fn pulse_conditions(&self, at: Instant) -> electrogram::PulseConditions {
        electrogram::PulseConditions {
            mv: self.value(Field::PacingMv, at),
            ms: self.value(Field::PacingMs, at),
            tail: OvershootTail {
                share: 0.01 * self.value(Field::OvershootPercent, at),
                charge: self.value(Field::OvershootCharge, at),
                tau_s: 0.001 * self.value(Field::OvershootMs, at),
            },
        }
    }
}

/// A step's values for the heart at an instant.
pub(super) fn heart_conditions<'s>(
    placed: &'s Placed<'_>,
    respiration: &Respiration,
    noise: &Noise,
    at: Instant,
) -> heart::HeartConditions<'s> {
    let step = &placed.step;
    let (breath_start, breath_period) = respiration.pace();
    let pr_s = pr_s(placed, at);
    let person = Person::of(noise, 0.01 * step.get(Field::PersonPercent)).rr();
    heart::HeartConditions {
        rhythm: step.rhythm(),
        which: step.which_rhythm(),
        rate_bpm: placed.value(Field::RateBpm, at),
        atrial_bpm: step.get(Field::AtrialBpm),
        ratio: step.get(Field::AvRatio),
        pause: Span::from_secs(step.get(Field::PauseS)),
        qtc_ms: step.get(Field::QtcMs),
        pr: Span::from_secs(pr_s),
        qrs_ms: step.get(Field::QrsMs),
        body: step.conduction(),
        premature_per_min: step.get(Field::PrematurePerMin),
        coupling: Span::from_secs(0.001 * step.get(Field::CouplingMs)),
        irregularity: 0.01 * step.get(Field::FibrillationPercent),
        variability: Variability {
            breathing_ms: person * placed.value(Field::BreathingRrMs, at),
            slow_ms: person * placed.value(Field::SlowRrMs, at),
            very_slow_ms: person * placed.value(Field::VerySlowRrMs, at),
            fast_ms: person * placed.value(Field::FastRrMs, at),
            resting: Span::period(step.body().resting_bpm),
            breath_start,
            breath_period,
            inspiration: 1.0 / (1.0 + step.get(Field::ExpirationRatio)),
            delay: Span::from_secs(pr_s),
        },
        life: heart::Life {
            pr_ms: step.get(Field::PrSdMs),
            qt_ms: step.get(Field::QtSdMs),
            qt_lag_s: step.get(Field::QtLagS),
            coupling_ms: step.get(Field::CouplingSdMs),
            pause: 0.01 * step.get(Field::PausePercent),
            focus: 0.01 * step.get(Field::FocusPercent),
        },
        listed: None,
        leading: None,
    }
}
