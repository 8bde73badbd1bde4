//! The whole circuit as a SPICE netlist that a circuit simulator runs by itself, with the levels that this crate's solver finds.

use crate::figures::{CARRIERS_HZ, EXCITATION_HZ, FILTER_HZ, MAINS};
use crate::netlist::{Netlist, PartKind};
use crate::solve::{Solution, Unsolvable};
use crate::stages::bridge::excitation_name;
use crate::stages::{Design, FrontEnd};
use nalgebra::Complex;
use std::fmt::Write as _;

const HEAD: &str = "\
* Never to a person, nor to equipment connected to one: a design for a test bench, to be judged by the engineer who builds it.
* Isolate the rig, and verify every output with a calibrated meter before a monitor is connected.
* Each converter stands at seven eighths of its codes. Sources and resistors named V..., RL..., VEXC..., VTEST, VMAINS and RG...
* are converters, loads, the monitor's excitation, an impedance input, the mains on the computer's side, and leakage.
* Lines 'expected NAME VALUE' are what the solver that made this file finds; the commands at the end print the same names.
";

/// A quantity that both find: its expression in SPICE, its value, its meaning.
struct Expected {
    expression: String,
    value: f64,
    meaning: String,
}

/// The netlist of a front end.
///
/// # Errors
/// [`Unsolvable`] when the circuit has no single solution.
pub fn write(front: &FrontEnd, title: &str) -> Result<String, Unsolvable> {
    let whole = front.whole();
    let mut text = format!("* {}\n{HEAD}", title.replace(['\n', '\r'], " "));
    for part in &whole.parts {
        let [a, b] = part.pins.map(|pin| node(&whole, pin));
        // Writing to a string cannot fail.
        let _ = match part.kind {
            PartKind::Resistor(value) | PartKind::Capacitor(value) => writeln!(text, "{} {a} {b} {value:e}", part.name),
            PartKind::Source(volts) => writeln!(text, "{} {a} {b} DC {volts:e} AC 0", part.name),
            PartKind::Amplifier { gain, control } => {
                let [c, d] = control.map(|pin| node(&whole, pin));
                writeln!(text, "{} {a} {b} {c} {d} {gain:e}", part.name)
            }
        };
    }
    let mut number = 0;
    let mut expected = String::new();
    let mut commands = String::from(".control\nset numdgt=12\nop\n");
    let mut expect = |commands: &mut String, all: Vec<Expected>| {
        for Expected { expression, value, meaning } in all {
            number += 1;
            let _ = writeln!(expected, "* expected x{number} {value:.12e} {meaning}");
            let _ = writeln!(commands, "let x{number} = {expression}\nprint x{number}");
        }
    };
    let rest = Solution::at_rest(&whole)?;
    let measured = front.channels.iter().filter(|channel| !matches!(channel.design, Design::Element { .. }));
    let levels = measured.map(|channel| {
        let pins = channel.pins(&whole);
        let meaning = format!("{}, V at the connector", channel.name);
        Expected { expression: voltage(&whole, pins), value: rest.between(pins).re, meaning }
    });
    expect(&mut commands, levels.collect());
    for (source, hz, volts, what) in alternating(front) {
        let _ = writeln!(commands, "alter @{}[acmag] = {volts:e}\nac lin 1 {hz} {hz}", source.to_ascii_lowercase());
        let solution = Solution::new(&whole, hz, |part| if part.name == source { volts } else { 0.0 })?;
        let (expression, value) = match what {
            Wanted::Current => {
                (format!("mag(i({}))", source.to_ascii_lowercase()), solution.current(&whole, &source).norm())
            }
            Wanted::Volts(channel) => {
                let pins = front.channels.get(channel).map_or([0, 0], |channel| channel.pins(&whole));
                (format!("mag({})", voltage(&whole, pins)), Complex::norm(solution.between(pins)))
            }
        };
        let meaning = format!("{source} of {volts} V at {hz} Hz");
        expect(&mut commands, vec![Expected { expression, value, meaning }]);
        let _ = writeln!(commands, "alter @{}[acmag] = 0", source.to_ascii_lowercase());
    }
    let _ = write!(text, "{expected}{commands}.endc\n.end\n");
    Ok(text)
}

enum Wanted {
    Current,
    Volts(usize),
}

/// Source, frequency, volts and quantity of each analysis with alternating voltage.
fn alternating(front: &FrontEnd) -> Vec<(String, f64, f64, Wanted)> {
    let mut all = Vec::new();
    let electrode = front.channels.iter().find(|channel| matches!(channel.design, Design::Electrode { .. }));
    if let Some((channel, drive)) = electrode.and_then(|channel| Some((channel, channel.drive.as_ref()?))) {
        all.extend(FILTER_HZ.map(|hz| (drive.part.clone(), hz, 1.0, Wanted::Volts(channel.output))));
    }
    for channel in &front.channels {
        match channel.design {
            Design::Bridge { .. } => {
                all.push((excitation_name(channel.output), EXCITATION_HZ, 1.0, Wanted::Volts(channel.output)));
            }
            Design::Element { .. } => {
                all.extend(CARRIERS_HZ.map(|hz| ("VTEST".to_owned(), hz, 1.0, Wanted::Current)));
            }
            Design::Electrode { .. } | Design::Reference { .. } => {}
        }
    }
    all.push(("VMAINS".to_owned(), MAINS.1, MAINS.0, Wanted::Current));
    all
}

fn node(netlist: &Netlist, pin: usize) -> &str {
    netlist.names().get(pin).map_or("0", String::as_str)
}

fn voltage(netlist: &Netlist, [a, b]: [usize; 2]) -> String {
    if b == 0 { format!("v({})", node(netlist, a)) } else { format!("v({})-v({})", node(netlist, a), node(netlist, b)) }
}
