//! Prints the mean QRS rate that each rhythm makes in five minutes beside the one that it promises.
use pulsewright_core::{
    body::BODIES,
    heart::catalogue::RHYTHMS,
    player::Player,
    script::{Item, Script, Step},
    settings::{Field, Settings},
    time::{FrameRate, Span},
    truth::Event,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for body in BODIES {
        for rhythm in RHYTHMS {
            let settings = Settings::new(body, rhythm);
            let items = [Item::Step(Step::lasting(Span::secs(300), settings))];
            let script = Script::new(1, &items)?;
            let mut player = Player::new(&script, FrameRate::hz(100)?);
            let mut beats: Vec<f64> = Vec::new();
            player.skip_observed(u64::MAX >> 20, &mut |event: Event| {
                if let Event::Beat(beat) = event {
                    beats.push(beat.onset.as_secs_f64());
                }
            });
            let made = if beats.len() > 1 {
                60.0 * (beats.len() - 1) as f64 / (beats[beats.len() - 1] - beats[0])
            } else {
                0.0
            };
            let promised = rhythm.mean_bpm(|field| settings.get(field), settings.get(Field::RateBpm));
            println!(
                "{:8} {:40} set {:6.1} made {made:7.2} promised {promised:?}",
                body.id,
                rhythm.id,
                settings.get(Field::RateBpm)
            );
        }
    }
    Ok(())
}
