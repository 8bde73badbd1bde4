//! The stage behind each output of a rig, with parts of standard values.

pub(crate) mod bridge;
mod channel;
mod electrode;
mod element;
mod filter;

use crate::netlist::{COMMON, Class, Netlist, Part};
use crate::solve::{Unsolvable, impedance};
use channel::TEST;
pub use channel::{CAPACITOR, CONVERTER, CircuitError, Design, Drive, OPEN_OHM, OutputCircuit, PRECISE, USUAL};
use pulsewright_rig::calibration::CalibrationLevels;
use pulsewright_rig::description::{EcgConnector, Output, OutputSignal, Rig};

/// Isolation barrier of the whole rig to the computer's earth.
pub const BARRIER: (f64, f64) = (1e10, 47e-12);

/// Designs the stage of an output.
///
/// # Errors
/// [`CircuitError`] when the description asks for what the circuit can't do.
pub fn stage(rig: &Rig, index: usize, output: &Output) -> Result<OutputCircuit, CircuitError> {
    match output.signal {
        OutputSignal::Electrode(EcgConnector::Reference) => Ok(electrode::reference(index, output)),
        OutputSignal::Electrode(_) => electrode::active(rig, index, output),
        OutputSignal::Bridge { .. } => bridge::channel(index, output),
        OutputSignal::Resistor { ohm_per_v, base_ohm } => element::channel(index, output, ohm_per_v, base_ohm),
    }
}

/// The front end of a rig.
#[derive(Clone, Debug, PartialEq)]
pub struct FrontEnd {
    /// A channel for each output, in order.
    pub channels: Vec<OutputCircuit>,
    /// Code and nominal level of each output that the circuit is judged at: seven eighths of its codes; 0 for the reference.
    pub tests: Vec<TestCode>,
}

/// The code at which an output is judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestCode {
    /// Code.
    pub code: i64,
    /// Volts of the converter.
    pub volts: f64,
    /// Level that the description asks for, mV or ohm, without any correction.
    pub level: f64,
}

impl FrontEnd {
    /// Designs the front end of a rig.
    ///
    /// # Errors
    /// [`CircuitError`] of the first output that can't be designed.
    pub fn new(rig: &Rig) -> Result<FrontEnd, CircuitError> {
        let mut channels = Vec::new();
        let mut tests = Vec::new();
        for (index, output) in rig.outputs.iter().enumerate() {
            let levels = CalibrationLevels::new(rig, output, None);
            let [_, code] = levels.codes;
            let volts = output.code_to_volts(&rig.converter).of(code as f64);
            let mut channel = stage(rig, index, output)?;
            channel.set_volts(volts);
            channels.push(channel);
            let level = if output.is_measured() { levels.nominal[1] } else { 0.0 };
            tests.push(TestCode { code, volts, level });
        }
        Ok(FrontEnd { channels, tests })
    }

    /// All channels and the isolation barrier as one circuit, each converter where it is judged.
    pub fn whole(&self) -> Netlist {
        let mut whole = Netlist::new();
        self.channels.iter().for_each(|channel| whole.join(&channel.netlist));
        whole.join(&barrier());
        whole
    }
}

/// The barrier between the rig's common and the earth of the computer's side, with the mains between earth and common.
pub fn barrier() -> Netlist {
    let mut netlist = Netlist::new();
    let (ohm, farad) = BARRIER;
    netlist.resistor("RISO", ["earth", COMMON], ohm, 0.0, Class::Barrier);
    netlist.capacitor("CISO", ["earth", COMMON], farad, 0.0, Class::Barrier);
    netlist.source("VMAINS", ["earth", COMMON], 0.0, 0.0, Class::Outside);
    netlist
}

/// Impedance between two nodes with everything else at rest: the element in a path of two electrodes.
///
/// # Errors
/// [`Unsolvable`] when there is no single solution.
pub fn impedance_between(netlist: &Netlist, nodes: [&str; 2], hz: f64) -> Result<nalgebra::Complex<f64>, Unsolvable> {
    let mut netlist = netlist.clone();
    netlist.source("VCARRIER", nodes, 0.0, 0.0, Class::Outside);
    impedance(&netlist, "VCARRIER", hz)
}

/// Impedance of the element, in its own circuit.
///
/// # Errors
/// [`Unsolvable`] when there is no single solution.
pub fn element_impedance(netlist: &Netlist, hz: f64) -> Result<nalgebra::Complex<f64>, Unsolvable> {
    impedance(netlist, TEST, hz)
}

/// Right arm and left leg with the element in the right arm's path, as an impedance input of lead II finds them; `None` for a rig
/// without one of the three.
pub fn element_in_lead(front: &FrontEnd, volts: f64) -> Option<Netlist> {
    let find = |name: &str| front.channels.iter().find(|channel| channel.name == name);
    let (arm, leg, element) = (find("RA")?, find("LL")?, find("respiration")?);
    let mut element = element.clone();
    element.set_volts(volts);
    let mut netlist = arm.netlist.clone();
    element.netlist.parts.retain(|part: &Part| part.name != TEST);
    netlist.join(&element.netlist);
    netlist.join(&leg.netlist);
    let behind = netlist.node(element::NODES[1]);
    let contact = arm.contact_name();
    if let Some(part) = netlist.parts.iter_mut().find(|part| part.name == contact) {
        part.pins[0] = behind;
    }
    netlist.resistor("RJUMPER", ["ra_tap", element::NODES[0]], 0.01, 0.0, Class::Outside);
    Some(netlist)
}
