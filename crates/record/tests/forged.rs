//! Records that were changed after they were saved, in every way a text editor can: none of them passes.

use pulsewright_record::plan::Plan;
use pulsewright_record::record::{Instrument, ItemEntry, KitState, Record, Signature};
use pulsewright_record::record_csv;
use pulsewright_record::report::{Report, data, page};
use serde_json::Value;

const SCRIPT: &str = r#"{"version": 1, "title": "Invented", "kit": ["cable"], "prepare": ["no person"], "steps": [
    {"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate"]}},
    {"name": "arrest", "duration_s": 5, "rhythm": "asystole", "expect": {"alarms": "usual"}}]}"#;

fn plan() -> Plan {
    let document = pulsewright_script::parse(SCRIPT.as_bytes(), "x.json").unwrap();
    Plan::new(&document, SCRIPT.as_bytes(), None).unwrap()
}

/// A record that passes, with an entry of every kind.
fn entered() -> Record {
    let mut record =
        Record { record: 1, plan: Some(plan()), saved_at: "2026-11-25T10:00:00Z".into(), ..Record::default() };
    for (word, text) in [("asset", "INV-1"), ("date", "2026-11-25"), ("model", "x1")] {
        record.about.insert(word.into(), text.into());
    }
    record.kit.insert("1".into(), KitState { out: "yes".into(), back: "yes".into(), ..KitState::default() });
    record.prepared.insert("0.prepare-1".into(), "yes".into());
    record.instruments.push(Instrument { what: "Meter".into(), id: "M-7".into(), due: "2027-01-31".into() });
    record.signatures.insert("done".into(), Signature { name: "A. Invented".into(), at: "2026-11-25".into() });
    let entry = |value: &str, priority: &str| ItemEntry {
        value: value.into(),
        priority: priority.into(),
        verdict: "pass".into(),
        ..ItemEntry::default()
    };
    record.items.insert("1.heart-rate".into(), entry("80", ""));
    record.items.insert("2.alarm-1".into(), entry("5", "high"));
    record
}

fn passes(text: &str) -> bool {
    let Ok(record) = Record::from_json(text.as_bytes(), "r.json") else { return false };
    Report::new(&record, None, &[]).is_ok_and(|report| report.passed())
}

#[test]
fn no_character_can_be_changed() {
    let text = entered().sealed_json();
    assert!(passes(&text));
    let mut tried = 0;
    for (at, was) in text.char_indices() {
        let next = char::from_u32(was as u32 + 1).unwrap_or('a');
        for other in ["", "0", "9", "x", "\"", "\\", &was.to_string().repeat(2), &next.to_string()] {
            let changed = format!("{}{other}{}", &text[..at], &text[at + was.len_utf8()..]);
            // The layout does not count: what a parser by other hands reads is the same.
            let same = |text: &str| serde_json::from_str::<Value>(text).ok();
            if changed == text || same(&changed) == same(&text) {
                continue;
            }
            assert!(!passes(&changed), "at {at}, {was:?} became {other:?}");
            tried += 1;
        }
    }
    assert!(tried > 15_000, "{tried}");
}

/// Every way to a member of an object, as names and indices.
fn members(value: &Value, here: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
    let children: Vec<(String, &Value)> = match value {
        Value::Object(map) => map.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(list) => list.iter().enumerate().map(|(i, value)| (i.to_string(), value)).collect(),
        _ => return,
    };
    for (name, child) in children {
        here.push(name);
        found.push(here.clone());
        members(child, here, found);
        here.pop();
    }
}

fn parent<'v>(value: &'v mut Value, path: &[String]) -> &'v mut Value {
    path.iter().fold(value, |value, name| match value {
        Value::Array(list) => &mut list[name.parse::<usize>().unwrap()],
        other => &mut other[name.as_str()],
    })
}

#[test]
fn no_member_can_be_stripped_nulled_or_doubled() {
    let text = entered().sealed_json();
    let whole: Value = serde_json::from_str(&text).unwrap();
    let mut paths = Vec::new();
    members(&whole, &mut Vec::new(), &mut paths);
    assert!(paths.len() > 80, "{}", paths.len());
    for path in &paths {
        let (name, above) = path.split_last().unwrap();
        let mut stripped = whole.clone();
        let mut nulled = whole.clone();
        let mut doubled = whole.clone();
        match parent(&mut stripped, above) {
            Value::Array(list) => _ = list.remove(name.parse().unwrap()),
            Value::Object(map) => _ = map.shift_remove(name.as_str()),
            _ => unreachable!(),
        }
        *parent(&mut nulled, path) = Value::Null;
        assert!(!passes(&stripped.to_string()), "without {path:?}");
        if nulled != whole {
            assert!(!passes(&nulled.to_string()), "null in {path:?}");
        }
        // A map holds no member twice: the second is put into the text.
        let member = parent(&mut doubled, path).take().to_string();
        *parent(&mut doubled, path) = Value::String("here".into());
        if parent(&mut doubled, above).is_object() {
            let once = format!("{}:\"here\"", Value::String(name.clone()));
            let key = Value::String(name.clone());
            let other = if member.contains("pass") { member.replace("pass", "fail") } else { "\"\"".into() };
            for (first, second) in [(&member, &member), (&member, &other), (&other, &member)] {
                let text = doubled.to_string().replacen(&once, &format!("{key}:{first},{key}:{second}"), 1);
                assert!(Record::from_json(text.as_bytes(), "r.json").is_err(), "{path:?} twice");
            }
        }
    }
}

