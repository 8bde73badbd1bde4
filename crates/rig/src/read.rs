//! A rig's JSON: read with every mistake named at its place.

use crate::description::{
    Coding, Converter, Correction, Filter, Output, Rig, Signal, TERMINALS, Terminal, bridge_channels,
};
use crate::table::coding_word;
use pulsewright_core::frame::Channel;
use pulsewright_script::Problems;
use pulsewright_script::reader::{Collected, DocumentKind, Entry, Kind, Node, Path, nearest, open, quoted};
use std::ops::RangeInclusive;

/// What is read here, for messages.
const KIND: DocumentKind = DocumentKind { noun: "a rig", shape: "a rig description", help: "docs/rig.md shows one" };

/// Most outputs of a rig.
pub const MAX_OUTPUTS: usize = 64;

const KEYS: [&str; 6] = ["version", "title", "notes", "converter", "filter", "outputs"];
pub(crate) const CODINGS: [Coding; 2] = [Coding::OffsetBinary, Coding::TwosComplement];
pub(crate) const POLARITIES: [&str; 2] = ["normal", "inverted"];

/// A number of a description: key, range, unit, what it is.
pub(crate) struct Quantity {
    pub(crate) key: &'static str,
    pub(crate) range: RangeInclusive<f64>,
    pub(crate) unit: &'static str,
    pub(crate) doc: &'static str,
}

pub(crate) const LOW: Quantity =
    Quantity { key: "low_v", range: -100.0..=100.0, unit: "V", doc: "Volts of the lowest code." };
pub(crate) const HIGH: Quantity =
    Quantity { key: "high_v", range: -100.0..=100.0, unit: "V", doc: "Volts one step above the highest code." };
pub(crate) const ATTENUATION: Quantity = Quantity {
    key: "attenuation",
    range: 0.01..=1e6,
    unit: "",
    doc: "Volts of the converter over volts at the open connector: 1001 for 100 kohm over 100 ohm.",
};
pub(crate) const SOURCE: Quantity = Quantity {
    key: "source_ohm",
    range: 0.0..=1e7,
    unit: "ohm",
    doc: "Resistance that the connector is driven from, a skin-electrode stand-in included.",
};
pub(crate) const LOAD: Quantity = Quantity {
    key: "load_ohm",
    range: 1.0..=1e12,
    unit: "ohm",
    doc: "Resistance of what is connected; left out when it draws nothing.",
};
pub(crate) const SENSITIVITY: Quantity = Quantity {
    key: "sensitivity_uv_per_v_per_mmhg",
    range: 0.1..=1000.0,
    unit: "uV/V/mmHg",
    doc: "Sensitivity that the monitor expects of a transducer; 5 by ANSI/AAMI BP22:1994.",
};
pub(crate) const EXCITATION: Quantity = Quantity {
    key: "excitation_v",
    range: 0.1..=20.0,
    unit: "V",
    doc: "The monitor's excitation as measured at the connector, not as printed.",
};
pub(crate) const OFFSET: Quantity = Quantity {
    key: "offset_mv",
    range: -100.0..=100.0,
    unit: "mV",
    doc: "Signal at 0 mmHg: zero unbalance of the bridge.",
};
pub(crate) const BASE: Quantity =
    Quantity { key: "base_ohm", range: 0.0..=1e5, unit: "ohm", doc: "Resistance of the element at 0 V." };
pub(crate) const OHM_PER_V: Quantity = Quantity {
    key: "ohm_per_v",
    range: 1e-4..=1e4,
    unit: "ohm/V",
    doc: "What a volt of the converter adds to the element.",
};
pub(crate) const GAIN: Quantity = Quantity { key: "gain", range: 0.1..=10.0, unit: "", doc: "Measured over nominal." };
pub(crate) const CORRECTION_OFFSET: Quantity = Quantity {
    key: "offset",
    range: -1e4..=1e4,
    unit: "mV or ohm",
    doc: "Measured at a nominal zero, in the connector's unit.",
};
pub(crate) const CORNER: Quantity =
    Quantity { key: "corner_hz", range: 0.1..=1e5, unit: "Hz", doc: "Where the filter has taken 3 dB." };
/// Orders of filters, and bits of converters.
pub(crate) const ORDERS: RangeInclusive<u64> = 1..=10;
pub(crate) const BITS: RangeInclusive<u64> = 8..=24;

