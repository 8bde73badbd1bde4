//! Noise as a script holds it.

use super::StepNoise;
use super::read::{LOOPS, ONCE};
use crate::number::number;
use crate::series::write::seconds;
use pulsewright_core::time::Span;
use serde_json::{Map, Value};

/// The file, the channels, the stretch and the RMS: read again beside the same file, it gives the same noise.
pub(crate) fn json(noise: &StepNoise) -> Value {
    let mut object = Map::new();
    object.insert("file".into(), noise.file.as_str().into());
    object.insert("channels".into(), noise.channels.iter().map(String::as_str).collect());
    object.insert("mv".into(), number(noise.mv));
    if noise.start > Span::ZERO {
        object.insert("start_s".into(), seconds(noise.start));
    }
    if let Some(end) = noise.end {
        object.insert("end_s".into(), seconds(end));
    }
    object.insert("loop".into(), (if noise.loops { LOOPS } else { ONCE }).into());
    if noise.passed > Span::ZERO {
        object.insert("passed_s".into(), seconds(noise.passed));
    }
    Value::Object(object)
}
