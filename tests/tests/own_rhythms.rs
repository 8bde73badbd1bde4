//! Rhythms of one's own: the catalogue written as documents and read again plays the bits of the catalogue, from a script and from
//! an image; and a rhythm that differs plays what it says.

use pulsewright_core::body::{ADULT, NEONATE};
use pulsewright_core::heart::catalogue::{self, RHYTHMS};
use pulsewright_core::heart::rhythm::parameter::{Parameter, ParameterError};
use pulsewright_core::heart::rhythm::{Rhythm, UsualRate};
use pulsewright_core::image::{self, Image, MOST_OWN, WriteError};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::Event;
use pulsewright_script::rhythms;
use pulsewright_tests::images::{compiled, document, played, with_each_byte_changed};
use serde_json::{Value, json};

const RATE: FrameRate = FrameRate::lit(250);

/// The script with a rhythm's own copy, between two steps of others, so that the changes to and from it count too.
fn copy_of(rhythm: &Rhythm, word: &str) -> Value {
    // A rhythm that follows itself does not start anew, and its copy does.
    let other = |word| if rhythm.id == word { "torsades" } else { word };
    json!({"version": 1, "seed": 11, "rhythms": {"copy": rhythms::json(rhythm)}, "steps": [
        {"duration_s": 4, "rhythm": other("atrial-fibrillation"), "life": "resting"},
        {"duration_s": 20, "rhythm": word},
        {"duration_s": 4, "rhythm": other("sinus")}
    ]})
}

#[test]
fn every_rhythm_as_a_document_plays_its_own_bits() {
    for rhythm in RHYTHMS {
        let [builtin, copy] = [rhythm.id, "copy"].map(|word| document(&copy_of(rhythm, word)));
        let [builtin_items, copy_items] = [builtin.items(), copy.items()];
        let builtin = Script::new(builtin.seed(), &builtin_items).expect("a script");
        let copied = Script::new(copy.seed(), &copy_items).expect("a script");
        let expected = played(Player::new(&builtin, RATE));
        assert!(expected == played(Player::new(&copied, RATE)), "{} from a document", rhythm.id);
        let bytes = compiled(&copied);
        let image = Image::new(&bytes).expect("what was written can be read");
        assert!(expected == played(Player::of_image(&image, RATE)), "{} from an image", rhythm.id);
        // It can be written and read once more.
        assert_eq!(document(&copy.to_json()).to_json(), copy.to_json(), "{}", rhythm.id);
    }
}

/// A catalogue record is its parameters and nothing else, from whatever rhythm one starts.
#[test]
fn parameters_make_any_rhythm_from_any_other() {
    for from in RHYTHMS {
        for to in RHYTHMS {
            let put = |rhythm: Rhythm, parameter: &Parameter| match to.parameter(*parameter) {
                Some(value) => rhythm.with_parameter(*parameter, value).expect("in order"),
                None => rhythm,
            };
            let made = Parameter::ALL.iter().fold(**from, put);
            assert_eq!(Rhythm { id: to.id, name: to.name, values: to.values, ..made }, **to, "from {}", from.id);
        }
    }
}

#[test]
fn every_parameter_belongs_to_a_rhythm_and_keeps_its_range() {
    // No rhythm of the catalogue has an escape focus that twists.
    let foci = Parameter::EscapeFocus.info().words;
    let place = foci.iter().position(|word| *word == "twisting").expect("a word of the list");
    let twisting = catalogue::SINUS.with_parameter(Parameter::EscapeFocus, place as f32).expect("a focus");
    let all: Vec<Rhythm> = RHYTHMS.iter().map(|rhythm| **rhythm).chain([twisting]).collect();
    for parameter in Parameter::ALL {
        let info = parameter.info();
        let has = all.iter().find_map(|rhythm| Some((rhythm, rhythm.parameter(*parameter)?)));
        let (rhythm, value) = has.unwrap_or_else(|| panic!("{} belongs to no rhythm", info.path));
        assert!(rhythm.with_parameter(*parameter, value).is_ok(), "{}", info.path);
        for wrong in [info.min - 0.01, info.max + 1.0, f32::NAN, f32::INFINITY] {
            let refused = rhythm.with_parameter(*parameter, wrong);
            assert!(matches!(refused, Err(ParameterError::OutOfRange(..))), "{} = {wrong}", info.path);
        }
        let halves = rhythm.with_parameter(*parameter, info.min + 0.5);
        assert_eq!(halves.is_err(), info.whole, "{}", info.path);
    }
}

#[test]
fn a_value_refused_is_named_with_the_range_and_a_unit_where_it_has_one() {
    let said = |parameter, value| ParameterError::OutOfRange(parameter, value).to_string();
    assert_eq!(said(Parameter::SinusFaultBeats, 1.5), "sinus_fault.beats = 1.5 is no whole number from 1 to 1000");
    assert_eq!(said(Parameter::UsualFactor, 20.0), "usual.factor = 20 is outside 0.05 to 10");
    assert_eq!(said(Parameter::EscapeBpm, 1.0), "escape.bpm = 1 is outside 5 to 300 bpm");
    let gain = Settings::new(&ADULT, &catalogue::SINUS).with(Field::EcgGain, 9.0);
    assert_eq!(gain.expect_err("too large").to_string(), "ecg.gain = 9 is outside 0.05 to 5");
}

