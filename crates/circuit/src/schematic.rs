//! The schematic: one sheet of A3, each kind of stage drawn once with the values of its first channel, a table of the others.

mod channels;
mod symbols;

use crate::parts::of_channel as part;
use crate::rows::code;
use crate::stages::{BARRIER, Design, FrontEnd, OutputCircuit};
use pulsewright_plot::drawing::{Drawing, Pen};
use pulsewright_rig::description::{OutputSignal, Rig, labels};
use symbols::SchematicSheet;

const CAUTIONS: [&str; 5] = [
    "NEVER TO A PERSON, NOR TO EQUIPMENT CONNECTED TO ONE. For a test bench only.",
    "Isolate the rig from the computer and from the mains. Never discharge a defibrillator or HF surgery into it.",
    "Verify EVERY output with a calibrated meter before a monitor is connected.",
    "The manufacturer's service manual, local codes and licensed practice come before this drawing.",
    "A design from a description: the engineer who builds it is the one who judges it.",
];

/// The drawing of a front end.
pub fn draw(front: &FrontEnd, rig: &Rig) -> Drawing {
    let title = if rig.title.is_empty() { "Bench rig" } else { &rig.title };
    let mut sheet = SchematicSheet::new(title);
    sheet.frame([5.0, 5.0], [415.0, 292.0]);
    sheet.bold([12.0, 15.0], 5.0, &format!("{title}: schematic"));
    sheet.frame([250.0, 9.0], [411.0, 42.0]);
    for (row, line) in CAUTIONS.iter().enumerate() {
        let at = [253.0, 15.5 + 6.2 * row as f64];
        if row == 0 { sheet.bold(at, 3.2, line) } else { sheet.text(at, 2.7, line) }
    }
    let of = |wanted: fn(&Design) -> bool| -> Vec<&OutputCircuit> {
        front.channels.iter().filter(|channel| wanted(&channel.design)).collect()
    };
    let electrodes = of(|design| matches!(design, Design::Electrode { .. }));
    if let Some(first) = electrodes.first() {
        let text = format!("Electrode, drawn for {}; {} alike", first.name, electrodes.len());
        sheet.bold([12.0, 27.0], 3.6, &text);
        channels::electrode(&mut sheet, [14.0, 60.0], first, rig);
        table(&mut sheet, [250.0, 52.0], rig, &electrodes);
    }
    let bridges = of(|design| matches!(design, Design::Bridge { .. }));
    if let Some(first) = bridges.first() {
        let text = format!("Pressure bridge, drawn for {}; {} alike", first.name, bridges.len());
        sheet.bold([12.0, 108.0], 3.6, &text);
        channels::bridge(&mut sheet, [20.0, 120.0], first);
        table(&mut sheet, [250.0, 108.0], rig, &bridges);
    }
    if let Some(element) = of(|design| matches!(design, Design::Element { .. })).first() {
        sheet.bold([250.0, 158.0], 3.6, "Respiration element");
        channels::element(&mut sheet, [262.0, 172.0], element);
    }
    let reference = of(|design| matches!(design, Design::Reference { .. }));
    sheet.bold([12.0, 190.0], 3.6, "Reference and isolation");
    channels::isolation(&mut sheet, [20.0, 204.0], reference.first().copied());
    notes(&mut sheet, rig);
    sheet.drawing
}

/// Designators and values of every channel of a kind.
fn table(sheet: &mut SchematicSheet, at: [f64; 2], rig: &Rig, channels: &[&OutputCircuit]) {
    let drawn = ["R21", "R22", "R23", "R24", "R31", "C31"];
    let has = |end: &str| channels.iter().any(|channel| part(&channel.netlist, end).is_some());
    let ends: Vec<&str> = drawn.into_iter().filter(|end| has(end)).collect();
    let columns = [0.0, 12.0, 44.0];
    let [x, mut y] = at;
    sheet.bold([x + columns[0], y], 2.7, "no.");
    sheet.bold([x + columns[1], y], 2.7, "connector");
    for (column, end) in ends.iter().enumerate() {
        sheet.bold([x + columns[2] + 18.0 * column as f64, y], 2.7, &format!("{}[no.]{}", &end[..1], &end[1..]));
    }
    for channel in channels {
        y += 4.6;
        let word = match rig.outputs.get(channel.output).map(|output| output.signal) {
            Some(OutputSignal::Electrode(terminal)) => {
                let (american, european) = labels(terminal);
                format!("{american} ({european})")
            }
            _ => channel.name.to_owned(),
        };
        sheet.text([x + columns[0], y], 2.7, &format!("{}", channel.output + 1));
        sheet.text([x + columns[1], y], 2.7, &word);
        for (column, end) in ends.iter().enumerate() {
            if let Some((_, value)) = part(&channel.netlist, end) {
                sheet.text([x + columns[2] + 18.0 * column as f64, y], 2.7, &value);
            }
        }
    }
    sheet.stroke(Pen::Edge, &[[x, at[1] + 1.2], [x + columns[2] + 18.0 * ends.len() as f64, at[1] + 1.2]]);
}

fn notes(sheet: &mut SchematicSheet, rig: &Rig) {
    let converter = &rig.converter;
    let lines = [
        format!(
            "Converters: {} bits, {} to {} V, all latched at once.",
            converter.bits, converter.low_v, converter.high_v
        ),
        "Dividers, bridges, base: 0.1 %, thin film. Others 1 %.".to_owned(),
        "Triangle: amplifier of gain 1; inputs FET, 10 MHz or more.".to_owned(),
        "K: lead-off contact, closed at rest. Supplies, decoupling: not drawn.".to_owned(),
        format!("Barrier: {} in all, reinforced.", code(BARRIER.1, 'F')),
        "Values: IEC 60062 code. Rows: IEC 60063. Quantities: parts.csv.".to_owned(),
    ];
    for (row, line) in lines.iter().enumerate() {
        sheet.text([252.0, 250.0 + 4.6 * row as f64], 2.7, line);
    }
    sheet.frame([346.0, 262.0], [411.0, 288.0]);
    sheet.bold([349.0, 268.0], 3.0, "Drawn from a rig description");
    sheet.text([349.0, 273.5], 2.4, "circuit.cir: these parts as a SPICE netlist");
    sheet.text([349.0, 278.5], 2.4, "bench.json: the description of these values");
    sheet.text([349.0, 283.5], 2.4, "Sheet 1 of 1. Checked by: ______________");
}
