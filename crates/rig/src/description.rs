//! The rig in memory: a converter and the circuit behind each of its outputs.

use crate::coupling::AcCoupling;
use crate::line::LinearMap;
use pulsewright_core::frame::{Channel, Electrode, PressureSite};

/// A rig.
#[derive(Clone, Debug, PartialEq)]
pub struct Rig {
    /// Title; may be empty.
    pub title: String,
    /// The converters, all alike.
    pub converter: Converter,
    /// The filter behind every converter, if there is one.
    pub filter: Option<LowPassFilter>,
    /// AC coupling behind every converter, as a sound card has it; `None` where a held level stays.
    pub coupling: Option<AcCoupling>,
    /// The outputs, in the order in which a frame has their codes; at least one, none twice.
    pub outputs: Vec<Output>,
}

/// A digital-to-analogue converter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Converter {
    /// Bits of a code, 8 to 24.
    pub bits: u32,
    /// Volts of the lowest code.
    pub low_v: f64,
    /// Volts one step above the highest code.
    pub high_v: f64,
    /// How a code is written.
    pub coding: Coding,
}

/// How a code is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// From 0 for the lowest volts.
    OffsetBinary,
    /// Signed, 0 in the middle.
    TwosComplement,
}

/// A low-pass filter that takes the stairs of a converter away; judged as a Butterworth filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LowPassFilter {
    /// Where it has taken 3 dB, Hz.
    pub corner_hz: f64,
    /// Its order.
    pub order: u32,
}

/// An output.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// The signal that it carries.
    pub signal: OutputSignal,
    /// Volts of its converter's lowest code and one step above the highest.
    pub range_v: (f64, f64),
    /// Whether the stage behind the converter turns the sign.
    pub inverted: bool,
    /// Volts of the converter over volts at the open connector; 1 for a respiration element.
    pub attenuation: f64,
    /// Resistance that the connector is driven from, ohm.
    pub source_ohm: f64,
    /// Resistance of the load, ohm; `None` without a load.
    pub load_ohm: Option<f64>,
    /// Correction by a two-point measurement.
    pub correction: Correction,
}

/// Measured over nominal: `measured = gain × nominal + offset`, in the connector's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// Gain; 1 of a rig that was not measured.
    pub gain: f64,
    /// Offset in the connector's unit; 0 of a rig that was not measured.
    pub offset: f64,
}

impl Correction {
    /// Of a rig that was not measured.
    pub const NONE: Correction = Correction { gain: 1.0, offset: 0.0 };
}

/// An ECG connector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EcgConnector {
    /// An electrode with a potential.
    Active(Electrode),
    /// RL (N): the reference, always 0 V.
    Reference,
}

/// The signal of an output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutputSignal {
    /// The potential of an electrode against RL.
    Electrode(EcgConnector),
    /// The signal pair of a pressure bridge: `mV = sensitivity × excitation × mmHg / 1000 + offset`.
    Bridge {
        /// Which pressure.
        channel: Channel,
        /// uV per volt of excitation and mmHg.
        sensitivity: f64,
        /// Excitation as measured, V.
        excitation_v: f64,
        /// Signal at 0 mmHg (zero unbalance), mV.
        offset_mv: f64,
        /// Whether the excitation is the reference of the converter: its range is then the excitation either way, and what
        /// the monitor reads does not depend on it.
        ratiometric: bool,
    },
    /// A resistance that follows the converter: `ohm = ohm_per_v × V + base`.
    Resistor {
        /// Ohm for each volt.
        ohm_per_v: f64,
        /// Ohm at 0 V.
        base_ohm: f64,
    },
}

/// Electrodes by their American (AHA) and European (IEC) labels.
pub const TERMINALS: [(&str, &str, EcgConnector); 10] = [
    ("RA", "R", EcgConnector::Active(Electrode::RA)),
    ("LA", "L", EcgConnector::Active(Electrode::LA)),
    ("LL", "F", EcgConnector::Active(Electrode::LL)),
    ("RL", "N", EcgConnector::Reference),
    ("V1", "C1", EcgConnector::Active(Electrode::V1)),
    ("V2", "C2", EcgConnector::Active(Electrode::V2)),
    ("V3", "C3", EcgConnector::Active(Electrode::V3)),
    ("V4", "C4", EcgConnector::Active(Electrode::V4)),
    ("V5", "C5", EcgConnector::Active(Electrode::V5)),
    ("V6", "C6", EcgConnector::Active(Electrode::V6)),
];

/// Pressures that a bridge can carry.
pub fn bridge_channels() -> impl Iterator<Item = Channel> {
    PressureSite::ALL.iter().map(|site| Channel::Pressure(*site)).chain([Channel::Cuff])
}

