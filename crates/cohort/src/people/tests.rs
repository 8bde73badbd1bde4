use super::*;

fn people(groups: &str, more: &str) -> Result<People, String> {
    let text = format!("{{\"seed\": 5, \"groups\": [{groups}]{more}}}");
    let file: PeopleFile = pulsewright_text::json::parse(&text).map_err(|broken| broken.to_string())?;
    People::new(&file)
}

fn drawn(people: &People, number: u64) -> Vec<f32> {
    people.patient(number, 10.0).unwrap().values.into_iter().flatten().collect()
}

const SINUS: &str = r#"{"rhythm": "sinus", "draw": {"rate_bpm": {"normal": {"mean": 70, "sd": 12}}}}"#;

/// Values of the first release that drew patients: they never change.
#[test]
fn patients_are_the_same_for_ever() {
    let more = r#", "draw": {"ecg.gain": {"log_normal": {"median": 1, "sigma": 0.2}}, "ecg.axis_deg": {"uniform": [-30, 60]}}"#;
    let people = people(SINUS, more).unwrap();
    assert_eq!(people.names().collect::<Vec<_>>(), ["ecg.axis_deg", "ecg.gain", "rate_bpm"]);
    let found = [0, 1, 9999, u64::MAX].map(|n| (people.patient(n, 10.0).unwrap().seed, drawn(&people, n)));
    let golden = [
        (1998296018945457282, vec![29.638063, 1.0633416, 81.09401]),
        (189561585757525110, vec![6.177145, 1.2978069, 68.28083]),
        (4722025368601850311, vec![20.334127, 0.80017775, 67.372826]),
        (8274526578293807914, vec![27.954664, 0.99296886, 66.91957]),
    ];
    assert_eq!(found, golden);
}

#[test]
fn a_further_variable_changes_no_other() {
    let one = people(SINUS, "").unwrap();
    let two = people(SINUS, r#", "draw": {"ecg.gain": {"uniform": [0.5, 2]}}"#).unwrap();
    for number in 0..50 {
        assert_eq!(drawn(&one, number)[0], drawn(&two, number)[1]);
        assert_eq!(one.patient(number, 10.0).unwrap().seed, two.patient(number, 10.0).unwrap().seed);
    }
}

#[test]
fn values_that_exclude_each_other_are_drawn_again() {
    let draws = r#"{"rhythm": "sinus", "draw": {"arterial.systolic_mmhg": {"uniform": [80, 160]},
        "arterial.diastolic_mmhg": {"uniform": [60, 140]}}}"#;
    let people = people(draws, "").unwrap();
    let mut redraws = 0;
    for number in 0..200 {
        let patient = people.patient(number, 10.0).unwrap();
        redraws += patient.redraws;
        let values = drawn(&people, number);
        assert!(values[0] < values[1], "{values:?}");
    }
    assert!(redraws > 20);
}

#[test]
fn variables_follow_others() {
    let draws = r#"{"rhythm": "sinus", "draw": {"person.age_years": {"uniform": [20, 80]},
        "arterial.systolic_mmhg": {"normal": {"mean": 120, "sd": 0.001, "follows": {"person.age_years": {"slope": 0.5, "from": 50}}}}}}"#;
    let people = people(draws, "").unwrap();
    for number in 0..50 {
        let values = drawn(&people, number);
        assert!((values[0] - (120.0 + 0.5 * (values[1] - 50.0))).abs() < 0.01, "{values:?}");
    }
}

#[test]
fn a_drawn_ratio_decides_the_amplitude() {
    let group = r#"{"rhythm": ["sinus", "asystole"], "draw": {"rate_bpm": 70, "artefact.muscle_snr_db": {"uniform": [0, 20]}}}"#;
    let people = people(group, "").unwrap();
    let mut met = BTreeSet::new();
    for number in 0..8 {
        let patient = people.patient(number, 10.0).unwrap();
        let muscle_mv = patient.document.step(0).unwrap().settings.get(Field::MuscleMv);
        assert_eq!(patient.rhythm.beats(), muscle_mv > 0.0, "{muscle_mv}");
        // A rhythm without beats has neither.
        assert_eq!(patient.values.iter().flatten().count(), if patient.rhythm.beats() { 2 } else { 0 });
        met.insert(patient.rhythm.id);
    }
    assert_eq!(met.len(), 2);
}

