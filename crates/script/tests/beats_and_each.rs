//! Premature beats at given times, and the step that plays every rhythm.

use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::{BeatCode, Event};
use pulsewright_script::{DocumentPart, parse};

fn document(steps: &str) -> String {
    format!("{{\"version\": 1, \"steps\": [{steps}]}}")
}

fn problems(steps: &str) -> String {
    parse(document(steps).as_bytes(), "t.json").expect_err("a mistake").render(false)
}

#[test]
fn told_beats_come_when_told() {
    let text = document(
        r#"{"duration_s": 10, "rate_bpm": 60, "beats": [
            {"at_s": 6.1, "site": "left-ventricular"}, {"at_s": 3.1, "site": "right-ventricular"}]}"#,
    );
    let document = parse(text.as_bytes(), "t.json").expect("a script");
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a script");
    let mut codes = Vec::new();
    Player::new(&script, FrameRate::lit(500)).skip_observed(5000, &mut |event: Event| {
        if let Event::Beat(beat) = event {
            codes.push((beat.code, (beat.onset.as_secs_f64() * 10.0).round() / 10.0));
        }
    });
    let premature: Vec<_> = codes.iter().filter(|(code, _)| *code == BeatCode::VentricularPremature).collect();
    assert_eq!(premature, [&(BeatCode::VentricularPremature, 3.1), &(BeatCode::VentricularPremature, 6.1)]);
    // Full compensatory pause: beats at 2.5, 3.1, 4.5.
    assert!(codes.contains(&(BeatCode::Normal, 2.5)) && codes.contains(&(BeatCode::Normal, 4.5)), "{codes:?}");
    assert!(!codes.contains(&(BeatCode::Normal, 3.5)));
    let again = parse(document.to_json().to_string().as_bytes(), "t.json").expect("what was written");
    let sites = |document: &pulsewright_script::Document| match document.parts().first() {
        Some(DocumentPart::Step(step)) => step.beats.clone(),
        _ => Vec::new(),
    };
    assert_eq!(sites(&again), sites(&document));
    assert_eq!(sites(&document).first().map(|beat| beat.site), Some(EctopicSite::RightVentricle));
}

#[test]
fn each_plays_every_rhythm_at_its_usual_rate() {
    let text = document(r#"{"duration_s": 7, "rhythm": "each", "body": "neonate", "arterial": {"systolic_mmhg": 80}}"#);
    let document = parse(text.as_bytes(), "t.json").expect("a script");
    assert_eq!(document.parts().len(), RHYTHMS.len());
    for (part, rhythm) in document.parts().iter().zip(RHYTHMS) {
        let DocumentPart::Step(step) = part else { panic!("a step") };
        assert_eq!(step.settings.rhythm().id, rhythm.id);
        assert_eq!(step.name.as_deref(), Some(rhythm.name));
        assert_eq!(step.settings.get(Field::ArterialSystolic), 80.0);
        let usual = rhythm.usual_rate(step.settings.body().resting_bpm, step.settings.get(Field::AvRatio));
        assert_eq!(step.settings.get(Field::RateBpm), usual);
    }
}

#[test]
fn mistakes_are_told_where_they_are() {
    let beats = |beats: &str| problems(&format!("{{\"duration_s\": 5, \"beats\": {beats}}}"));
    assert!(beats("7").contains("beats can't be a number"));
    assert!(beats(r#"[{"at_s": 6, "site": "atrial"}]"#).contains("0 to 5"));
    assert!(beats(r#"[{"at_s": -1, "site": "atrial"}]"#).contains("at_s can't be -1"));
    assert!(beats(r#"[{"at_s": 1, "site": "left-ventricle"}]"#).contains("\"left-ventricular\""));
    assert!(beats(r#"[{"at_s": 1}]"#).contains("site"));
    assert!(beats(r#"[{"at": 1, "site": "atrial"}]"#).contains("\"at_s\""));
    assert!(problems(r#"{"duration_s": 5, "rhythm": "each", "rate_bpm": 70}"#).contains("usual rate"));
    assert!(problems(r#"{"duration_s": "hold", "rhythm": "each"}"#).contains("never comes"));
}
