//! One channel of each kind.

use super::symbols::{SchematicSheet, SheetPoint};
use crate::netlist::Netlist;
use crate::parts::of_channel as part;
use crate::stages::{Design, OutputCircuit};
use pulsewright_plot::drawing::Pen;
use pulsewright_rig::description::Rig;

/// Sections of a filter that are drawn; with more, a block stands for them.
const MOST_SECTIONS: u32 = 2;

fn named(netlist: &Netlist, end: &str) -> (String, String) {
    part(netlist, end).unwrap_or_default()
}

fn word(netlist: &Netlist, end: &str) -> String {
    named(netlist, end).0
}

/// Converter, buffer, filter, divider, contact, stand-in, connector.
pub fn electrode(sheet: &mut SchematicSheet, [x, y]: SheetPoint, channel: &OutputCircuit, rig: &Rig) {
    let netlist = &channel.netlist;
    sheet.block([x, y - 6.0], [x + 16.0, y + 6.0], &[&word(netlist, "V01"), "D/A"]);
    sheet.ending([x + 13.0, y + 10.0], 2.5, "bus, latch");
    sheet.wire(&[[x + 16.0, y], [x + 20.0, y]]);
    let mut end = sheet.follower([x + 20.0, y], &word(netlist, "E01"));
    if rig.outputs.get(channel.output).is_some_and(|output| output.inverted) {
        sheet.centred([x + 25.0, y + 8.0], 2.5, "gain -1");
    }
    let order = rig.filter.map_or(0, |filter| filter.order);
    if order.div_ceil(2) > MOST_SECTIONS {
        let text = format!("order {order}");
        sheet.block([end[0] + 2.0, y - 6.0], [end[0] + 26.0, y + 6.0], &["low-pass", &text, "circuit.cir"]);
        sheet.wire(&[end, [end[0] + 2.0, y]]);
        sheet.wire(&[[end[0] + 26.0, y], [end[0] + 30.0, y]]);
        end = [end[0] + 30.0, y];
    } else {
        end = filter(sheet, end, netlist, order);
    }
    if part(netlist, "R23").is_some() {
        let [mut at, _] = end;
        for number in ["R21", "R22"].into_iter().filter(|number| part(netlist, number).is_some()) {
            sheet.resistor([at, y], [at + 13.0, y], named(netlist, number));
            at += 13.0;
        }
        sheet.dot([at, y]);
        sheet.resistor([at, y], [at, y + 14.0], named(netlist, "R23"));
        sheet.common([at, y + 14.0]);
        end = [at, y];
    }
    skin(sheet, end, channel);
}

/// Contact, stand-in and connector from a place on.
fn skin(sheet: &mut SchematicSheet, [x, y]: SheetPoint, channel: &OutputCircuit) {
    let netlist = &channel.netlist;
    let contact = format!("K{}", channel.output + 1);
    sheet.contact([x, y], [x + 13.0, y], &contact);
    let mut end = x + 13.0;
    if part(netlist, "R31").is_some() {
        sheet.dot([end, y]);
        sheet.resistor([end, y], [end + 15.0, y], named(netlist, "R31"));
        if part(netlist, "C31").is_some() {
            sheet.wire(&[[end, y], [end, y + 8.0]]);
            sheet.wire(&[[end + 15.0, y], [end + 15.0, y + 8.0]]);
            sheet.dot([end + 15.0, y]);
            let (designator, value) = named(netlist, "C31");
            sheet.capacitor([end, y + 8.0], [end + 15.0, y + 8.0], (String::new(), String::new()));
            sheet.centred([end + 7.5, y + 13.6], 2.5, &format!("{designator} {value}"));
        }
        end += 15.0;
    }
    sheet.wire(&[[end, y], [end + 5.0, y]]);
    sheet.connector([end + 6.2, y], channel.name);
}

fn filter(sheet: &mut SchematicSheet, [mut x, y]: SheetPoint, netlist: &Netlist, order: u32) -> SheetPoint {
    let mut number = 2;
    if order % 2 == 1 {
        sheet.resistor([x, y], [x + 13.0, y], named(netlist, "R02"));
        sheet.dot([x + 13.0, y]);
        sheet.capacitor([x + 13.0, y], [x + 13.0, y + 10.0], named(netlist, "C02"));
        sheet.common([x + 13.0, y + 10.0]);
        sheet.wire(&[[x + 13.0, y], [x + 17.0, y]]);
        x = sheet.follower([x + 17.0, y], &word(netlist, "E02"))[0];
        number = 3;
    }
    for _ in 0..order / 2 {
        let end = |letter: char, number: u32| format!("{letter}{number:02}");
        sheet.resistor([x, y], [x + 13.0, y], named(netlist, &end('R', number)));
        sheet.dot([x + 13.0, y]);
        sheet.resistor([x + 13.0, y], [x + 26.0, y], named(netlist, &end('R', number + 1)));
        sheet.dot([x + 26.0, y]);
        sheet.capacitor([x + 26.0, y], [x + 26.0, y + 10.0], named(netlist, &end('C', number + 1)));
        sheet.common([x + 26.0, y + 10.0]);
        sheet.wire(&[[x + 26.0, y], [x + 30.0, y]]);
        let output = sheet.follower([x + 30.0, y], &word(netlist, &end('E', number)));
        sheet.wire(&[[x + 13.0, y], [x + 13.0, y - 16.0]]);
        sheet.capacitor([x + 13.0, y - 16.0], [output[0], y - 16.0], named(netlist, &end('C', number)));
        sheet.wire(&[[output[0], y - 16.0], output]);
        sheet.dot(output);
        x = output[0];
        number += 2;
    }
    [x, y]
}

