//! Records that people filled in.

use pulsewright_record::report::{Report, data, page};
use pulsewright_record::{Plan, Record, record_csv as csv};
use std::sync::OnceLock;

/// Text gets a record that reads back from its saved form, or one problem with its place; both can be reported.
pub fn record(text: &[u8]) {
    match Record::from_json(text, "any.json") {
        Err(bad) => assert!(bad.line > 0 && bad.column > 0 && bad.to_string().starts_with("any.json:")),
        Ok(record) => {
            let saved = record.sealed_json();
            let again = Record::from_json(saved.as_bytes(), "saved.json").expect("what was saved is read");
            assert_eq!(again.digest, again.found_digest, "a record that was just saved is whole");
            assert_eq!(saved, again.sealed_json());
            report(&record);
        }
    }
}

/// As [`record`], for records written by hand as tables.
pub fn record_csv(text: &[u8]) {
    match csv::read(text, "any.csv") {
        Err(bad) => assert!(bad.line > 0 && bad.column > 0 && bad.to_string().starts_with("any.csv:")),
        Ok(record) => report(&record),
    }
}

fn report(record: &Record) {
    let fresh = plan();
    for fresh in [None, Some(fresh)] {
        if let Ok(report) = Report::new(record, fresh, std::slice::from_ref(record)) {
            assert!(!report.text().is_empty());
            assert!(page::html(&report).contains("</html>"));
            let _: serde_json::Value = serde_json::from_str(&data::json(&report)).expect("JSON");
            assert!(data::csv(&report).lines().count() > 0);
        }
    }
}

/// A plan that asks for readings and an alarm, invented.
fn plan() -> &'static Plan {
    static PLAN: OnceLock<Plan> = OnceLock::new();
    PLAN.get_or_init(|| {
        let text = include_bytes!("plan.json");
        let document = pulsewright_script::parse(text, "plan.json").expect("a script");
        Plan::new(&document, text, None).expect("a plan")
    })
}
