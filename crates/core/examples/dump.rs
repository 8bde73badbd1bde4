//! Prints frames of a rhythm as CSV (leads, respiration, pressure): a look at the core without any other crate.
use pulsewright_core::{
    body::Body,
    frame::{Channel, Frame},
    heart::catalogue,
    player::Player,
    script::{Item, Script, Step},
    settings::{Field, Settings},
    time::{FrameRate, Span},
    truth::Event,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let rhythm = args.next().and_then(|id| catalogue::find(&id)).unwrap_or(&catalogue::SINUS);
    let body = args.next().and_then(|id| Body::find(&id)).unwrap_or(&pulsewright_core::body::ADULT);
    let mut settings = Settings::new(body, rhythm);
    if let Some(rate) = args.next() {
        settings = settings.with(Field::RateBpm, rate.parse()?)?;
    }
    let items = [Item::Step(Step { duration: Some(Span::secs(20)), settings, ramps: &[], beats: &[] })];
    let script = Script::new(1, &items)?;
    let mut player = Player::new(&script, FrameRate::hz(500)?);
    let mut frames = vec![Frame::default(); 10_000];
    let n =
        player.fill_observed(&mut frames, &mut |event: Event| eprintln!("{:.3} {event:?}", event.at().as_secs_f64()));
    for frame in frames.iter().take(n) {
        let row: Vec<String> = Channel::USUAL.iter().map(|channel| format!("{:.4}", frame.sample(*channel))).collect();
        println!("{}", row.join(","));
    }
    Ok(())
}
