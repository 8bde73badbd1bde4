//! The table of cases of the record, through a session and its report: the verdicts are those of the table. The worksheet's page is
//! held against the same table by `tests/conformance/test_worksheet.py`.

use pulsewright_bench::{Bench, Consumer, NoConsumer, PlannedSteps, RecordFile, Request, SessionView, Setup};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::FrameRate;
use pulsewright_record::record::{ItemEntry, PlaybackRecord, PlaybackStep};
use pulsewright_record::report::Report;
use pulsewright_record::session::answers::RecordInMaking;
use pulsewright_record::session::draft;
use pulsewright_record::{Plan, Record};
use pulsewright_script::parse;
use pulsewright_stream::Pace;
use serde_json::{Map, Value, json};
use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;
use std::{fs, io};

/// Shows nothing.
struct Unseen;

impl SessionView for Unseen {
    fn news(&self, _: &Value) {}

    fn frames(&self, _: u64, _: &[f32]) {}
}

/// The cases with the list of a plan's step that each belongs to.
fn cases() -> Vec<(&'static str, Value)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../record/cases");
    let of_file = |name: &str| {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        serde_json::from_str::<Vec<Value>>(&text).unwrap()
    };
    let list =
        |case: &Value| match ["reading", "alarm", "clear", "check"].into_iter().find(|kind| case.get(kind).is_some()) {
            Some("reading") => "readings",
            Some("alarm") => "alarms",
            Some("clear") => "clears",
            Some(_) => "checks",
            None => "silent",
        };
    let files = ["readings.json", "alarms.json", "ends.json"].into_iter();
    files.flat_map(of_file).map(|case| (list(&case), case)).collect()
}

/// A plan of one step with the items of all cases, each with its place in its id.
fn plan(cases: &[(&str, Value)]) -> Plan {
    let text = br#"{"version": 1, "steps": [{"duration_s": "hold", "expect": {"manual": [{"name": "x", "source": "invented"}]}}]}"#;
    let mut plan = serde_json::to_value(Plan::new(&parse(text, "plan").unwrap(), text, None).unwrap()).unwrap();
    let step = plan["steps"][0].as_object_mut().unwrap();
    let lists = ["readings", "alarms", "silent", "clears", "checks"];
    lists.iter().for_each(|list| _ = step.insert((*list).to_owned(), json!([])));
    for (place, (list, case)) in cases.iter().enumerate() {
        let named = json!({"id": format!("1.case-{place}"), "name": "x"});
        let sourced = json!({"source": ""});
        let read = json!({"quantity": "x", "unit": "", "value": null, "tolerance": null, "tolerance_percent": null, "min": null,
            "max": null, "allowed": "as the plan says"});
        let of = ["reading", "alarm", "clear"].iter().find_map(|kind| case.get(kind)).cloned().unwrap_or_default();
        let parts =
            [Some(named), (*list != "silent").then_some(sourced), (*list == "readings").then_some(read), Some(of)];
        let mut item = Map::new();
        for part in parts.iter().flatten().filter_map(Value::as_object) {
            item.extend(part.clone());
        }
        step[*list].as_array_mut().unwrap().push(Value::Object(item));
    }
    let mut plan: Plan = serde_json::from_value(plan).unwrap();
    plan.digest = plan.own_digest();
    plan
}

fn request(bench: &Bench, request: Request) -> Result<Value, String> {
    let (reply, replied) = mpsc::channel();
    bench.request(request, Box::new(move |done| _ = reply.send(done)));
    replied.recv().unwrap()
}

#[test]
fn a_session_and_its_report_judge_every_case_as_the_table_says() {
    let cases = cases();
    let plan = plan(&cases);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.json");
    // The step was played for a day: no time of a case is longer.
    let rate = FrameRate::lit(500);
    let played = PlaybackRecord { rate_hz: 500, output: "a test".to_owned(), ..PlaybackRecord::default() };
    let mut answers = RecordInMaking::open(&draft::of_record(&path), &plan, played).unwrap();
    answers.about([("asset".to_owned(), "INV-1".to_owned())]).unwrap();
    answers.played(PlaybackStep { id: "1".to_owned(), frames: 86_400 * 500, digest: "0".repeat(16) }).unwrap();
    drop(answers);
    let consumer = Consumer {
        name: "a test".to_owned(),
        leaves: false,
        pressures: SiteSet::USUAL,
        pace: Pace::Clock,
        delay: Duration::ZERO,
        forbids: Box::new(|_| None),
        coder: Box::new(NoConsumer),
        open: Box::new(|| Ok(Box::new(io::sink()))),
    };
    let planned = PlannedSteps { steps: Vec::new(), page: Value::Null, plan };
    let record = Some(RecordFile { path: path.clone(), force: false });
    let setup = Setup { rate, seed: 1, folder: None, plan: Some(planned), record, consumer };
    let bench = Bench::open(setup, Box::new(Unseen)).unwrap();
    request(&bench, Request::Begin { about: [].into() }).unwrap();
    for (place, (_, case)) in cases.iter().enumerate() {
        let entry: ItemEntry = match case.get("entry") {
            Some(entry) => serde_json::from_value(entry.clone()).unwrap(),
            None => {
                let text = |member: &str| case.get(member).and_then(Value::as_str).unwrap_or_default().to_owned();
                ItemEntry { value: text("written"), skip: text("skip"), ..ItemEntry::default() }
            }
        };
        let found = request(&bench, Request::Enter { item: format!("1.case-{place}"), entry }).unwrap();
        assert_eq!(found["verdict"], case["verdict"], "{}", case["what"]);
    }
    request(&bench, Request::Sign { name: "A. Invented".to_owned(), next_due: String::new() }).unwrap();
    let served = bench.close().unwrap();
    assert_eq!(served.record.as_deref(), Some(path.as_path()));
    let record = Record::from_json(&fs::read(&path).unwrap(), "record.json").unwrap();
    let report = Report::new(&record, None, &[]).unwrap();
    assert_eq!(report.judgement.items.len(), cases.len());
    for (_, item, judged) in &report.judgement.items {
        let place: usize = item.id().trim_start_matches("1.case-").parse().unwrap();
        let (_, case) = &cases[place];
        assert_eq!(judged.verdict.id(), case["verdict"], "{}", case["what"]);
    }
    assert!(report.judgement.disagreements.is_empty());
}
