//! The outputs of a rig's JSON.

use super::{MAX_OUTPUTS, number, ordered};
use crate::description::{Correction, EcgConnector, Output, OutputSignal, TERMINALS, bridge_channels};
use crate::quantities::{
    ATTENUATION, BASE, CORRECTION_OFFSET, EXCITATION, GAIN, HIGH, LOAD, LOW, OFFSET, OHM_PER_V, Quantity, SENSITIVITY,
    SOURCE,
};
use pulsewright_core::frame::Channel;
use pulsewright_script::reader::{JsonNode, NodeKind, Path, ProblemCollector, nearest, quoted};

/// Keys of any output.
const OUTPUT: [&str; 7] = ["low_v", "high_v", "polarity", "correction", "calibrations", "source_ohm", "load_ohm"];
pub(crate) const POLARITIES: [&str; 2] = ["normal", "inverted"];
/// The reference of a bridge's converter.
pub(crate) const REFERENCES: [&str; 2] = ["fixed", "excitation"];

pub(super) fn read(
    found: &mut ProblemCollector,
    node: JsonNode<'_>,
    path: &Path<'_>,
    usual: (f64, f64),
) -> Vec<Output> {
    let Some((list, count)) = node.list(MAX_OUTPUTS) else {
        found.wrong_kind(node, path, NodeKind::List);
        return Vec::new();
    };
    if count == 0 {
        found.report(node, path, |p| p.allowed("a list of at least one output"), "no outputs".into());
    }
    if count > MAX_OUTPUTS {
        found.report(node, path, |p| p.allowed(format!("at most {MAX_OUTPUTS}")), format!("{count} outputs"));
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
            found.report(node, &path, |p| p.allowed(allowed), format!("a second output {}", quoted(name)));
        }
        outputs.push(output);
    }
    outputs
}

/// The signal of an output, by its first key.
#[derive(Clone, Copy, PartialEq)]
enum Carries {
    Electrode(Option<EcgConnector>),
    Bridge(Option<Channel>),
    Resistor,
}

const CARRIES: [&str; 3] = ["electrode", "pressure", "respiration"];

fn output(found: &mut ProblemCollector, node: JsonNode<'_>, path: &Path<'_>, usual: (f64, f64)) -> Option<Output> {
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
            found.report(entry.key_node, &path, |p| p.allowed("one of them"), "an output carries one signal".into());
        }
    }
    let Some(carries) = carries else {
        let allowed = "\"electrode\": a label, \"pressure\": a channel, or \"respiration\": \"resistor\"";
        found.report(node, path, |p| p.allowed(allowed), "the output carries nothing".into());
        return None;
    };
    let own: &[&str] = match carries {
        Carries::Electrode(_) => &["electrode", "attenuation"],
        Carries::Bridge(_) => &["pressure", "attenuation", SENSITIVITY.key, "excitation_v", "offset_mv", "reference"],
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
            "reference" => value.ratiometric = found.word(entry.value, &path, &REFERENCES) == Some(1),
            "polarity" => value.inverted = found.word(entry.value, &path, &POLARITIES) == Some(1),
            "correction" => value.correction = correction(found, entry.value, &path),
            "calibrations" if entry.value.kind() != NodeKind::List => {
                found.wrong_kind(entry.value, &path, NodeKind::List)
            }
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
        (Some(_), _) | (_, Some(_)) if value.ratiometric => {
            let allowed = "no \"low_v\" and \"high_v\": the range is the excitation either way";
            found.report(
                node,
                path,
                |p| p.allowed(allowed),
                "the reference is the excitation, and a range is given".into(),
            );
            return None;
        }
        (None, None) if value.ratiometric => (-value.excitation?, value.excitation?),
        (None, None) => usual,
        (low, high) => ordered(found, node, path, low.unwrap_or(usual.0), high.unwrap_or(usual.1))?,
    };
    let signal = match carries {
        Carries::Electrode(terminal) => OutputSignal::Electrode(terminal?),
        Carries::Bridge(channel) => OutputSignal::Bridge {
            channel: channel?,
            sensitivity: value.sensitivity?,
            excitation_v: value.excitation?,
            offset_mv: value.offset.unwrap_or(0.0),
            ratiometric: value.ratiometric,
        },
        Carries::Resistor => OutputSignal::Resistor { ohm_per_v: value.ohm_per_v?, base_ohm: value.base? },
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
    ratiometric: bool,
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
fn terminal(found: &mut ProblemCollector, node: JsonNode<'_>, path: &Path<'_>) -> Option<EcgConnector> {
    let labels: Vec<&str> = TERMINALS.iter().flat_map(|row| [row.0, row.1]).collect();
    let index = found.word(node, path, &labels)?;
    TERMINALS.get(index / 2).map(|row| row.2)
}

fn correction(found: &mut ProblemCollector, node: JsonNode<'_>, path: &Path<'_>) -> Option<Correction> {
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
