//! Images of scripts.

use super::sound_bits;
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::image::{self as format, Image};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::FrameRate;
use pulsewright_tests::check_sum::check_sum;

/// Bytes of an image's header before its items, see `docs/image.md`: mark and version, check sum, length, tables.
const HEAD: usize = 28;

/// Bytes are refused or play, also when mark, length, tables and check sum fit.
pub fn image(bytes: &[u8]) {
    match Image::new(bytes) {
        Ok(image) => play(&image),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
    if let Ok(image) = Image::new(&repaired(bytes)) {
        play(&image);
    }
}

/// The same bytes behind a header that fits them.
fn repaired(bytes: &[u8]) -> Vec<u8> {
    let items = [Item::Step(Step::hold(Settings::new(&ADULT, &SINUS)))];
    let mut sound = Vec::new();
    let script = Script::new(0, &items).expect("a script");
    format::write(&script, |part| sound.extend_from_slice(part)).expect("an image");
    let mut repaired = bytes.to_vec();
    repaired.resize(bytes.len().max(HEAD), 0);
    // The numbers of own rhythms and bodies, 6 and 7, and the seed, from 16 to 24, stay.
    for part in [0..6, 24..28] {
        repaired[part.clone()].copy_from_slice(&sound[part]);
    }
    let length = (repaired.len() as u32).to_le_bytes();
    repaired[12..16].copy_from_slice(&length);
    let sum = check_sum(&repaired).to_le_bytes();
    repaired[8..12].copy_from_slice(&sum);
    repaired
}

fn play(image: &Image<'_>) {
    let _ = (image.seed(), image.duration(), image.timeline().take(200).count());
    let alone = (0..image.items().min(3)).filter_map(|item| image.alone(item));
    for image in alone.chain([*image]) {
        let mut player = Player::of_image(&image, FrameRate::lit(100));
        let mut frames = [Frame::default(); 50];
        for _ in 0..2 {
            let filled = player.fill(&mut frames);
            for frame in &frames[..filled] {
                sound_bits(frame);
            }
            player.skip(500);
            player.next_step();
        }
    }
}
