//! A rig's JSON: read with every mistake named at its place.

mod outputs;

pub(crate) use outputs::{POLARITIES, REFERENCES};

use crate::coupling::AcCoupling;
use crate::description::{Coding, Converter, LowPassFilter, Rig};
use crate::quantities::{BITS, CORNER, COUPLING, HIGH, LOW, ORDERS, Quantity};
use crate::table::coding_word;
use pulsewright_script::Problems;
use pulsewright_script::reader::{DocumentKind, JsonNode, NodeEntry, Path, ProblemCollector, nearest, open, quoted};

/// Name of the document, for messages.
const KIND: DocumentKind = DocumentKind { noun: "a rig", shape: "a rig description", help: "docs/rig.md shows one" };

/// Most outputs of a rig.
pub const MAX_OUTPUTS: usize = 64;

const KEYS: [&str; 7] = ["version", "title", "notes", "converter", "filter", COUPLING.key, "outputs"];
pub(crate) const CODINGS: [Coding; 2] = [Coding::OffsetBinary, Coding::TwosComplement];

/// Reads the description in `text`, called `name` in messages.
///
/// # Errors
/// Every problem of the description at once; of broken syntax only the first.
pub fn parse(text: &[u8], name: &str) -> Result<Rig, Problems> {
    let (text, root) = open(text, name, &KIND)?;
    let mut found = ProblemCollector::default();
    let rig = rig(&mut found, root);
    match rig {
        Some(rig) if found.is_empty() => Ok(rig),
        _ => Err(Problems::of(name, text, found)),
    }
}

fn rig(found: &mut ProblemCollector, root: JsonNode<'_>) -> Option<Rig> {
    let path = Path::Root;
    let entries = found.entries(root, &path, KIND.shape)?;
    let (mut title, mut converter, mut filter, mut coupling, mut outputs) = (String::new(), None, None, None, None);
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
            "ac_coupling_hz" => coupling = number(found, entry, &path, &COUPLING),
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
        Some(entry) => outputs::read(found, entry.value, &path.key("outputs"), usual),
    };
    Some(Rig { title, converter: converter?, filter, coupling: coupling.map(AcCoupling::at), outputs })
}

fn number(found: &mut ProblemCollector, entry: &NodeEntry<'_>, path: &Path<'_>, quantity: &Quantity) -> Option<f64> {
    found.number(entry.value, path, quantity.range.clone(), quantity.unit)
}

fn converter(found: &mut ProblemCollector, node: JsonNode<'_>, path: &Path<'_>) -> Option<Converter> {
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
fn ordered(
    found: &mut ProblemCollector,
    node: JsonNode<'_>,
    path: &Path<'_>,
    low: f64,
    high: f64,
) -> Option<(f64, f64)> {
    if low >= high {
        let allowed = "low_v below high_v; \"polarity\": \"inverted\" turns the sign";
        found.report(node, path, |p| p.allowed(allowed), format!("low_v is {low} V and high_v {high} V"));
        return None;
    }
    Some((low, high))
}

fn filter(found: &mut ProblemCollector, node: JsonNode<'_>, path: &Path<'_>) -> Option<LowPassFilter> {
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
    Some(LowPassFilter { corner_hz: corner?, order: order? as u32 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::description::{OutputSignal, TERMINALS};

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
                assert_eq!(rig.unwrap().outputs[0].signal, OutputSignal::Electrode(terminal), "{label}");
            }
        }
    }

    #[test]
    fn outputs_may_have_a_range_of_their_own() {
        let text = whole("{\"respiration\": \"resistor\", \"base_ohm\": 1000, \"ohm_per_v\": 2, \"low_v\": 0}");
        assert_eq!(parse(text.as_bytes(), "r").unwrap().outputs[0].range_v, (0.0, 2.5));
    }

    #[test]
    fn a_bridge_may_take_the_excitation_as_its_reference() {
        let bridge = |excitation: f64, more: &str| {
            whole(&format!(
                "{{\"pressure\": \"arterial\", \"attenuation\": 500, \"sensitivity_uv_per_v_per_mmhg\": 5, \
                 \"excitation_v\": {excitation}, \"reference\": \"excitation\"{more}}}"
            ))
        };
        let mmhg = |excitation: f64| {
            let rig = parse(bridge(excitation, "").as_bytes(), "r").unwrap();
            rig.outputs[0].code_to_signal(&rig.converter).of(49_152.0)
        };
        // Half of 1/500 of the excitation, by 5 uV/V/mmHg: 200 mmHg whatever the excitation.
        assert!((mmhg(4.987) - 200.0).abs() < 1e-9 && (mmhg(5.25) - 200.0).abs() < 1e-9);
        refused(&bridge(5.0, ", \"high_v\": 2.5"), &["the range is the excitation either way"]);
    }

    #[test]
    fn mistakes_are_reported_at_their_place_all_at_once() {
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
    fn impossible_rigs_are_refused() {
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
