//! Bodies of one's own: the bodies of the catalogue written as documents and read again play the bits of the catalogue, from a script
//! and from an image; and a body that differs plays what it says.

use pulsewright_core::block::{Block, Signals};
use pulsewright_core::body::{ADULT, BODIES, Body};
use pulsewright_core::frame::{Channel, Digest, Frame};
use pulsewright_core::heart::catalogue::{RHYTHMS, SINUS};
use pulsewright_core::image::{self, Image, MOST_OWN_BODIES, WriteError};
use pulsewright_core::internal::ecg::Residuals;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_script::bodies;
use pulsewright_tests::images::{compiled, document, played, with_each_byte_changed};
use serde_json::{Map, Value, json};

const RATE: FrameRate = FrameRate::lit(250);

/// Every rhythm for a while in a body, with life in the second half.
fn every_rhythm(body: &Body, word: &str) -> Value {
    let step = |(i, rhythm): (usize, &&pulsewright_core::heart::rhythm::Rhythm)| {
        let life = if 2 * i < RHYTHMS.len() { "none" } else { "resting" };
        json!({"duration_s": 4, "rhythm": rhythm.id, "body": word, "life": life})
    };
    let steps: Vec<Value> = RHYTHMS.iter().enumerate().map(step).collect();
    json!({"version": 1, "seed": 5, "bodies": {"copy": bodies::json(body)}, "steps": steps})
}

#[test]
fn every_body_as_a_document_plays_its_own_bits() {
    for body in BODIES {
        let [builtin, copy] = [body.id, "copy"].map(|word| document(&every_rhythm(body, word)));
        let [builtin_items, copy_items] = [builtin.items(), copy.items()];
        let builtin = Script::new(builtin.seed(), &builtin_items).expect("a script");
        let copied = Script::new(copy.seed(), &copy_items).expect("a script");
        let expected = played(Player::new(&builtin, RATE));
        assert!(expected == played(Player::new(&copied, RATE)), "{} from a document", body.id);
        let bytes = compiled(&copied);
        // All shapes are in it.
        assert!(bytes.len() > compiled(&builtin).len() + 2500, "{}", body.id);
        let image = Image::new(&bytes).expect("what was written can be read");
        assert!(expected == played(Player::of_image(&image, RATE)), "{} from an image", body.id);
        for channel in Channel::ALL {
            assert_eq!(builtin.reach(*channel), copied.reach(*channel), "{} {}", body.id, channel.id());
        }
        // It can be written and read once more, and plays the same then.
        let again = document(&copy.to_json());
        assert_eq!(again.to_json(), copy.to_json(), "{}", body.id);
        let items = again.items();
        let script = Script::new(again.seed(), &items).expect("a script");
        assert!(expected == played(Player::new(&script, RATE)), "{} written", body.id);
    }
}

/// Half as wide in its QRS, half the size in T, from an image too.
fn slim() -> Value {
    let mut shape = bodies::json(&ADULT)["complexes"]["normal"].clone();
    shape["t"]["xyz_mv"] = json!([0.16, 0.085, -0.1]);
    json!({"extends": "child", "name": "Slim", "age": "neonate", "resting_bpm": 60, "complexes": {"normal": shape},
        "settings": {"ecg": {"qrs_ms": 92}}})
}

#[test]
fn an_image_has_only_the_shapes_of_a_body_that_are_its_own() {
    let own = document(&json!({"version": 1, "bodies": {"slim": slim()}, "steps": [
        {"duration_s": 5, "rhythm": "sinus"},
        {"duration_s": 20, "rhythm": "ventricular-run", "body": "slim", "life": "resting"},
        {"duration_s": 5, "body": "neonate"}
    ]}));
    let items = own.items();
    let script = Script::new(own.seed(), &items).expect("a script");
    let bytes = compiled(&script);
    assert!(bytes.len() < 1000, "{} bytes", bytes.len());
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!(played(Player::new(&script, RATE)), played(Player::of_image(&image, RATE)));
    let bodies: Vec<_> =
        image.timeline().map(|placed| (placed.step.body().id, placed.step.body().resting_bpm)).collect();
    assert_eq!(bodies, [("adult", 70.0), (image::OWN, 60.0), ("neonate", 130.0)]);
}

