//! Rhythms of a script's own: mistakes, each with the message that its writer gets, and files beside the script.

mod places;

use places::problems;
use pulsewright_core::heart::rhythm::{Atria, Coupling, Pattern};
use pulsewright_core::settings::Field;
use pulsewright_script::{parse, parse_beside};

#[test]
fn every_mistake_is_reported_at_its_place() {
    let found = problems(
        "rhythms",
        r#""My rhythm": {},
"sinus": {},
"a": {"extends": "atrial-fluter"},
"b": {"extends": "sinus", "atria": {"hz": 6}},
"c": {"atria": {"source": "fibrillation", "hz": 60}, "ectopy": {"site": "atrial", "run": 1.5}},
"d": {"min_bpm": 90, "max_bpm": 80},
"e": {"settings": {"rate_bpm": 60, "name": "x", "ecg": {"pr_ms": "long"}}},
"f": {"escape": {"focus": "elbow"}, "ectopic": {}},
"g": "g.json",
"h": "../h.json",
"i": "c:i.json""#,
    );
    let expected = [
        r#"2:1 rhythms.My rhythm: "My rhythm" can't be a rhythm's word"#,
        r#"3:1 rhythms.sinus: "sinus" is a word of the catalogue"#,
        r#"4:18 rhythms.a.extends: unknown rhythm "atrial-fluter""#,
        r#"5:43 rhythms.b.atria.hz: atria.hz has no meaning where atria.source is "sinus-node""#,
        r#"6:49 rhythms.c.atria.hz: hz can't be 60 Hz"#,
        r#"6:90 rhythms.c.ectopy.run: run can't be 1.5"#,
        r#"7:6 rhythms.d: min_bpm 90 is above max_bpm 80"#,
        r#"8:32 rhythms.e.settings.rate_bpm: rate_bpm can't belong to a rhythm"#,
        r#"8:36 rhythms.e.settings.name: unknown key "name""#,
        r#"8:66 rhythms.e.settings.ecg.pr_ms: ecg.pr_ms can't be text"#,
        r#"9:27 rhythms.f.escape.focus: focus can't be "elbow""#,
        r#"9:37 rhythms.f.ectopic: unknown key "ectopic""#,
        r#"10:6 rhythms.g: the rhythm's file g.json can't be read: this script is not read from a file"#,
        r#"11:6 rhythms.h: "../h.json" is no file beside the script"#,
        r#"12:6 rhythms.i: "c:i.json" is no file beside the script"#,
    ];
    assert_eq!(found, expected, "{found:#?}");
}

#[test]
fn an_unknown_setting_is_offered_only_settings_that_a_rhythm_can_bring() {
    let text =
        br#"{"version": 1, "rhythms": {"mine": {"settings": {"nam": 1, "life": 0}}}, "steps": [{"duration_s": 5}]}"#;
    let problems = parse(text, "x.json").expect_err("two mistakes");
    let [unknown, life] = problems.list() else { panic!("{problems}") };
    let allowed = unknown.allowed.as_deref().expect("the keys");
    assert!(allowed.contains("\"ecg\"") && allowed.contains("\"heart\""), "{allowed}");
    for word in ["name", "duration_s", "rate_bpm", "life", "expect"] {
        assert!(!allowed.contains(&format!("\"{word}\"")), "{allowed}");
    }
    assert_eq!(life.allowed.as_deref(), Some("in a step"));
}

#[test]
fn a_rhythm_that_extends_a_refused_one_is_not_a_second_problem() {
    let refused = r#""base": {"extends": "atrial-flutter", "av": "sometimes"}"#;
    let mine = r#"{"version": 1, "extends": "base", "atria": {"hz": 5}}"#;
    let script = |mine: &str| {
        format!(
            r#"{{"version": 1, "rhythms": {{{refused}, "mine": {mine}}}, "steps": [{{"duration_s": 5, "rhythm": "mine"}}]}}"#
        )
    };
    let problems = parse(script(mine).as_bytes(), "x.json").expect_err("a mistake");
    assert_eq!(problems.list().len(), 1, "{problems}");
    let file = |_: &str| Ok(mine.as_bytes().to_vec());
    let problems = parse_beside(script("\"mine.json\"").as_bytes(), "x.json", &file).expect_err("a mistake");
    assert_eq!(problems.list().len(), 1, "{problems}");
}

#[test]
fn a_step_that_names_a_refused_rhythm_is_not_a_second_problem() {
    let text =
        br#"{"version": 1, "rhythms": {"mine": {"av": "sometimes"}}, "steps": [{"duration_s": 5, "rhythm": "mine"}]}"#;
    let problems = parse(text, "x.json").expect_err("a mistake");
    assert_eq!(problems.list().len(), 1, "{problems}");
}

#[test]
fn a_rhythm_extends_one_above_it_and_brings_its_settings() {
    let text = br#"{"version": 1, "rhythms": {
        "first": {"extends": "av-block-1", "settings": {"ecg": {"qtc_ms": 450}}},
        "second": {"extends": "first", "name": "Second", "settings": {"ecg": {"pr_ms": 240}},
                   "ectopy": {"site": "left-ventricular", "pattern": "after-every", "beats": 3, "coupling": "qt", "share": 0.9}}
    }, "steps": [{"duration_s": 5, "rhythm": "second"}]}"#;
    let document = parse(text, "x.json").unwrap_or_else(|problems| panic!("{problems}"));
    let settings = document.step(0).expect("a step").settings;
    assert_eq!((settings.get(Field::PrMs), settings.get(Field::QtcMs)), (240.0, 450.0));
    let ectopy = settings.rhythm().ectopy.expect("premature beats");
    assert_eq!((ectopy.pattern, ectopy.coupling), (Pattern::AfterEvery(3), Coupling::Qt(0.9)));
    // Read again, it is the same rhythm and not one that looks like it.
    let again = parse(text, "y.json").unwrap_or_else(|problems| panic!("{problems}"));
    assert!(std::ptr::eq(again.step(0).expect("a step").settings.rhythm(), settings.rhythm()));
}

#[test]
fn a_rhythm_in_a_file_beside_the_script() {
    let text =
        br#"{"version": 1, "rhythms": {"mine": "more/mine.json"}, "steps": [{"duration_s": 5, "rhythm": "mine"}]}"#;
    let good = |file: &str| match file {
        "more/mine.json" => Ok(br#"{"version": 1, "atria": {"source": "fibrillation", "hz": 5.5}}"#.to_vec()),
        other => Err(format!("{other} is not there")),
    };
    let document = parse_beside(text, "x.json", &good).unwrap_or_else(|problems| panic!("{problems}"));
    let atria = document.step(0).expect("a step").settings.rhythm().atria;
    assert!(matches!(atria, Atria::Fibrillation { hz: 5.5, .. }));
    let bad = |_: &str| Ok(b"{\"extends\": \"sinus\",\n \"atrial\": {}}".to_vec());
    let problems = parse_beside(text, "x.json", &bad).expect_err("two mistakes");
    let found: Vec<&str> = problems.list().iter().map(|problem| problem.what.as_str()).collect();
    assert_eq!(found, ["more/mine.json:1:1: \"version\" is missing", "more/mine.json:2:2: unknown key \"atrial\""]);
}
