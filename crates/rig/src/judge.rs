//! Faults of a rig that can hurt or keep it from working; limits and sources: `docs/rig.md`.

use crate::coupling::LEAST_QRS_MV;
use crate::description::{EcgConnector, Output, OutputSignal, Rig, TERMINALS};
use crate::figures::{MONITOR_NOISE_UV, OutputFigures};
use pulsewright_core::frame::Electrode;
use std::fmt;

/// Highest potential that an electrode may get, mV either way: the largest that a clause for monitors puts there is a pacing pulse
/// of 700 mV (EC13 4.1.4.1, as makers quote it). Higher levels test nothing and may harm the input.
pub const MOST_ELECTRODE_MV: f64 = 1000.0;

/// Highest signal of a bridge, mV either way: 5 uV/V/mmHg at 10 V are 50 uV/mmHg, so 100 mV are 2000 mmHg (arithmetic).
pub const MOST_BRIDGE_MV: f64 = 100.0;

/// Least reach of an electrode that is of use, mV: a QRS of a usual size.
pub const LEAST_REACH_MV: f64 = 1.0;

/// Pressures that a bridge must reach to be of use, mmHg.
pub const LEAST_REACH_MMHG: (f64, f64) = (0.0, 50.0);

/// Largest step of a pressure that is of use, mmHg: readings are whole mmHg.
pub const MOST_STEP_MMHG: f64 = 1.0;

/// Largest step of an impedance that is of use, ohm: breaths are some tenths of an ohm.
pub const MOST_STEP_OHM: f64 = 0.2;

/// A fault that makes a rig dangerous or useless.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum RigFault {
    /// An output reaches a level that may harm the monitor.
    TooHigh {
        /// The output.
        name: &'static str,
        /// Highest size at the open connector, mV.
        reach_mv: f64,
        /// Highest that is accepted, mV.
        most_mv: f64,
    },
    /// A resistance element would need less than no resistance.
    NegativeResistance {
        /// The output.
        name: &'static str,
        /// Lowest resistance, ohm.
        lowest_ohm: f64,
    },
    /// An output reaches too little.
    TooShort {
        /// The output.
        name: &'static str,
        /// Its reach, in `unit`.
        reach: (f64, f64),
        /// The reach that it needs, in `unit`.
        least: (f64, f64),
        /// Unit of the signal.
        unit: &'static str,
    },
    /// A step of an output exceeds the noise, or a digit of the reading.
    TooCoarse {
        /// The output.
        name: &'static str,
        /// The step, in `unit`.
        step: f64,
        /// The largest of use, in `unit`.
        most: f64,
        /// Unit of the step.
        unit: &'static str,
    },
    /// AC coupling takes a held level away.
    NoLevel {
        /// The output.
        name: &'static str,
        /// Where the coupling has taken 3 dB, Hz.
        corner_hz: f64,
    },
    /// AC coupling leaves too little of a QRS for a monitor to find.
    NoQrs {
        /// Where the coupling has taken 3 dB, Hz.
        corner_hz: f64,
        /// Size behind the coupling of a QRS of 1 mV, mV.
        left_mv: f64,
        /// Least that a monitor must find, mV.
        least_mv: f64,
    },
    /// Electrodes without the limbs that every lead is measured against.
    NoLimbs {
        /// The missing limb electrodes.
        missing: Vec<&'static str>,
    },
}

impl fmt::Display for RigFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RigFault::TooHigh { name, reach_mv, most_mv } => write!(
                f,
                "{name} reaches {reach_mv:.4} mV at the open connector, and more than {most_mv} mV may harm a monitor: check \"attenuation\""
            ),
            RigFault::NegativeResistance { name, lowest_ohm } => write!(
                f,
                "{name} would need {lowest_ohm:.4} ohm at one end of its converter: raise \"base_ohm\" or lower \"ohm_per_v\""
            ),
            RigFault::TooShort { name, reach, least, unit } => write!(
                f,
                "{name} reaches {:.4} to {:.4} {unit}, and no test works without {} to {} {unit}",
                reach.0, reach.1, least.0, least.1
            ),
            RigFault::TooCoarse { name, step, most, unit } => {
                write!(f, "{name} has steps of {step:.4} {unit}; steps above {most} {unit} are of no use")
            }
            RigFault::NoLevel { name, corner_hz } => write!(
                f,
                "{name} is coupled by AC from {corner_hz} Hz on, and a held level falls to zero: use a DC-coupled converter"
            ),
            RigFault::NoQrs { corner_hz, left_mv, least_mv } => write!(
                f,
                "AC coupling from {corner_hz} Hz on leaves {left_mv:.3} mV of a QRS of 1 mV and 80 ms; a monitor must find {least_mv} mV"
            ),
            RigFault::NoLimbs { missing } => write!(
                f,
                "no output drives {}: a lead is a difference of limb electrodes, so RA, LA and LL belong together",
                missing.join(", ")
            ),
        }
    }
}

