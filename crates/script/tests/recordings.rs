//! Recordings in scripts: what a step takes of them, every mistake at its place, and documents that read back as they were.

use pulsewright_core::heart::catalogue::{RECORDED, SINUS};
use pulsewright_core::truth::BeatCode;
use pulsewright_script::{Document, DocumentPart, DocumentStep, Problems, parse_beside};
use std::fs;
use std::path::Path;

/// Record 100, and a made one of ten seconds with other channels.
fn beside(file: &str) -> Result<Vec<u8>, String> {
    match file {
        "made.hea" => Ok(b"made 3 200 2000\nmade.dat 16 100 16 0 0 0 0 ECG V5\nmade.dat 16 1/mmHg 16 0 0 0 0 ABP\nmade.dat 16 100 16 0 0 0 0 lead two\n".to_vec()),
        "made.dat" => Ok(vec![0; 2000 * 6]),
        "made.csv" => Ok(b"at_s,code\n1,N\n2,V\n3,N\n4.2,N\n".to_vec()),
        "cut.hea" => Ok(b"cut 1 200 9000\nmade.dat 16 100 16 0 0 0 0 V5\n".to_vec()),
        file => {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/recordings");
            fs::read(folder.join(file)).map_err(|_| format!("no file {file}"))
        }
    }
}

fn read(steps: &str) -> Result<Document, Problems> {
    parse_beside(format!("{{\"version\": 1, \"steps\": [{steps}]}}").as_bytes(), "t.json", &beside)
}

fn steps(document: &Document) -> Vec<&DocumentStep> {
    document
        .parts()
        .iter()
        .filter_map(|part| if let DocumentPart::Step(step) = part { Some(step) } else { None })
        .collect()
}

