//! Bodies of a script's own: mistakes, each with the message that its writer gets, and files beside the script.

mod places;

use places::problems;
use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::settings::Field;
use pulsewright_script::{bodies, parse, parse_beside};
use serde_json::json;

#[test]
fn every_mistake_is_reported_at_its_place() {
    let wave = r#"{"at_ms": 0, "rise_ms": 30, "fall_ms": 30, "xyz_mv": [1, 0, 0]}"#;
    let curve = r#"{"at_ms": -100, "step_ms": 10, "leads_uv": {"I": [3]}}"#;
    let found = problems(
        "bodies",
        &format!(
            r#""My body": {{}},
"adult": {{}},
"a": {{"extends": "adlut", "resting": 60}},
"b": {{"age": "old", "resting_bpm": 500}},
"c": {{"settings": {{"ecg": {{"gain": 2}}, "arterial": {{"systolic_mmhg": {{"to": 200}}}}, "breth": 1, "rate_bpm": 60}}}},
"d": {{"complexes": {{"normal": {{"qrs_ms": 200}}, "normol": {{}}}}}},
"e": {{"complexes": {{"normal": {{"qrs": [], "t": {{"at_ms": "0"}}}}}}}},
"f": {{"p_waves": {{"sinus-node": [{wave}, {wave}, {wave}, {wave}, {wave}]}}}},
"g": {{"p_waves": {{"sinus-node": [{{"at_ms": -1, "rise_ms": 1, "fall": 3, "xyz_mv": [1, 2]}}]}}}},
"h": {{"settings": {{"arterial": {{"systolic_mmhg": 70}}}}}},
"i": "i.json",
"j": {{"complexes": {{"normal": {{"qt_ms": 120}}}}}},
"k": {{"complexes": {{"normal": {{"qt_ms": 480}}}}}},
"l": {{"residuals": {{"q": {{}}, "qrs": {{"normal": {{"at_ms": 0, "leads_uv": {{}}}}}}, "t": {{"normal": {curve}}}}}}},
"m": {{"residuals": {{"p": {{"sinus-node": {{"at_ms": 0, "step_ms": 1, "leads_uv": {{"aVF": [1], "I": [0.5], "II": [], "V1": [1, 2], "V2": [20000], "V3": [1]}}}}}}}}}}"#
        ),
    );
    let expected = [
        r#"2:1 bodies.My body: "My body" can't be a body's word"#,
        r#"3:1 bodies.adult: "adult" is a word of the catalogue"#,
        r#"4:18 bodies.a.extends: unknown body "adlut""#,
        r#"4:27 bodies.a.resting: unknown key "resting""#,
        r#"5:14 bodies.b.age: age can't be "old""#,
        r#"5:36 bodies.b.resting_bpm: resting_bpm can't be 500 bpm"#,
        r#"6:36 bodies.c.settings.ecg.gain: ecg.gain can't belong to a body"#,
        r#"6:70 bodies.c.settings.arterial.systolic_mmhg: arterial.systolic_mmhg ramps in a body"#,
        r#"6:84 bodies.c.settings.breth: unknown key "breth""#,
        r#"6:108 bodies.c.settings.rate_bpm: rate_bpm can't belong to a body"#,
        r#"7:42 bodies.d.complexes.normal.qrs_ms: the QRS waves do not last qrs_ms, 200 ms, where the heart vector is above 5 % of its peak"#,
        r#"7:48 bodies.d.complexes.normol: unknown key "normol""#,
        r#"8:39 bodies.e.complexes.normal.qrs: qrs can't have 0 waves"#,
        r#"8:48 bodies.e.complexes.normal.t: "rise_ms" is missing"#,
        r#"8:48 bodies.e.complexes.normal.t: "fall_ms" is missing"#,
        r#"8:48 bodies.e.complexes.normal.t: "xyz_mv" is missing"#,
        r#"8:58 bodies.e.complexes.normal.t.at_ms: at_ms can't be text"#,
        r#"9:33 bodies.f.p_waves.sinus-node: sinus-node can't have 5 waves"#,
        r#"10:34 bodies.g.p_waves.sinus-node[0]: "fall_ms" is missing"#,
        r#"10:44 bodies.g.p_waves.sinus-node[0].at_ms: at_ms can't be -1 ms"#,
        r#"10:59 bodies.g.p_waves.sinus-node[0].rise_ms: rise_ms can't be 1 ms"#,
        r#"10:62 bodies.g.p_waves.sinus-node[0].fall: unknown key "fall""#,
        r#"10:83 bodies.g.p_waves.sinus-node[0].xyz_mv: xyz_mv can't have 2 numbers"#,
        r#"11:6 bodies.h: arterial systolic 70 mmHg must be at least 2 mmHg above diastolic 80 mmHg"#,
        r#"12:6 bodies.i: the body's file i.json can't be read: this script is not read from a file"#,
        r#"13:41 bodies.j.complexes.normal.qt_ms: qt_ms can't be 120 ms"#,
        r#"14:41 bodies.k.complexes.normal.qt_ms: the T wave does not end at qt_ms, 480 ms, by the steepest tangent"#,
        r#"15:21 bodies.l.residuals.q: unknown key "q""#,
        r#"15:48 bodies.l.residuals.qrs.normal: "step_ms" is missing"#,
        r#"15:73 bodies.l.residuals.qrs.normal.leads_uv: a residual of no lead"#,
        r#"15:95 bodies.l.residuals.t.normal: the residual of T starts before the QRS, at -100 ms"#,
        r#"16:65 bodies.m.residuals.p.sinus-node.step_ms: step_ms can't be 1 ms"#,
        r#"16:81 bodies.m.residuals.p.sinus-node.leads_uv.aVF: unknown key "aVF""#,
        r#"16:99 bodies.m.residuals.p.sinus-node.leads_uv.I[0]: 0.5 uV is no whole number"#,
        r#"16:111 bodies.m.residuals.p.sinus-node.leads_uv.II: lead II can't have 0 numbers"#,
        r#"16:136 bodies.m.residuals.p.sinus-node.leads_uv.V2[0]: an entry of V2 can't be 20000 uV"#,
        r#"16:150 bodies.m.residuals.p.sinus-node.leads_uv.V3: lead V3 can't have 1 number"#,
    ];
    assert_eq!(found, expected, "{found:#?}");
}

