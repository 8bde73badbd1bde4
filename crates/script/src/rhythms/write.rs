//! A rhythm as its document.

use crate::number::{insert, number};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::heart::rhythm::parameter::Parameter;
use serde_json::{Map, Value};

/// The document of a rhythm: every parameter that it has, and the settings that it brings.
pub fn json(rhythm: &Rhythm) -> Value {
    let mut object = Map::new();
    object.insert("name".into(), rhythm.name.into());
    for (parameter, value) in parameters(rhythm) {
        let info = parameter.info();
        let value = info.words.get(value as usize).map_or_else(|| number(value), |word| (*word).into());
        insert(&mut object, info.path, value);
    }
    let mut settings = Map::new();
    for (field, value) in rhythm.values {
        insert(&mut settings, field.info().path, number(*value));
    }
    if !settings.is_empty() {
        object.insert("settings".into(), settings.into());
    }
    Value::Object(object)
}

/// The parameters that a rhythm has, with their values.
pub fn parameters(rhythm: &Rhythm) -> impl Iterator<Item = (Parameter, f32)> + '_ {
    Parameter::ALL.iter().filter_map(|parameter| Some((*parameter, rhythm.parameter(*parameter)?)))
}
