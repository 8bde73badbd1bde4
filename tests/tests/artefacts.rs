//! Artefacts are as large, as fast and as consistent as the field table says, measured in frames by plain arithmetic.

use pulsewright_core::body::ADULT;
use pulsewright_core::frame::{Channel, Electrode, Frame, Lead};
use pulsewright_core::heart::catalogue::{ASYSTOLE, SINUS};
use pulsewright_core::internal::artefact::{Movement, OFFSET_MV};
use pulsewright_core::internal::noise::Noise;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Ramp, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};

const SEED: u64 = 20;

fn frames_of(item: Item<'_>, rate_hz: u32) -> Vec<Frame> {
    let items = [item];
    let script = Script::new(SEED, &items).expect("a script");
    let rate = FrameRate::hz(rate_hz).expect("a rate");
    let mut frames =
        vec![Frame::default(); rate.frame_at_or_after(Instant::ZERO.plus(script.duration().unwrap())) as usize];
    assert_eq!(Player::new(&script, rate).fill(&mut frames), frames.len());
    frames
}

fn frames(settings: Settings, rate_hz: u32, secs: u32) -> Vec<Frame> {
    frames_of(Item::Step(Step::lasting(Span::secs(secs), settings)), rate_hz)
}

/// No heart, no breath: nothing but the settings of the test.
fn still() -> Settings {
    Settings::new(&ADULT, &ASYSTOLE).lit(Field::BreathsPerMin, 0.0)
}

fn lead(frames: &[Frame], lead: Lead) -> Vec<f64> {
    frames.iter().map(|frame| f64::from(frame.lead_mv(lead))).collect()
}

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|sample| sample * sample).sum::<f64>() / samples.len() as f64).sqrt()
}

const EQUAL: [Lead; 9] = [Lead::I, Lead::II, Lead::III, Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];
const AUGMENTED: [Lead; 3] = [Lead::AVR, Lead::AVL, Lead::AVF];

/// Fails unless every lead's RMS is as the field table says, within 5 %.
fn assert_rms(frames: &[Frame], mv: f64, what: &str) {
    for (leads, share) in [(&EQUAL[..], 1.0), (&AUGMENTED[..], 0.75_f64.sqrt())] {
        for &which in leads {
            let measured = rms(&lead(frames, which));
            assert!((measured / (mv * share) - 1.0).abs() < 0.05, "{what}: {which:?} has {measured} mV RMS");
        }
    }
}

#[test]
fn nothing_is_added_when_nothing_is_set() {
    assert!(frames(still(), 500, 5).iter().all(|frame| frame.leads_mv == [0.0; 8]));
}

#[test]
fn noise_has_the_rms_set_at_any_rate() {
    // 256 and 1024 Hz meet the lattice of muscle noise always at the same place.
    for rate_hz in [250, 256, 360, 1000, 1024, 4000] {
        for (field, what) in [(Field::MainsMv, "mains"), (Field::MuscleMv, "muscle"), (Field::SurgeryMv, "surgery")] {
            assert_rms(&frames(still().lit(field, 0.2), rate_hz, 40), 0.2, &format!("{what} at {rate_hz} Hz"));
        }
    }
    assert_rms(&frames(still().lit(Field::WanderMv, 0.5), 100, 900), 0.5, "wander");
}

#[test]
fn motion_has_its_rms_while_the_patient_moves_and_nothing_between() {
    let frames = frames(still().lit(Field::MotionMv, 0.7), 100, 4000);
    let noise = Noise::new(SEED);
    let (mut moving, mut resting) = (Vec::new(), Vec::new());
    for (i, frame) in frames.iter().enumerate() {
        let now = FrameRate::lit(100).instant_of(i as u64);
        let movement = Movement::near(&noise, now);
        let edge = Span::millis(250);
        if now > movement.start.plus(edge) && now.plus(edge) < movement.end {
            moving.push(*frame);
        } else if now < movement.start || now > movement.end {
            resting.push(*frame);
        }
    }
    assert_rms(&moving, 0.7, "motion");
    assert!(resting.iter().all(|frame| frame.leads_mv == [0.0; 8]));
    let share = (frames.len() - resting.len()) as f64 / frames.len() as f64;
    assert!((share - 3.5 / 8.0).abs() < 0.03, "moves {share} of the time");
}

