//! Documents and their images: read, written, played, and with one byte changed.

use crate::check_sum::check_sum;
use pulsewright_core::frame::{Digest, Frame};
use pulsewright_core::image::{self, Image, ImageError};
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::Event;
use pulsewright_script::{Document, parse};
use serde_json::Value;

/// The document of a script.
pub fn document(value: &Value) -> Document {
    parse(value.to_string().as_bytes(), "x.json").unwrap_or_else(|problems| panic!("{problems}"))
}

/// The image of a script.
pub fn compiled(script: &Script<'_>) -> Vec<u8> {
    let mut bytes = Vec::new();
    image::write(script, |part| bytes.extend_from_slice(part)).expect("a script that fits");
    bytes
}

/// Digest of every frame, and every event.
pub fn played(mut player: Player<'_>) -> (u64, Vec<Event>) {
    let (mut digest, mut events) = (Digest::default(), Vec::new());
    let mut block = [Frame::default(); 500];
    while let n @ 1.. = player.fill_observed(&mut block, &mut |event| events.push(event)) {
        block.iter().take(n).for_each(|frame| digest.update(frame));
    }
    (digest.value(), events)
}

/// Changes one byte after the other of an image to each of `values`, with the check sum made right. Each image must be
/// refused, or its first ten seconds be finite; returns how many images were refused and how many were taken.
pub fn with_each_byte_changed(bytes: &[u8], values: &[u8]) -> (usize, usize) {
    let (mut refused, mut taken) = (0, 0);
    for place in 32..bytes.len() {
        for value in values {
            let mut changed = bytes.to_vec();
            changed[place] = *value;
            let sum = check_sum(&changed);
            changed[8..12].copy_from_slice(&sum.to_le_bytes());
            match Image::new(&changed) {
                Ok(image) => {
                    taken += 1;
                    // A step may be as long as it likes now.
                    let mut player = Player::of_image(&image, FrameRate::lit(250));
                    let mut frames = vec![Frame::default(); 2500];
                    player.fill(&mut frames);
                    let finite = |frame: &Frame| {
                        let mut samples = frame.leads_mv.iter().chain(&frame.pressure_mmhg);
                        samples.all(|sample| sample.is_finite())
                    };
                    assert!(frames.iter().all(finite), "byte {place} is {value}");
                }
                Err(ImageError::CheckSum) => panic!("the sum of this test is wrong"),
                Err(_) => refused += 1,
            }
        }
    }
    (refused, taken)
}
