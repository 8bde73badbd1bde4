//! A pressure bridge: signal pair around the middle of the monitor's excitation, from a converter whose reference is either that
//! excitation or a fixed voltage.

use super::channel::{
    BOTTOM_OHM, CONVERTER, CircuitError, Design, Drive, LEAK_OHM, OutputCircuit, PartBuilder, parallel,
};
use crate::netlist::{COMMON, Class};
use crate::rows::{PreferredValues, series};
use pulsewright_rig::description::{Output, OutputSignal};

/// Load of the excitation, ohm, as a transducer's bridge is one (at least 200 ohm: ANSI/AAMI BP22, from memory; 350 ohm is common).
const EXCITATION_OHM: f64 = 348.0;
/// Resistors that find the middle of the excitation, ohm.
const MIDDLE_OHM: f64 = 10_000.0;
/// Corner of the converter's amplifier, as a resistor and a capacitor: 1.06 MHz.
const POLE: (f64, f64) = (1000.0, 150e-12);

/// Designator of the monitor's excitation of an output.
pub(crate) fn excitation_name(index: usize) -> String {
    format!("VEXC{}", index + 1)
}

pub(super) fn channel(index: usize, output: &Output) -> Result<OutputCircuit, CircuitError> {
    let name = output.signal.name();
    let OutputSignal::Bridge { excitation_v, ratiometric, .. } = output.signal else {
        return Err(CircuitError::Amplifies(name));
    };
    if output.attenuation <= 1.0 {
        return Err(CircuitError::Amplifies(name));
    }
    let label = name.replace('-', "_");
    let node = |end: &str| format!("{label}_{end}");
    let [plus, minus, half, middle] = ["ep", "em", "half", "mid"].map(node);
    let [converted, behind, driven, via, tap] = ["dac", "pole", "out", "via", "tap"].map(node);
    let [signal_plus, signal_minus] = ["sp", "sm"].map(node);
    let mut parts = PartBuilder::new(index);
    parts.netlist.source(excitation_name(index), [&plus, &minus], excitation_v, 0.0, Class::Outside);
    let leak = format!("RG{}", parts.number);
    parts.netlist.resistor(leak, [&minus, COMMON], LEAK_OHM, 0.0, Class::Outside);
    parts.usual(1, [&plus, &minus], EXCITATION_OHM);
    parts.precise(2, [&plus, &half], MIDDLE_OHM);
    parts.precise(3, [&half, &minus], MIDDLE_OHM);
    let buffer = parts.name('E', 1);
    parts.netlist.amplifier(buffer, [&middle, &minus], 1.0, [&half, &minus], Class::Amplifier);
    let sign = if output.inverted { -1.0 } else { 1.0 };
    let drive = if ratiometric {
        let part = parts.name('E', 2);
        parts.netlist.amplifier(part.clone(), [&converted, &middle], 0.0, [&plus, &minus], Class::Multiplying);
        if let Some(last) = parts.netlist.parts.last_mut() {
            last.tolerance = CONVERTER;
        }
        Drive { part, per_volt: sign / excitation_v }
    } else {
        let part = parts.name('V', 2);
        parts.netlist.source(part.clone(), [&converted, &middle], 0.0, CONVERTER, Class::Converter);
        Drive { part, per_volt: sign }
    };
    parts.usual(4, [&converted, &behind], POLE.0);
    parts.capacitor(4, [&behind, &middle], POLE.1);
    let follower = parts.name('E', 3);
    parts.netlist.amplifier(follower, [&driven, &middle], 1.0, [&behind, &middle], Class::Amplifier);
    let values = series((output.attenuation - 1.0) * BOTTOM_OHM);
    let top: f64 = values.iter().sum();
    parts.series(21, [&driven, &tap], &via, &values);
    parts.precise(23, [&tap, &middle], BOTTOM_OHM);
    let divider = parallel(top, BOTTOM_OHM);
    let arm = PreferredValues::E96.nearest(((output.source_ohm - divider) / 2.0).max(10.0));
    parts.precise(24, [&tap, &signal_plus], arm);
    parts.precise(25, [&middle, &signal_minus], arm);
    parts.load([&signal_plus, &signal_minus], output.load_ohm);
    Ok(OutputCircuit {
        output: index,
        name,
        netlist: parts.netlist,
        drive: Some(drive),
        connector: [signal_plus, signal_minus],
        design: Design::Bridge { attenuation: 1.0 + top / BOTTOM_OHM, source_ohm: divider + 2.0 * arm, ratiometric },
    })
}
