//! Frames are the recorded bits, in every build of this test and by every way of filling.
//!
//! When it fails and the change of the signal is wanted:
//! `cargo run -p pulsewright-tests --example golden >tests/golden/frames.txt`, and say in the same commit what changed and why.
//! Every user must then validate a rig anew.

#[path = "../golden/demonstration.rs"]
mod demonstration;
#[path = "../golden/host.rs"]
mod host;
#[path = "../golden/items.rs"]
mod items;

use demonstration::{RATE, SEQUENCE, with_pressures};
use host::{player, programs};
use pulsewright_core::frame::{Digest, Frame};
use pulsewright_core::image::Image;
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;
use pulsewright_tests::images::compiled;
use std::collections::HashMap;

fn recorded() -> Vec<&'static str> {
    include_str!("../golden/frames.txt").lines().filter(|line| !line.starts_with('#')).collect()
}

#[test]
fn frames_are_the_recorded_ones_for_any_block() {
    for block in [1, 7, 16, 512, 20_001] {
        let computed = host::lines(block).expect("the core takes the demonstration script");
        let computed: Vec<&str> = computed.lines().collect();
        for (recorded, computed) in recorded().iter().zip(&computed) {
            assert_eq!(recorded, computed, "blocks of {block}");
        }
        assert_eq!(recorded().len(), computed.len(), "number of lines");
    }
}

/// The image that the board plays.
#[test]
fn an_image_plays_the_recorded_frames_too() {
    let script = Script::new(items::SEED, &items::SCRIPT_ITEMS).expect("the core takes the demonstration script");
    let bytes = compiled(&script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!(image.duration(), script.duration());
    let mut alone = (0..image.items()).filter_map(|item| image.alone(item));
    for (words, script) in programs() {
        let script = script.expect("the core takes the demonstration script");
        let image = if words == SEQUENCE { image } else { alone.next().expect("a step for each program") };
        let mut played = with_pressures(Player::of_image(&image, RATE), image.timeline());
        let mut expected = player(&script);
        let (mut a, mut b) = ([Frame::default(); 500], [Frame::default(); 500]);
        while let n @ 1.. = expected.fill(&mut a) {
            assert_eq!(played.fill(&mut b), n, "{words:?}");
            assert_eq!(a, b, "{words:?}");
        }
        assert_eq!(played.fill(&mut b), 0, "{words:?}");
    }
}

/// A rhythm whose frames are those of another is not in the demonstration at all.
#[test]
fn every_program_has_frames_of_its_own() {
    let mut seen = HashMap::new();
    for line in recorded().into_iter().filter(|line| line.contains(".digest ")) {
        let mut parts = line.split(' ');
        let (name, digest) = (parts.next(), parts.next());
        if let Some(other) = seen.insert(digest, name) {
            panic!("{name:?} and {other:?} have the same frames");
        }
    }
    assert_eq!(seen.len(), programs().count());
}

/// After `skip`, or from a clone, the frames go on as if they had been played one after another.
#[test]
fn skipping_and_cloning_change_no_bit() {
    let digest = |mut player: Player<'_>| {
        let mut digest = Digest::default();
        let mut block = [Frame::default(); 64];
        while let n @ 1.. = player.fill(&mut block) {
            block[..n].iter().for_each(|frame| digest.update(frame));
        }
        digest
    };
    for (words, script) in programs() {
        let script = script.expect("the core takes the demonstration script");
        let mut played = player(&script);
        // Steps without a common measure with the beats, so that they end anywhere in them.
        for step in [1, 997, 1_327, 4_099, 9_001] {
            let mut one_at_a_time = [Frame::default(); 1];
            for _ in 0..step {
                played.fill(&mut one_at_a_time);
            }
            let mut skipped = player(&script);
            assert_eq!(skipped.skip(played.position()), played.position());
            assert_eq!(digest(skipped), digest(played.clone()), "{words:?} from frame {}", played.position());
        }
    }
}
