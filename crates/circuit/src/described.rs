//! The description of the front end that was designed: the document of the wanted rig with the figures of the chosen parts.

use crate::stages::{Design, FrontEnd};
use serde_json::{Value, json};

/// Puts the figures of the chosen parts into a rig's document. Everything else stays, but measured corrections: they belong to another
/// stage. Gives the words of the outputs whose correction was taken out.
pub fn describe(document: &mut Value, front: &FrontEnd) -> Vec<&'static str> {
    let mut uncorrected = Vec::new();
    let Some(outputs) = document.get_mut("outputs").and_then(Value::as_array_mut) else {
        return uncorrected;
    };
    for (output, channel) in outputs.iter_mut().zip(&front.channels) {
        let Some(output) = output.as_object_mut() else {
            continue;
        };
        let mut set = |key: &str, value: f64| {
            output.insert(key.into(), json!(rounded(value)));
        };
        match channel.design {
            Design::Electrode { attenuation, source_ohm } | Design::Bridge { attenuation, source_ohm, .. } => {
                set("attenuation", attenuation);
                set("source_ohm", source_ohm);
            }
            Design::Reference { source_ohm } => set("source_ohm", source_ohm),
            Design::Element { base_ohm, ohm_per_v } => {
                set("base_ohm", base_ohm);
                set("ohm_per_v", ohm_per_v);
            }
        }
        if output.remove("correction").is_some() {
            uncorrected.push(channel.name);
        }
    }
    uncorrected
}

/// Ten significant digits.
fn rounded(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}
