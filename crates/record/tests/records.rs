//! Records that people send: whole, by hand, broken, changed; and the message for each.

use pulsewright_record::guide::guide;
use pulsewright_record::plan::Plan;
use pulsewright_record::record::{ItemEntry, KitState, Record, Signature};
use pulsewright_record::report::{Report, data, page};
use pulsewright_record::{OverallVerdict, PlanWalkError, Verdict, record_csv};

const SCRIPT: &str = r#"{"version": 1, "title": "Invented", "kit": ["cable"], "prepare": ["no person"], "steps": [
    {"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate", "respiration-rate"]}},
    {"repeat": 2, "steps": [{"name": "arrest", "duration_s": 5, "rhythm": "asystole", "expect": {"alarms": "usual"}}]},
    {"name": "static 0", "duration_s": 5, "rhythm": "sinus", "arterial": {"closed": 1, "level_mmhg": 0}, "expect": {"readings": ["arterial-mean"]}},
    {"name": "static 100", "duration_s": 5, "arterial": {"level_mmhg": 100}, "expect": {"readings": ["arterial-mean"]}},
    {"name": "static 200", "duration_s": 5, "arterial": {"level_mmhg": 200}, "expect": {"readings": ["arterial-mean"]}},
    {"name": "dynamic", "duration_s": 5, "arterial": {"closed": 0, "level_mmhg": 0}, "expect": {"readings": ["arterial-systolic", "arterial-diastolic", "arterial-mean"]}}
]}"#;

fn plan() -> Plan {
    plan_of(SCRIPT)
}

fn plan_of(script: &str) -> Plan {
    let document =
        pulsewright_script::parse(script.as_bytes(), "x.json").unwrap_or_else(|problems| panic!("{problems}"));
    Plan::new(&document, script.as_bytes(), None).unwrap()
}

/// A saved record of the plan in which everything was entered, with these values.
fn record(values: &[(&str, &str)]) -> Record {
    saved(&entered(values))
}

/// The same, before it is saved.
fn entered(values: &[(&str, &str)]) -> Record {
    let mut record = Record { record: 1, plan: Some(plan()), ..Record::default() };
    record.about.insert("asset".into(), "INV-1".into());
    record.about.insert("date".into(), "2026-11-25".into());
    record.kit.insert("1".into(), KitState { out: "yes".into(), back: "yes".into(), ..KitState::default() });
    record.prepared.insert("0.prepare-1".into(), "yes".into());
    record.signatures.insert("done".into(), Signature { name: "A. Invented".into(), at: "2026-11-25".into() });
    let good = [
        ("1.heart-rate", "80"),
        ("1.respiration-rate", "15"),
        ("2.alarm-1", "5"),
        ("3.alarm-1", "5"),
        ("4.arterial-mean", "0"),
        ("5.arterial-mean", "100"),
        ("6.arterial-mean", "200"),
        ("7.arterial-systolic", "120"),
        ("7.arterial-diastolic", "80"),
        ("7.arterial-mean", "96"),
    ];
    for (id, value) in good.iter().chain(values) {
        let priority = if id.contains("alarm") { "high" } else { "" };
        let entry = ItemEntry { value: (*value).into(), priority: priority.into(), ..ItemEntry::default() };
        record.items.insert((*id).into(), entry);
    }
    record
}

