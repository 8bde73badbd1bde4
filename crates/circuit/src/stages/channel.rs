//! A channel: the circuit behind one output, and what all kinds of stages are made with.

use crate::netlist::{COMMON, Class, Netlist};
use crate::solve::{Solution, Unsolvable, impedance};

/// Tolerance of thin-film resistors: dividers, bridges, the element's base.
pub const PRECISE: f64 = 0.001;
/// Tolerance of other resistors: stand-ins of electrodes, filters, loads of the excitation.
pub const USUAL: f64 = 0.01;
/// Tolerance of capacitors.
pub const CAPACITOR: f64 = 0.01;
/// Gain error of a converter with its reference.
pub const CONVERTER: f64 = 0.0005;
/// Bottom resistor of dividers, ohm.
pub(super) const BOTTOM_OHM: f64 = 100.0;
/// Resistance of a closed relay contact, ohm.
pub(super) const CONTACT_OHM: f64 = 0.1;
/// Resistance of an open relay contact with its socket, ohm.
pub const OPEN_OHM: f64 = 1e10;
/// Leakage that holds a floating section to the rig's common, ohm.
pub(super) const LEAK_OHM: f64 = 1e9;

/// Designator of the source that an ohmmeter or an impedance input is.
pub(crate) const TEST: &str = "VTEST";

/// Why no circuit can be designed for a rig.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CircuitError {
    /// A divider can't amplify.
    #[error("{0} has an attenuation below 1: a divider can't amplify")]
    Amplifies(&'static str),
    /// The element's resistance changes too much for one multiplier.
    #[error(
        "{0} changes by {1:.3} of its base for a volt; the element takes up to 0.05: raise \"base_ohm\" or lower \"ohm_per_v\""
    )]
    TooSteep(&'static str, f64),
    /// The circuit can't be solved.
    #[error("{0}: {1}")]
    Unsolvable(&'static str, Unsolvable),
}

/// How a stage follows its converter.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// The part whose value follows.
    pub part: String,
    /// Its value for a volt of the converter, as the description has volts.
    pub per_volt: f64,
}

/// The design of an output.
#[derive(Clone, Debug, PartialEq)]
pub enum Design {
    /// An electrode behind a divider.
    Electrode {
        /// Attenuation of the chosen resistors.
        attenuation: f64,
        /// Resistance that drives the connector, ohm.
        source_ohm: f64,
    },
    /// The reference electrode.
    Reference {
        /// Resistance to the rig's common, ohm.
        source_ohm: f64,
    },
    /// A bridge.
    Bridge {
        /// Attenuation of the chosen resistors.
        attenuation: f64,
        /// Resistance that drives the signal pair, ohm.
        source_ohm: f64,
        /// Whether the excitation is the converter's reference.
        ratiometric: bool,
    },
    /// A resistance element.
    Element {
        /// Ohm at 0 V.
        base_ohm: f64,
        /// Ohm for each volt.
        ohm_per_v: f64,
    },
}

/// The circuit behind one output, up to its connector and the load that the description names.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputCircuit {
    /// Index of the output in the description.
    pub output: usize,
    /// Word of the output.
    pub name: &'static str,
    /// The parts.
    pub netlist: Netlist,
    /// How it follows the converter; `None` for the reference.
    pub drive: Option<Drive>,
    /// Names of the connector's nodes; a meter goes between them.
    pub connector: [String; 2],
    /// Figures of the chosen values.
    pub design: Design,
}

impl OutputCircuit {
    /// Sets the converter to `volts`.
    pub fn set_volts(&mut self, volts: f64) {
        if let Some(Drive { part, per_volt }) = self.drive.clone() {
            self.netlist.set(&part, volts * per_volt);
        }
    }

    /// Level at the connector at 0 Hz, in mV or ohm; an element's at `hz` where it is measured.
    ///
    /// # Errors
    /// [`CircuitError::Unsolvable`].
    pub fn level(&self, netlist: &Netlist) -> Result<f64, CircuitError> {
        self.level_at(netlist, 0.0)
    }

