//! The meaning of each code at the connector: the description beside frames made for a rig.

use crate::description::{Coding, Output, OutputSignal, Rig, labels};
use crate::line::LinearMap;
use serde::Serialize;

/// An output as stored: the fields of any channel description, and the levels of a code on its way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutputDescription {
    /// Word of the output.
    pub name: &'static str,
    /// European label of an electrode.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub iec_label: Option<&'static str>,
    /// Unit of the signal.
    pub unit: &'static str,
    /// Size of a step of the code, in the unit.
    pub scale: f64,
    /// Value of the code 0, in the unit.
    pub offset: f64,
    /// Bits of a code.
    pub bits: u32,
    /// Lowest value, in the unit.
    pub min: f64,
    /// Highest value, in the unit.
    pub max: f64,
    /// Samples that lay beyond and were stored as the nearest.
    pub clipped: u64,
    /// Level at the connector.
    pub connector: CodeScale,
    /// Level at the converter.
    pub converter: CodeScale,
}

/// The level of a code: `code × scale + offset`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CodeScale {
    /// Unit.
    pub unit: &'static str,
    /// Size of a step.
    pub scale: f64,
    /// Value of the code 0.
    pub offset: f64,
}

impl CodeScale {
    fn new(unit: &'static str, line: LinearMap) -> CodeScale {
        CodeScale { unit, scale: line.slope, offset: line.intercept }
    }
}

impl OutputDescription {
    /// For an output, with the count of its clipped samples.
    pub fn new(rig: &Rig, output: &Output, clipped: u64) -> OutputDescription {
        let converter = &rig.converter;
        let line = output.code_to_signal(converter);
        let (lowest, highest) = converter.codes();
        let ends = [line.of(lowest as f64), line.of(highest as f64)];
        let iec_label = match output.signal {
            OutputSignal::Electrode(terminal) => Some(labels(terminal).1),
            OutputSignal::Bridge { .. } | OutputSignal::Resistor { .. } => None,
        };
        OutputDescription {
            name: output.signal.name(),
            iec_label,
            unit: output.signal.unit(),
            scale: line.slope,
            offset: line.intercept,
            bits: converter.bits,
            min: ends[0].min(ends[1]),
            max: ends[0].max(ends[1]),
            clipped,
            connector: CodeScale::new(output.signal.connector_unit(), output.code_to_connector(converter)),
            converter: CodeScale::new("V", output.code_to_volts(converter)),
        }
    }
}

/// Word of a coding in descriptions.
pub fn coding_word(coding: Coding) -> &'static str {
    match coding {
        Coding::OffsetBinary => "offset-binary",
        Coding::TwosComplement => "twos-complement",
    }
}