fn saved(record: &Record) -> Record {
    Record::from_json(record.sealed_json().as_bytes(), "r.json").unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn a_plan_plays_repeats_out_and_knows_its_own_digest() {
    let plan = plan();
    let ids: Vec<&str> = plan.items().map(|(_, item)| item.id()).collect();
    assert_eq!(ids.len(), 10);
    assert_eq!(&ids[2..4], ["2.alarm-1", "3.alarm-1"]);
    assert_eq!(plan.digest, plan.own_digest());
    let again: Plan = serde_json::from_str(&serde_json::to_string(&plan).unwrap()).unwrap();
    assert_eq!(again, plan);
    assert_ne!(plan.digest, plan_of(&SCRIPT.replace("\"rate_bpm\": 80", "\"rate_bpm\": 81")).digest);
    // 20 s for the step that holds, 30 s for the others.
    assert_eq!((plan.frames.count, plan.frames.rate_hz), (25_000, 500));
    assert_ne!(plan.frames.digest, plan_of(&SCRIPT.replace("sinus", "atrial-fibrillation")).frames.digest);
}

#[test]
fn scripts_that_make_no_plan() {
    let plan = |script: &str| {
        let document = pulsewright_script::parse(script.as_bytes(), "x.json").unwrap();
        Plan::new(&document, script.as_bytes(), None).unwrap_err()
    };
    let many = r#"{"version": 1, "steps": [{"repeat": 501, "steps": [{"duration_s": 5, "expect": {"readings": ["heart-rate"]}}]}]}"#;
    assert_eq!(plan(many), PlanWalkError::TooManySteps);
}

#[test]
fn a_script_without_expectations_expects_what_a_correct_monitor_shows() {
    let text = r#"{"version": 1, "steps": [{"duration_s": 2, "rate_bpm": 72, "arterial": {"systolic_mmhg": 130, "diastolic_mmhg": 70}},
        {"duration_s": "hold", "rhythm": "ventricular-fibrillation"}]}"#;
    let plan = plan_of(text);
    let [first, second] = plan.steps.as_slice() else { panic!("{} steps", plan.steps.len()) };
    let value = |id: &str| first.readings.iter().find(|of| of.id == id).unwrap_or_else(|| panic!("{id}")).value;
    for (id, expected) in [
        ("1.heart-rate", 72.0),
        ("1.arterial-systolic", 130.0),
        ("1.arterial-diastolic", 70.0),
        ("1.respiration-rate", 15.0),
    ] {
        assert!(value(id).is_some_and(|value| (value - expected).abs() < 1.0), "{id}: {:?}", value(id));
    }
    assert!(first.readings.iter().all(|of| of.tolerance.is_some() && !of.source.is_empty()));
    assert!(first.alarms.is_empty());
    let [alarm] = second.alarms.as_slice() else { panic!("{:?}", second.alarms) };
    assert_eq!((alarm.id.as_str(), alarm.priority.as_str()), ("2.alarm-1", "high"));
    // What a script says itself is all that it expects.
    assert_eq!(plan_of(SCRIPT).steps[0].readings.len(), self::plan().steps[0].readings.len());
}

#[test]
fn a_good_record_passes_and_a_sealed_one_is_known() {
    let record = record(&[]);
    let report = Report::new(&record, None, &[]).unwrap();
    assert!(report.passed(), "{}", report.text());
    assert!(report.integrity.unknown.is_empty());
    assert!(report.text().starts_with("Invented: INV-1\npassed: 10 passed, 0 failed, 0 skipped, 0 open\n"));
    let fresh = plan();
    assert!(Report::new(&record, Some(&fresh), &[]).unwrap().passed());
    let other = plan_of(&SCRIPT.replace("Invented", "Other"));
    let report = Report::new(&record, Some(&other), &[]).unwrap();
    assert_eq!(report.integrity.changed, ["the script named is not the one that the record was made from"]);
}

#[test]
fn any_change_of_the_text_is_error() {
    let text = record(&[]).sealed_json();
    for (old, new) in [
        ("\"value\": \"80\"", "\"value\": \"81\""),
        ("INV-1", "INV-2"),
        ("A. Invented", "B. Invented"),
        ("\"priority\": \"high\"", "\"priority\": \"low\""),
        ("\"within_s\": 6.0", "\"within_s\": 20.0"),
        ("\"tolerance\": 5.0", "\"tolerance\": 50.0"),
    ] {
        assert!(text.contains(old), "{old}");
        let changed = Record::from_json(text.replacen(old, new, 1).as_bytes(), "r.json").unwrap();
        let report = Report::new(&changed, None, &[]).unwrap();
        assert!(!report.passed() && !report.integrity.changed.is_empty(), "{old}");
        assert!(page::html(&report).contains("Changed"), "{old}");
    }
}

#[test]
fn a_verdict_that_its_numbers_do_not_bear_is_error() {
    let mut record = entered(&[("1.heart-rate", "200")]);
    record.items.get_mut("1.heart-rate").unwrap().verdict = "pass".into();
    let record = saved(&record);
    let report = Report::new(&record, None, &[]).unwrap();
    assert_eq!(report.judgement.disagreements, ["1.heart-rate: the record says pass, its numbers say fail"]);
    assert_eq!(report.judgement.overall, OverallVerdict::Failed);
}

#[test]
fn what_is_missing_is_incomplete_and_a_skip_with_a_reason_is_not() {
    let mut record = entered(&[]);
    record.items.remove("1.heart-rate");
    record.items.get_mut("2.alarm-1").unwrap().priority.clear();
    record.kit.get_mut("1").unwrap().back.clear();
    record.prepared.clear();
    record.signatures.clear();
    record.about.clear();
    let report = Report::new(&record, None, &[]).unwrap();
    assert_eq!(report.judgement.overall, OverallVerdict::Incomplete);
    assert_eq!(report.judgement.count(Verdict::Open), 2);
    let missing = report.judgement.missing.join("\n");
    for word in ["preparation not ticked: no person", "kit not brought back: cable", "not signed", "no asset number"] {
        assert!(missing.contains(word), "{word} in {missing}");
    }
    assert!(report.integrity.changed[0].starts_with("the record has no digest"));
    let mut record = entered(&[]);
    *record.items.get_mut("1.heart-rate").unwrap() = ItemEntry { skip: "no cable".into(), ..ItemEntry::default() };
    assert!(Report::new(&saved(&record), None, &[]).unwrap().passed());
}

