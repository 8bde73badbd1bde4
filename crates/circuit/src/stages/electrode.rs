//! An electrode: buffer, filter, divider, lead-off contact, stand-in of the skin.

use super::channel::{
    BOTTOM_OHM, CONTACT_OHM, CONVERTER, CircuitError, Design, Drive, OutputCircuit, PartBuilder, parallel,
};
use super::filter;
use crate::netlist::{COMMON, Class};
use crate::rows::{PreferredValues, series};
use pulsewright_rig::description::{Output, Rig};

/// From this resistance on a stand-in has its capacitor (IEC 60601-2-27: 51 kohm with 47 nF across it).
const SKIN_OHM: f64 = 10_000.0;
/// Capacitor across a stand-in.
const SKIN_FARAD: f64 = 47e-9;

/// An electrode with a potential.
pub(super) fn active(rig: &Rig, index: usize, output: &Output) -> Result<OutputCircuit, CircuitError> {
    let name = output.signal.name();
    let label = name.to_ascii_lowercase();
    let node = |end: &str| format!("{label}_{end}");
    if output.attenuation < 1.0 {
        return Err(CircuitError::Amplifies(name));
    }
    let mut parts = PartBuilder::new(index);
    let converter = parts.name('V', 1);
    parts.netlist.source(converter.clone(), [&node("dac"), COMMON], 0.0, CONVERTER, Class::Converter);
    parts.buffer(1, &node("buffer"), if output.inverted { -1.0 } else { 1.0 }, &node("dac"));
    let filtered = filter::chain(&mut parts, &label, &node("buffer"), rig.filter);
    let bottom = match output.source_ohm {
        wanted if (1.0..1.3 * BOTTOM_OHM).contains(&wanted) => PreferredValues::E96.nearest(wanted),
        _ => BOTTOM_OHM,
    };
    // Without a divider the driver is the amplifier itself.
    let (mut tap, mut attenuation, mut driver) = (filtered.clone(), 1.0, 0.0);
    if output.attenuation > 1.0 {
        let values = series((output.attenuation - 1.0) * bottom);
        let top: f64 = values.iter().sum();
        tap = node("tap");
        parts.series(21, [&filtered, &tap], &node("mid"), &values);
        parts.precise(23, [&tap, COMMON], bottom);
        (attenuation, driver) = (1.0 + top / bottom, parallel(top, bottom));
    }
    let source_ohm = driver + skin(&mut parts, &label, &tap, output.source_ohm - driver);
    parts.load([&label, COMMON], output.load_ohm);
    Ok(OutputCircuit {
        output: index,
        name,
        netlist: parts.netlist,
        drive: Some(Drive { part: converter, per_volt: 1.0 }),
        connector: [label, COMMON.to_owned()],
        design: Design::Electrode { attenuation, source_ohm },
    })
}

/// The reference: the rig's common behind a contact and, if the description has one, a stand-in.
pub(super) fn reference(index: usize, output: &Output) -> OutputCircuit {
    let name = output.signal.name();
    let label = name.to_ascii_lowercase();
    let mut parts = PartBuilder::new(index);
    let source_ohm = skin(&mut parts, &label, COMMON, output.source_ohm);
    OutputCircuit {
        output: index,
        name,
        netlist: parts.netlist,
        drive: None,
        connector: [label, COMMON.to_owned()],
        design: Design::Reference { source_ohm },
    }
}

/// The contact and the stand-in from `tap` to the connector `label`; gives their resistance.
fn skin(parts: &mut PartBuilder, label: &str, tap: &str, wanted: f64) -> f64 {
    let contact = format!("RK{}", parts.number);
    if wanted < 10.0 {
        parts.netlist.resistor(contact, [tap, label], CONTACT_OHM, 0.0, Class::Switch);
        return CONTACT_OHM;
    }
    let behind = format!("{label}_skin");
    parts.netlist.resistor(contact, [tap, &behind], CONTACT_OHM, 0.0, Class::Switch);
    let ohm =
        if wanted < SKIN_OHM { PreferredValues::E96.nearest(wanted) } else { PreferredValues::E24.nearest(wanted) };
    parts.usual(31, [&behind, label], ohm);
    if wanted >= SKIN_OHM {
        parts.capacitor(31, [&behind, label], SKIN_FARAD);
    }
    CONTACT_OHM + ohm
}
