//! Conditions of the pressures.

use super::line::{Connection, PressureLine};

/// Settings of the pressures at an instant, resolved to plain numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct PressureConditions {
    /// Pulmonary artery diastolic pressure, mmHg.
    pub pulmonary_diastolic_mmhg: f32,
    /// Pulmonary artery systolic pressure, mmHg.
    pub pulmonary_systolic_mmhg: f32,
    /// Arterial systolic pressure at a steady rate, mmHg.
    pub arterial_systolic_mmhg: f32,
    /// Arterial diastolic pressure at a steady rate, mmHg.
    pub arterial_diastolic_mmhg: f32,
    /// Femoral systolic pressure, mmHg; 0 takes the arterial one.
    pub femoral_systolic_mmhg: f32,
    /// Femoral diastolic pressure, mmHg; 0 takes the arterial one.
    pub femoral_diastolic_mmhg: f32,
    /// Fall of arterial pressure from expiration to inspiration, mmHg.
    pub arterial_swing_mmhg: f32,
    /// Pulse-pressure variation over a breath, %.
    pub pulse_variation_percent: f32,
    /// Pulsus alternans, mmHg.
    pub alternans_mmhg: f32,
    /// Mean pressure of central vein and right atrium, mmHg.
    pub venous_mean_mmhg: f32,
    /// From P onset to QRS onset in a conducted beat, ms.
    pub pr_ms: f32,
    /// Mean intracranial pressure, mmHg.
    pub intracranial_mean_mmhg: f32,
    /// Intracranial pulse, foot to top, mmHg.
    pub intracranial_pulse_mmhg: f32,
    /// Height of the second wave of the intracranial pulse against the first, %.
    pub intracranial_second_percent: f32,
    /// Catheter whip, mmHg.
    pub pulmonary_whip_mmhg: f32,
    /// Left ventricular systolic pressure, mmHg; 0 takes the arterial one.
    pub left_ventricle_systolic_mmhg: f32,
    /// Right ventricular systolic pressure, mmHg; 0 takes the pulmonary artery's.
    pub right_ventricle_systolic_mmhg: f32,
    /// Left ventricular end-diastolic pressure, mmHg.
    pub left_ventricle_end_diastolic_mmhg: f32,
    /// Right ventricular end-diastolic pressure, mmHg.
    pub right_ventricle_end_diastolic_mmhg: f32,
    /// Mean pressure of left atrium and wedged pulmonary artery, mmHg.
    pub left_atrium_mean_mmhg: f32,
    /// Height of the a wave of left atrium and wedge, mmHg.
    pub left_atrium_wave_mmhg: f32,
    /// Height of the a wave of central vein and right atrium, mmHg.
    pub venous_wave_mmhg: f32,
    /// Rise of the arterial pressure at each compression of the chest, mmHg.
    pub compression_mmhg: f32,
    /// Compressions a minute.
    pub compressions_per_min: f32,
    /// Transducers closed to the patient, a bit for each site.
    pub closed: u16,
}

/// Settings of a transducer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct TransducerConditions {
    /// Level added, mmHg.
    pub level_mmhg: f32,
    /// Whether it is closed to the patient.
    pub closed: bool,
    /// Natural frequency of the line, Hz; 0 for none.
    pub line_hz: f32,
    /// Damping ratio of the line.
    pub damping: f32,
}

impl TransducerConditions {
    /// How it is connected.
    pub(super) fn connection(&self) -> Connection {
        let open = if self.closed { 0.0 } else { 1.0 };
        Connection { open, level_mmhg: self.level_mmhg, line: PressureLine::new(self.line_hz, self.damping) }
    }
}