/// A body takes from another of the script's own, which it extends, all that its document leaves out.
#[test]
fn a_body_extends_one_above_it() {
    let own =
        document(&json!({"version": 1, "bodies": {"slim": slim(), "slimmer": {"extends": "slim", "resting_bpm": 50}},
        "steps": [{"duration_s": 5, "body": "slimmer"}]}));
    let body = own.step(0).expect("a step").settings.body();
    assert_eq!((body.id, body.name, body.age.id(), body.resting_bpm), ("slimmer", "slimmer", "neonate", 50.0));
    assert_eq!(body.templates.complexes[0].t[0].mv, [0.16, 0.085, -0.1]);
    assert_eq!(body.templates.complexes[0].qrs, ADULT.templates.complexes[0].qrs);
    // Read again it is the same body, which is kept once.
    let again =
        document(&json!({"version": 1, "bodies": {"slim": slim(), "slimmer": {"extends": "slim", "resting_bpm": 50}},
        "steps": [{"duration_s": 9, "body": "slimmer"}]}));
    assert!(std::ptr::eq(body, again.step(0).expect("a step").settings.body()));
}

/// Curves of some leads beside the waves of a beat of each kind, and of P.
fn with_residuals() -> Value {
    let curve = |at_ms: i32, step_ms: f64| {
        let uv = |turn: i32| (0..24).map(|i| (i * turn * 37) % 301 - 150).collect::<Vec<i32>>();
        json!({"at_ms": at_ms, "step_ms": step_ms, "leads_uv": {"I": uv(1), "V2": uv(5), "V6": uv(-3)}})
    };
    let complexes: Map<String, Value> =
        ["normal", "left-ventricle", "escape"].map(|word| (word.to_owned(), curve(0, 5.5))).into_iter().collect();
    json!({"name": "Curved", "residuals": {
        "qrs": complexes,
        "t": {"normal": curve(-20, 17.0), "left-ventricle": curve(-60, 20.0)},
        "p": {"sinus-node": curve(0, 6.0), "flutter": curve(10, 9.0)}
    }})
}

