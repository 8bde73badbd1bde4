//! The table of cases that judge, sessions and the worksheet's page are held against: here the judge, and the rules that the page
//! gets (`cases/rules.json`, for `tests/conformance/test_worksheet.py`). `BLESS=1` writes the rules anew.

use pulsewright_record::judge::judge;
use pulsewright_record::plan::{PlanAlarm, PlanCheck, PlanClear, PlanItem, PlanReading, PlanSilence};
use pulsewright_record::record::{ItemEntry, Record};
use pulsewright_record::rules::EntryRule;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("cases").join(name)
}

fn cases(name: &str) -> Vec<Value> {
    serde_json::from_str(&std::fs::read_to_string(file(name)).unwrap()).unwrap()
}

/// An item of a case, with what a plan says of it.
enum Of {
    Reading(PlanReading),
    Alarm(PlanAlarm),
    Silence(PlanSilence),
    Clear(PlanClear),
    Check(PlanCheck),
}

impl Of {
    fn item(&self) -> PlanItem<'_> {
        match self {
            Of::Reading(of) => PlanItem::Reading(of),
            Of::Alarm(of) => PlanItem::Alarm(of),
            Of::Silence(of) => PlanItem::Silence(of),
            Of::Clear(of) => PlanItem::Clear(of),
            Of::Check(of) => PlanItem::Check(of),
        }
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// The members of a case beside those that every item of its kind needs.
fn with(members: Value, of: &Value) -> Value {
    let mut all = members;
    all.as_object_mut()
        .unwrap()
        .extend(of.as_object().into_iter().flatten().map(|(key, of)| (key.clone(), of.clone())));
    all
}

fn of(case: &Value) -> Of {
    let named = json!({"id": "1.x", "name": "x", "source": ""});
    if let Some(of) = case.get("reading") {
        let empty = json!({"quantity": "x", "unit": "", "value": null, "tolerance": null, "tolerance_percent": null, "min": null,
            "max": null, "allowed": "as the plan says"});
        return Of::Reading(serde_json::from_value(with(with(named, &empty), of)).unwrap());
    }
    if let Some(of) = case.get("alarm") {
        return Of::Alarm(serde_json::from_value(with(named, of)).unwrap());
    }
    if let Some(of) = case.get("clear") {
        return Of::Clear(serde_json::from_value(with(named, of)).unwrap());
    }
    if case.get("check").is_some() {
        return Of::Check(serde_json::from_value(named).unwrap());
    }
    Of::Silence(serde_json::from_value(json!({"id": "1.x", "name": "x"})).unwrap())
}

#[test]
fn every_case_is_judged_as_it_says_and_the_page_gets_its_rule() {
    let mut rules = serde_json::Map::new();
    for (name, least) in [("readings.json", 40), ("alarms.json", 10), ("ends.json", 10)] {
        let cases = cases(name);
        assert!(cases.len() > least);
        let mut of_file = Vec::new();
        for case in cases {
            let of = of(&case);
            let entry = match case.get("written") {
                Some(written) => ItemEntry { value: text(written), skip: text(&case["skip"]), ..ItemEntry::default() },
                None => serde_json::from_value(case["entry"].clone()).unwrap(),
            };
            let mut record = Record { record: 1, ..Record::default() };
            record.items.insert("1.x".to_owned(), entry);
            let judged = judge(of.item(), &record);
            assert_eq!(judged.verdict.id(), case["verdict"], "{}", case["what"]);
            of_file.push(serde_json::to_value(EntryRule::of(of.item())).unwrap());
        }
        rules.insert(name.to_owned(), Value::Array(of_file));
    }
    let rules = serde_json::to_string_pretty(&rules).unwrap() + "\n";
    let path = file("rules.json");
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(&path, &rules).unwrap();
    }
    assert_eq!(std::fs::read_to_string(&path).unwrap_or_default(), rules, "BLESS=1 writes it anew");
}