/// Excitation, middle, converter, divider, signal pair.
pub fn bridge(sheet: &mut SchematicSheet, [x, y]: SheetPoint, channel: &OutputCircuit) {
    let netlist = &channel.netlist;
    let Design::Bridge { ratiometric, .. } = channel.design else {
        return;
    };
    let (minus, middle, main) = (y + 52.0, y + 42.0, y + 16.0);
    sheet.connector_left([x, y], "E+");
    sheet.connector_left([x, minus], "E-");
    sheet.wire(&[[x + 1.2, y], [x + if ratiometric { 60.0 } else { 27.0 }, y]]);
    sheet.wire(&[[x + 1.2, minus], [x + if ratiometric { 70.0 } else { 27.0 }, minus]]);
    for joint in [[x + 10.0, y], [x + 10.0, minus], [x + 27.0, y], [x + 27.0, minus], [x + 27.0, y + 26.0]] {
        sheet.dot(joint);
    }
    sheet.resistor([x + 10.0, y], [x + 10.0, minus], named(netlist, "R01"));
    sheet.resistor([x + 27.0, y], [x + 27.0, y + 26.0], named(netlist, "R02"));
    sheet.resistor([x + 27.0, y + 26.0], [x + 27.0, minus], named(netlist, "R03"));
    sheet.wire(&[[x + 27.0, y + 26.0], [x + 37.0, y + 26.0]]);
    let half = sheet.follower([x + 37.0, y + 26.0], &word(netlist, "E01"));
    let top: Vec<&str> = ["R21", "R22"].into_iter().filter(|number| part(netlist, number).is_some()).collect();
    let tap = x + 111.0 + 13.0 * top.len() as f64;
    sheet.wire(&[half, [half[0], middle], [tap, middle]]);
    sheet.centred([x + 78.0, middle + 4.0], 2.3, "middle of the excitation");
    let converter = word(netlist, if ratiometric { "E02" } else { "V02" });
    let words = if ratiometric { "x code" } else { "fixed ref." };
    sheet.block([x + 56.0, main - 7.0], [x + 76.0, main + 7.0], &[&converter, "D/A", words]);
    if ratiometric {
        sheet.wire(&[[x + 60.0, y], [x + 60.0, main - 7.0]]);
        sheet.text([x + 61.0, main - 8.5], 2.3, "REF+");
        sheet.wire(&[[x + 70.0, minus], [x + 70.0, main + 7.0]]);
        sheet.text([x + 71.0, main + 10.0], 2.3, "REF-");
    }
    sheet.wire(&[[x + 62.0, main + 7.0], [x + 62.0, middle]]);
    sheet.ending([x + 61.4, main + 10.0], 2.3, "0");
    sheet.dot([x + 62.0, middle]);
    sheet.wire(&[[x + 76.0, main], [x + 79.0, main]]);
    sheet.resistor([x + 79.0, main], [x + 92.0, main], named(netlist, "R04"));
    sheet.dot([x + 92.0, main]);
    sheet.capacitor([x + 92.0, main], [x + 92.0, middle], named(netlist, "C04"));
    sheet.dot([x + 92.0, middle]);
    sheet.wire(&[[x + 92.0, main], [x + 98.0, main]]);
    let [mut at, _] = sheet.follower([x + 98.0, main], &word(netlist, "E03"));
    for number in top {
        sheet.resistor([at, main], [at + 13.0, main], named(netlist, number));
        at += 13.0;
    }
    sheet.dot([at, main]);
    sheet.resistor([at, main], [at, middle], named(netlist, "R23"));
    sheet.dot([at, middle]);
    for (level, number, word) in [(main, "R24", "S+"), (middle, "R25", "S-")] {
        sheet.resistor([at, level], [at + 16.0, level], named(netlist, number));
        sheet.wire(&[[at + 16.0, level], [at + 20.0, level]]);
        sheet.connector([at + 21.2, level], word);
    }
    sheet.text(
        [x + 40.0, minus + 5.0],
        2.5,
        "A section of its own on the monitor's excitation: supply and bus isolated from the rig's common.",
    );
}