/// Keys of any output.
pub(crate) const OUTPUT: [&str; 7] =
    ["low_v", "high_v", "polarity", "correction", "calibrations", "source_ohm", "load_ohm"];

/// Reads the description in `text`, called `name` in messages.
///
/// # Errors
/// Every problem of the description at once; of broken syntax only the first.
pub fn parse(text: &[u8], name: &str) -> Result<Rig, Problems> {
    let (text, root) = open(text, name, &KIND)?;
    let mut found = Collected::default();
    let rig = rig(&mut found, root);
    match rig {
        Some(rig) if found.is_empty() => Ok(rig),
        _ => Err(Problems::of(name, text, found)),
    }
}

fn rig(found: &mut Collected, root: Node<'_>) -> Option<Rig> {
    let path = Path::Root;
    let entries = found.entries(root, &path, KIND.shape)?;
    let (mut title, mut converter, mut filter, mut outputs) = (String::new(), None, None, None);
    let mut version = false;
    for entry in &entries {
        let path = path.key(&entry.key);
        match entry.key.as_str() {
            "version" => {
                version = true;
                found.whole(entry.value, &path, 1, 1);
            }
            "title" => title = found.line(entry.value, &path).unwrap_or_default(),
            "notes" => {
                found.text(entry.value, &path);
            }
            "converter" => converter = Some(self::converter(found, entry.value, &path)),
            "filter" => filter = self::filter(found, entry.value, &path),
            "outputs" => outputs = Some(entry),
            key => found.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
        }
    }
    if !version {
        found.missing(root, &path, "version", "\"version\": 1");
    }
    if converter.is_none() {
        found.missing(root, &path, "converter", "\"converter\": {\"bits\", \"low_v\", \"high_v\", \"coding\"}");
    }
    // A converter with problems does not hide those of the outputs.
    let converter = converter.flatten();
    let usual = converter.map_or((-1.0, 1.0), |converter: Converter| (converter.low_v, converter.high_v));
    let outputs = match outputs {
        None => {
            found.missing(root, &path, "outputs", "\"outputs\": [a list of outputs]");
            Vec::new()
        }
        Some(entry) => self::outputs(found, entry.value, &path.key("outputs"), usual),
    };
    Some(Rig { title, converter: converter?, filter, outputs })
}

fn number(found: &mut Collected, entry: &Entry<'_>, path: &Path<'_>, quantity: &Quantity) -> Option<f64> {
    found.number(entry.value, path, quantity.range.clone(), quantity.unit)
}

fn converter(found: &mut Collected, node: Node<'_>, path: &Path<'_>) -> Option<Converter> {
    const KEYS: [&str; 4] = ["bits", "low_v", "high_v", "coding"];
    let entries = found.entries(node, path, "a converter")?;
    let (mut bits, mut low, mut high, mut coding) = (None, None, None, None);
    for entry in &entries {
        let path = path.key(&entry.key);
        match entry.key.as_str() {
            "bits" => bits = found.whole(entry.value, &path, *BITS.start(), *BITS.end()),
            "low_v" => low = number(found, entry, &path, &LOW),
            "high_v" => high = number(found, entry, &path, &HIGH),
            "coding" => coding = found.word(entry.value, &path, &CODINGS.map(coding_word)),
            key => found.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
        }
    }
    for key in KEYS {
        if !entries.iter().any(|entry| entry.key == key) {
            let allowed = match key {
                "bits" => "bits of a code, 8 to 24",
                "coding" => "\"offset-binary\" or \"twos-complement\"",
                _ => "volts",
            };
            found.missing(node, path, key, allowed);
        }
    }
    let (low_v, high_v) = ordered(found, node, path, low?, high?)?;
    Some(Converter { bits: bits? as u32, low_v, high_v, coding: *CODINGS.get(coding?)? })
}

/// A range from low to high.
fn ordered(found: &mut Collected, node: Node<'_>, path: &Path<'_>, low: f64, high: f64) -> Option<(f64, f64)> {
    if low >= high {
        let allowed = "low_v below high_v; \"polarity\": \"inverted\" turns the sign";
        found.tell(node, path, |p| p.allowed(allowed), format!("low_v is {low} V and high_v {high} V"));
        return None;
    }
    Some((low, high))
}

