//! A series as a script holds it.

use super::{StepSeries, span};
use crate::number::shortest;
use pulsewright_core::time::Span;
use pulsewright_core::truth::BeatCode;
use serde_json::{Map, Value};

/// The times of the beats with their codes, and the length: read again, it gives the same series.
pub(crate) fn json(series: &StepSeries) -> Value {
    let mut object = Map::new();
    object.insert("at_s".into(), series.beats.iter().map(|beat| seconds(beat.after)).collect());
    if series.beats.iter().any(|beat| beat.code != BeatCode::Normal) {
        let codes: String = series.beats.iter().map(|beat| beat.code.symbol()).collect();
        object.insert("codes".into(), codes.into());
    }
    object.insert("length_s".into(), seconds(series.length));
    Value::Object(object)
}

/// The shortest decimal of seconds that reads back as this time.
pub(crate) fn seconds(time: Span) -> Value {
    let exact = time.as_secs_f64();
    let written = (0..=10).map(|decimals| format!("{exact:.decimals$}"));
    let same = |text: &String| text.parse().ok().and_then(span) == Some(time);
    written.into_iter().find(same).map_or_else(|| exact.into(), |text| shortest(&text))
}
