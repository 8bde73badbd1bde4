//! Steps that play a recording: its samples at any frame rate and in any blocks, its beats and no others as truth.

use pulsewright_core::frame::{Frame, Lead};
use pulsewright_core::heart::catalogue::RECORDED;
use pulsewright_core::image;
use pulsewright_core::player::Player;
use pulsewright_core::recording::{RecordedNoise, Recording};
use pulsewright_core::script::{Conflict, Item, Script, ScriptError, Series, SeriesBeat, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::{Beat, BeatCode, Episode, Event};
use pulsewright_core::{ADULT, SINUS};
use std::f64::consts::TAU;

const HZ: f64 = 360.0;

/// A sine of a frequency, and another one a third of the turn behind.
fn sines(hz: f64, seconds: usize) -> [Vec<f32>; 2] {
    [0.0, 1.0 / 3.0].map(|behind| {
        (0..seconds * 360).map(|i| (0.7 * (TAU * (hz * i as f64 / HZ - behind)).sin() + 0.2) as f32).collect()
    })
}

fn recording([ii, v5]: &[Vec<f32>; 2]) -> Recording<'_> {
    Recording::new([&[], ii, &[], &[], &[], &[], v5, &[]], HZ).expect("a recording")
}

fn every_second(seconds: u64) -> Vec<SeriesBeat> {
    let beat = |i| SeriesBeat {
        after: Span::millis(1000 * i + 437),
        code: if i % 2 == 0 { BeatCode::Paced } else { BeatCode::Normal },
    };
    (0..seconds).map(beat).collect()
}

fn step<'a>(seconds: u32, recording: Recording<'a>, beats: &'a [SeriesBeat]) -> Step<'a> {
    let (_, length) = recording.bounds();
    Step::lasting(Span::secs(seconds), Settings::new(&ADULT, &RECORDED))
        .with_recording(recording, Series { beats, length })
}

fn frames(items: &[Item<'_>], rate: u32) -> Vec<Frame> {
    let script = Script::new(1, items).expect("a script");
    let mut player = Player::new(&script, FrameRate::lit(rate));
    let mut frames = vec![Frame::default(); script.duration().expect("an end").as_secs() as usize * rate as usize];
    assert_eq!(player.fill(&mut frames), frames.len());
    frames
}

#[test]
fn a_sine_below_the_pass_band_s_edge_stays_the_same_sine_at_any_rate() {
    for (rate, hz) in [
        (360, 150.0),
        (361, 100.0),
        (500, 120.0),
        (1000, 140.0),
        (250, 100.0),
        (200, 83.0),
        (100, 41.0),
        (16_000, 60.0),
    ] {
        let samples = sines(hz, 4);
        let beats = every_second(4);
        let played = frames(&[step(4, recording(&samples), &beats).into()], rate);
        // Away from the ends, where values are held.
        let middle = 2 * rate as usize / 3..4 * rate as usize - 2 * rate as usize / 3;
        let mut worst = 0.0_f64;
        for i in middle {
            let at = i as f64 / f64::from(rate);
            for (lead, behind) in [(Lead::II, 0.0), (Lead::V5, 1.0 / 3.0)] {
                let wanted = 0.7 * (TAU * (hz * at - behind)).sin() + 0.2;
                worst = worst.max((f64::from(played[i].lead_mv(lead)) - wanted).abs());
            }
            assert!(played[i].lead_mv(Lead::I) == 0.0 && played[i].lead_mv(Lead::V1) == 0.0);
        }
        // 80 dB below 0.7 mV is 0.00007 mV; the errors at both edges of the band may add up.
        assert!(worst < 2e-4, "{hz} Hz at {rate}: {worst} mV");
    }
}

#[test]
fn a_sine_above_half_the_frame_rate_is_gone() {
    for (rate, hz) in [(250, 125.5), (250, 170.0), (100, 51.0), (200, 120.0)] {
        let samples = sines(hz, 4);
        let beats = every_second(4);
        let played = frames(&[step(4, recording(&samples), &beats).into()], rate);
        let middle = &played[rate as usize..3 * rate as usize];
        let worst = middle.iter().map(|frame| (frame.lead_mv(Lead::II) - 0.2).abs()).fold(0.0, f32::max);
        assert!(worst < 1.5e-4, "{hz} Hz at {rate}: {worst} mV");
    }
}

#[test]
fn at_its_own_rate_the_samples_are_the_recording_s() {
    let samples = sines(171.0, 3);
    let beats = every_second(3);
    let played = frames(&[step(3, recording(&samples), &beats).into()], 360);
    for (frame, sample) in played.iter().zip(&samples[0]) {
        assert_eq!(frame.lead_mv(Lead::II).to_bits(), sample.to_bits());
    }
}

/// Between a drawn step and another one; the recording begins again within its step.
fn between<'a>(samples: &'a [Vec<f32>; 2], beats: &'a [SeriesBeat]) -> [Item<'a>; 3] {
    let drawn = Settings::new(&ADULT, &SINUS);
    let stretch = recording(samples).stretch(Span::millis(300), Span::millis(2500)).passed(Span::millis(170));
    let mut played = step(7, stretch, beats);
    played.settings = played.settings.lit(Field::EcgGain, 1.5).lit(Field::MuscleMv, 0.05);
    [Step::lasting(Span::millis(3100), drawn).into(), played.into(), Step::lasting(Span::secs(3), drawn).into()]
}

