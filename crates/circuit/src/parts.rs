//! The parts list: values of standard rows and generic classes of parts, in CSV.

use crate::netlist::{Class, Netlist, Part, PartKind};
use crate::rows::code;
use crate::stages::{CONVERTER, Design, FrontEnd};
use pulsewright_rig::description::Rig;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// A line of the list.
#[derive(Clone, Debug, PartialEq)]
pub struct PartsListLine {
    /// Designators.
    pub designators: Vec<String>,
    /// How many.
    pub quantity: usize,
    /// Class of part.
    pub part: String,
    /// Marking code of the value.
    pub value: String,
    /// Tolerance, percent.
    pub tolerance: String,
    /// Standard row.
    pub row: &'static str,
    /// Properties to look for when it is bought.
    pub note: String,
}

/// Designator of a part as the drawing and the list have it: amplifiers are U, converters DAC, contacts K.
pub fn designator(part: &Part) -> String {
    let number = part.name.trim_start_matches(|letter: char| letter.is_ascii_alphabetic());
    match part.class {
        Class::Converter | Class::Multiplying => format!("DAC{number}"),
        Class::Amplifier | Class::Multiplier => format!("U{number}"),
        Class::Switch => format!("K{number}"),
        Class::Precise | Class::Usual | Class::Capacitor | Class::Barrier | Class::Outside => part.name.clone(),
    }
}

/// Designator and marking code of the part of a channel whose designator ends like this: R21 is R121 in channel 1.
pub fn of_channel(netlist: &Netlist, end: &str) -> Option<(String, String)> {
    let (letter, digits) = end.split_at_checked(1)?;
    // RL7 and RK7 are no parts of a stage.
    let found = netlist.parts.iter().find(|part| {
        let number = part.name.strip_prefix(letter).unwrap_or_default();
        number.len() > digits.len() && number.ends_with(digits) && number.bytes().all(|byte| byte.is_ascii_digit())
    })?;
    let value = match found.kind {
        PartKind::Resistor(ohm) => code(ohm, 'R'),
        PartKind::Capacitor(farad) => code(farad, 'F'),
        PartKind::Source(_) | PartKind::Amplifier { .. } => String::new(),
    };
    Some((designator(found), value))
}

/// The parts of a front end, class by class.
pub fn list(front: &FrontEnd, rig: &Rig) -> Vec<PartsListLine> {
    let whole = front.whole();
    let mut groups: BTreeMap<(Class, String), Vec<&Part>> = BTreeMap::new();
    for part in whole.parts.iter().filter(|part| !matches!(part.class, Class::Outside | Class::Barrier)) {
        let value = match part.kind {
            // By size, not by the marking code.
            PartKind::Resistor(value) | PartKind::Capacitor(value) if part.class != Class::Switch => {
                format!("{value:020.13}")
            }
            _ => String::new(),
        };
        groups.entry((part.class, value)).or_default().push(part);
    }
    let mut lines: Vec<PartsListLine> =
        groups.into_iter().map(|((class, _), parts)| line(class, &parts, rig)).collect();
    let elements = front.channels.iter().filter(|channel| matches!(channel.design, Design::Element { .. }));
    // Its converter sets the multiplier, which is all that the circuit has of it.
    let converters: Vec<String> = elements.map(|channel| format!("DAC{}01", channel.output + 1)).collect();
    if !converters.is_empty() {
        let converter = line(Class::Converter, &[], rig);
        lines.push(PartsListLine { quantity: converters.len(), designators: converters, ..converter });
    }
    lines.extend(assemblies(front));
    lines
}