/// Base, multiplier, divider, follower.
pub fn element(sheet: &mut SchematicSheet, [x, y]: SheetPoint, channel: &OutputCircuit) {
    let netlist = &channel.netlist;
    let low = y + 60.0;
    sheet.connector_left([x, y], "Z a");
    sheet.connector_left([x, low], "Z b");
    sheet.wire(&[[x + 1.2, y], [x + 14.0, y]]);
    sheet.dot([x + 10.0, y]);
    sheet.resistor([x + 14.0, y], [x + 34.0, y], named(netlist, "R01"));
    sheet.dot([x + 38.0, y]);
    sheet.block([x + 6.0, y + 16.0], [x + 26.0, y + 34.0], &[&word(netlist, "E01"), "XY / 10 V"]);
    sheet.wire(&[[x + 10.0, y], [x + 10.0, y + 16.0]]);
    sheet.text([x + 10.8, y + 15.0], 2.3, "X+");
    sheet.wire(&[[x + 38.0, y], [x + 38.0, y + 9.0], [x + 20.0, y + 9.0], [x + 20.0, y + 16.0]]);
    sheet.text([x + 20.8, y + 15.0], 2.3, "X-");
    let converter = format!("DAC{}01", channel.output + 1);
    sheet.block([x + 6.0, y + 42.0], [x + 26.0, y + 52.0], &[&converter, "D/A"]);
    sheet.wire(&[[x + 16.0, y + 42.0], [x + 16.0, y + 34.0]]);
    sheet.text([x + 17.0, y + 38.0], 2.3, "Y");
    let main = y + 25.0;
    sheet.wire(&[[x + 26.0, main], [x + 32.0, main]]);
    let mut at = x + 32.0;
    for number in ["R21", "R22"].into_iter().filter(|number| part(netlist, number).is_some()) {
        sheet.resistor([at, main], [at + 14.0, main], named(netlist, number));
        at += 14.0;
    }
    sheet.dot([at, main]);
    sheet.resistor([at, main], [at, low], named(netlist, "R23"));
    sheet.wire(&[[at, main], [at + 30.0, main]]);
    sheet.dot([at + 14.0, main]);
    sheet.capacitor([at + 14.0, main], [at + 14.0, low], named(netlist, "C23"));
    sheet.wire(&[[x + 1.2, low], [at + 14.0, low]]);
    sheet.dot([at, low]);
    sheet.wire(&[[x + 16.0, y + 52.0], [x + 16.0, low]]);
    sheet.dot([x + 16.0, low]);
    let [end, _] = sheet.follower([at + 30.0, main], &word(netlist, "E02"));
    sheet.wire(&[[end, main], [end + 4.0, main], [end + 4.0, y], [x + 34.0, y]]);
    sheet.text(
        [x, low + 6.0],
        2.5,
        "Base and what the code adds, d.c. to 100 kHz. Alone, or by a jumper in RA's leg between divider and contact.",
    );
}

/// The reference electrode, and the barrier to the computer.
pub fn isolation(sheet: &mut SchematicSheet, [x, y]: SheetPoint, reference: Option<&OutputCircuit>) {
    if let Some(channel) = reference {
        sheet.common([x + 4.0, y]);
        sheet.wire(&[[x + 4.0, y], [x + 10.0, y]]);
        skin(sheet, [x + 10.0, y], channel);
        sheet.text([x + 62.0, y + 1.0], 2.5, "RL: the common of every electrode");
    }
    let top = y + 26.0;
    sheet.block([x, top], [x + 34.0, top + 22.0], &["computer or board", "on the mains' side"]);
    sheet.earth([x + 17.0, top + 22.0]);
    sheet.block([x + 60.0, top], [x + 88.0, top + 8.0], &["ISO: bus"]);
    sheet.block([x + 60.0, top + 14.0], [x + 88.0, top + 22.0], &["PS: supply"]);
    sheet.block([x + 116.0, top], [x + 152.0, top + 22.0], &["one section:", "converters, amplifiers"]);
    for level in [top + 4.0, top + 18.0] {
        sheet.wire(&[[x + 34.0, level], [x + 60.0, level]]);
        sheet.wire(&[[x + 88.0, level], [x + 116.0, level]]);
    }
    sheet.common([x + 134.0, top + 22.0]);
    sheet.stroke(Pen::Step, &[[x + 74.0, top - 8.0], [x + 74.0, top - 0.6]]);
    sheet.stroke(Pen::Step, &[[x + 74.0, top + 8.6], [x + 74.0, top + 13.4]]);
    sheet.stroke(Pen::Step, &[[x + 74.0, top + 22.6], [x + 74.0, top + 34.0]]);
    sheet.text([x + 76.0, top - 4.5], 2.5, "isolation barrier, 5 kV r.m.s., reinforced");
    sheet.text([x, top + 40.0], 2.5, "A pair for the electrodes together, one for each bridge, one for the element. Lead-off coils and triggers cross by ISO too.");
}
