//! A recording as a script holds it.

use super::{Repeats, StepRecording};
use crate::series::write::seconds;
use pulsewright_core::frame::Channel;
use pulsewright_core::time::Span;
use serde_json::{Map, Value};

/// The files, the leads and the stretch: read again beside the same files, it gives the same recording.
pub(crate) fn json(recording: &StepRecording) -> Value {
    let named = &recording.named;
    let mut object = Map::new();
    object.insert("file".into(), named.file.as_str().into());
    if let Some(scale_mv) = named.scale_mv {
        object.insert("scale_mv".into(), scale_mv.into());
    }
    let leads =
        named.leads.iter().map(|(lead, channel)| (Channel::Lead(*lead).id().to_owned(), channel.as_str().into()));
    object.insert("leads".into(), Value::Object(leads.collect()));
    if let Some(beats) = &named.beats {
        object.insert("beats".into(), beats.clone());
    }
    if named.start > Span::ZERO {
        object.insert("start_s".into(), seconds(named.start));
    }
    if let Some(end) = named.end {
        object.insert("end_s".into(), seconds(end));
    }
    if let Some((_, word)) =
        Repeats::ALL.iter().find(|(repeats, _)| *repeats == named.repeats && *repeats != Repeats::No)
    {
        object.insert("loop".into(), (*word).into());
    }
    if recording.passed > Span::ZERO {
        object.insert("passed_s".into(), seconds(recording.passed));
    }
    Value::Object(object)
}