#[test]
fn mistakes_are_named_with_their_place() {
    let with = |draw: &str| format!(r#"{{"rhythm": "sinus", "draw": {{{draw}}}}}"#);
    for (groups, more, why) in [
        ("".to_owned(), "", "groups: none"),
        (
            r#"{"rhythm": "sinsu"}"#.to_owned(),
            "",
            "groups[0].rhythm: there is no rhythm 'sinsu'; did you mean 'sinus'?",
        ),
        (r#"{"rhythm": []}"#.to_owned(), "", "groups[0].rhythm: an empty list"),
        (r#"{"rhythm": "sinus", "body": "giant"}"#.to_owned(), "", "groups[0].body: there is no body 'giant'"),
        (r#"{"rhythm": "sinus", "weight": -1}"#.to_owned(), "", "groups[0].weight: -1"),
        (r#"{"rhythm": "sinus", "weight": 0}"#.to_owned(), "", "no group has a weight"),
        (with(r#""ecg.gian": 1"#), "", "did you mean 'ecg.gain'?"),
        (with(r#""person.Age": 1"#), "", "small letters"),
        (with(r#""ecg.gain": 100"#), "", "groups[0].draw.ecg.gain: 100; allowed"),
        (with(r#""artefact.off_ra": {"uniform": [0, 1]}"#), "", "draw it by choice"),
        (
            with(r#""artefact.muscle_snr_db": {"uniform": [0, 90]}"#),
            "",
            "draw.artefact.muscle_snr_db: 90; allowed -40 to 80",
        ),
        (
            with(r#""artefact.muscle_snr_db": 6"#),
            r#", "draw": {"artefact.muscle_mv": 0.1}"#,
            "groups[0].draw.artefact.muscle_snr_db: artefact.muscle_mv is drawn too",
        ),
        (with(r#""ecg.gain": {"by_body": {"child": 1}}"#), "", "no distribution for adult"),
        (with(r#""ecg.gain": {"by_body": {"adlut": 1}}"#), "", "did you mean 'adult'?"),
        (
            with(r#""ecg.gain": {"normal": {"mean": 1, "sd": 1, "follows": {"rate_bpm": {"slope": 1, "from": 0}}}}"#),
            "",
            "follows 'rate_bpm', which is not drawn",
        ),
        (
            with(r#""ecg.gain": {"normal": {"mean": 1, "sd": 1, "follows": {"ecg.gain": {"slope": 1, "from": 0}}}}"#),
            "",
            "follows itself",
        ),
        (
            SINUS.to_owned(),
            r#", "correlation": [{"of": ["ecg.gain"], "matrix": [[1]]}]"#,
            "correlation[0].of: 'ecg.gain' is not drawn",
        ),
        (
            SINUS.to_owned(),
            r#", "correlation": [{"of": ["rate_bpm", "rate_bpm"], "matrix": [[1, 0], [0, 1]]}]"#,
            "two places",
        ),
        (
            SINUS.to_owned(),
            r#", "correlation": [{"of": ["rate_bpm"], "matrix": [[2]]}]"#,
            "correlation[0].matrix[0][0]: 2",
        ),
    ] {
        let found = people(&groups, more).expect_err(why);
        assert!(found.contains(why), "{found}\nshould contain {why}");
    }
    let fast = people(r#"{"rhythm": "ventricular-tachycardia", "draw": {"rate_bpm": 20}}"#, "").unwrap();
    let why = fast.patient(0, 10.0).unwrap_err();
    assert!(why.starts_with("none of 100 draws makes a script of ventricular-tachycardia, adult: "), "{why}");
}
