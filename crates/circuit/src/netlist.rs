//! A circuit: parts between named nodes.

use std::collections::HashMap;

/// Name of the node that all voltages are against: the rig's common.
pub const COMMON: &str = "0";

/// A kind of part, and its value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PartKind {
    /// Resistor, ohm.
    Resistor(f64),
    /// Capacitor, farad.
    Capacitor(f64),
    /// Voltage source, V.
    Source(f64),
    /// An amplifier: its output voltage is `gain` times that between the two control nodes.
    Amplifier {
        /// Gain.
        gain: f64,
        /// Index of the positive and of the negative control node.
        control: [usize; 2],
    },
}

/// The part as it is bought, for the parts list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// Thin-film resistor.
    Precise,
    /// Metal-film resistor.
    Usual,
    /// Film or C0G capacitor.
    Capacitor,
    /// Operational amplifier.
    Amplifier,
    /// Digital-to-analogue converter with a fixed reference.
    Converter,
    /// Multiplying digital-to-analogue converter.
    Multiplying,
    /// Analogue multiplier.
    Multiplier,
    /// Relay contact in series with an electrode.
    Switch,
    /// Isolation barrier.
    Barrier,
    /// Not part of the rig: the monitor, its load, a meter, a test source, leakage.
    Outside,
}

/// A part.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Designator; its first letter is the kind (R, C, V, E), as SPICE has it.
    pub name: String,
    /// Indices of the positive and of the negative node.
    pub pins: [usize; 2],
    /// Kind and value.
    pub kind: PartKind,
    /// Largest relative error of the value; 0.001 is 0.1 %.
    pub tolerance: f64,
    /// The part as it is bought.
    pub class: Class,
}

impl Part {
    /// Its value in ohm, farad or volt, or its gain.
    pub fn value(&self) -> f64 {
        match self.kind {
            PartKind::Resistor(value) | PartKind::Capacitor(value) | PartKind::Source(value) => value,
            PartKind::Amplifier { gain, .. } => gain,
        }
    }

    /// Gives it another value.
    pub fn set(&mut self, new: f64) {
        match &mut self.kind {
            PartKind::Resistor(value) | PartKind::Capacitor(value) | PartKind::Source(value) => *value = new,
            PartKind::Amplifier { gain, .. } => *gain = new,
        }
    }
}

/// A circuit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Netlist {
    /// Names of the nodes; the first is [`COMMON`].
    names: Vec<String>,
    indices: HashMap<String, usize>,
    /// The parts.
    pub parts: Vec<Part>,
}

impl Netlist {
    /// A circuit of nothing but the common node.
    pub fn new() -> Netlist {
        let mut netlist = Netlist::default();
        netlist.node(COMMON);
        netlist
    }

    /// Index of the node of this name, which is made when it is new.
    pub fn node(&mut self, name: &str) -> usize {
        if let Some(index) = self.indices.get(name) {
            return *index;
        }
        self.names.push(name.to_owned());
        self.indices.insert(name.to_owned(), self.names.len() - 1);
        self.names.len() - 1
    }

    /// Index of the node of this name, when there is one.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.indices.get(name).copied()
    }

    /// Names of the nodes, the common one first.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    fn add(&mut self, name: String, between: [&str; 2], kind: PartKind, tolerance: f64, class: Class) {
        let pins = between.map(|node| self.node(node));
        self.parts.push(Part { name, pins, kind, tolerance, class });
    }

    /// Adds a resistor of `ohm`.
    pub fn resistor(&mut self, name: impl Into<String>, between: [&str; 2], ohm: f64, tolerance: f64, class: Class) {
        self.add(name.into(), between, PartKind::Resistor(ohm), tolerance, class);
    }

    /// Adds a capacitor of `farad`.
    pub fn capacitor(&mut self, name: impl Into<String>, between: [&str; 2], farad: f64, tolerance: f64, class: Class) {
        self.add(name.into(), between, PartKind::Capacitor(farad), tolerance, class);
    }

    /// Adds a voltage source.
    pub fn source(&mut self, name: impl Into<String>, between: [&str; 2], volts: f64, tolerance: f64, class: Class) {
        self.add(name.into(), between, PartKind::Source(volts), tolerance, class);
    }

    /// Adds an amplifier of `gain` between two nodes, controlled by two others.
    pub fn amplifier(
        &mut self,
        name: impl Into<String>,
        between: [&str; 2],
        gain: f64,
        control: [&str; 2],
        class: Class,
    ) {
        let control = control.map(|node| self.node(node));
        self.add(name.into(), between, PartKind::Amplifier { gain, control }, 0.0, class);
    }

    /// Gives the part of this name another value.
    pub fn set(&mut self, name: &str, value: f64) {
        if let Some(part) = self.parts.iter_mut().find(|part| part.name == name) {
            part.set(value);
        }
    }

    /// Adds all parts of another circuit; nodes of the same name are joined.
    pub fn join(&mut self, other: &Netlist) {
        let moved: Vec<usize> = other.names.iter().map(|name| self.node(name)).collect();
        let at = |pins: [usize; 2]| pins.map(|pin| moved.get(pin).copied().unwrap_or(0));
        for part in &other.parts {
            let kind = match part.kind {
                PartKind::Amplifier { gain, control } => PartKind::Amplifier { gain, control: at(control) },
                kind => kind,
            };
            self.parts.push(Part { pins: at(part.pins), kind, ..part.clone() });
        }
    }
}