fn filter(found: &mut Collected, node: Node<'_>, path: &Path<'_>) -> Option<Filter> {
    const KEYS: [&str; 2] = ["corner_hz", "order"];
    let entries = found.entries(node, path, "a filter")?;
    let (mut corner, mut order) = (None, None);
    for entry in &entries {
        let path = path.key(&entry.key);
        match entry.key.as_str() {
            "corner_hz" => corner = number(found, entry, &path, &CORNER),
            "order" => order = found.whole(entry.value, &path, *ORDERS.start(), *ORDERS.end()),
            key => found.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
        }
    }
    for key in KEYS {
        if !entries.iter().any(|entry| entry.key == key) {
            found.missing(node, path, key, "\"corner_hz\": Hz and \"order\": 1 to 10");
        }
    }
    Some(Filter { corner_hz: corner?, order: order? as u32 })
}

fn outputs(found: &mut Collected, node: Node<'_>, path: &Path<'_>, usual: (f64, f64)) -> Vec<Output> {
    let Some((list, count)) = node.list(MAX_OUTPUTS) else {
        found.wrong_kind(node, path, Kind::List);
        return Vec::new();
    };
    if count == 0 {
        found.tell(node, path, |p| p.allowed("a list of at least one output"), "no outputs".into());
    }
    if count > MAX_OUTPUTS {
        found.tell(node, path, |p| p.allowed(format!("at most {MAX_OUTPUTS}")), format!("{count} outputs"));
    }
    let mut outputs: Vec<Output> = Vec::new();
    for (index, node) in list.into_iter().enumerate() {
        let path = Path::Index(path, index);
        let Some(output) = output(found, node, &path, usual) else {
            continue;
        };
        let name = output.signal.name();
        if outputs.iter().any(|other| other.signal.name() == name) {
            let allowed = "one output for each electrode, pressure and respiration element";
            found.tell(node, &path, |p| p.allowed(allowed), format!("a second output {}", quoted(name)));
        }
        outputs.push(output);
    }
    outputs
}

/// What an output carries, as its first key says.
#[derive(Clone, Copy, PartialEq)]
enum Carries {
    Electrode(Option<Terminal>),
    Bridge(Option<Channel>),
    Resistor,
}

pub(crate) const CARRIES: [&str; 3] = ["electrode", "pressure", "respiration"];