    /// As [`OutputCircuit::level`], of an element at `hz`.
    ///
    /// # Errors
    /// [`CircuitError::Unsolvable`].
    pub fn level_at(&self, netlist: &Netlist, hz: f64) -> Result<f64, CircuitError> {
        let unsolvable = |error| CircuitError::Unsolvable(self.name, error);
        if let Design::Element { .. } = self.design {
            return impedance(netlist, TEST, hz).map(|ohm| ohm.norm()).map_err(unsolvable);
        }
        let solution = Solution::at_rest(netlist).map_err(unsolvable)?;
        Ok(1000.0 * solution.between(self.pins(netlist)).re)
    }

    /// Nodes of the connector in a circuit that holds this one.
    pub fn pins(&self, netlist: &Netlist) -> [usize; 2] {
        [&self.connector[0], &self.connector[1]].map(|name| netlist.find(name).unwrap_or(0))
    }

    /// This channel's circuit with something more between the pins of its connector, beside the load of the description.
    pub fn beside(&self, ohm: f64) -> Netlist {
        let mut netlist = self.netlist.clone();
        let [a, b] = [self.connector[0].as_str(), self.connector[1].as_str()];
        netlist.resistor("RMORE", [a, b], ohm, 0.0, Class::Outside);
        netlist
    }

    /// This channel's circuit with a load in place of the description's; `None` leaves the connector open.
    pub fn into_load(&self, ohm: Option<f64>) -> Netlist {
        let mut netlist = self.netlist.clone();
        let name = self.load_name();
        match ohm {
            Some(ohm) if netlist.parts.iter().any(|part| part.name == name) => netlist.set(&name, ohm),
            Some(ohm) => return self.beside(ohm),
            None => netlist.parts.retain(|part| part.name != name),
        }
        netlist
    }

    /// Designator of the lead-off contact.
    pub(crate) fn contact_name(&self) -> String {
        format!("RK{}", self.output + 1)
    }

    /// Designator of the load that the description names.
    pub(crate) fn load_name(&self) -> String {
        format!("RL{}", self.output + 1)
    }
}

/// Parts of the channel of one output, with designators of its own.
pub(super) struct PartBuilder {
    pub(super) netlist: Netlist,
    pub(super) number: usize,
}

impl PartBuilder {
    pub(super) fn new(index: usize) -> PartBuilder {
        PartBuilder { netlist: Netlist::new(), number: index + 1 }
    }

    /// Designator `letter` of the channel, such as R312.
    pub(super) fn name(&self, letter: char, number: usize) -> String {
        format!("{letter}{}{number:02}", self.number)
    }

    pub(super) fn precise(&mut self, number: usize, between: [&str; 2], ohm: f64) {
        let name = self.name('R', number);
        self.netlist.resistor(name, between, ohm, PRECISE, Class::Precise);
    }

    pub(super) fn usual(&mut self, number: usize, between: [&str; 2], ohm: f64) {
        let name = self.name('R', number);
        self.netlist.resistor(name, between, ohm, USUAL, Class::Usual);
    }

    pub(super) fn capacitor(&mut self, number: usize, between: [&str; 2], farad: f64) {
        let name = self.name('C', number);
        self.netlist.capacitor(name, between, farad, CAPACITOR, Class::Capacitor);
    }

    /// An amplifier against the common node.
    pub(super) fn buffer(&mut self, number: usize, output: &str, gain: f64, input: &str) {
        let name = self.name('E', number);
        self.netlist.amplifier(name, [output, COMMON], gain, [input, COMMON], Class::Amplifier);
    }

    /// One or two precise resistors in series; `via` is the node between them.
    pub(super) fn series(&mut self, number: usize, between: [&str; 2], via: &str, values: &[f64]) {
        match values {
            [one] => self.precise(number, between, *one),
            [first, second, ..] => {
                self.precise(number, [between[0], via], *first);
                self.precise(number + 1, [via, between[1]], *second);
            }
            [] => {}
        }
    }

    /// The load that the description names.
    pub(super) fn load(&mut self, between: [&str; 2], ohm: Option<f64>) {
        if let Some(ohm) = ohm {
            let name = format!("RL{}", self.number);
            self.netlist.resistor(name, between, ohm, 0.0, Class::Outside);
        }
    }
}

/// Two resistors in parallel.
pub(super) fn parallel(a: f64, b: f64) -> f64 {
    a * b / (a + b)
}