impl OutputSignal {
    /// Word in flags and tables: an electrode's American label, a pressure's channel, "respiration".
    pub fn name(&self) -> &'static str {
        match self {
            OutputSignal::Electrode(terminal) => labels(*terminal).0,
            OutputSignal::Bridge { channel, .. } => channel.id(),
            OutputSignal::Resistor { .. } => Channel::Respiration.id(),
        }
    }

    /// Unit of the signal.
    pub fn unit(&self) -> &'static str {
        match self {
            OutputSignal::Electrode(_) => "mV",
            OutputSignal::Bridge { .. } => "mmHg",
            OutputSignal::Resistor { .. } => "ohm",
        }
    }

    /// Unit at the connector, where a meter measures.
    pub fn connector_unit(&self) -> &'static str {
        match self {
            OutputSignal::Electrode(_) | OutputSignal::Bridge { .. } => "mV",
            OutputSignal::Resistor { .. } => "ohm",
        }
    }

    /// The channel of the core that it follows; `None` for the reference.
    pub fn channel(&self) -> Option<Channel> {
        match self {
            OutputSignal::Electrode(EcgConnector::Active(electrode)) => Some(Channel::Electrode(*electrode)),
            OutputSignal::Electrode(EcgConnector::Reference) => None,
            OutputSignal::Bridge { channel, .. } => Some(*channel),
            OutputSignal::Resistor { .. } => Some(Channel::Respiration),
        }
    }

    /// From the signal to the level at the connector.
    pub fn to_connector(&self) -> LinearMap {
        match self {
            OutputSignal::Bridge { sensitivity, excitation_v, offset_mv, .. } => {
                LinearMap { slope: sensitivity * excitation_v / 1000.0, intercept: *offset_mv }
            }
            OutputSignal::Electrode(_) | OutputSignal::Resistor { .. } => LinearMap { slope: 1.0, intercept: 0.0 },
        }
    }
}

/// American and European label.
pub fn labels(terminal: EcgConnector) -> (&'static str, &'static str) {
    TERMINALS.iter().find(|row| row.2 == terminal).map_or(("", ""), |row| (row.0, row.1))
}

impl Converter {
    /// Lowest and highest code as written.
    pub fn codes(&self) -> (i64, i64) {
        let count = 1_i64 << self.bits;
        match self.coding {
            Coding::OffsetBinary => (0, count - 1),
            Coding::TwosComplement => (-count / 2, count / 2 - 1),
        }
    }

    /// From a code as written to volts, of an output with this range.
    fn volts(&self, (low, high): (f64, f64)) -> LinearMap {
        let slope = (high - low) / (1_i64 << self.bits) as f64;
        LinearMap { slope, intercept: low - self.codes().0 as f64 * slope }
    }
}

impl Rig {
    /// Resistance in the leg of RL, ohm; 0 without an output for it.
    pub fn reference_ohm(&self) -> f64 {
        let reference = |output: &&Output| output.signal == OutputSignal::Electrode(EcgConnector::Reference);
        self.outputs.iter().find(reference).map_or(0.0, |output| output.source_ohm)
    }
}

impl Output {
    /// From volts of the converter to the nominal level at the connector.
    fn nominal(&self) -> LinearMap {
        let sign = if self.inverted { -1.0 } else { 1.0 };
        let loaded = self.load_ohm.map_or(1.0, |load| load / (load + self.source_ohm));
        match self.signal {
            OutputSignal::Resistor { ohm_per_v, base_ohm } => {
                LinearMap { slope: sign * ohm_per_v, intercept: base_ohm }
            }
            OutputSignal::Electrode(_) | OutputSignal::Bridge { .. } => {
                LinearMap { slope: sign * 1000.0 / self.attenuation * loaded, intercept: 0.0 }
            }
        }
    }

    /// From a code to the level at the connector of a rig as described, uncorrected.
    pub fn code_to_nominal(&self, converter: &Converter) -> LinearMap {
        converter.volts(self.range_v).then(self.nominal())
    }

    /// How much of a level is left when a meter of this resistance is connected beside the load, 0 to 1; `reference_ohm` is the
    /// resistance in the leg of RL, through which the meter's current flows back.
    ///
    /// An element's resistance is measured by the meter's own current, so a meter leaves it whole. A bridge has no part in RL.
    pub fn left_by_meter(&self, meter_ohm: f64, reference_ohm: f64) -> f64 {
        let back_ohm = match self.signal {
            OutputSignal::Resistor { .. } => return 1.0,
            OutputSignal::Bridge { .. } => 0.0,
            OutputSignal::Electrode(_) => reference_ohm,
        };
        // The load goes to the rig's common: driver and load are one resistance to the meter.
        let driver_ohm =
            self.load_ohm.map_or(self.source_ohm, |load| self.source_ohm * load / (self.source_ohm + load));
        meter_ohm / (meter_ohm + driver_ohm + back_ohm)
    }

    /// Whether it is measured: the reference is 0 V by definition.
    pub fn is_measured(&self) -> bool {
        self.signal != OutputSignal::Electrode(EcgConnector::Reference)
    }