/// Blocks of any size, clones and skips by `skips` frames give the frames of one block.
fn same_however_asked(script: &Script<'_>, skips: impl Iterator<Item = usize> + Clone) {
    let seconds = script.duration().expect("an end").as_secs() as usize + 1;
    for rate in [250, 500] {
        let start = Player::new(script, FrameRate::lit(rate));
        let mut whole = vec![Frame::default(); seconds * rate as usize];
        let total = start.clone().fill(&mut whole);
        whole.truncate(total);
        let mut player = start.clone();
        let mut parts = Vec::new();
        for size in [1_usize, 3, 16, 17, 255, 400].into_iter().cycle() {
            let mut block = vec![Frame::default(); size];
            let mut cloned = block.clone();
            let filled = player.clone().fill(&mut cloned);
            assert_eq!(player.fill(&mut block), filled);
            assert!(cloned == block, "a clone at {rate}");
            parts.extend_from_slice(&block[..filled]);
            if filled == 0 {
                break;
            }
        }
        assert!(parts == whole, "blocks at {rate}");
        for at in skips.clone().filter(|at| *at < total) {
            let mut player = start.clone();
            player.skip(at as u64);
            let mut rest = vec![Frame::default(); total - at];
            player.fill(&mut rest);
            assert!(rest == whole[at..], "a skip of {at} at {rate}");
        }
    }
}

#[test]
fn any_block_size_a_skip_and_a_clone_give_the_same_bits() {
    let (samples, beats) = (sines(9.0, 4), every_second(2));
    let items = between(&samples, &beats);
    let script = Script::new(3, &items).expect("a script");
    same_however_asked(&script, [1, 777, 1000, 1551, 2000, 3000].into_iter());
}

#[test]
fn the_truth_has_the_beats_of_the_recording_and_no_other() {
    let (samples, beats) = (sines(9.0, 4), every_second(2));
    let items = between(&samples, &beats);
    let script = Script::new(3, &items).expect("a script");
    let (mut found, mut paces, mut leads) = (Vec::<Beat>::new(), 0, 0);
    Player::new(&script, FrameRate::lit(250)).with_beats_in(&[Lead::II]).skip_observed(u64::MAX, &mut |event| {
        match event {
            Event::Beat(beat) => found.push(beat),
            Event::Pace { .. } => paces += 1,
            Event::Lead(_) => leads += 1,
            _ => {}
        }
    });
    let recorded: Vec<f64> = found.iter().filter(|beat| beat.is_recorded).map(|beat| beat.peak.as_secs_f64()).collect();
    let wanted =
        (0..4).flat_map(|pass| [0.437, 1.437].map(|at| 3.1 + 2.5 * f64::from(pass) + at)).filter(|at| *at < 10.1);
    let wanted: Vec<f64> = wanted.collect();
    assert_eq!(recorded.len(), wanted.len(), "{recorded:?}");
    assert!(
        recorded.iter().zip(&wanted).all(|(found, wanted)| (found - wanted).abs() < 1e-6),
        "{recorded:?} {wanted:?}"
    );
    let drawn = found.len() - recorded.len();
    assert!(drawn > 5, "{drawn} drawn beats");
    assert_eq!((leads, paces), (drawn, 0), "beats in lead II, pulses of a pacemaker");
}

