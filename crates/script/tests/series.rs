//! Series of beats in scripts: every form gives the same steps, and every mistake is found at its place.

use pulsewright_core::script::SeriesBeat;
use pulsewright_core::settings::Field;
use pulsewright_core::time::Span;
use pulsewright_core::truth::BeatCode;
use pulsewright_script::{Document, DocumentPart, Problems, StepSeries, parse_beside};

/// Annotations at frames 200, 400, 512 and 800: N, a note of the rhythm, V, N.
const NOTED: [u8; 8] = [0xc8, 0x04, 0xc8, 0x70, 0x70, 0x14, 0x20, 0x05];
const END: [u8; 2] = [0, 0];

fn beside(file: &str) -> Result<Vec<u8>, String> {
    match file {
        "a.csv" => Ok(b"# invented\nat_s;code\n0,8;N\n2,048;V\n3,2;N\n".to_vec()),
        "b.csv" => Ok(b"rr_ms,code\n800,N\n1248,V\n1152,N\n".to_vec()),
        "c.json" => Ok(br#"{"beats": [{"rr_s": 0.8}, {"rr_s": 1.248, "code": "V"}, {"rr_s": 1.152}]}"#.to_vec()),
        "d.atr" | "e.atr" => Ok([NOTED.as_slice(), &END].concat()),
        "d.hea" => Ok(b"d 1 250 800\n".to_vec()),
        "cut.atr" => Ok(NOTED.to_vec()),
        "none.csv" => Ok(b"rr_s\n".to_vec()),
        "words.csv" => Ok(b"rr_s\n0.8\nsoon\n".to_vec()),
        "codes.csv" => Ok(b"rr_s,code\n0.8,N\n0.8,X\n".to_vec()),
        "other.csv" => Ok(b"interval\n0.8\n".to_vec()),
        "short.csv" => Ok(b"rr_s\n0.8\n0.1\n".to_vec()),
        other => Err(format!("there is no {other}")),
    }
}

fn read(step: &str) -> Result<Document, Problems> {
    let text = format!(r#"{{"version": 1, "steps": [{{"duration_s": 10, {step}}}]}}"#);
    parse_beside(text.as_bytes(), "t.json", &beside)
}

fn series(document: &Document) -> &StepSeries {
    match document.parts().first() {
        Some(DocumentPart::Step(step)) => step.series.as_ref().expect("a series"),
        _ => panic!("a step"),
    }
}

#[test]
fn every_form_gives_the_same_beats() {
    let at = |ms: u64, code| SeriesBeat { after: Span::millis(ms), code };
    let (n, v) = (BeatCode::Normal, BeatCode::VentricularPremature);
    let expected = StepSeries { beats: vec![at(800, n), at(2048, v), at(3200, n)], length: Span::millis(3200) };
    for form in [
        r#""series": {"rr_s": [0.8, 1.248, 1.152], "codes": "NVN"}"#,
        r#""series": {"at_s": [0.8, 2.048, 3.2], "codes": "NVN", "length_s": 3.2}"#,
        r#""series": "a.csv""#,
        r#""series": "b.csv""#,
        r#""series": {"file": "c.json"}"#,
        r#""series": "d.atr""#,
        r#""series": {"file": "e.atr", "hz": 250}"#,
    ] {
        let document = read(form).unwrap_or_else(|problems| panic!("{form}: {problems}"));
        let found = series(&document);
        assert_eq!(found.beats.len(), 3, "{form}");
        for (found, expected) in found.beats.iter().zip(&expected.beats) {
            // Intervals are rounded one by one.
            let apart = found.after.as_secs_f64() - expected.after.as_secs_f64();
            assert!(apart.abs() < 1e-8 && found.code == expected.code, "{form}: {apart}");
        }
        let step = document.step(0).expect("a step");
        let rate = 60.0 * 3.0 / found.length.as_secs_f64();
        assert!((f64::from(step.settings.get(Field::RateBpm)) - rate).abs() < 0.06, "{form}");
        let again =
            parse_beside(document.to_json().to_string().as_bytes(), "t.json", &beside).expect("what was written");
        assert_eq!(series(&again), found, "{form}");
    }
}

#[test]
fn a_list_goes_on_from_any_place() {
    let document = read(r#""series": {"rr_s": [0.8, 1.2, 1], "codes": "NVA"}"#).expect("a script");
    let from = series(&document).from(Span::millis(4000));
    let times: Vec<(f64, char)> =
        from.beats.iter().map(|beat| (beat.after.as_secs_f64(), beat.code.symbol())).collect();
    let expected = [(1.0, 'V'), (2.0, 'A'), (2.8, 'N')];
    assert_eq!(times.len(), 3);
    for (found, expected) in times.iter().zip(expected) {
        assert!((found.0 - expected.0).abs() < 1e-8 && found.1 == expected.1, "{times:?}");
    }
}

#[test]
fn mistakes_are_found_at_their_places() {
    for (step, message) in [
        (r#""series": 5"#, "a series can't be a number"),
        (r#""series": {"codes": "N"}"#, "a series has one of rr_s, at_s and file"),
        (r#""series": {"rr": [1]}"#, r#"did you mean "rr_s"?"#),
        (r#""series": {"rr_s": []}"#, "0 beats in a series"),
        (r#""series": {"rr_s": [0.149]}"#, "rr_s can't be 0.149"),
        (r#""series": {"rr_s": [1, "a"]}"#, "steps[0].series.rr_s[1]"),
        (r#""series": {"rr_s": [1], "length_s": 2}"#, "length_s has no meaning beside rr_s"),
        (r#""series": {"at_s": [1]}"#, "a single beat, and no length"),
        (r#""series": {"at_s": [1, -1]}"#, "at_s can't be -1"),
        (r#""series": {"at_s": [1, 1.1], "length_s": 2}"#, "a beat at 1.100 s after one at 1.000 s"),
        (r#""series": {"at_s": [0, 1], "length_s": 1.1}"#, "a length of 1.100 s"),
        (r#""series": {"rr_s": [1, 1], "codes": "N"}"#, "1 code for 2 beats"),
        (r#""series": {"rr_s": [1], "codes": "+"}"#, r#""+" is no code of a beat"#),
        (r#""series": {"rr_s": [1], "hz": 360}"#, "hz has no meaning beside rr_s"),
        (r#""series": {"rr_s": [1]}, "beats": [{"at_s": 1, "site": "atrial"}]"#, "beats beside a series"),
        (r#""series": {"rr_s": [1]}, "rhythm": "each""#, "a series in every rhythm"),
        (r#""series": {"rr_s": [1]}, "rhythm": "ventricular-flutter""#, "no beats of a series can come"),
        (
            r#""series": {"rr_s": [1]}, "test": {"signal": "sine"}, "rhythm": "asystole""#,
            "this test signal has no beats",
        ),
        (r#""series": "../a.csv""#, r#""../a.csv" is no file beside the script"#),
        (r#""series": "absent.csv""#, "the beat list's file absent.csv can't be read: there is no absent.csv"),
        (r#""series": "none.csv""#, "a series without beats"),
        (r#""series": "words.csv""#, "words.csv: line 3: 'soon' in column rr_s is not a number"),
        (r#""series": "codes.csv""#, "codes.csv: line 3: 'X' is no code of a beat"),
        (r#""series": "other.csv""#, "no column at_s or time_s or peak_s or rr_s or rr_ms; columns are interval"),
        (r#""series": "short.csv""#, "short.csv: beat 2: a beat at 0.900 s after one at 0.800 s"),
        (r#""series": "e.atr""#, "its times are in frames"),
        (r#""series": "cut.atr""#, "cut.atr: byte 8: the file ends in the middle"),
        (r#""series": {"file": "a.csv", "hz": 360}"#, "hz is for annotation files"),
    ] {
        let problems = read(step).expect_err(step).render(false);
        assert!(problems.contains(message), "{step}\n{problems}");
        assert_eq!(problems.matches("error: ").count(), 1, "{step}\n{problems}");
    }
}