    /// From a code to volts of the converter.
    pub fn code_to_volts(&self, converter: &Converter) -> LinearMap {
        converter.volts(self.range_v)
    }

    /// From a code to the level at the connector, by the last measurement.
    pub fn code_to_connector(&self, converter: &Converter) -> LinearMap {
        let Correction { gain, offset } = self.correction;
        self.code_to_nominal(converter).then(LinearMap { slope: gain, intercept: offset })
    }

    /// From a code to the signal.
    pub fn code_to_signal(&self, converter: &Converter) -> LinearMap {
        self.code_to_connector(converter).then(self.signal.to_connector().reversed())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn output(signal: OutputSignal) -> Output {
        Output {
            signal,
            range_v: (-2.5, 2.5),
            inverted: false,
            attenuation: 500.0,
            source_ohm: 0.0,
            load_ohm: None,
            correction: Correction::NONE,
        }
    }

    const CONVERTER: Converter = Converter { bits: 16, low_v: -2.5, high_v: 2.5, coding: Coding::OffsetBinary };

    #[test]
    fn codes_of_both_kinds_are_the_same_volts() {
        let signed = Converter { coding: Coding::TwosComplement, ..CONVERTER };
        assert_eq!((CONVERTER.codes(), signed.codes()), ((0, 65_535), (-32_768, 32_767)));
        for (unsigned, volts) in [(0, -2.5), (32_768, 0.0), (49_152, 1.25)] {
            assert_eq!(CONVERTER.volts((-2.5, 2.5)).of(f64::from(unsigned)), volts);
            assert_eq!(signed.volts((-2.5, 2.5)).of(f64::from(unsigned - 32_768)), volts);
        }
    }

    #[test]
    fn an_electrode_by_hand() {
        // 1 V, 500 : 1, 1 kohm into 99 kohm: 1.98 mV.
        let loaded =
            Output { source_ohm: 1000.0, load_ohm: Some(99_000.0), ..output(OutputSignal::Electrode(TERMINALS[0].2)) };
        let code = CONVERTER.volts((-2.5, 2.5)).back(1.0);
        assert!((loaded.code_to_nominal(&CONVERTER).of(code) - 1.98).abs() < 1e-12);
        let turned = Output { inverted: true, correction: Correction { gain: 1.5, offset: 0.25 }, ..loaded };
        assert!((turned.code_to_connector(&CONVERTER).of(code) - (-1.98 * 1.5 + 0.25)).abs() < 1e-12);
    }

    #[test]
    fn a_meter_beside_the_load_by_hand() {
        // 51 kohm into 10 Mohm: 0.994 926; into 5 Mohm, the load and a meter of 10 Mohm: 0.989 903.
        let electrode = output(OutputSignal::Electrode(TERMINALS[0].2));
        let loaded = Output { source_ohm: 51_000.0, load_ohm: Some(1e7), ..electrode.clone() };
        assert!((loaded.left_by_meter(1e7, 0.0) - 0.989_903 / 0.994_926).abs() < 1e-6);
        // With 51 kohm in RL's leg as well: 10 Mohm of 10 Mohm, 50.741 kohm and 51 kohm.
        assert!((loaded.left_by_meter(1e7, 51_000.0) - 10_000.0 / 10_101.741).abs() < 1e-6);
        assert!((Output { load_ohm: None, ..loaded }.left_by_meter(1e7, 0.0) - 0.994_926).abs() < 1e-6);
        assert_eq!(electrode.left_by_meter(1e7, 0.0), 1.0, "driven from no resistance");
        assert!(!output(OutputSignal::Electrode(EcgConnector::Reference)).is_measured());
    }

    #[test]
    fn a_bridge_by_hand() {
        // 5 uV/V/mmHg at 5 V: 100 mmHg is 2.5 mV (ANSI/AAMI BP22:1994), with 0.5 mV of unbalance 3 mV.
        let channel = Channel::Pressure(PressureSite::Arterial);
        let bridge = output(OutputSignal::Bridge {
            channel,
            sensitivity: 5.0,
            excitation_v: 5.0,
            offset_mv: 0.5,
            ratiometric: false,
        });
        assert_eq!(bridge.signal.to_connector().of(100.0), 3.0);
        // 1.5 V behind 500 : 1.
        let code = CONVERTER.volts((-2.5, 2.5)).back(1.5);
        assert!((bridge.code_to_signal(&CONVERTER).of(code) - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_resistor_by_hand() {
        let element =
            Output { attenuation: 1.0, ..output(OutputSignal::Resistor { ohm_per_v: 2.0, base_ohm: 1000.0 }) };
        let code = CONVERTER.volts((-2.5, 2.5)).back(0.5);
        assert_eq!(element.code_to_signal(&CONVERTER).of(code), 1001.0);
    }
}