fn line(class: Class, parts: &[&Part], rig: &Rig) -> PartsListLine {
    let value = parts.first().map_or(0.0, |part| part.value());
    let percent = |tolerance: f64| format!("{}", tolerance * 100.0);
    let tolerance = parts.first().map_or(0.0, |part| part.tolerance);
    let bits = rig.converter.bits;
    let (part, value, tolerance, row, note) = match class {
        Class::Precise => {
            ("resistor, thin film", code(value, 'R'), percent(tolerance), "E96", "25 ppm/K or better".into())
        }
        Class::Usual => ("resistor, metal film", code(value, 'R'), percent(tolerance), row(value), "50 ppm/K".into()),
        Class::Capacitor => (
            "capacitor, film or C0G",
            code(value, 'F'),
            percent(tolerance),
            "E24",
            "50 V; 1 % is usual to order".into(),
        ),
        Class::Amplifier => (
            "operational amplifier, FET input",
            String::new(),
            String::new(),
            "",
            "stable at gain 1; bandwidth 10 MHz or more; offset 50 uV or less; supply beyond the converters' range"
                .into(),
        ),
        Class::Converter => (
            "digital-to-analogue converter with reference",
            format!("{bits} bits, {} to {} V", rig.converter.low_v, rig.converter.high_v),
            percent(CONVERTER),
            "",
            "serial bus and latch; powers up at mid-scale".into(),
        ),
        Class::Multiplying => (
            "multiplying digital-to-analogue converter, four quadrants",
            format!("{bits} bits"),
            percent(CONVERTER),
            "",
            "reference input takes the monitor's excitation, d.c. to 5 kHz; with its two amplifiers".into(),
        ),
        Class::Multiplier => (
            "analogue multiplier, four quadrants",
            "XY/10 V".into(),
            percent(CONVERTER),
            "",
            "differential inputs; bandwidth 10 MHz or more; trim gain and offset at assembly".into(),
        ),
        Class::Switch => (
            "reed relay, one contact that opens when driven",
            String::new(),
            String::new(),
            "",
            "10 Gohm open; coil driven by the board's lead-off output".into(),
        ),
        Class::Barrier | Class::Outside => ("", String::new(), String::new(), "", String::new()),
    };
    let designators: Vec<String> = parts.iter().map(|part| designator(part)).collect();
    PartsListLine { quantity: designators.len(), designators, part: part.into(), value, tolerance, row, note }
}

/// Row of a metal-film resistor.
fn row(ohm: f64) -> &'static str {
    let near = |row: crate::rows::PreferredValues| (row.nearest(ohm) / ohm - 1.0).abs() < 1e-6;
    if near(crate::rows::PreferredValues::E24) { "E24" } else { "E96" }
}

/// Parts that carry the circuit: sockets, isolation, supplies.
fn assemblies(front: &FrontEnd) -> Vec<PartsListLine> {
    let count = |wanted: fn(&Design) -> bool| front.channels.iter().filter(|channel| wanted(&channel.design)).count();
    let electrodes = count(|design| matches!(design, Design::Electrode { .. } | Design::Reference { .. }));
    let bridges = count(|design| matches!(design, Design::Bridge { .. }));
    let elements = count(|design| matches!(design, Design::Element { .. }));
    // The element and each bridge stand on a potential of the monitor.
    let sections = usize::from(electrodes > 0) + bridges + elements;
    let named = |letter: &str, quantity: usize| (1..=quantity).map(|number| format!("{letter}{number}")).collect();
    let line = |designators: Vec<String>, part: &str, note: &str| PartsListLine {
        quantity: designators.len(),
        designators,
        part: part.into(),
        value: String::new(),
        tolerance: String::new(),
        row: "",
        note: note.into(),
    };
    let sockets = (0..bridges).map(|number| format!("X{}", electrodes + number + 1)).collect();
    let posts = (0..elements).map(|number| format!("X{}", electrodes + bridges + number + 1)).collect();
    let all = [
        line(named("X", electrodes), "electrode post, 4 mm snap or the lead wire's own", "labelled AHA and IEC"),
        line(sockets, "pressure socket of the monitor's cable", "wire by the manufacturer's service manual"),
        line(posts, "pair of terminals for the element", "or in RA's leg by a jumper"),
        line(
            named("ISO", sections),
            "digital isolator for the converters' bus",
            "reinforced, 5 kV r.m.s.; one a section",
        ),
        line(
            named("PS", sections),
            "isolated d.c. supply, or a battery",
            "all barriers together 47 pF or less; reinforced, 5 kV r.m.s.",
        ),
    ];
    all.into_iter().filter(|line| line.quantity > 0).collect()
}

/// The list as CSV, columns separated by commas, designators by spaces.
pub fn csv(lines: &[PartsListLine]) -> String {
    let mut text = String::from("designators,quantity,part,value,tolerance_percent,row,note\n");
    for line in lines {
        let fields = [
            line.designators.join(" "),
            line.quantity.to_string(),
            line.part.clone(),
            line.value.clone(),
            line.tolerance.clone(),
            line.row.to_owned(),
            line.note.clone(),
        ];
        let quoted = fields.map(|field| {
            if field.contains([',', '"', '\n']) { format!("\"{}\"", field.replace('"', "\"\"")) } else { field }
        });
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}", quoted.join(","));
    }
    text
}