#[test]
fn residuals_play_the_same_bits_from_an_image_and_in_blocks_of_any_size() {
    let mut own = every_rhythm(&ADULT, "curved");
    own["bodies"] = json!({"curved": with_residuals()});
    // Gains that ramp and follow breathing.
    own["steps"][0]["ecg"] = json!({"gain": {"to": 2}});
    own["steps"][0]["breathing"] = json!({"ecg_percent": 20});
    let plain = {
        let mut plain = own.clone();
        plain["bodies"]["curved"].as_object_mut().expect("a body").remove("residuals");
        document(&plain)
    };
    let own = document(&own);
    let items = own.items();
    let script = Script::new(own.seed(), &items).expect("a script");
    let expected = played(Player::new(&script, RATE));
    // The same script without residuals plays other frames.
    let plain_items = plain.items();
    let without = played(Player::new(&Script::new(plain.seed(), &plain_items).expect("a script"), RATE));
    assert_ne!(expected.0, without.0, "the residuals do not show");
    let bytes = compiled(&script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert!(expected == played(Player::of_image(&image, RATE)), "from an image");
    let again = document(&own.to_json());
    assert_eq!(again.to_json(), own.to_json());
    for size in [1, 7, 64] {
        let mut player = Player::of_image(&image, RATE);
        let (mut digest, mut block) = (Digest::default(), vec![Frame::default(); size]);
        while let n @ 1.. = player.fill(&mut block) {
            block[..n].iter().for_each(|frame| digest.update(frame));
        }
        assert_eq!(digest.value(), expected.0, "blocks of {size}");
    }
    // The columns of a block, as files ask for them.
    let (mut player, mut block) = (Player::new(&script, RATE), Block::new(Signals::ALL));
    let mut digest = Digest::default();
    while player.fill_block(&mut block, usize::MAX) > 0 {
        (0..block.len()).filter_map(|i| block.frame(i)).for_each(|frame| digest.update(&frame));
    }
    assert_eq!(digest.value(), expected.0, "columns");
    // After a skip the bits go on as they were.
    let whole: Vec<Frame> = {
        let mut frames = vec![Frame::default(); 30_000];
        let mut player = Player::new(&script, RATE);
        let n = player.fill(&mut frames);
        frames.truncate(n);
        frames
    };
    for from in (0..whole.len() - 100).step_by(1999) {
        let mut player = Player::of_image(&image, RATE);
        player.skip(from as u64);
        let mut frames = [Frame::default(); 100];
        player.fill(&mut frames);
        assert_eq!(frames[..], whole[from..from + 100], "from frame {from}");
    }
}

/// Waves that are replaced take the curves of the base with them.
#[test]
fn residuals_go_with_the_waves_that_they_belong_to() {
    let p_wave = bodies::json(&ADULT)["p_waves"]["sinus-node"].clone();
    let own = document(&json!({"version": 1, "bodies": {
        "curved": with_residuals(),
        "same": {"extends": "curved", "resting_bpm": 50},
        "other": {"extends": "curved", "complexes": {"normal": {"qrs_ms": 90}}, "p_waves": {"sinus-node": p_wave}}
    }, "steps": [{"duration_s": 5, "body": "curved"}, {"duration_s": 5, "body": "same"}, {"duration_s": 5, "body": "other"}]}));
    let parts = |step: usize| {
        let body = own.step(step).expect("a step").settings.body();
        body.templates.residuals.expect("residuals").0.iter().map(Option::is_some).collect::<Vec<_>>()
    };
    assert_eq!(parts(0).iter().filter(|some| **some).count(), 7);
    assert_eq!(parts(0), parts(1));
    let lost: Vec<usize> = (0..parts(0).len()).filter(|i| parts(0)[*i] != parts(2)[*i]).collect();
    assert_eq!(lost, [Residuals::qrs(0), Residuals::t(0), Residuals::p(0)]);
    let items = own.items();
    let script = Script::new(0, &items).expect("a script");
    let bytes = compiled(&script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!(played(Player::new(&script, RATE)), played(Player::of_image(&image, RATE)));
}

#[test]
fn the_page_of_images_counts_the_shapes_of_a_body() {
    let page = include_str!("../../docs/image.md");
    let (complexes, p_waves) = (ADULT.templates.complexes.len(), ADULT.templates.p.len());
    for words in [
        format!("A body of the script's own takes {} bytes,", 8 + 2 * (complexes + p_waves)),
        format!("| 8 | {} | where each of {complexes} complexes starts,", 2 * complexes),
        format!("| {} | {} | likewise each of {p_waves} P waves,", 8 + 2 * complexes, 2 * p_waves),
        format!(
            "| {} | {} | of a body with residuals: where each starts",
            8 + 2 * (complexes + p_waves),
            2 * (2 * complexes + p_waves)
        ),
    ] {
        assert!(page.contains(&words), "docs/image.md must say: {words}");
    }
}

fn many(count: usize) -> Value {
    let own: Map<String, Value> =
        (0..count).map(|i| (format!("own-{i:02}"), json!({"resting_bpm": 60.0 + i as f64}))).collect();
    let steps: Vec<Value> = own.keys().map(|word| json!({"duration_s": 1, "body": word})).collect();
    json!({"version": 1, "bodies": own, "steps": steps})
}

#[test]
fn an_image_holds_as_many_bodies_as_it_says() {
    let full = document(&many(MOST_OWN_BODIES));
    let items = full.items();
    let script = Script::new(0, &items).expect("a script");
    let bytes = compiled(&script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!(played(Player::new(&script, RATE)), played(Player::of_image(&image, RATE)));
    let more = document(&many(MOST_OWN_BODIES + 1));
    let items = more.items();
    let script = Script::new(0, &items).expect("a script");
    assert_eq!(image::write(&script, |_| ()), Err(WriteError::Body(MOST_OWN_BODIES)));
}

/// A program can make a record that a document can't.
#[test]
fn an_image_is_not_written_of_a_body_that_it_could_not_be_read_with() {
    static FAST: Body = Body { id: "fast", resting_bpm: 230.0, ..ADULT };
    let items = [Item::Step(Step::lasting(Span::secs(1), Settings::new(&FAST, RHYTHMS[2])))];
    let script = Script::new(0, &items).expect("a script");
    let mut parts = 0;
    assert_eq!(image::write(&script, |_| parts += 1), Err(WriteError::BodyOutOfRange(0)));
    assert_eq!(parts, 0, "nothing is written");
}

/// A body with large waves gets a scale that holds them.
#[test]
fn no_lead_of_a_tall_body_goes_beyond_its_reach() {
    let mut tall = bodies::json(&ADULT);
    // As large as a curve can be, where R is.
    tall["residuals"] = json!({"qrs": {"normal": {"at_ms": 0, "step_ms": 10, "leads_uv": {
        "I": vec![9000; 12], "II": vec![-9000; 12], "V3": vec![10000; 12]
    }}}});
    for wave in tall["complexes"]["normal"]["qrs"].as_array_mut().expect("waves") {
        for axis in wave["xyz_mv"].as_array_mut().expect("axes") {
            *axis = json!(6.0 * axis.as_f64().expect("a number"));
        }
    }
    let own = document(&json!({"version": 1, "bodies": {"tall": tall}, "steps": [{"duration_s": 5, "body": "tall"}]}));
    let items = own.items();
    let script = Script::new(0, &items).expect("a script");
    let mut frames = vec![Frame::default(); 1250];
    Player::new(&script, RATE).fill(&mut frames);
    for channel in Channel::ALL.iter().filter(|channel| matches!(channel, Channel::Lead(_) | Channel::Electrode(_))) {
        let most = frames.iter().map(|frame| frame.sample(*channel).abs()).fold(0.0, f32::max);
        let reach = script.reach(*channel);
        assert!(most <= reach.highest && -most >= reach.lowest, "{}: {most} mV", channel.id());
    }
    assert!(frames.iter().any(|frame| frame.leads_mv.iter().any(|mv| *mv > 5.0)), "taller than usual");
    let usual = [Item::Step(Step::lasting(Span::secs(5), Settings::new(&ADULT, &SINUS)))];
    let usual = Script::new(0, &usual).expect("a script");
    assert!(script.reach(Channel::ALL[0]).highest > 2.0 * usual.reach(Channel::ALL[0]).highest);
}

#[test]
fn no_byte_of_an_own_body_can_do_harm() {
    let mut own = slim();
    own["p_waves"] = json!({"sinus-node": bodies::json(&ADULT)["p_waves"]["sinus-node"]});
    own["residuals"] = json!({
        "qrs": {"normal": {"at_ms": 0, "step_ms": 4, "leads_uv": {"V1": [100, -300, 20]}}},
        "t": {"normal": {"at_ms": -10, "step_ms": 20, "leads_uv": {"I": [10, 30]}}}
    });
    let own = document(&json!({"version": 1, "bodies": {"own": own}, "steps": [
        {"duration_s": 5, "rhythm": "ventricular-bigeminy", "body": "own", "rate_bpm": 100}
    ]}));
    let items = own.items();
    let bytes = compiled(&Script::new(0, &items).expect("a script"));
    let (refused, taken) = with_each_byte_changed(&bytes, &[0, 1, 66, 127, 128, 255]);
    assert!(refused > 500 && taken > 100, "{refused} refused, {taken} taken");
}