fn output(found: &mut Collected, node: Node<'_>, path: &Path<'_>, usual: (f64, f64)) -> Option<Output> {
    let entries = found.entries(node, path, "an output")?;
    let mut carries = None;
    for entry in &entries {
        let path = path.key(&entry.key);
        let carried = match entry.key.as_str() {
            "electrode" => Carries::Electrode(terminal(found, entry.value, &path)),
            "pressure" => {
                let channels: Vec<Channel> = bridge_channels().collect();
                let words: Vec<&str> = channels.iter().map(|channel| channel.id()).collect();
                Carries::Bridge(found.word(entry.value, &path, &words).and_then(|i| channels.get(i).copied()))
            }
            "respiration" => {
                found.word(entry.value, &path, &["resistor"]);
                Carries::Resistor
            }
            _ => continue,
        };
        if carries.replace(carried).is_some() {
            found.tell(entry.key_node, &path, |p| p.allowed("one of them"), "an output carries one signal".into());
        }
    }
    let Some(carries) = carries else {
        let allowed = "\"electrode\": a label, \"pressure\": a channel, or \"respiration\": \"resistor\"";
        found.tell(node, path, |p| p.allowed(allowed), "the output carries nothing".into());
        return None;
    };
    let own: &[&str] = match carries {
        Carries::Electrode(_) => &["electrode", "attenuation"],
        Carries::Bridge(_) => &["pressure", "attenuation", SENSITIVITY.key, "excitation_v", "offset_mv"],
        Carries::Resistor => &["respiration", "base_ohm", "ohm_per_v"],
    };
    let shared = OUTPUT.iter().filter(|key| carries != Carries::Resistor || !["source_ohm", "load_ohm"].contains(key));
    let keys: Vec<&str> = own.iter().chain(shared).copied().collect();
    let mut value = Values::default();
    for entry in &entries {
        let path = path.key(&entry.key);
        let key = entry.key.as_str();
        match key {
            key if CARRIES.contains(&key) => {}
            key if !keys.contains(&key) => {
                found.unknown(entry, &path, &keys, nearest(key, keys.iter().copied()).map(quoted));
            }
            "low_v" => value.low = number(found, entry, &path, &LOW),
            "high_v" => value.high = number(found, entry, &path, &HIGH),
            "polarity" => value.inverted = found.word(entry.value, &path, &POLARITIES) == Some(1),
            "correction" => value.correction = correction(found, entry.value, &path),
            "calibrations" if entry.value.kind() != Kind::List => found.wrong_kind(entry.value, &path, Kind::List),
            "calibrations" => {}
            "source_ohm" => value.source = number(found, entry, &path, &SOURCE),
            "load_ohm" => value.load = number(found, entry, &path, &LOAD),
            "attenuation" => value.attenuation = number(found, entry, &path, &ATTENUATION),
            "excitation_v" => value.excitation = number(found, entry, &path, &EXCITATION),
            "offset_mv" => value.offset = number(found, entry, &path, &OFFSET),
            "base_ohm" => value.base = number(found, entry, &path, &BASE),
            "ohm_per_v" => value.ohm_per_v = number(found, entry, &path, &OHM_PER_V),
            _ => value.sensitivity = number(found, entry, &path, &SENSITIVITY),
        }
    }
    let needed: &[&Quantity] = match carries {
        Carries::Electrode(_) => &[&ATTENUATION],
        Carries::Bridge(_) => &[&ATTENUATION, &SENSITIVITY, &EXCITATION],
        Carries::Resistor => &[&BASE, &OHM_PER_V],
    };
    for quantity in needed {
        if !entries.iter().any(|entry| entry.key == quantity.key) {
            found.missing(node, path, quantity.key, quantity.doc);
        }
    }
    let range_v = match (value.low, value.high) {
        (None, None) => usual,
        (low, high) => ordered(found, node, path, low.unwrap_or(usual.0), high.unwrap_or(usual.1))?,
    };
    let signal = match carries {
        Carries::Electrode(terminal) => Signal::Electrode(terminal?),
        Carries::Bridge(channel) => Signal::Bridge {
            channel: channel?,
            sensitivity: value.sensitivity?,
            excitation_v: value.excitation?,
            offset_mv: value.offset.unwrap_or(0.0),
        },
        Carries::Resistor => Signal::Resistor { ohm_per_v: value.ohm_per_v?, base_ohm: value.base? },
    };
    let attenuation = if carries == Carries::Resistor { 1.0 } else { value.attenuation? };
    Some(Output {
        signal,
        range_v,
        inverted: value.inverted,
        attenuation,
        source_ohm: value.source.unwrap_or(0.0),
        load_ohm: value.load,
        correction: value.correction.unwrap_or(Correction::NONE),
    })
}

/// Values of an output as they are found.
#[derive(Default)]
struct Values {
    low: Option<f64>,
    high: Option<f64>,
    inverted: bool,
    correction: Option<Correction>,
    source: Option<f64>,
    load: Option<f64>,
    attenuation: Option<f64>,
    excitation: Option<f64>,
    offset: Option<f64>,
    base: Option<f64>,
    ohm_per_v: Option<f64>,
    sensitivity: Option<f64>,
}

/// An electrode by either of its labels.
fn terminal(found: &mut Collected, node: Node<'_>, path: &Path<'_>) -> Option<Terminal> {
    let labels: Vec<&str> = TERMINALS.iter().flat_map(|row| [row.0, row.1]).collect();
    let index = found.word(node, path, &labels)?;
    TERMINALS.get(index / 2).map(|row| row.2)
}