/// Words that no part of a record has must not be read as another part.
#[test]
fn a_parameter_of_a_kind_that_is_not_chosen_is_refused() {
    let absent = Parameter::ALL.iter().filter(|parameter| {
        let sinus = &catalogue::SINUS;
        sinus.parameter(**parameter).is_none()
            && sinus.with_parameter(**parameter, parameter.info().min.max(1.0).min(parameter.info().max))
                == Err(ParameterError::Absent(**parameter))
    });
    assert_eq!(absent.count(), 27);
}

/// The distances between the beats that a document asks for: two conducted, then a couplet, all over again.
#[test]
fn an_extended_rhythm_plays_what_its_document_says() {
    let document = document(&json!({"version": 1, "rhythms": {
        "couplets-of-two": {
            "extends": "ventricular-trigeminy", "name": "Couplets after two",
            "ectopy": {"run": 2, "share": 0.5, "run_period": 0.6}
        }
    }, "steps": [{"duration_s": 60, "rhythm": "couplets-of-two", "rate_bpm": 60}]}));
    assert_eq!(document.label(0), "Couplets after two");
    let items = document.items();
    let script = Script::new(0, &items).expect("a script");
    let (_, events) = played(Player::new(&script, RATE));
    let beats: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Beat(beat) => Some((beat.code.symbol(), beat.onset)),
            _ => None,
        })
        .collect();
    let codes: String = beats.iter().map(|(code, _)| *code).collect();
    assert!(codes.contains("NNVVNNVVNNVVNNVV"), "{codes}");
    for pair in beats.windows(2).skip(8) {
        let [(before, from), (code, to)] = pair else { continue };
        let interval_s = to.since(*from).as_secs();
        let expected_s = match (before, code) {
            ('N', 'V') => 0.5,
            ('V', 'V') => 0.6,
            ('N', 'N') => 1.0,
            _ => continue,
        };
        assert!((interval_s - expected_s).abs() < 0.002, "{before} to {code}: {interval_s} s");
    }
}

fn many(count: usize) -> Value {
    let own: serde_json::Map<String, Value> =
        (0..count).map(|i| (format!("own-{i:02}"), json!({"usual": {"factor": 1.0 + 0.01 * i as f64}}))).collect();
    let steps: Vec<Value> = own.keys().map(|word| json!({"duration_s": 1, "rhythm": word})).collect();
    json!({"version": 1, "rhythms": own, "steps": steps})
}

#[test]
fn an_image_holds_as_many_rhythms_as_it_says() {
    let full = document(&many(MOST_OWN));
    let items = full.items();
    let script = Script::new(0, &items).expect("a script");
    let bytes = compiled(&script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!(played(Player::new(&script, RATE)), played(Player::of_image(&image, RATE)));
    let more = document(&many(MOST_OWN + 1));
    let items = more.items();
    let script = Script::new(0, &items).expect("a script");
    assert_eq!(image::write(&script, |_| ()), Err(WriteError::Rhythm(MOST_OWN)));
}

/// A program can make a record that a document can't.
#[test]
fn an_image_is_not_written_of_a_rhythm_that_it_could_not_be_read_with() {
    static STRONG: Rhythm = Rhythm { ejection: 2.5, ..Rhythm::SINUS };
    static NO_NUMBER: Rhythm = Rhythm { ejection: f32::NAN, ..Rhythm::SINUS };
    // The highest follows the body: a neonate has a rate between the two.
    static CROSSED: Rhythm =
        Rhythm { usual: UsualRate::Adult(60.0, 1.0), min_bpm: 100.0, max_bpm: 60.0, ..Rhythm::SINUS };
    for (body, rhythm) in [(&ADULT, &STRONG), (&ADULT, &NO_NUMBER), (&NEONATE, &CROSSED)] {
        let settings = Settings::new(body, rhythm).with(Field::RateBpm, 105.0).expect("a rate");
        let items = [Item::Step(Step::lasting(Span::secs(1), settings))];
        let script = Script::new(0, &items).expect("a script");
        let mut parts = 0;
        assert_eq!(image::write(&script, |_| parts += 1), Err(WriteError::RhythmOutOfRange(0)));
        assert_eq!(parts, 0, "nothing is written");
    }
}

#[test]
fn no_byte_of_an_own_rhythm_can_do_harm() {
    let own = document(&json!({"version": 1, "rhythms": {"own": {
        "extends": "ventricular-run", "escape": {"focus": "twisting"}, "pacing": {"mode": "vvi", "fault": "no-capture"},
        "sinus_fault": {"kind": "arrest"}
    }}, "steps": [{"duration_s": 5, "rhythm": "own"}]}));
    let items = own.items();
    let bytes = compiled(&Script::new(0, &items).expect("a script"));
    let (refused, taken) = with_each_byte_changed(&bytes, &[0, 1, 7, 40, 127, 128, 255]);
    assert!(refused > 100 && taken > 10, "{refused} refused, {taken} taken");
}
