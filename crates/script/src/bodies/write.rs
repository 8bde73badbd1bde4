//! A body as its document.

use super::residuals;
use super::word::{self, T_KEYS};
use crate::number::{insert, number};
use pulsewright_core::body::Body;
use pulsewright_core::internal::ecg::{Complex, Wave};
use serde_json::{Map, Value, json};

/// The document of a body, with all of its shapes.
pub fn json(body: &Body) -> Value {
    let all = body.templates;
    written(body, None, all.complexes.map(Some), all.p.map(Some))
}

/// The document of a body, with the shapes in which it differs from a body of the catalogue.
pub(crate) fn own_json(body: &Body) -> Value {
    let (_, base) = body.base();
    let complexes = body.templates.own_complexes(base.templates);
    written(body, Some(base), complexes, body.templates.own_p(base.templates))
}

fn written(
    body: &Body,
    base: Option<&Body>,
    complexes: impl IntoIterator<Item = Option<&'static Complex>>,
    p: impl IntoIterator<Item = Option<&'static [Wave]>>,
) -> Value {
    let mut object = Map::new();
    if let Some(base) = base {
        object.insert("extends".into(), base.id.into());
    }
    object.insert("name".into(), body.name.into());
    object.insert("age".into(), body.age.id().into());
    object.insert("resting_bpm".into(), number(body.resting_bpm));
    let mut settings = Map::new();
    for (field, value) in body.values {
        insert(&mut settings, field.info().path, number(*value));
    }
    object.insert("settings".into(), settings.into());
    let own = |(word, complex): (&&str, Option<&Complex>)| Some(((*word).to_owned(), complex_json(complex?)));
    let complexes: Map<String, Value> = word::complexes().iter().zip(complexes).filter_map(own).collect();
    let own = |(word, waves): (&&str, Option<&[Wave]>)| Some(((*word).to_owned(), waves_json(waves?)));
    let p: Map<String, Value> = word::p_waves().iter().zip(p).filter_map(own).collect();
    for (key, shapes) in [("complexes", complexes), ("p_waves", p)] {
        if !shapes.is_empty() {
            object.insert(key.into(), shapes.into());
        }
    }
    if let Some(residuals) = residuals::json(body.templates) {
        object.insert("residuals".into(), residuals);
    }
    Value::Object(object)
}

fn complex_json(complex: &Complex) -> Value {
    let mut object = Map::new();
    object.insert("qrs_ms".into(), number(complex.qrs_ms));
    object.insert("qt_ms".into(), number(complex.qt_ms));
    object.insert("qrs".into(), waves_json(complex.qrs));
    object.extend(T_KEYS.into_iter().zip(complex.t).map(|(key, wave)| (key.to_owned(), wave_json(wave))));
    Value::Object(object)
}

fn waves_json(waves: &[Wave]) -> Value {
    waves.iter().map(wave_json).collect()
}

fn wave_json(wave: &Wave) -> Value {
    let mut object = Map::new();
    object.insert("at_ms".into(), number(wave.at_ms));
    object.insert("rise_ms".into(), number(wave.rise_ms));
    if wave.hold_ms > 0.0 {
        object.insert("hold_ms".into(), number(wave.hold_ms));
    }
    object.insert("fall_ms".into(), number(wave.fall_ms));
    object.insert("xyz_mv".into(), json!(wave.mv.map(number)));
    Value::Object(object)
}