fn correction(found: &mut Collected, node: Node<'_>, path: &Path<'_>) -> Option<Correction> {
    const KEYS: [&str; 2] = ["gain", "offset"];
    let entries = found.entries(node, path, "a correction")?;
    let mut correction = Correction::NONE;
    for entry in &entries {
        let path = path.key(&entry.key);
        match entry.key.as_str() {
            "gain" => correction.gain = number(found, entry, &path, &GAIN)?,
            "offset" => correction.offset = number(found, entry, &path, &CORRECTION_OFFSET)?,
            key => found.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
        }
    }
    Some(correction)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn whole(outputs: &str) -> String {
        format!(
            "{{\"version\": 1, \"converter\": {{\"bits\": 16, \"low_v\": -2.5, \"high_v\": 2.5, \"coding\": \"offset-binary\"}},\n\
             \"outputs\": [{outputs}]}}"
        )
    }

    #[track_caller]
    fn refused(text: &str, words: &[&str]) {
        let problems = parse(text.as_bytes(), "rig.json").unwrap_err().to_string();
        for word in words {
            assert!(problems.contains(word), "no '{word}' in\n{problems}");
        }
    }

    #[test]
    fn both_labels_are_the_same_electrode() {
        for (american, european, terminal) in TERMINALS {
            for label in [american, european] {
                let rig =
                    parse(whole(&format!("{{\"electrode\": \"{label}\", \"attenuation\": 500}}")).as_bytes(), "r");
                assert_eq!(rig.unwrap().outputs[0].signal, Signal::Electrode(terminal), "{label}");
            }
        }
    }

    #[test]
    fn outputs_may_have_a_range_of_their_own() {
        let text = whole("{\"respiration\": \"resistor\", \"base_ohm\": 1000, \"ohm_per_v\": 2, \"low_v\": 0}");
        assert_eq!(parse(text.as_bytes(), "r").unwrap().outputs[0].range_v, (0.0, 2.5));
    }

    #[test]
    fn mistakes_are_told_at_their_place_all_at_once() {
        let text = whole(
            "{\"electrode\": \"AR\", \"attenuation\": 500},\n\
             {\"pressure\": \"arterail\", \"attenuation\": 0, \"sensitivity_uv_per_v_per_mmhg\": 5},\n\
             {\"electrode\": \"RA\", \"atenuation\": 500}",
        );
        refused(
            &text,
            &[
                "rig.json:2:27",
                "can't be \"AR\"",
                "\"arterial\"?",
                "0.01 to 1000000",
                "\"excitation_v\" is missing",
                "unknown key \"atenuation\"",
                "did you mean \"attenuation\"?",
                "6 problems in rig.json",
            ],
        );
    }

    #[test]
    fn what_makes_no_rig_is_refused() {
        refused("", &["the file is empty", "docs/rig.md"]);
        refused("{}", &["\"version\" is missing", "\"converter\" is missing", "\"outputs\" is missing"]);
        refused("[1]", &["the document can't be a list"]);
        refused(&whole(""), &["no outputs"]);
        refused(&whole("{}"), &["carries nothing"]);
        refused(
            &whole("{\"electrode\": \"RA\", \"respiration\": \"resistor\", \"attenuation\": 5}"),
            &["carries one signal"],
        );
        let twice = "{\"electrode\": \"RA\", \"attenuation\": 5}, {\"electrode\": \"R\", \"attenuation\": 5}";
        refused(&whole(twice), &["a second output \"RA\""]);
        refused(
            &whole("{\"electrode\": \"RA\", \"attenuation\": 5, \"low_v\": 3}"),
            &["low_v is 3 V and high_v 2.5 V"],
        );
        refused(
            &whole("{\"electrode\": \"RA\", \"attenuation\": 5, \"polarity\": \"upside-down\"}"),
            &["\"inverted\""],
        );
        refused(
            &whole("{\"respiration\": \"resistor\", \"base_ohm\": 1, \"ohm_per_v\": 1, \"load_ohm\": 9}"),
            &["unknown key"],
        );
        refused(&whole("{\"electrode\": \"RA\", \"attenuation\": 5, \"correction\": {\"gain\": 0}}"), &["0.1 to 10"]);
        refused(&whole("{\"electrode\": \"RA\", \"attenuation\": 1e999}"), &["attenuation can't be 1e999"]);
        let bits = whole("{\"electrode\": \"RA\", \"attenuation\": 5}").replace("16", "32");
        refused(&bits, &["bits can't be 32", "8 to 24"]);
    }

    #[test]
    fn any_text_has_an_answer() {
        let text = whole("{\"electrode\": \"RA\", \"attenuation\": 5, \"correction\": {\"gain\": 1.5}}");
        for cut in 0..text.len() {
            assert!(parse(&text.as_bytes()[..cut], "r").is_err(), "cut at {cut}");
        }
        for (from, to) in
            [("16", "[]"), ("-2.5", "{}"), ("\"RA\"", "5"), ("{\"gain\": 1.5}", "null"), ("[{", "{\"x\":[{")]
        {
            assert!(parse(text.replace(from, to).as_bytes(), "r").is_err(), "{from} to {to}");
        }
    }
}
