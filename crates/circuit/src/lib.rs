//! The analogue front end of a bench rig as a circuit: from a rig's description to parts of standard values, and back from those
//! parts to the voltages at the connectors, over tolerances, loads and a meter.
//!
//! **For test benches only**: never to a person, nor to equipment connected to one. The circuit is a design to be judged by the
//! engineer who builds it; verify every output with a calibrated meter before a monitor is connected.
//!
//! # Map
//! [`rows`] has the standard values, [`netlist`] a circuit in memory, [`solve`] its voltages; [`stages`] designs the stage behind
//! each output; [`figures`] works out levels, loads and readings, [`tolerance`] their spread; [`spice`] writes the
//! netlist, [`parts`] the parts list, [`schematic`] the drawing, [`described`] the description of what was designed.
//!
//! # What holds
//! - Every figure comes from the solved circuit, none from the description that it is held against.
//! - Amplifiers are ideal but for the corners that are drawn as a resistor and a capacitor; noise, drift and offsets are not modelled.
#![forbid(unsafe_code)]

pub mod described;
pub mod figures;
pub mod netlist;
pub mod parts;
pub mod rows;
pub mod schematic;
pub mod solve;
pub mod spice;
pub mod stages;
pub mod tolerance;

pub use stages::{CircuitError, FrontEnd};