#[test]
fn a_name_alone_plays_the_leads_that_are_called_so_with_every_beat() {
    let document = read(r#"{"duration_s": 1800, "recording": "100.hea"}, {"duration_s": 9}"#).expect("a script");
    let all = steps(&document);
    let recording = all[0].recording.as_ref().expect("a recording");
    let leads = recording.item().leads_mv().map(<[f32]>::len);
    assert_eq!(leads, [0, 650_000, 0, 0, 0, 0, 650_000, 0]);
    assert_eq!(all[0].series.as_ref().map(|series| series.beats.len()), Some(2273));
    assert!(std::ptr::eq(all[0].settings.rhythm(), &RECORDED));
    assert_eq!(all[1].settings.rhythm().id, SINUS.id);
    assert!(document.own_rhythms().is_empty());
}

#[test]
fn documents_read_back_as_they_were() {
    for (text, beats) in [
        (
            r#"{"duration_s": 90, "recording": {"file": "100.hea", "start_s": 10, "end_s": 40.5, "loop": "beats", "leads": {"II": "V5"}}}"#,
            // The general reader finds 37 beats from 10 to 40.5 s; the last one begins the next pass.
            36,
        ),
        (
            r#"{"duration_s": "hold", "ecg": {"gain": 2}, "recording": {"file": "made.hea", "beats": "made.csv", "loop": "ends", "passed_s": 2.5}}, {"duration_s": 4, "rate_bpm": 90}"#,
            4,
        ),
        (
            r#"{"duration_s": 5, "recording": {"file": "made.hea", "beats": {"at_s": [0.5, 4], "codes": "AV", "length_s": 10}, "leads": {"I": "lead two", "v6": "ECG V5"}}}"#,
            2,
        ),
    ] {
        let document = read(text).unwrap_or_else(|problems| panic!("{problems}"));
        let series = steps(&document)[0].series.clone().expect("beats");
        assert_eq!(series.beats.len(), beats, "{text}");
        let again = parse_beside(document.to_json().to_string().as_bytes(), "t.json", &beside);
        let again = again.unwrap_or_else(|problems| panic!("{problems}\n{}", document.to_json()));
        assert_eq!(again.to_json(), document.to_json());
        assert_eq!(steps(&again)[0].series, Some(series));
        let bounds = |document: &Document| steps(document)[0].recording.as_ref().map(|one| one.item().bounds());
        assert_eq!(bounds(&again), bounds(&document));
    }
}

#[test]
fn noise_reads_back_as_the_same_noise() {
    for text in [
        r#"{"duration_s": 20, "noise": {"file": "100.hea", "snr_db": 6, "start_s": 5, "end_s": 12.25}}"#,
        r#"{"duration_s": 20, "noise": {"file": "100.hea", "channels": ["V5"], "mv": 0.2, "passed_s": 3}}, {"duration_s": 4}"#,
        r#"{"duration_s": 5, "recording": "100.hea", "noise": {"file": "100.hea", "snr_db": 0, "loop": "none"}}"#,
    ] {
        let document = read(text).unwrap_or_else(|problems| panic!("{problems}"));
        let written = document.to_json();
        let again = parse_beside(written.to_string().as_bytes(), "t.json", &beside);
        let again = again.unwrap_or_else(|problems| panic!("{problems}\n{written}"));
        assert_eq!(again.to_json(), written);
        let played = |document: &Document| steps(document)[0].noise.as_ref().map(|noise| format!("{:?}", noise.item()));
        assert_eq!(played(&again), played(&document), "{written}");
        assert!(steps(&document).get(1).is_none_or(|step| step.noise.is_none()), "noise carries over");
    }
}

#[test]
fn what_has_passed_turns_the_list_of_beats() {
    let document = read(
        r#"{"duration_s": 5, "recording": {"file": "made.hea", "beats": "made.csv", "loop": "ends", "passed_s": 2.5}}"#,
    );
    let document = document.expect("a script");
    let series = steps(&document)[0].series.as_ref().expect("beats");
    let found: Vec<(f64, BeatCode)> =
        series.beats.iter().map(|beat| ((beat.after.as_secs_f64() * 1e3).round() / 1e3, beat.code)).collect();
    let normal = BeatCode::Normal;
    assert_eq!(found, [(0.5, normal), (1.7, normal), (8.5, normal), (9.5, BeatCode::VentricularPremature)]);
}

/// A file that is not there is named once, with the reason, and so are faults in one that is.
#[test]
fn a_file_that_can_not_be_read_is_named_once() {
    let what = |step: &str| read(step).expect_err("a mistake").list()[0].what.clone();
    for (key, more) in [("recording", ""), ("noise", r#", "mv": 1"#)] {
        let of = |file: &str| what(&format!(r#"{{"duration_s": 9, "{key}": {{"file": "{file}"{more}}}}}"#));
        assert_eq!(of("101.hea"), "101.hea can't be read: no file 101.hea");
        assert_eq!(of("cut.hea"), "made.dat: 9000 frames announced, 6000 there (cut off?)");
    }
}

/// A duration that was refused is no longer step than the stretch.
#[test]
fn a_refused_duration_is_reported_once() {
    for key in [r#""recording": {"file": "100.hea"}"#, r#""noise": {"file": "100.hea", "mv": 1, "loop": "none"}"#] {
        let problems = read(&format!(r#"{{"duration_s": -3, {key}}}"#)).expect_err("a mistake");
        assert_eq!(problems.list().len(), 1, "{problems}");
        assert!(
            read(&format!(r#"{{"duration_s": "hold", {key}}}"#)).expect_err("a mistake").to_string().contains("longer")
        );
    }
}

#[test]
fn mistakes_have_their_place() {
    for (step, part) in [
        (r#"{"duration_s": 9, "recording": 7}"#, "a recording can't be a number"),
        (r#"{"duration_s": 9, "recording": {}}"#, "\"file\": a header"),
        (r#"{"duration_s": 9, "recording": "../100.hea"}"#, "is no file beside the script"),
        (r#"{"duration_s": 9, "recording": "101.hea"}"#, "no file 101.hea"),
        (r#"{"duration_s": 9, "recording": "100.atr"}"#, "not a recording that is read"),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "scale_mv": 2}}"#, "units of its own"),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "scale_mv": 0}}"#, "scale_mv"),
        (r#"{"duration_s": 9, "recording": "cut.hea"}"#, "9000 frames announced"),
        (r#"{"duration_s": 9, "recording": "made.hea"}"#, "its beats can't be read"),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "loop": "round"}}"#, "can't be \"round\""),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "laeds": {}}}"#, "did you mean \"leads\""),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "leads": {"II": "MLI"}}}"#, "did you mean \"MLII\""),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "leads": {"III": "MLII"}}}"#, "III"),
        (r#"{"duration_s": 9, "recording": {"file": "100.hea", "leads": {}}}"#, "no leads"),
        (
            r#"{"duration_s": 9, "recording": {"file": "made.hea", "beats": "made.csv", "leads": {"II": "ABP"}}}"#,
            "is in mmHg",
        ),
        (
            r#"{"duration_s": 9, "recording": {"file": "made.hea", "beats": "made.csv", "start_s": 5}}"#,
            "no beat from 5.000 to 10.000 s",
        ),
        (
            r#"{"duration_s": 9, "recording": {"file": "made.hea", "beats": "made.csv", "start_s": 10}}"#,
            "lasts 10.000 s",
        ),
        (r#"{"duration_s": 9, "recording": {"file": "made.hea", "beats": "made.csv", "end_s": 11}}"#, "lasts 10.000 s"),
        (r#"{"duration_s": 9, "recording": {"file": "made.hea", "beats": "made.csv", "start_s": 2}}"#, "\"loop\""),
        (r#"{"duration_s": "hold", "recording": {"file": "made.hea", "beats": "made.csv"}}"#, "\"loop\""),
        (r#"{"duration_s": 9, "recording": "100.hea", "rhythm": "sinus"}"#, "rhythm beside a recording"),
        (r#"{"duration_s": 9, "recording": "100.hea", "series": {"rr_s": [1]}}"#, "series beside a recording"),
        (r#"{"duration_s": 9, "recording": "100.hea", "beats": []}"#, "beats beside a recording"),
        (r#"{"duration_s": 9, "recording": "100.hea", "test": {"signal": "sine"}}"#, "has no test signal"),
    ] {
        let problems = read(step).map(|_| ()).expect_err(step).to_string();
        assert!(problems.contains(part), "{step}\n{problems}");
        assert!(problems.contains("t.json:1:"), "{problems}");
    }
}

#[test]
fn no_rhythm_of_one_s_own_takes_its_word() {
    let text =
        r#"{"version": 1, "rhythms": {"recording": {"version": 1, "extends": "sinus"}}, "steps": [{"duration_s": 1}]}"#;
    assert!(parse_beside(text.as_bytes(), "t.json", &beside).is_err());
}
