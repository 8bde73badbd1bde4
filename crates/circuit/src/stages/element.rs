//! The respiration element: a base resistor in series with an amplifier that adds a voltage in proportion to the current, so that
//! the pair is a resistance that follows the converter, for direct current and for carriers up to some 100 kHz.

use super::channel::{BOTTOM_OHM, CONVERTER, CircuitError, Design, Drive, LEAK_OHM, OutputCircuit, PartBuilder, TEST};
use crate::netlist::{COMMON, Class};
use crate::rows::{PreferredValues, series};
use pulsewright_rig::description::Output;

/// Volts that a multiplier divides its product by: common practice, no source.
pub(super) const MULTIPLIER_V: f64 = 10.0;
/// Steepest element, of its base for a volt: the divider takes half of the multiplier's product at least.
const MOST_PER_V: f64 = 0.05;
/// Capacitor across the divider: with its 98 ohm a corner of 10.8 MHz, as the amplifier has one.
const POLE_FARAD: f64 = 150e-12;
/// Terminals of the element.
pub(crate) const NODES: [&str; 2] = ["z_a", "z_b"];

pub(super) fn channel(
    index: usize,
    output: &Output,
    ohm_per_v: f64,
    base_ohm: f64,
) -> Result<OutputCircuit, CircuitError> {
    let name = output.signal.name();
    let base = PreferredValues::E96.nearest(base_ohm.max(1.0));
    let per_v = ohm_per_v / base;
    if per_v > MOST_PER_V {
        return Err(CircuitError::TooSteep(name, per_v));
    }
    let [a, b] = NODES;
    let mut parts = PartBuilder::new(index);
    parts.precise(1, [a, "z_m"], base);
    let part = parts.name('E', 1);
    parts.netlist.amplifier(part.clone(), ["z_x", b], 0.0, [a, "z_m"], Class::Multiplier);
    if let Some(last) = parts.netlist.parts.last_mut() {
        last.tolerance = CONVERTER;
    }
    let values = series(BOTTOM_OHM * (1.0 / (per_v * MULTIPLIER_V) - 1.0));
    let top: f64 = values.iter().sum();
    parts.series(21, ["z_x", "z_t"], "z_v", &values);
    parts.precise(23, ["z_t", b], BOTTOM_OHM);
    parts.capacitor(23, ["z_t", b], POLE_FARAD);
    let follower = parts.name('E', 2);
    parts.netlist.amplifier(follower, ["z_m", b], 1.0, ["z_t", b], Class::Amplifier);
    let leak = format!("RG{}", parts.number);
    parts.netlist.resistor(leak, [b, COMMON], LEAK_OHM, 0.0, Class::Outside);
    parts.netlist.source(TEST, [a, b], 0.0, 0.0, Class::Outside);
    // The voltage that the amplifier adds opposes the current that comes in at `z_a`.
    let sign = if output.inverted { -1.0 } else { 1.0 };
    let share = BOTTOM_OHM / (BOTTOM_OHM + top);
    Ok(OutputCircuit {
        output: index,
        name,
        netlist: parts.netlist,
        drive: Some(Drive { part, per_volt: sign / MULTIPLIER_V }),
        connector: NODES.map(str::to_owned),
        design: Design::Element { base_ohm: base, ohm_per_v: base * share / MULTIPLIER_V },
    })
}
