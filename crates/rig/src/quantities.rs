//! Numbers of a description: the key, range and unit of each, for reader and schema.

use std::ops::RangeInclusive;

/// A number of a description: key, range, unit, meaning.
pub(crate) struct Quantity {
    pub(crate) key: &'static str,
    pub(crate) range: RangeInclusive<f64>,
    pub(crate) unit: &'static str,
    pub(crate) doc: &'static str,
}

pub(crate) const LOW: Quantity =
    Quantity { key: "low_v", range: -100.0..=100.0, unit: "V", doc: "Volts of the lowest code." };
pub(crate) const HIGH: Quantity =
    Quantity { key: "high_v", range: -100.0..=100.0, unit: "V", doc: "Volts one step above the highest code." };
pub(crate) const ATTENUATION: Quantity = Quantity {
    key: "attenuation",
    range: 0.01..=1e6,
    unit: "",
    doc: "Volts of the converter over volts at the open connector: 1001 for 100 kohm over 100 ohm.",
};
pub(crate) const SOURCE: Quantity = Quantity {
    key: "source_ohm",
    range: 0.0..=1e7,
    unit: "ohm",
    doc: "Resistance that the connector is driven from, a skin-electrode stand-in included.",
};
pub(crate) const LOAD: Quantity = Quantity {
    key: "load_ohm",
    range: 1.0..=1e12,
    unit: "ohm",
    doc: "Resistance of the load at the connector; left out when there is none.",
};
pub(crate) const SENSITIVITY: Quantity = Quantity {
    key: "sensitivity_uv_per_v_per_mmhg",
    range: 0.1..=1000.0,
    unit: "uV/V/mmHg",
    doc: "Sensitivity that the monitor expects of a transducer; 5 by ANSI/AAMI BP22:1994.",
};
pub(crate) const EXCITATION: Quantity = Quantity {
    key: "excitation_v",
    range: 0.1..=20.0,
    unit: "V",
    doc: "The monitor's excitation as measured at the connector, not as printed.",
};
pub(crate) const OFFSET: Quantity = Quantity {
    key: "offset_mv",
    range: -100.0..=100.0,
    unit: "mV",
    doc: "Signal at 0 mmHg: zero unbalance of the bridge.",
};
pub(crate) const BASE: Quantity =
    Quantity { key: "base_ohm", range: 0.0..=1e5, unit: "ohm", doc: "Resistance of the element at 0 V." };
pub(crate) const OHM_PER_V: Quantity = Quantity {
    key: "ohm_per_v",
    range: 1e-4..=1e4,
    unit: "ohm/V",
    doc: "Resistance that a volt of the converter adds to the element.",
};
pub(crate) const GAIN: Quantity = Quantity { key: "gain", range: 0.1..=10.0, unit: "", doc: "Measured over nominal." };
pub(crate) const CORRECTION_OFFSET: Quantity = Quantity {
    key: "offset",
    range: -1e4..=1e4,
    unit: "mV or ohm",
    doc: "Measured at a nominal zero, in the connector's unit.",
};
pub(crate) const CORNER: Quantity =
    Quantity { key: "corner_hz", range: 0.1..=1e5, unit: "Hz", doc: "Where the filter has taken 3 dB." };
pub(crate) const COUPLING: Quantity = Quantity {
    key: "ac_coupling_hz",
    range: 0.001..=100.0,
    unit: "Hz",
    doc: "Where the AC coupling behind every converter, as of a sound card, has taken 3 dB: a high-pass of first order. None for converters that hold a level.",
};
/// Orders of filters, and bits of converters.
pub(crate) const ORDERS: RangeInclusive<u64> = 1..=10;
pub(crate) const BITS: RangeInclusive<u64> = 8..=24;