/// Power of a sine of `hz` in samples, as a share of all power.
fn share_at(samples: &[f64], hz: f64, rate_hz: u32) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (i, sample) in samples.iter().enumerate() {
        let (sin, cos) = (std::f64::consts::TAU * hz * i as f64 / f64::from(rate_hz)).sin_cos();
        re += sample * cos;
        im += sample * sin;
    }
    2.0 * (re * re + im * im) / (samples.len() as f64).powi(2) / rms(samples).powi(2)
}

#[test]
fn mains_has_exactly_the_frequency_set_after_a_day_too() {
    for hz in [50.0_f32, 60.0, 49.75] {
        let settings = still().lit(Field::MainsMv, 0.1).lit(Field::MainsHz, hz);
        let items = [Item::Step(Step::hold(settings))];
        let script = Script::new(SEED, &items).expect("a script");
        let rate = FrameRate::lit(1000);
        let mut player = Player::new(&script, rate);
        let mut start = [Frame::default(); 4000];
        player.fill(&mut start);
        assert!(share_at(&lead(&start, Lead::II), f64::from(hz), 1000) > 0.999_99);
        // Frequencies with a whole number of turns in a day: the same phase again, to 0.1 % of the amplitude.
        player.skip(86_400_000 - player.position());
        let mut later = [Frame::default(); 4000];
        player.fill(&mut later);
        for (a, b) in start.iter().zip(&later) {
            assert!((a.lead_mv(Lead::II) - b.lead_mv(Lead::II)).abs() < 1e-4, "{hz} Hz drifts in a day");
        }
    }
}

#[test]
fn muscle_noise_lies_in_its_band_and_wander_below_the_heart() {
    let band = |samples: &[f64], rate_hz: u32, from: u32, to: u32, step: f64| {
        let lines = (f64::from(to - from) / step) as u32;
        (0..lines).map(|i| share_at(samples, f64::from(from) + step * f64::from(i), rate_hz)).sum::<f64>()
    };
    // Lines a quarter of a hertz apart in 4 s hold all the power.
    let muscle = lead(&frames(still().lit(Field::MuscleMv, 0.2), 1000, 4), Lead::V3);
    let (inside, below) = (band(&muscle, 1000, 30, 200, 0.25), band(&muscle, 1000, 0, 10, 0.25));
    assert!(inside > 0.75, "30 to 200 Hz has {inside} of muscle noise");
    assert!(below < 0.02, "below 10 Hz has {below} of muscle noise");
    let wander = lead(&frames(still().lit(Field::WanderMv, 0.2), 100, 200), Lead::V3);
    let slow = band(&wander, 100, 0, 1, 0.005);
    assert!(slow > 0.97, "below 1 Hz has {slow} of wander");
}

#[test]
fn muscle_noise_does_not_depend_on_the_frame_rate() {
    let settings = still().lit(Field::MuscleMv, 0.2).lit(Field::MotionMv, 0.5);
    let (slow, fast) = (frames(settings, 500, 20), frames(settings, 4000, 20));
    for (i, frame) in slow.iter().enumerate() {
        assert_eq!(frame.leads_mv, fast[8 * i].leads_mv, "frame {i}");
    }
}

#[test]
fn the_baseline_rises_with_the_breath_by_what_is_set() {
    let settings = still().lit(Field::BreathsPerMin, 12.0).lit(Field::BreathingWanderMv, 0.8);
    let ii = lead(&frames(settings, 250, 30)[250 * 5..], Lead::II);
    let (low, high) = ii.iter().fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(*x), high.max(*x)));
    assert!((high - low - 0.8).abs() < 0.01, "{low} to {high} mV");
}

#[test]
fn a_ramp_moves_the_noise() {
    let ramps = [Ramp { field: Field::MuscleMv, to: 0.4, over: None }];
    let step = Step::lasting(Span::secs(40), still()).with_ramps(&ramps);
    let frames = frames_of(Item::Step(step), 1000);
    assert_rms(&frames[19_000..21_000], 0.2, "half-way");
    assert_rms(&frames[38_000..], 0.39, "at the end");
}

/// Two layers add in their squares, and none of them knows the gain.
#[test]
fn layers_add_in_their_squares() {
    let settings =
        still().lit(Field::EcgGain, 0.1).lit(Field::MuscleMv, 0.3).lit(Field::MainsMv, 0.4).lit(Field::SurgeryMv, 1.2);
    assert_rms(&frames(settings, 1000, 60), 1.3, "all three");
}

