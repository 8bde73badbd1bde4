//! Wall-clock benches of whole jobs within one process: `cargo bench -p pulsewright-benches`.
//!
//! They are for people who change the code and report only; the cost of a job beside an outside reference is measured by
//! `tests/bench/compare.py`, and what must not grow unseen is counted by `tests/bench/instructions.py`.

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_score::match_beats::pair;
use pulsewright_score::{RecordInstant, RecordSpan};
use pulsewright_script::parse;
use pulsewright_tests::long_scripts::{self, ONE_STEP};

const RATE: FrameRate = FrameRate::lit(500);
const DAY_FRAMES: u64 = 24 * 3600 * 500;

fn main() {
    divan::main();
}

const FIBRILLATION: &str = r#"{"version": 1, "seed": 1, "steps": [{"duration_s": "hold", "rhythm": "atrial-fibrillation",
    "artefact": {"muscle_mv": 0.05, "mains_mv": 0.05, "wander_mv": 0.1}}]}"#;

/// Plays a minute of the script, or skips a day of it.
fn with_player(bencher: Bencher<'_, '_>, text: &str, play: impl Fn(Player<'_>) -> u64 + Sync) {
    let document = parse(text.as_bytes(), "bench").expect("a valid script");
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a valid script");
    let player = Player::new(&script, RATE);
    bencher.bench(|| play(black_box(player.clone())));
}

fn a_minute(mut player: Player<'_>) -> u64 {
    let mut frames = [Frame::default(); 512];
    let mut played = 0;
    while played < 30_000 {
        played += player.fill(&mut frames) as u64;
        black_box(&frames);
    }
    played
}

#[divan::bench]
fn play_a_minute_of_sinus(bencher: Bencher<'_, '_>) {
    with_player(bencher.counter(ItemsCount::new(30_000_u32)), ONE_STEP, a_minute);
}

#[divan::bench]
fn play_a_minute_of_fibrillation_with_artefact(bencher: Bencher<'_, '_>) {
    with_player(bencher.counter(ItemsCount::new(30_000_u32)), FIBRILLATION, a_minute);
}

#[divan::bench]
fn skip_a_day(bencher: Bencher<'_, '_>) {
    with_player(bencher.counter(ItemsCount::new(DAY_FRAMES)), ONE_STEP, |mut player| player.skip(DAY_FRAMES));
}

#[divan::bench]
fn skip_a_day_without_pressures(bencher: Bencher<'_, '_>) {
    let none = SiteSet::new(&[]).expect("no site is not too many");
    with_player(bencher.counter(ItemsCount::new(DAY_FRAMES)), ONE_STEP, |player| {
        player.with_pressures_at(none).skip(DAY_FRAMES)
    });
}

#[divan::bench(args = [100, 1_000, 10_000])]
fn read_a_script(bencher: Bencher<'_, '_>, steps: usize) {
    let text = long_scripts::document(steps);
    bencher.counter(BytesCount::of_str(&text)).bench(|| parse(black_box(text.as_bytes()), "bench").is_ok());
}

/// The reference of [`read_a_script`]: the same text to values that know nothing of scripts.
#[divan::bench(args = [100, 1_000, 10_000])]
fn read_json_alone(bencher: Bencher<'_, '_>, steps: usize) {
    let text = long_scripts::document(steps);
    bencher
        .counter(BytesCount::of_str(&text))
        .bench(|| serde_json::from_str::<serde_json::Value>(black_box(&text)).is_ok());
}

#[divan::bench]
fn pair_the_beats_of_a_day(bencher: Bencher<'_, '_>) {
    let beats = |early_s: f64| -> Vec<RecordInstant> {
        (1..=100_800_u32)
            .map(|beat| f64::from(beat) * 6.0 / 7.0 - early_s * f64::from(beat % 13))
            .filter_map(RecordInstant::from_s)
            .collect()
    };
    let (reference, test) = (beats(0.0), beats(0.002));
    let window = RecordSpan::from_s(0.15).expect("in range");
    bencher
        .counter(ItemsCount::new(reference.len()))
        .bench(|| pair(black_box(&reference), black_box(&test), window).pairs.len());
}
