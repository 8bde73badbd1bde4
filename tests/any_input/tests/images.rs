//! Images with every byte changed, cut off at every byte, and longer than they say: refused; and with a check sum that fits again:
//! refused or played within their range. Nothing panics.

use pulsewright_any_input::image as script_image;
use pulsewright_core::frame::{Frame, PressureSite};
use pulsewright_core::image::{self as format, Image};
use pulsewright_core::script::Script;
use pulsewright_device::wiring::Wiring;
use pulsewright_rig::wiring::wiring;
use pulsewright_tests::check_sum::check_sum;

const SCRIPT: &str = r#"{"version": 1, "notes": "Invented data.", "seed": 7,
    "rhythms": {"own": {"extends": "ventricular-trigeminy", "ectopy": {"run": 2, "share": 0.5}}},
    "steps": [{"duration_s": 1, "rhythm": "own", "rate_bpm": {"to": 90}, "beats": [{"at_s": 0.5, "site": "left-ventricular"}]},
        {"repeat": 2, "steps": [{"duration_s": 0.5, "rhythm": "asystole", "body": "neonate"}]}]}"#;

/// A script's image.
fn of_script() -> Vec<u8> {
    let document = pulsewright_script::parse(SCRIPT.as_bytes(), "x.json").expect("a script");
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a script");
    let mut bytes = Vec::new();
    format::write(&script, |part| bytes.extend_from_slice(part)).expect("an image");
    bytes
}

/// The image of the rig among the examples.
fn of_rig() -> Vec<u8> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/rig/bench.json");
    let text = std::fs::read(path).expect("the example");
    let rig = pulsewright_rig::read::parse(&text, "bench.json").expect("a rig");
    wiring(&rig).expect("a wiring").image().to_vec()
}

/// Every image that differs in one byte, is cut off, or goes on: all values of each byte where `all`, else some.
fn changed(sound: &[u8], all: bool) -> impl Iterator<Item = Vec<u8>> {
    let bytes = sound.iter().enumerate().flat_map(move |(place, was)| {
        let near = [0, 1, 0x7f, 0x80, 0xff, was ^ 1, was ^ 0x80, was.wrapping_add(1)];
        let values = if all { (0..=u8::MAX).collect() } else { near.to_vec() };
        values.into_iter().filter(move |value| value != was).map(move |value| (place, value))
    });
    let bytes = bytes.map(|(place, value)| {
        let mut image = sound.to_vec();
        image[place] = value;
        image
    });
    let shorter = (0..sound.len()).map(|length| sound[..length].to_vec());
    bytes.chain(shorter).chain([[sound, &[0]].concat(), [sound, sound].concat()])
}

#[test]
fn no_changed_image_of_a_script_is_taken() {
    let sound = of_script();
    assert!(Image::new(&sound).is_ok());
    let mut tried = 0;
    for image in changed(&sound, false) {
        assert!(Image::new(&image).is_err(), "{image:?}");
        // Also behind a header that fits.
        script_image(&image);
        tried += 1;
    }
    println!("{tried} images of a script of {} bytes", sound.len());
    assert!(tried > 1000);
}

/// The codes of a wiring stay within its converter's for any frame.
fn codes_stay_in_reach(wiring: &Wiring) {
    let (lowest, highest) = wiring.codes();
    let values = [0.0, 1.0, -3.5, 1e30, f32::MIN, f32::INFINITY, f32::NAN];
    for value in values {
        let frame = Frame {
            leads_mv: [value; 8],
            pressure_mmhg: [value; PressureSite::COUNT],
            cuff_mmhg: [value; 2],
            respiration_ohm: value,
        };
        let mut codes = [lowest; 64];
        let clipped = wiring.put(&frame, &mut codes);
        assert!(clipped <= wiring.outputs().len());
        assert!(codes.iter().all(|code| (lowest..=highest).contains(code)), "{value} {codes:?}");
    }
}

#[test]
fn no_changed_image_of_a_rig_is_taken() {
    let sound = of_rig();
    let wired = Wiring::of_image(&sound).expect("an image");
    assert_eq!(wired.image().as_slice(), sound);
    codes_stay_in_reach(&wired);
    let (mut tried, mut taken) = (0, 0);
    for image in changed(&sound, true) {
        let refused = Wiring::of_image(&image).expect_err("a changed image");
        assert!(!refused.to_string().is_empty());
        tried += 1;
        if image.len() < 12 {
            continue;
        }
        let mut repaired = image;
        let sum = check_sum(&repaired).to_le_bytes();
        repaired[8..12].copy_from_slice(&sum);
        if let Ok(wiring) = Wiring::of_image(&repaired) {
            codes_stay_in_reach(&wiring);
            taken += 1;
        }
    }
    println!("{tried} images of a rig of {} bytes; {taken} with a check sum that fits again are wirings", sound.len());
    assert!(tried > 50_000 && taken > 1000);
}
