//! The carrying of settings from step to step, and scripts of one step.

use pulsewright_core::script::Script;
use pulsewright_core::settings::Field::{self, *};
use pulsewright_core::time::Span;
use pulsewright_script::{Document, OneStep, parse};

fn steps(steps: &str) -> Document {
    let text = format!("{{\"version\": 1, \"steps\": [{steps}]}}");
    parse(text.as_bytes(), "steps").unwrap_or_else(|problems| panic!("{problems}"))
}

/// Checks a field at the start of the step at `item`, and what it ramps to.
#[track_caller]
fn check(document: &Document, item: usize, field: Field, start: f32, ramp_to: Option<f32>) {
    let step = document.step(item).unwrap();
    let ramp = step.ramps.iter().find(|ramp| ramp.field == field).map(|ramp| ramp.to);
    assert_eq!((step.settings.get(field), ramp), (start, ramp_to), "{field:?}");
}

#[test]
fn the_first_step_starts_from_a_resting_adult() {
    let document = steps(r#"{"duration_s": 1}"#);
    assert_eq!(document.step(0).unwrap().settings.rhythm().id, "sinus");
    assert_eq!(document.step(0).unwrap().settings.body().id, "adult");
    check(&document, 0, ArterialSystolic, 120.0, None);
    assert_eq!(document.seed(), 0);
}

#[test]
fn a_step_changes_only_what_it_names() {
    let document = steps(
        r#"{"duration_s": 1, "rate_bpm": 90, "arterial": {"systolic_mmhg": 140}},
           {"duration_s": 1, "arterial": {"diastolic_mmhg": 85}}"#,
    );
    check(&document, 1, RateBpm, 90.0, None);
    check(&document, 1, ArterialSystolic, 140.0, None);
    check(&document, 1, ArterialDiastolic, 85.0, None);
}

#[test]
fn a_ramp_ends_where_the_next_step_starts() {
    let document = steps(
        r#"{"duration_s": 1, "rate_bpm": {"from": 60, "to": 100}}, {"duration_s": 1, "rate_bpm": {"to": 80}},
           {"duration_s": 1}"#,
    );
    check(&document, 0, RateBpm, 60.0, Some(100.0));
    check(&document, 1, RateBpm, 100.0, Some(80.0));
    check(&document, 2, RateBpm, 80.0, None);
}

#[test]
fn a_body_brings_its_values_except_those_named() {
    let document = steps(
        r#"{"duration_s": 1, "rate_bpm": 99, "arterial": {"systolic_mmhg": 140}},
           {"duration_s": 1, "arterial": {"diastolic_mmhg": 45}, "body": "neonate"}"#,
    );
    let body = document.step(1).unwrap().settings.body();
    check(&document, 1, RateBpm, body.resting_bpm, None);
    let systolic = body.values.iter().find(|(field, _)| *field == ArterialSystolic).unwrap().1;
    check(&document, 1, ArterialSystolic, systolic, None);
    check(&document, 1, ArterialDiastolic, 45.0, None);
}

#[test]
fn a_rhythm_brings_its_usual_rate_unless_one_is_named() {
    let document = steps(
        r#"{"duration_s": 1, "rate_bpm": 60}, {"duration_s": 1, "rhythm": "ventricular-tachycardia"},
           {"duration_s": 1, "rate_bpm": 50, "rhythm": "sinus"}, {"duration_s": 1, "rhythm": "sinus"},
           {"duration_s": 1, "rhythm": "ventricular-tachycardia", "rate_bpm": {"to": 200}}"#,
    );
    let usual = |item| {
        let settings = document.step(item).unwrap().settings;
        settings.rhythm().usual_rate(settings.body().resting_bpm, settings.get(Field::AvRatio))
    };
    check(&document, 1, RateBpm, usual(1), None);
    check(&document, 2, RateBpm, 50.0, None);
    check(&document, 3, RateBpm, usual(3), None);
    check(&document, 4, RateBpm, usual(4), Some(200.0));
}

#[test]
fn the_order_of_keys_means_nothing() {
    // The AV ratio sets a rate, which the rate named must survive wherever it stands.
    let document = steps(
        r#"{"duration_s": 1, "rate_bpm": 90, "heart": {"av_ratio": 4}},
           {"duration_s": 1, "heart": {"av_ratio": 2}, "rate_bpm": 91}"#,
    );
    check(&document, 0, RateBpm, 90.0, None);
    check(&document, 1, RateBpm, 91.0, None);
}

#[test]
fn repeats_nest_and_cost_nothing() {
    let document = steps(
        r#"{"repeat": 1000, "steps": [{"repeat": 1000, "steps": [{"duration_s": 0.5}]}, {"duration_s": 1.25}]},
           {"duration_s": 2}"#,
    );
    let items = document.items();
    let script = Script::new(document.seed(), &items).unwrap();
    assert_eq!(script.duration().unwrap().as_secs_f64(), 1000.0 * (500.0 + 1.25) + 2.0);
    assert_eq!(script.timeline().count(), 1000 * 1001 + 1);
}

#[test]
fn a_hold_has_no_end() {
    let document = steps(r#"{"duration_s": 1}, {"name": "there", "duration_s": "hold"}, {"duration_s": 1}"#);
    assert!(document.holds());
    assert_eq!(document.label(1), "there");
    assert_eq!(Script::new(0, &document.items()).unwrap().duration(), None);
}

#[test]
fn a_byte_order_mark_is_skipped() {
    assert!(parse(b"\xef\xbb\xbf{\"version\": 1, \"steps\": [{\"duration_s\": 1}]}", "x").is_ok());
}

#[test]
fn conflicts_carried_on_are_reported_once() {
    let text = br#"{"version": 1, "steps": [{"duration_s": 1, "arterial": {"systolic_mmhg": 70}}, {"duration_s": 1},
        {"duration_s": 1, "arterial": {"systolic_mmhg": 60}}]}"#;
    let problems = parse(text, "x").unwrap_err();
    let paths: Vec<&str> = problems.list().iter().map(|problem| problem.path.as_str()).collect();
    assert_eq!(paths, ["steps[0].arterial.systolic_mmhg", "steps[2].arterial.systolic_mmhg"]);
    assert_eq!(problems.place(&problems.list()[0]), Some((1, 74)));
}