#[test]
fn an_electrode_off_flattens_its_leads_and_keeps_the_sums() {
    let all_on = Settings::new(&ADULT, &SINUS).lit(Field::MuscleMv, 0.05).lit(Field::WanderMv, 0.2);
    let before = frames(all_on, 500, 10);
    let flat = |frames: &[Frame], which| frames.iter().all(|frame| (frame.lead_mv(which) - OFFSET_MV).abs() < 1e-5);
    let same = |frames: &[Frame], which| {
        frames.iter().zip(&before).all(|(a, b)| (a.lead_mv(which) - b.lead_mv(which)).abs() < 1e-5)
    };
    let off = |field| frames(all_on.lit(field, 1.0), 500, 10);

    let ra = off(Field::OffRa);
    assert!(flat(&ra, Lead::II) && same(&ra, Lead::III) && !flat(&ra, Lead::V1) && !same(&ra, Lead::V1));
    let la = off(Field::OffLa);
    assert!(flat(&la, Lead::I) && same(&la, Lead::II));
    let ll = off(Field::OffLl);
    assert!(flat(&ll, Lead::II) && same(&ll, Lead::I));
    let chest = [
        (Field::OffV1, Lead::V1),
        (Field::OffV2, Lead::V2),
        (Field::OffV3, Lead::V3),
        (Field::OffV4, Lead::V4),
        (Field::OffV5, Lead::V5),
        (Field::OffV6, Lead::V6),
    ];
    for (field, its) in chest {
        let frames = off(field);
        for which in EQUAL {
            assert!(if which == its { flat(&frames, which) } else { same(&frames, which) }, "{field:?}: {which:?}");
        }
    }
    let two = frames(all_on.lit(Field::OffRa, 1.0).lit(Field::OffLl, 1.0), 500, 10);
    assert!(EQUAL.into_iter().filter(|lead| *lead != Lead::III).all(|lead| flat(&two, lead)));
    for frame in ra.iter().chain(&la).chain(&ll).chain(&two) {
        let [i, ii, iii] = [Lead::I, Lead::II, Lead::III].map(|lead| frame.lead_mv(lead));
        let [avr, avl, avf] = AUGMENTED.map(|lead| frame.lead_mv(lead));
        let [ra, la, ll] = [Electrode::RA, Electrode::LA, Electrode::LL].map(|electrode| frame.electrode_mv(electrode));
        assert!((i + iii - ii).abs() < 1e-5 && (avr + avl + avf).abs() < 1e-5);
        assert!((la - ra - i).abs() < 1e-5 && (ll - ra - ii).abs() < 1e-5 && (ra + la + ll).abs() < 1e-5);
    }
}

/// Mains hum before an offset: it still fades when the offset has come, so the reach of both together is needed.
fn hum_then_offset(pause: Option<Item<'static>>) -> (Vec<Item<'static>>, usize) {
    let with = |settings: Settings, field, value| settings.with(field, value).expect("in range");
    let hum = with(still(), Field::MainsMv, 10.0);
    let level = with(with(still(), Field::TestSignal, 2.0), Field::TestOffsetMv, 18.0);
    let step = |settings| Item::Step(Step::lasting(Span::secs(2), settings));
    let frames = 250 * if pause.is_some() { 6 } else { 4 };
    ([Some(step(hum)), pause, Some(step(level))].into_iter().flatten().collect(), frames)
}

#[test]
fn samples_of_noise_that_fades_into_another_step_stay_within_the_reach() {
    let channel = Channel::Lead(Lead::II);
    let quiet = Item::Step(Step::lasting(Span::secs(2), still()));
    let reaches = [None, Some(quiet)].map(|pause| {
        let (items, count) = hum_then_offset(pause);
        let script = Script::new(1, &items).expect("a script");
        let mut frames = vec![Frame::default(); count];
        Player::new(&script, FrameRate::lit(250)).fill(&mut frames);
        let largest = lead(&frames, Lead::II).into_iter().map(f64::abs).fold(0.0, f64::max);
        let reach = f64::from(script.reach(channel).size());
        assert!(largest <= reach, "{largest} mV beyond {reach}");
        (largest, reach)
    });
    let [(together, _), (apart, reach)] = reaches;
    // The noise shows in the offset, and a step between keeps the two apart in samples and in the reach.
    assert!(together > 28.0 && apart < 20.0, "{together} and {apart}");
    assert!(reach < 24.0, "{reach}");
}
