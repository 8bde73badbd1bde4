//! Prints frames of a rhythm as CSV (leads, respiration, pressures): a look at the core without any other crate.
//!
//! `dump RHYTHM BODY FIELD=VALUE...`, fields by their path; `then` begins another step with what follows it.
use pulsewright_core::{
    body::{self, Body},
    frame::{Channel, Frame},
    heart::catalogue,
    player::Player,
    script::{Item, Script, Step},
    settings::{Field, Settings},
    time::{FrameRate, Span},
    truth::Event,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut settings = Settings::new(&body::ADULT, &catalogue::SINUS);
    let mut items = Vec::new();
    for word in std::env::args().skip(1).chain(["then".to_string()]) {
        if word == "then" {
            items.push(Item::Step(Step::lasting(Span::secs(20), settings)));
        } else if let Some(rhythm) = catalogue::find(&word) {
            settings = settings.with_rhythm(rhythm);
        } else if let Some(body) = Body::find(&word) {
            settings = settings.with_body(body);
        } else {
            let (path, value) = word.split_once('=').ok_or("neither a rhythm, a body nor FIELD=VALUE")?;
            let field = Field::ALL.iter().find(|field| field.info().path == path).ok_or("no such field")?;
            settings = settings.with(*field, value.parse()?)?;
        }
    }
    let script = Script::new(1, &items)?;
    let mut player = Player::new(&script, FrameRate::hz(1000)?);
    let mut frames = vec![Frame::default(); 20_000 * items.len()];
    let n =
        player.fill_observed(&mut frames, &mut |event: Event| eprintln!("{:.3} {event:?}", event.at().as_secs_f64()));
    let channels: Vec<&Channel> = Channel::ALL.iter().filter(|c| !matches!(c, Channel::Electrode(_))).collect();
    println!("{}", channels.iter().map(|channel| channel.id()).collect::<Vec<_>>().join(","));
    for frame in frames.iter().take(n) {
        let row: Vec<String> = channels.iter().map(|channel| format!("{:.4}", frame.sample(**channel))).collect();
        println!("{}", row.join(","));
    }
    Ok(())
}
