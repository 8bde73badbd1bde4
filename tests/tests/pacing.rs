//! Pacing pulses: their size, the tail that each leaves, the rate that they need.

use pulsewright_core::body::ADULT;
use pulsewright_core::frame::{Frame, Lead};
use pulsewright_core::heart::catalogue::{PACED_DDD, SINUS, named};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::Event;

/// High enough for pulses of 0.1 ms.
const RATE: FrameRate = FrameRate::lit(20_000);

fn paced() -> Settings {
    Settings::new(&ADULT, named("paced-no-capture")).lit(Field::BreathingGain, 0.0)
}

/// Lead II of 5 s, and the pulses in it.
fn play(settings: Settings) -> (Vec<f64>, Vec<Instant>) {
    let items = [Item::Step(Step::lasting(Span::secs(5), settings))];
    let script = Script::new(3, &items).expect("a script");
    let mut frames = vec![Frame::default(); 100_000];
    let mut pulses = Vec::new();
    Player::new(&script, RATE).fill_observed(&mut frames, &mut |event| {
        if let Event::Pace { at, .. } = event {
            pulses.push(at);
        }
    });
    (frames.iter().map(|frame| f64::from(frame.lead_mv(Lead::II))).collect(), pulses)
}

/// Samples with `settings` less those with `without`, from the first pulse on.
fn added(settings: Settings, without: Settings) -> Vec<f64> {
    let (with, pulses) = play(settings);
    let (base, _) = play(without);
    let first = RATE.frame_at_or_after(pulses[0]) as usize;
    with[first..].iter().zip(&base[first..]).map(|(a, b)| a - b).collect()
}

#[test]
fn tails_are_of_opposite_polarity_and_have_the_size_and_time_constant_set() {
    // Method A in percent of the height with its cap of 2 mV; method B by charge: 2 mV x 2 ms over 4, 25, 100 ms are 1.0, 0.16
    // and 0.04 mV, 100 mV x 0.5 ms are 12.5, 2.0, 0.5 mV (EC13 4.1.4.2; rules from memory, worked by hand).
    let a = |percent| [(Field::OvershootPercent, percent), (Field::OvershootCharge, 0.0)];
    let b = [(Field::OvershootPercent, 25.0), (Field::OvershootCharge, 1.0)];
    let cases = [
        (2.0, 1.0, 25.0, a(10.0), -0.2),
        (-4.0, 0.5, 8.0, a(2.5), 0.1),
        (10.0, 0.5, 50.0, a(25.0), -2.0),
        (700.0, 2.0, 4.0, a(25.0), -2.0),
        (-700.0, 2.0, 100.0, a(10.0), 2.0),
        (2.0, 2.0, 4.0, b, -1.0),
        (2.0, 2.0, 25.0, b, -0.16),
        (2.0, 2.0, 100.0, b, -0.04),
        (100.0, 0.5, 4.0, b, -12.5),
        (-100.0, 0.5, 100.0, b, 0.5),
    ];
    for (height_mv, width_ms, tau_ms, method, start_mv) in cases {
        let plain = paced().lit(Field::PacingMv, height_mv).lit(Field::PacingMs, width_ms);
        let settings =
            method.iter().fold(plain.lit(Field::OvershootMs, tau_ms), |s, (field, value)| s.lit(*field, *value));
        let tail = added(settings, plain);
        let what = format!("{height_mv} mV, {width_ms} ms, {tau_ms} ms");
        let frame = |ms: f32| (ms * 20.0) as usize;
        let end = frame(width_ms * 1.1) + 2;
        assert!(tail[..frame(width_ms)].iter().all(|mv| *mv == 0.0), "{what}: nothing during the pulse");
        let start = tail[end];
        assert!((start / start_mv - 1.0).abs() < 0.05, "{what}: starts at {start}, expected {start_mv}");
        let later = tail[end + frame(tau_ms)];
        let tau = f64::from(tau_ms) / (start / later).ln();
        assert!((tau / f64::from(tau_ms) - 1.0).abs() < 0.01, "{what}: decays in {tau} ms");
    }
}

#[test]
fn tails_add_up_when_pulses_follow_each_other() {
    // Two pulses 150 ms apart, each with a tail of 100 ms: the second starts on the rest of the first.
    let plain = Settings::new(&ADULT, &PACED_DDD)
        .lit(Field::BreathingGain, 0.0)
        .lit(Field::PrMs, 150.0)
        .lit(Field::PacingMv, 4.0);
    let settings = plain.lit(Field::OvershootPercent, 25.0).lit(Field::OvershootMs, 100.0);
    let tail = added(settings, plain);
    let second = -1.0 - (-1.5_f64).exp();
    let lowest = tail[2_500..4_000].iter().copied().fold(0.0, f64::min);
    assert!((lowest / second - 1.0).abs() < 0.02, "{lowest} for {second}");
}

#[test]
fn pulses_have_the_height_set_and_their_charge_comes_back_by_method_b() {
    for (height_mv, width_ms) in [(2.0, 2.0), (-100.0, 0.5), (700.0, 0.1)] {
        let plain = paced().lit(Field::PacingMv, height_mv).lit(Field::PacingMs, width_ms);
        let settings = plain.lit(Field::OvershootCharge, 1.0).lit(Field::OvershootMs, 8.0);
        let pulse = added(settings, plain.lit(Field::PacingMv, 0.0));
        let peak = pulse.iter().copied().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
        assert!((peak / f64::from(height_mv) - 1.0).abs() < 0.01, "{height_mv} mV: {peak}");
        // Over 12 time constants of the first pulse the areas cancel, within the resolution of two frames an edge.
        let charge: f64 = pulse[..1920].iter().sum::<f64>() / 20.0;
        let one = f64::from(height_mv * width_ms);
        let bound = (2.0 / 20.0 / f64::from(width_ms)).max(0.03);
        assert!((charge / one).abs() < bound, "{height_mv} mV: {charge} of {one} mV ms is left");
    }
}

#[test]
fn the_rate_needed_is_two_frames_a_pulse() {
    let step = |settings| Step::lasting(Span::secs(1), settings);
    for (width_ms, hz) in [(0.1, 20_000), (0.5, 4_000), (1.0, 2_000), (1.5, 1_334), (2.0, 1_000)] {
        let needed = step(paced().lit(Field::PacingMs, width_ms)).pulse_rate_hz();
        assert_eq!(needed, Some(hz), "{width_ms} ms");
    }
    assert_eq!(step(Settings::new(&ADULT, &SINUS)).pulse_rate_hz(), None);
}
