//! The table of cases that the page's script is held against too (`tests/conformance/test_worksheet.py`).

use pulsewright_record::judge::judge;
use pulsewright_record::plan::{Item, PlanAlarm, PlanCheck, PlanClear, PlanReading, PlanSilence};
use pulsewright_record::record::{Entry, Record};
use serde_json::Value;

fn cases(file: &str) -> Vec<Value> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("cases").join(file);
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn verdict(item: Item<'_>, entry: Entry) -> &'static str {
    let mut record = Record { record: 1, ..Record::default() };
    record.items.insert(item.id().to_owned(), entry);
    judge(item, &record).verdict.id()
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

#[test]
fn readings() {
    let cases = cases("readings.json");
    assert!(cases.len() > 40);
    for case in cases {
        let of = &case["reading"];
        let reading = PlanReading {
            id: "1.x".into(),
            quantity: "x".into(),
            name: "x".into(),
            unit: text(&of["unit"]),
            value: of["value"].as_f64(),
            low: of["low"].as_f64(),
            high: of["high"].as_f64(),
            why: String::new(),
            tolerance: of["tolerance"].as_f64(),
            tolerance_percent: of["tolerance_percent"].as_f64(),
            min: of["min"].as_f64(),
            max: of["max"].as_f64(),
            allowed: String::new(),
            source: String::new(),
        };
        let entry = Entry { value: text(&case["written"]), skip: text(&case["skip"]), ..Entry::default() };
        assert_eq!(verdict(Item::Reading(&reading), entry), case["verdict"], "{}", case["what"]);
    }
}

#[test]
fn alarms() {
    let cases = cases("alarms.json");
    assert!(cases.len() > 10);
    for case in cases {
        let alarm = PlanAlarm {
            id: "1.alarm-1".into(),
            name: "x".into(),
            priority: text(&case["alarm"]["priority"]),
            onset_s: case["alarm"]["onset_s"].as_f64().unwrap_or(0.0),
            soonest_s: case["alarm"]["soonest_s"].as_f64().unwrap_or(0.1),
            within_s: case["alarm"]["within_s"].as_f64().unwrap(),
            source: String::new(),
        };
        let entry: Entry = serde_json::from_value(case["entry"].clone()).unwrap();
        assert_eq!(verdict(Item::Alarm(&alarm), entry), case["verdict"], "{}", case["what"]);
    }
}

#[test]
fn silence_and_ends() {
    let cases = cases("ends.json");
    assert!(cases.len() > 10);
    for case in cases {
        let entry: Entry = serde_json::from_value(case["entry"].clone()).unwrap();
        let verdict = match case.get("clear") {
            Some(of) => {
                let clear = PlanClear {
                    id: "1.clear-1".into(),
                    name: "x".into(),
                    end_s: of["end_s"].as_f64().unwrap(),
                    within_s: of["within_s"].as_f64().unwrap(),
                    source: String::new(),
                };
                verdict(Item::Clear(&clear), entry)
            }
            None if case.get("check").is_some() => {
                let check = PlanCheck { id: "1.manual-1".into(), name: "x".into(), source: String::new() };
                verdict(Item::Check(&check), entry)
            }
            None => verdict(Item::Silence(&PlanSilence { id: "1.silent-1".into(), name: "x".into() }), entry),
        };
        assert_eq!(verdict, case["verdict"], "{}", case["what"]);
    }
}
