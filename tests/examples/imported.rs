//! Writes every rhythm and body of the catalogue, exported as a document and read again, for the emulated board: `imported FILE`.
//!
//! Each program of the demonstration that plays a rhythm of the catalogue or a body at rest is a record: length of its name, name,
//! digest of its frames as this machine plays them (8 bytes, little-endian), image. A last one has a body with residuals. Nothing of
//! the catalogue is named in the images: each carries its rhythm and all shapes of its body.

#[allow(dead_code)] // The lines are for programs that print.
#[path = "../golden/demonstration.rs"]
mod demonstration;
#[path = "../golden/items.rs"]
mod items;

use demonstration::{RATE, Tally, with_pressures, words};
use items::{SCRIPT_ITEMS, SEED};
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::image::Image;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_script::{bodies, rhythms};
use pulsewright_tests::images;
use serde_json::{Value, json};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args_os().nth(1).ok_or("imported FILE")?;
    let mut records = Vec::new();
    let mut count = 0;
    for item in &SCRIPT_ITEMS {
        let Item::Step(step) = item else { continue };
        // Without what the demonstration adds to a rhythm.
        let Some([first, second]) = words(&step.into()).filter(|words| words[0] != "all") else { continue };
        let body = bodies::json(step.settings.body());
        put(&mut records, &format!("{first}.{second}"), step, &rhythms::json(step.settings.rhythm()), &body)?;
        count += 1;
    }
    let mut curved = bodies::json(&ADULT);
    let curve = |at_ms: i32, step_ms: i32| {
        let uv = |factor: i32| (0..20).map(|i| i * factor * 37 % 301 - 150).collect::<Vec<i32>>();
        json!({"at_ms": at_ms, "step_ms": step_ms, "leads_uv": {"I": uv(1), "II": uv(2), "V2": uv(5), "V6": uv(-3)}})
    };
    curved["residuals"] = json!({
        "qrs": {"normal": curve(0, 6)}, "t": {"normal": curve(-20, 18)}, "p": {"sinus-node": curve(0, 7)}
    });
    let Some(Item::Step(sinus)) =
        SCRIPT_ITEMS.iter().find(|item| matches!(item, Item::Step(step) if step.settings.rhythm().id == SINUS.id))
    else {
        return Err("no sinus rhythm".into());
    };
    put(&mut records, "all.residuals", sinus, &rhythms::json(&SINUS), &curved)?;
    std::fs::write(path, records)?;
    println!("{}", count + 1);
    Ok(())
}

/// Adds the record of a program that plays as `step`, with the documents of its rhythm and its body.
fn put(records: &mut Vec<u8>, name: &str, step: &Step<'_>, rhythm: &Value, body: &Value) -> Result<(), Box<dyn Error>> {
    let seconds = step.duration.map_or(0.0, |duration| duration.as_secs());
    let document = json!({"version": 1, "rhythms": {"copied": rhythm}, "bodies": {"copy": body}, "steps": [
        {"duration_s": seconds, "rhythm": "copied", "body": "copy"}
    ]});
    let imported = images::document(&document);
    let items = imported.items();
    let script = Script::new(SEED, &items)?;
    let bytes = images::compiled(&script);
    let original = [Item::Step(*step)];
    let image = Image::new(&bytes)?;
    // The pressures are those of the original, whose rhythm has a name.
    let mut playing = with_pressures(Player::of_image(&image, RATE), Script::new(SEED, &original)?.timeline());
    let (mut tally, mut block) = (Tally::default(), [Frame::default(); 509]);
    while let n @ 1.. = playing.fill(&mut block) {
        tally.take(&block[..n]);
    }
    records.push(name.len() as u8);
    records.extend_from_slice(name.as_bytes());
    records.extend_from_slice(&tally.digest().to_le_bytes());
    records.extend_from_slice(&bytes);
    Ok(())
}