#[test]
fn a_conflict_that_carries_over_is_no_mistake_of_a_later_choice() {
    let of = |later: &str| {
        let text = format!(
            r#"{{"version": 1, "steps": [{{"duration_s": 9, "arterial": {{"systolic_mmhg": 60, "diastolic_mmhg": 80}}}}, {later}]}}"#
        );
        parse(text.as_bytes(), "x.json").expect_err("a mistake").list().len()
    };
    assert_eq!(
        of(r#"{"duration_s": 5, "rhythm": "sinus"}, {"duration_s": 5}, {"duration_s": 5, "rhythm": "asystole"}"#),
        1
    );
    assert_eq!(of(r#"{"duration_s": 5, "series": {"rr_s": [1]}}"#), 1);
    // Mistakes of the later step's own.
    assert_eq!(of(r#"{"duration_s": 5, "arterial": {"systolic_mmhg": 60}}"#), 2);
    assert_eq!(of(r#"{"duration_s": 5, "rhythm": "sinus", "arterial": {"systolic_mmhg": 61}}"#), 2);
    assert_eq!(of(r#"{"duration_s": 5, "rhythm": "ventricular-tachycardia", "rate_bpm": 20}"#), 2);
    let series = r#"{"duration_s": 5, "rhythm": "ventricular-fibrillation", "series": {"rr_s": [1]}}"#;
    assert_eq!(of(&format!("{series}, {series}")), 3);
}

#[test]
fn one_step_is_made_of_words_and_numbers() {
    let one = OneStep {
        seed: 3,
        rhythm: Some("atrial-fibrillation"),
        body: Some("neonate"),
        duration_s: Some(2.5),
        values: &[("rate_bpm", 140.0), ("arterial.systolic_mmhg", 80.0)],
    };
    let document = one.document("command line").unwrap();
    check(&document, 0, RateBpm, 140.0, None);
    check(&document, 0, ArterialSystolic, 80.0, None);
    assert_eq!(Script::new(3, &document.items()).unwrap().duration().unwrap().as_secs_f64(), 2.5);
}

#[test]
fn one_step_tells_all_its_problems() {
    let values = [("rate", 70.0), ("systolic_mmhg", 90.0), ("rate_bpm", f32::NAN), ("breathing.rate_per_min", -1.0)];
    let one = OneStep { rhythm: Some("sinsu"), duration_s: Some(f64::INFINITY), values: &values, ..OneStep::default() };
    let problems = one.document("command line").unwrap_err();
    let messages: Vec<_> =
        problems.list().iter().map(|p| (p.path.as_str(), p.nearest.as_deref().unwrap_or_default())).collect();
    assert_eq!(
        messages,
        [
            ("rhythm", "\"sinus\""),
            ("duration_s", ""),
            ("rate", "\"rate_bpm\""),
            ("systolic_mmhg", "\"arterial.systolic_mmhg\""),
            ("rate_bpm", ""),
            ("breathing.rate_per_min", ""),
        ]
    );
    let order = OneStep { values: &[("arterial.diastolic_mmhg", 150.0)], ..OneStep::default() };
    assert!(order.document("command line").unwrap_err().to_string().contains("must be at least 2 mmHg above"));
}

#[test]
fn a_ramp_takes_as_long_as_it_says_and_is_cut_off_with_its_step() {
    let text = r#"{"version": 1, "steps": [
        {"duration_s": 10, "rate_bpm": {"from": 60, "to": 100, "over_s": 4}},
        {"duration_s": 5, "rate_bpm": {"to": 60, "over_s": 20}},
        {"duration_s": "hold", "breathing": {"rate_per_min": {"to": 20, "over_s": 5}}}]}"#;
    let document = parse(text.as_bytes(), "cut.json").expect("a script");
    let value = |item: usize, at: f32| document.step(item).unwrap().item().value(Field::RateBpm, Span::from_secs(at));
    assert_eq!([value(0, 0.0), value(0, 2.0), value(0, 4.0), value(0, 9.0)], [60.0, 80.0, 100.0, 100.0]);
    assert_eq!([value(1, 0.0), value(1, 5.0)], [100.0, 90.0]);
    assert_eq!(value(2, 0.0), 90.0, "the next step goes on from where the ramp was cut off");
    let again = parse(document.to_json().to_string().as_bytes(), "again.json").expect("a script");
    assert_eq!(again.to_json(), document.to_json());
}

#[test]
fn life_sets_what_it_moves_but_for_what_is_named() {
    let document = steps(
        r#"{"duration_s": 1}, {"duration_s": 1, "life": "resting", "variability": {"breathing_ms": 0}},
           {"duration_s": 1, "rhythm": "sinus-arrhythmia"}, {"duration_s": 1, "rhythm": "sinus"},
           {"duration_s": 1, "body": "neonate"}, {"duration_s": 1, "life": "none"}"#,
    );
    check(&document, 0, SlowRrMs, 0.0, None);
    check(&document, 1, SlowRrMs, 44.0, None);
    check(&document, 1, BreathingRrMs, 0.0, None);
    check(&document, 2, BreathingRrMs, 250.0, None);
    // As after any rhythm, its value goes back to the body's.
    check(&document, 3, BreathingRrMs, 54.0, None);
    check(&document, 4, SlowRrMs, 44.0 * (70.0 / 130.0), None);
    check(&document, 5, SlowRrMs, 0.0, None);
    check(&document, 5, BreathingRrMs, 0.0, None);
    let again = parse(document.to_json().to_string().as_bytes(), "again.json").expect("a script");
    assert_eq!(again.to_json(), document.to_json());
    for item in 0..6 {
        for &field in Field::ALL {
            let value = |document: &Document| document.step(item).unwrap().settings.get(field);
            assert_eq!(value(&again), value(&document), "step {item}, {field:?}");
        }
    }
}

#[test]
fn life_leaves_the_rhythm_its_own_values() {
    let document = steps(r#"{"duration_s": 1, "rhythm": "sinus-arrhythmia", "life": "resting"}"#);
    check(&document, 0, BreathingRrMs, 250.0, None);
    check(&document, 0, FastRrMs, 8.0, None);
}