#[test]
fn what_can_not_be_played_is_refused() {
    let (samples, beats) = (sines(9.0, 4), every_second(2));
    let of = |leads: [&[f32]; 8], hz| Recording::new(leads, hz).is_none();
    let one = samples[0].as_slice();
    assert!(of([&[]; 8], 360.0) && of([one, &[1.0], &[], &[], &[], &[], &[], &[]], 360.0));
    assert!(of([&[-2e12], &[], &[], &[], &[], &[], &[], &[]], 360.0));
    assert!(of([&[f32::NAN], &[], &[], &[], &[], &[], &[], &[]], 360.0) && of([one; 8], f64::NAN) && of([one; 8], 0.5));
    let good = step(3, recording(&samples), &beats);
    let bare = [Item::Step(Step { series: None, ..good })];
    assert_eq!(Script::new(0, &bare).map(|_| ()).unwrap_err(), ScriptError::Recording(0));
    let tested = [Item::Step(Step { settings: good.settings.lit(Field::TestSignal, 5.0), ..good })];
    let refused = Script::new(0, &tested).map(|_| ()).unwrap_err();
    assert!(matches!(refused, ScriptError::Conflict(0, Conflict::TestSignalOfRecording)));
    let items = [good.into()];
    let script = Script::new(0, &items).expect("a script");
    assert_eq!(image::write(&script, |_| ()), Err(image::WriteError::Recording(0)));
}

#[test]
fn no_frame_goes_beyond_the_reach() {
    // The worst samples for the interpolation half way between two of them: every weight adds up.
    let signs = |i: usize| if i < 720 { i.is_multiple_of(2) } else { !i.is_multiple_of(2) };
    let worst: Vec<f32> = (0..1440).map(|i| if signs(i) { 1.0 } else { -1.0 }).collect();
    let beats = every_second(4);
    let items =
        [step(4, Recording::new([&worst, &[], &[], &[], &[], &[], &[], &[]], HZ).expect("a recording"), &beats).into()];
    let script = Script::new(0, &items).expect("a script");
    let reach = script.reach(pulsewright_core::Channel::Lead(Lead::I));
    for rate in [720, 1440, 7200] {
        let most = frames(&items, rate).iter().map(|frame| frame.lead_mv(Lead::I).abs()).fold(0.0, f32::max);
        assert!(most > 2.0 && most < reach.highest, "{most} of {reach:?}");
    }
}

/// Noise of two channels between steps without and with other noise.
fn noisy<'a>(first: &'a RecordedNoise<'a>, second: &'a RecordedNoise<'a>) -> [Item<'a>; 4] {
    let drawn = Settings::new(&ADULT, &SINUS).lit(Field::MuscleMv, 0.02);
    let step = |ms| Step::lasting(Span::millis(ms), drawn);
    [step(2100).into(), step(5300).with_noise(first).into(), step(1900).with_noise(second).into(), step(2000).into()]
}

#[test]
fn noise_is_the_same_in_any_blocks_after_a_skip_and_in_a_clone() {
    let samples = sines(9.0, 4);
    let [one, two] = &samples;
    let pair = RecordedNoise::new([one, two], HZ).expect("noise");
    let pair = pair.scaled([0.3, -0.2], [0.2, 0.1]).stretch(Span::millis(500), Span::millis(1700));
    let single = RecordedNoise::new([two, &[]], HZ).expect("noise").passed(Span::millis(700));
    let items = noisy(&pair, &single);
    let script = Script::new(3, &items).expect("a script");
    same_however_asked(&script, (1..6000).step_by(83));
    let mut episodes = Vec::new();
    Player::new(&script, FrameRate::lit(250)).skip_observed(u64::MAX, &mut |event| {
        if let Event::Episode { episode, at, starts } = event {
            episodes.push((episode, at.as_secs_f64(), starts));
        }
    });
    // The muscle noise is on throughout.
    assert_eq!(episodes, [(Episode::Noise, 0.0, true)]);
}

