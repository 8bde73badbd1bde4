//! Expectations back to JSON: what the document named itself; what was filled in is filled in again.

use super::read::Limits;
use super::{Expectations, ExpectedReading, Limit};
use serde_json::{Map, Value, json};

/// A list of lines.
pub(crate) fn lines(lines: &[String]) -> Value {
    lines.iter().map(String::as_str).collect()
}

/// The document's limits.
pub(crate) fn limits(limits: &Limits) -> Value {
    let one = |(quantity, limit): &(super::Quantity, Limit)| {
        let mut object = Map::new();
        members(limit, &mut object);
        (quantity.id().to_owned(), Value::Object(object))
    };
    Value::Object(limits.iter().map(one).collect())
}

fn members(limit: &Limit, object: &mut Map<String, Value>) {
    let numbers = [
        ("tolerance", limit.tolerance),
        ("tolerance_percent", limit.tolerance_percent),
        ("min", limit.min),
        ("max", limit.max),
    ];
    for (key, value) in numbers {
        if let Some(value) = value {
            object.insert(key.into(), value.into());
        }
    }
    object.insert("source".into(), limit.source.as_str().into());
}

/// What a step expects.
pub(crate) fn expect(expect: &Expectations) -> Value {
    let mut object = Map::new();
    if !expect.readings.is_empty() {
        object.insert("readings".into(), expect.readings.iter().map(reading).collect());
    }
    if !expect.alarms.is_empty() {
        let alarm = |alarm: &super::ExpectedAlarm| {
            json!({
                "name": alarm.name, "priority": alarm.priority.id(), "within_s": alarm.within_s, "source": alarm.source
            })
        };
        object.insert("alarms".into(), expect.alarms.iter().map(alarm).collect());
    }
    Value::Object(object)
}

fn reading(reading: &ExpectedReading) -> Value {
    let mut object = Map::new();
    object.insert("quantity".into(), reading.quantity.id().into());
    if let Some(value) = reading.value.filter(|_| reading.named.value) {
        object.insert("value".into(), value.into());
    }
    if reading.named.limit {
        members(&reading.limit, &mut object);
    }
    if object.len() == 1 { reading.quantity.id().into() } else { Value::Object(object) }
}
