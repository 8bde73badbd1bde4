//! Expectations back to JSON: the parts that the document named; the others are filled in on reading.

use super::expected::ReadingLimits;
use super::expected::{AlarmSetting, Expectations, ExpectedReading, ManualCheck, WrittenAlarm};
use super::limit::ReadingLimit;
use super::quantity::Quantity;
use super::read::USUAL;
use super::settings::OFF;
use serde_json::{Map, Value, json};

/// A list of lines.
pub(crate) fn lines(lines: &[String]) -> Value {
    lines.iter().map(String::as_str).collect()
}

/// The document's limits.
pub(crate) fn limits(limits: &ReadingLimits) -> Value {
    let one = |(quantity, limit): &(Quantity, ReadingLimit)| {
        let mut object = Map::new();
        members(limit, &mut object);
        (quantity.id().to_owned(), Value::Object(object))
    };
    Value::Object(limits.iter().map(one).collect())
}

fn members(limit: &ReadingLimit, object: &mut Map<String, Value>) {
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

/// The expectations of a step.
pub(crate) fn expect(expect: &Expectations) -> Value {
    let mut object = Map::new();
    if !expect.readings.is_empty() {
        object.insert("readings".into(), expect.readings.iter().map(reading).collect());
    }
    if !expect.alarms.is_empty() {
        let written: Vec<&WrittenAlarm> = expect.alarms.iter().map(|alarm| &alarm.written).collect();
        let usual = matches!(written[..], [only] if *only == WrittenAlarm::default());
        let alarms = if usual { USUAL.into() } else { written.into_iter().map(alarm).collect() };
        object.insert("alarms".into(), alarms);
    }
    if !expect.silent.is_empty() {
        let silent = expect.silent.iter().map(|of| match of.kind {
            Some(kind) => Value::from(kind.id()),
            None => json!({"name": of.name}),
        });
        object.insert("silent".into(), silent.collect());
    }
    if !expect.clears.is_empty() {
        let clears = expect.clears.iter().map(|of| match of.written_within_s {
            Some(within_s) => json!({"name": of.kind.id(), "within_s": within_s, "source": of.source}),
            None => Value::from(of.kind.id()),
        });
        object.insert("clears".into(), clears.collect());
    }
    if !expect.manual.is_empty() {
        object.insert("manual".into(), expect.manual.iter().map(manual_check).collect());
    }
    Value::Object(object)
}

fn alarm(written: &WrittenAlarm) -> Value {
    let mut object = Map::new();
    if let Some(name) = &written.name {
        object.insert("name".into(), name.as_str().into());
    }
    if let Some(priority) = written.priority {
        object.insert("priority".into(), priority.id().into());
    }
    if let Some(within_s) = written.within_s {
        object.insert("within_s".into(), within_s.into());
    }
    if let Some(source) = &written.source {
        object.insert("source".into(), source.as_str().into());
    }
    Value::Object(object)
}

/// The alarm limits.
pub(crate) fn alarm_settings(settings: &[AlarmSetting]) -> Value {
    let one = |setting: &AlarmSetting| {
        let value = setting.value.map_or(Value::from(OFF), Value::from);
        (setting.limit.id().to_owned(), json!({"value": value, "source": setting.source}))
    };
    Value::Object(settings.iter().map(one).collect())
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

/// A check by hand back to JSON.
fn manual_check(check: &ManualCheck) -> Value {
    let mut object = Map::new();
    object.insert("name".into(), check.name.as_str().into());
    match &check.limit {
        Some(limit) => {
            object.insert("unit".into(), check.unit.as_str().into());
            if let Some(value) = check.value {
                object.insert("value".into(), value.into());
            }
            members(limit, &mut object);
        }
        None => _ = object.insert("source".into(), check.source.as_str().into()),
    }
    Value::Object(object)
}