#[test]
fn a_step_that_names_a_refused_body_is_not_a_second_problem() {
    let text = br#"{"version": 1, "bodies": {"mine": {"age": "old"}, "other": {"extends": "mine"}},
        "steps": [{"duration_s": 5, "body": "mine", "rate_bpm": 190}]}"#;
    let problems = parse(text, "x.json").expect_err("a mistake");
    assert_eq!(problems.list().len(), 1, "{problems}");
}

#[test]
fn an_unknown_body_is_offered_those_of_the_script_too() {
    let text = br#"{"version": 1, "bodies": {"slim": {}}, "steps": [{"duration_s": 5, "body": "slin"}]}"#;
    let problems = parse(text, "x.json").expect_err("a mistake");
    let [problem] = problems.list() else { panic!("{problems}") };
    assert_eq!(problem.nearest.as_deref(), Some("\"slim\""));
    assert_eq!(problem.allowed.as_deref(), Some(r#""slim", "adult", "child", "neonate""#));
}

/// What the document names replaces the values of the body that it extends; what a step names replaces those of the body.
#[test]
fn values_come_from_the_document_then_from_the_step() {
    let text = br#"{"version": 1, "bodies": {"mine": {"extends": "child", "resting_bpm": 80,
        "settings": {"ecg": {"pr_ms": 150}, "arterial": {"systolic_mmhg": 110}}}},
        "steps": [{"duration_s": 5, "body": "mine", "arterial": {"systolic_mmhg": 115}}, {"duration_s": 5, "body": "adult"}]}"#;
    let document = parse(text, "x.json").unwrap_or_else(|problems| panic!("{problems}"));
    let values = |step| {
        let settings = document.step(step).expect("a step").settings;
        [Field::PrMs, Field::ArterialSystolic, Field::ArterialDiastolic, Field::RateBpm]
            .map(|field| settings.get(field))
    };
    assert_eq!(values(0), [150.0, 115.0, 62.0, 80.0]);
    assert_eq!(values(1), [160.0, 120.0, 80.0, 70.0], "nothing of a body is left in the next");
}

#[test]
fn a_body_in_a_file_beside_the_script() {
    let text = br#"{"version": 1, "bodies": {"mine": "mine.json"}, "steps": [{"duration_s": 5, "body": "mine"}]}"#;
    let mut good = bodies::json(&ADULT);
    good["version"] = json!(1);
    let read = |_: &str| Ok(good.to_string().into_bytes());
    let document = parse_beside(text, "x.json", &read).unwrap_or_else(|problems| panic!("{problems}"));
    let body = document.step(0).expect("a step").settings.body();
    assert_eq!((body.name, body.templates), ("Adult", ADULT.templates));
    let bad = |_: &str| Ok(b"{\"age\": \"adult\",\n \"complex\": {}}".to_vec());
    let problems = parse_beside(text, "x.json", &bad).expect_err("two mistakes");
    let found: Vec<&str> = problems.list().iter().map(|problem| problem.what.as_str()).collect();
    assert_eq!(found, ["mine.json:1:1: \"version\" is missing", "mine.json:2:2: unknown key \"complex\""]);
}

/// The shapes of the catalogue keep the rules of a document.
#[test]
fn every_body_of_the_catalogue_is_a_document_without_problems() {
    for body in BODIES {
        let script =
            json!({"version": 1, "bodies": {"copy": bodies::json(body)}, "steps": [{"duration_s": 5, "body": "copy"}]});
        let document = parse(script.to_string().as_bytes(), "x.json").unwrap_or_else(|problems| panic!("{problems}"));
        let copy = document.step(0).expect("a step").settings.body();
        assert_eq!((copy.templates, copy.values, copy.age), (body.templates, body.values, body.age));
    }
}