#[test]
fn broken_files_are_told_with_their_place() {
    let text = record(&[]).sealed_json();
    let error = |text: &[u8]| Record::from_json(text, "r.json").unwrap_err().to_string();
    assert!(error(b"").starts_with("r.json:1:1: the file is empty"));
    assert!(error(b"\xff\xfe{").contains("not UTF-8"));
    assert!(error(br#"{"record": 2}"#).contains("record version 2 is not known here; allowed: 1"));
    assert!(error(br#"{"record": 1, "itmes": {}}"#).contains("unknown field `itmes`, expected one of"));
    assert!(error(br#"[1]"#).starts_with("r.json:1:"));
    assert!(error(br#"{"record": 1, "items": {"1.heart-rate": {"value": 80}}}"#).contains("expected a string"));
    // Cut off anywhere: a message, never a record.
    for cut in (1..text.len() - 2).step_by(37).filter(|cut| text.is_char_boundary(*cut)) {
        let message = error(&text.as_bytes()[..cut]);
        assert!(message.starts_with("r.json:"), "{message}");
    }
    assert!(error(&text.as_bytes()[..text.len() / 2]).contains("was it cut off?"));
}

#[test]
fn a_record_by_hand_needs_only_what_was_read() {
    let text = r#"{"record": 1, "items": {"1.heart-rate": {"value": "77,5"}, "9.heart-rate": {"value": "1"}}}"#;
    let record = Record::from_json(text.as_bytes(), "r.json").unwrap();
    assert!(Report::new(&record, None, &[]).is_err());
    let plan = plan();
    let report = Report::new(&record, Some(&plan), &[]).unwrap();
    assert_eq!(report.judgement.count(Verdict::Pass), 1);
    assert_eq!(report.objections()[1..], ["9.heart-rate: the plan has no such item"]);
    assert!(report.objections()[0].starts_with("the record has no digest"));
}

#[test]
fn a_record_as_a_table() {
    let text = "item;value;priority;skip;remark\nabout.asset;INV-1;;;\n1.heart-rate;80,5;;;\n2.alarm-1;8,2;high;;heard twice\n\
        3.alarm-1;;;no time;\nkit.1;back;;;\n0.prepare-1;yes;;;\nsigned.done;A. Invented;;;2026-11-25\ninstrument;Meter;;;M-7\n";
    let record = record_csv::read(text.as_bytes(), "r.csv").unwrap();
    let plan = plan();
    let report = Report::new(&record, Some(&plan), &[]).unwrap();
    let verdicts: Vec<Verdict> = report.judgement.items.iter().take(4).map(|(_, _, judged)| judged.verdict).collect();
    assert_eq!(verdicts, [Verdict::Pass, Verdict::Open, Verdict::Pass, Verdict::Skipped]);
    assert!(report.judgement.missing.is_empty(), "{:?}", report.judgement.missing);
    assert_eq!(record.instruments[0].id, "M-7");
    let error = |text: &str| record_csv::read(text.as_bytes(), "r.csv").unwrap_err().to_string();
    assert!(error("a,b\n").contains("r.csv:1:1: no column \"item\""));
    assert!(error("item,value,valeu\n").contains("unknown column \"valeu\""));
    assert!(error("item,value\nabout.aset,x\n").contains("r.csv:2:1: unknown word \"aset\""));
    assert!(error("item,value\n1.x,1\n1.x,2\n").contains("r.csv:3:1: item \"1.x\" is given twice"));
    assert!(error("item,value\nkit.1,perhaps\n").contains("allowed: out, back"));
}

#[test]
fn the_fault_guide_tells_zero_from_gain_from_damping() {
    let first = |values: &[(&str, &str)], id: &str| {
        let record = record(values);
        let report = Report::new(&record, None, &[]).unwrap();
        let found = report.judgement.items.iter().find(|(_, item, _)| item.id() == id).unwrap();
        guide(&report.judgement, found.1, &found.2).first().copied().unwrap_or("nothing").to_owned()
    };
    let zero = [
        ("4.arterial-mean", "9"),
        ("5.arterial-mean", "109"),
        ("6.arterial-mean", "209"),
        ("7.arterial-systolic", "129"),
        ("7.arterial-diastolic", "89"),
        ("7.arterial-mean", "105"),
    ];
    assert!(first(&zero, "5.arterial-mean").starts_with("Zero: every reading"), "{}", first(&zero, "5.arterial-mean"));
    let gain = [
        ("5.arterial-mean", "110"),
        ("6.arterial-mean", "220"),
        ("7.arterial-systolic", "132"),
        ("7.arterial-diastolic", "88"),
        ("7.arterial-mean", "105"),
    ];
    assert!(first(&gain, "6.arterial-mean").starts_with("Gain:"), "{}", first(&gain, "6.arterial-mean"));
    let damped = [("7.arterial-systolic", "106"), ("7.arterial-diastolic", "88")];
    assert!(first(&damped, "7.arterial-systolic").starts_with("Damping:"));
    let ringing = [("7.arterial-systolic", "136"), ("7.arterial-diastolic", "72")];
    assert!(first(&ringing, "7.arterial-systolic").starts_with("Underdamping:"));
    assert!(first(&[("1.heart-rate", "160")], "1.heart-rate").starts_with("Doubled rate"));
    assert!(first(&[("1.heart-rate", "40")], "1.heart-rate").starts_with("Beats are missed"));
    assert!(
        first(&[("1.respiration-rate", "80")], "1.respiration-rate").starts_with("The reading equals the heart rate")
    );
    assert!(first(&[("2.alarm-1", "12")], "2.alarm-1").starts_with("Delay setting"));
    assert_eq!(first(&[], "2.alarm-1"), "nothing");
}

#[test]
fn readings_of_the_same_asset_over_time() {
    let on = |date: &str, value: &str| {
        let mut record = entered(&[("6.arterial-mean", value)]);
        record.about.insert("date".into(), date.into());
        saved(&record)
    };
    let now = on("2026-11-25", "206");
    let mut other = on("2025-01-01", "230");
    other.about.insert("asset".into(), "INV-2".into());
    let other = saved(&other);
    let earlier = [on("2025-11-20", "202"), on("2024-11-22", "200"), other];
    let report = Report::new(&now, None, &earlier).unwrap();
    assert_eq!(report.left_out, 1);
    let trend = report.trends.iter().find(|trend| trend.name == "6. static 200: Arterial mean").unwrap();
    let points: Vec<(&str, f64)> = trend.points.iter().map(|point| (point.date.as_str(), point.error)).collect();
    assert_eq!(points, [("2024-11-22", 0.0), ("2025-11-20", 2.0), ("2026-11-25", 6.0)]);
    assert_eq!((trend.drift, trend.width, trend.noticeable), (6.0, Some(8.0), true));
    assert!(!report.trends.iter().any(|trend| trend.name.contains("Heart rate") && trend.noticeable));
    assert!(report.text().contains("drift    6. static 200: Arterial mean: +6 mmHg"));
    assert!(page::html(&report).contains("noticeable"));
    assert!(data::json(&report).contains("\"drift\": 6.0"));
}

#[test]
fn foreign_text_stays_text() {
    let mut record = entered(&[("1.heart-rate", "<script>alert(1)</script>")]);
    record.about.insert("asset".into(), "\"><img src=x onerror=alert(1)>".into());
    record.items.get_mut("2.alarm-1").unwrap().remark = "<b>".into();
    let mut plan = plan();
    plan.steps[0].id = "<meta http-equiv=refresh content=0>".into();
    record.plan = Some(plan);
    let report = Report::new(&record, None, &[]).unwrap();
    let html = page::html(&report);
    assert!(
        !html.contains("<script")
            && !html.contains("<img")
            && !html.contains("<meta http-equiv=refresh")
            && !html.contains("<b>")
    );
    assert!(html.contains("&lt;script&gt;"));
}

#[test]
fn an_alarm_late_and_of_another_priority_fails_for_both_reasons() {
    let mut late = entered(&[("2.alarm-1", "30")]);
    if let Some(entry) = late.items.get_mut("2.alarm-1") {
        entry.priority = "low".into();
    }
    let report = data::json(&Report::new(&saved(&late), None, &[]).unwrap());
    assert!(report.contains("late by 20") && report.contains("and low in place of high"), "{report}");
    // The stopwatch was pressed before an alarm can be known: nothing is judged.
    let report = data::json(&Report::new(&record(&[("2.alarm-1", "0")]), None, &[]).unwrap());
    assert!(report.contains("s is too soon: no monitor can know before"), "{report}");
}