#[test]
fn noise_is_spread_over_the_leads_and_glides_at_the_ends_of_its_step() {
    let samples = sines(9.0, 4);
    let [one, two] = &samples;
    let noise = RecordedNoise::new([one, two], HZ).expect("noise").scaled([2.0, 3.0], [0.2, 0.2]);
    let still = Settings::new(&ADULT, &pulsewright_core::heart::catalogue::ASYSTOLE);
    let step = |seconds| Step::lasting(Span::secs(seconds), still);
    let played = frames(&[step(1).into(), step(2).with_noise(&noise).into(), step(1).into()], 360);
    let rest = frames(&[step(4).into()], 360);
    let mv = |i: usize, lead| f64::from(played[i].lead_mv(lead)) - f64::from(rest[i].lead_mv(lead));
    let (x, y) = (|i: usize| 2.0 * (f64::from(one[i]) - 0.2), |i: usize| 3.0 * (f64::from(two[i]) - 0.2));
    for i in 180..720 {
        for (lead, wanted) in [
            (Lead::I, x(i)),
            (Lead::V2, y(i)),
            (Lead::II, 0.5 * x(i) + 0.75_f64.sqrt() * y(i)),
            (Lead::III, -0.5 * x(i) + 0.75_f64.sqrt() * y(i)),
            (Lead::V5, 0.75_f64.sqrt() * x(i) + 0.5 * y(i)),
        ] {
            let found = mv(360 + i, lead);
            assert!((found - wanted).abs() < 1e-5, "{lead:?} at {i}: {found}, not {wanted}");
        }
    }
    // Half a second up, and as long down after the step.
    for (i, share) in [(0, 0.0), (45, 0.156_25), (90, 0.5), (180, 1.0)] {
        assert!((mv(360 + i, Lead::I) - share * x(i)).abs() < 1e-5, "up at {i}");
        assert!((mv(1080 + i, Lead::I) - (1.0 - share) * x(720 + i)).abs() < 1e-5, "down at {i}");
    }
    assert!(played[1260..] == rest[1260..]);
}

#[test]
fn one_channel_alone_is_also_the_second_half_of_the_stretch_later() {
    let samples: Vec<f32> = (0..1440).map(|i| ((i * i) % 101) as f32 * 0.01).collect();
    let noise = RecordedNoise::new([&samples, &[]], HZ).expect("noise").stretch(Span::secs(1), Span::secs(2));
    let still = Settings::new(&ADULT, &pulsewright_core::heart::catalogue::ASYSTOLE);
    let played = frames(&[Step::lasting(Span::secs(4), still).with_noise(&noise).into()], 360);
    for i in (40..300).chain(400..660) {
        assert!((played[i].lead_mv(Lead::I) - samples[360 + i]).abs() < 1e-6, "{i}");
        assert!((played[i].lead_mv(Lead::V2) - samples[360 + (i + 360) % 720]).abs() < 1e-6, "{i}");
    }
    let script = [Step::lasting(Span::secs(4), still).with_noise(&noise).into()];
    let script = Script::new(0, &script).expect("a script");
    assert_eq!(image::write(&script, |_| ()), Err(image::WriteError::Noise(0)));
    let reach = script.reach(pulsewright_core::Channel::Lead(Lead::I));
    assert!(played.iter().all(|frame| frame.lead_mv(Lead::II).abs() < reach.highest));
    assert!(RecordedNoise::new([&[], &samples], HZ).is_none() && RecordedNoise::new([&[], &[]], HZ).is_none());
    assert!(RecordedNoise::new([&samples, &samples[1..]], HZ).is_none());
}