#[test]
fn a_record_without_a_digest_is_changed() {
    let text = entered().sealed_json();
    let digest = text
        .lines()
        .find(|line| line.trim_start().starts_with("\"digest\": \"sha256") && line.starts_with("  \""))
        .unwrap();
    for (old, new) in [(format!(",\n{digest}"), String::new()), (digest.to_owned(), "  \"digest\": null".to_owned())] {
        let text = text.replacen(&old, &new, 1).replace("\"value\": \"80\"", "\"value\": \"79\"");
        let record = Record::from_json(text.as_bytes(), "r.json").unwrap();
        let report = Report::new(&record, None, &[]).unwrap();
        assert!(!report.passed());
        assert!(report.text().contains("\nchanged: ") && report.text().contains("CHANGED  the record has no digest"));
        assert!(page::html(&report).contains(">Changed<") || page::html(&report).contains("</span>Changed"));
        assert!(data::json(&report).contains("\"overall\": \"changed\"") && data::csv(&report).contains(",changed,"));
    }
}

#[test]
fn a_changed_record_that_is_saved_again_stays_in_doubt() {
    let text = entered().sealed_json().replace("\"value\": \"80\"", "\"value\": \"79\"");
    let changed = Record::from_json(text.as_bytes(), "r.json").unwrap();
    let again = Record::from_json(changed.sealed_json().as_bytes(), "r.json").unwrap();
    let again = Record::from_json(again.sealed_json().as_bytes(), "r.json").unwrap();
    let report = Report::new(&again, None, &[]).unwrap();
    assert!(!report.passed() && report.objections()[0].starts_with("the record was made from one that was changed"));
}

#[test]
fn earlier_records_are_held_against_their_digests_and_tables_will_do() {
    let now = Record::from_json(entered().sealed_json().as_bytes(), "now.json").unwrap();
    let mut before = entered();
    before.about.insert("date".into(), "2025-11-25".into());
    let text = before.sealed_json();
    let earlier = Record::from_json(text.as_bytes(), "2025.json").unwrap();
    let table = "item,value\nabout.asset,INV-1\nabout.date,2024-11-25\n1.heart-rate,82\n";
    let table = record_csv::read(table.as_bytes(), "2024.csv").unwrap();
    let report = Report::new(&now, None, &[earlier, table.clone()]).unwrap();
    assert!(report.passed(), "{}", report.text());
    let points: Vec<(&str, f64)> = report.trends[0].points.iter().map(|p| (p.date.as_str(), p.error)).collect();
    assert_eq!(points, [("2024-11-25", 2.0), ("2025-11-25", 0.0), ("2026-11-25", 0.0)]);
    let forged = Record::from_json(text.replace("\"80\"", "\"70\"").as_bytes(), "2025.json").unwrap();
    let report = Report::new(&now, None, &[forged, table]).unwrap();
    assert!(!report.passed());
    assert_eq!(
        report.objections(),
        ["earlier record 2025.json: the record was changed after it was saved: its digest does not fit"]
    );
    assert_eq!((report.left_out, report.trends[0].points.len()), (1, 2));
}

#[test]
fn instruments_out_of_calibration_leave_a_record_incomplete() {
    let mut record = entered();
    record.instruments[0].due = "2020-01-31".into();
    let record = Record::from_json(record.sealed_json().as_bytes(), "r.json").unwrap();
    let report = Report::new(&record, None, &[]).unwrap();
    assert!(report.text().contains("\nincomplete: ") && report.text().contains("ran out on 2020-01-31"));
}

#[test]
fn tables_that_say_a_thing_twice_are_refused() {
    for rows in [
        "about.asset,1\nabout.asset,2",
        "kit.1,out\nkit.1,out",
        "kit.1,back\nkit.1,out",
        "0.prepare-1,no\n0.prepare-1,yes",
        "signed.done,A\nsigned.done,B",
    ] {
        let message = record_csv::read(format!("item,value\n{rows}\n").as_bytes(), "r.csv").unwrap_err().to_string();
        assert!(message.starts_with("r.csv:3:1: item ") && message.contains("twice"), "{message}");
    }
    let message = record_csv::read(b"item,value,value\n", "r.csv").unwrap_err().to_string();
    assert!(message.contains("column \"value\" is given twice"), "{message}");
}

#[test]
fn foreign_words_forge_no_line_and_start_no_formula() {
    let mut record = entered();
    record.about.insert("asset".into(), "x\npassed: 99 passed\u{1b}[2J\u{202e}".into());
    record.about.insert("work_order".into(), "=cmd|' /C calc'!A0".into());
    record.items.get_mut("1.heart-rate").unwrap().skip = "later\u{2028}passed".into();
    record.items.get_mut("1.heart-rate").unwrap().verdict = String::new();
    let record = Record::from_json(record.sealed_json().as_bytes(), "r.json").unwrap();
    let report = Report::new(&record, None, &[]).unwrap();
    let unfit = |text: &str| text.chars().any(|c| c != '\n' && pulsewright_text::fit::is_unfit(c));
    assert!(!report.text().lines().any(|line| line.starts_with("passed: 99")), "{}", report.text());
    for text in [report.text(), page::html(&report), data::json(&report), data::csv(&report)] {
        assert!(!unfit(&text), "{text}");
    }
    assert!(data::csv(&report).contains(",'=cmd|"));
}