/// Every fault of a rig; none for a rig that may be built.
pub fn faults(rig: &Rig) -> Vec<RigFault> {
    let mut faults: Vec<RigFault> = rig.outputs.iter().flat_map(|output| faults_of(rig, output)).collect();
    let has =
        |terminal: EcgConnector| rig.outputs.iter().any(|output| output.signal == OutputSignal::Electrode(terminal));
    let limbs = [Electrode::RA, Electrode::LA, Electrode::LL].map(EcgConnector::Active);
    let missing: Vec<&str> =
        TERMINALS.iter().filter(|row| limbs.contains(&row.2) && !has(row.2)).map(|row| row.0).collect();
    let any =
        rig.outputs.iter().any(|output| matches!(output.signal, OutputSignal::Electrode(EcgConnector::Active(_))));
    if any && !missing.is_empty() {
        faults.push(RigFault::NoLimbs { missing });
    }
    if let Some(coupling) = rig.coupling {
        let corner_hz = coupling.corner_hz();
        let levels = rig.outputs.iter().filter(|output| !matches!(output.signal, OutputSignal::Electrode(_)));
        faults.extend(levels.map(|output| RigFault::NoLevel { name: output.signal.name(), corner_hz }));
        let left_mv = coupling.qrs_mv();
        if any && left_mv < LEAST_QRS_MV {
            faults.push(RigFault::NoQrs { corner_hz, left_mv, least_mv: LEAST_QRS_MV });
        }
    }
    faults
}

fn faults_of(rig: &Rig, output: &Output) -> Vec<RigFault> {
    let name = output.signal.name();
    let figures = OutputFigures::new(rig, output);
    let (lowest, highest) = rig.converter.codes();
    // Without the load, which may be unplugged.
    let open = Output { load_ohm: None, ..output.clone() }.code_to_connector(&rig.converter);
    let ends = [open.of(lowest as f64), open.of(highest as f64)];
    let reach_mv = ends[0].abs().max(ends[1].abs());
    let mut faults = Vec::new();
    let too_high = |most_mv| (reach_mv > most_mv).then_some(RigFault::TooHigh { name, reach_mv, most_mv });
    let too_short = |least: (f64, f64), unit| {
        let reach = figures.reach;
        (reach.0 > least.0 || reach.1 < least.1).then_some(RigFault::TooShort { name, reach, least, unit })
    };
    let too_coarse =
        |step: f64, most: f64, unit| (step > most).then_some(RigFault::TooCoarse { name, step, most, unit });
    match output.signal {
        OutputSignal::Electrode(EcgConnector::Reference) => {}
        OutputSignal::Electrode(EcgConnector::Active(_)) => {
            faults.extend(too_high(MOST_ELECTRODE_MV));
            faults.extend(too_short((-LEAST_REACH_MV, LEAST_REACH_MV), "mV"));
            faults.extend(too_coarse(1000.0 * figures.step, MONITOR_NOISE_UV, "uV"));
        }
        OutputSignal::Bridge { .. } => {
            faults.extend(too_high(MOST_BRIDGE_MV));
            faults.extend(too_short(LEAST_REACH_MMHG, "mmHg"));
            faults.extend(too_coarse(figures.step, MOST_STEP_MMHG, "mmHg"));
        }
        OutputSignal::Resistor { .. } => {
            let lowest_ohm = ends[0].min(ends[1]);
            faults.extend((lowest_ohm <= 0.0).then_some(RigFault::NegativeResistance { name, lowest_ohm }));
            faults.extend(too_coarse(figures.step, MOST_STEP_OHM, "ohm"));
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(bits: u32, outputs: &str) -> Vec<String> {
        let text = format!(
            r#"{{"version": 1, "converter": {{"bits": {bits}, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"}}, "outputs": [{outputs}]}}"#
        );
        let rig = crate::read::parse(text.as_bytes(), "r").unwrap();
        faults(&rig).iter().map(RigFault::to_string).collect()
    }

    fn limbs(attenuation: f64) -> String {
        ["RA", "LA", "LL"].map(|limb| format!(r#"{{"electrode": "{limb}", "attenuation": {attenuation}}}"#)).join(",")
    }

    #[test]
    fn a_rig_that_may_be_built_has_no_fault() {
        let more = r#"{"pressure": "arterial", "attenuation": 250, "sensitivity_uv_per_v_per_mmhg": 5, "excitation_v": 5},
            {"respiration": "resistor", "base_ohm": 1000, "ohm_per_v": 2}, {"electrode": "RL", "attenuation": 1}"#;
        assert_eq!(of(16, &format!("{}, {more}", limbs(250.0))), [""; 0]);
    }

    #[test]
    fn volts_at_an_electrode_are_a_fault() {
        let found = of(24, &limbs(1.0));
        assert_eq!(found.len(), 3);
        assert!(found[0].contains("RA reaches 2500.0000 mV") && found[0].contains("attenuation"), "{}", found[0]);
    }

    #[test]
    fn less_than_no_resistance_is_a_fault() {
        let found = of(16, r#"{"respiration": "resistor", "base_ohm": 1, "ohm_per_v": 2}"#);
        assert!(found[0].contains("would need -4.0000 ohm"), "{found:?}");
    }

    #[test]
    fn an_electrode_alone_is_a_fault() {
        let found = of(16, r#"{"electrode": "RA", "attenuation": 250}"#);
        assert_eq!(found.len(), 1);
        assert!(found[0].starts_with("no output drives LA, LL:"), "{found:?}");
    }

    #[test]
    fn steps_and_reach_of_no_use_are_faults() {
        assert!(of(8, &limbs(250.0))[0].contains("RA has steps of 78.1250 uV"));
        assert!(of(16, &limbs(5000.0))[0].contains("RA reaches -0.5000 to 0.5000 mV"));
        let bridge = |attenuation: f64| {
            format!(
                r#"{{"pressure": "arterial", "attenuation": {attenuation}, "sensitivity_uv_per_v_per_mmhg": 5, "excitation_v": 5}}"#
            )
        };
        assert!(of(16, &bridge(10.0))[0].contains("more than 100 mV may harm"));
        assert!(of(16, &bridge(25_000.0))[0].contains("0 to 50 mmHg"));
        assert!(of(8, &bridge(250.0))[0].contains("steps of 3.1250 mmHg"));
    }
}
