//! Times what `tests/bench/compare.py` can't see from outside, in seconds: `in_process STEPS` with a number of steps.
//!
//! Lines of `name value`: skipping a day with the usual pressures and with none, playing it (the reference of that), reading a
//! script of that many steps and its JSON alone; medians of five, but for the playing. After an empty line, that script.

use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_script::parse;
use pulsewright_tests::long_scripts::{self, ONE_STEP};
use std::hint::black_box;
use std::time::Instant;

const DAY_FRAMES: u64 = 24 * 3600 * 500;

fn median_s(times: usize, mut job: impl FnMut()) -> f64 {
    let mut seconds: Vec<f64> = (0..times)
        .map(|_| {
            let began = Instant::now();
            job();
            began.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds[times / 2]
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let steps: usize = std::env::args().nth(1).unwrap_or_default().parse().map_err(|_| "usage: in_process STEPS")?;
    let document = parse(ONE_STEP.as_bytes(), "bench").map_err(|problems| format!("{problems:?}"))?;
    let items = document.items();
    let script = Script::new(document.seed(), &items)?;
    let player = Player::new(&script, FrameRate::lit(500));
    let skip = |player: &Player<'_>| assert_eq!(black_box(player.clone()).skip(DAY_FRAMES), DAY_FRAMES);
    println!("skip_a_day {:.6}", median_s(5, || skip(&player)));
    let leads = player.clone().with_pressures_at(SiteSet::new(&[])?);
    println!("skip_a_day_of_leads {:.6}", median_s(5, || skip(&leads)));
    let play = || {
        let (mut player, mut frames, mut played) = (player.clone(), [Frame::default(); 512], 0);
        while played < DAY_FRAMES {
            played += player.fill(&mut frames) as u64;
            black_box(&frames);
        }
    };
    println!("play_a_day {:.6}", median_s(1, play));
    let text = long_scripts::document(steps);
    println!("read_script {:.6}", median_s(5, || assert!(parse(black_box(text.as_bytes()), "bench").is_ok())));
    let alone = || assert!(serde_json::from_str::<serde_json::Value>(black_box(&text)).is_ok());
    println!("read_json {:.6}", median_s(5, alone));
    println!("\n{text}");
    Ok(())
}
