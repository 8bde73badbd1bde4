//! Premature beats and their pauses, runs, the focus that twists: from the truth and from the samples.
//!
//! Criteria are those of the textbooks (from memory where no other source stands beside the check).

use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::truth::{Beat, BeatCode};
use pulsewright_tests::played::{Played, highest, lowest, ms, play};
use pulsewright_tests::statistics::{deviation, mean};

const HZ: u32 = 1000;
const STEADY: &str = "variability.breathing_ms=0 variability.slow_ms=0 variability.fast_ms=0";

fn rr(a: &Beat, b: &Beat) -> f64 {
    ms(b.onset) - ms(a.onset)
}

/// Groups of premature beats with the beat before and the two after: (before, group, after, one more).
fn groups(beats: &[Beat], premature: impl Fn(&Beat) -> bool) -> Vec<(Beat, Vec<Beat>, Beat, Beat)> {
    let mut found = Vec::new();
    let mut i = 1;
    while i + 2 < beats.len() {
        let run = beats[i..].iter().take_while(|beat| premature(beat)).count();
        if run > 0 && i + run + 1 < beats.len() {
            found.push((beats[i - 1], beats[i..i + run].to_vec(), beats[i + run], beats[i + run + 1]));
        }
        i += run.max(1);
    }
    found
}

fn ventricular(beat: &Beat) -> bool {
    matches!(beat.code, BeatCode::VentricularPremature | BeatCode::ROnT)
}

#[test]
fn the_pause_after_a_ventricular_beat_is_compensatory() {
    for rate in [50, 75, 100] {
        for rhythm in ["ventricular-premature", "ventricular-premature-left", "ventricular-multifocal"] {
            let played = play(HZ, &[(120.0, &format!("{rhythm} rate_bpm={rate} {STEADY}"))]);
            let period = 60_000.0 / f64::from(rate);
            let found = groups(&played.beats(), ventricular);
            assert!(found.len() >= 4, "{rhythm}: {} premature beats", found.len());
            for (before, group, after, _) in &found {
                let (early, pause) = (rr(before, &group[0]), rr(&group[0], after));
                assert!(early < 0.9 * period && pause > 1.1 * period, "{rhythm} at {rate}: {early:.0}, {pause:.0} ms");
                assert!((early + pause - 2.0 * period).abs() < 2.0, "{rhythm} at {rate}: {early:.0} + {pause:.0} ms");
                assert!(group[0].p_onset.is_none(), "no P before it");
            }
        }
    }
}

#[test]
fn an_interpolated_beat_costs_no_time() {
    let played =
        play(HZ, &[(180.0, &format!("ventricular-interpolated rate_bpm=55 {STEADY} breathing.ecg_percent=0"))]);
    let period = 60_000.0 / 55.0;
    let found = groups(&played.beats(), ventricular);
    assert!(found.len() >= 6);
    for (before, group, after, _) in &found {
        // The beat after it may be conducted a little late (concealed conduction), never by a cycle.
        let both = rr(before, &group[0]) + rr(&group[0], after);
        assert!((both - period).abs() < 60.0, "{both:.0} of {period:.0} ms");
    }
}

#[test]
fn the_pause_after_an_atrial_beat_is_less_than_compensatory() {
    for (rhythm, code) in
        [("atrial-premature", BeatCode::AtrialPremature), ("junctional-premature", BeatCode::JunctionalPremature)]
    {
        let played = play(HZ, &[(180.0, &format!("{rhythm} rate_bpm=70 {STEADY}"))]);
        let period = 60_000.0 / 70.0;
        let found = groups(&played.beats(), |beat| beat.code == code);
        assert!(found.len() >= 6, "{rhythm}");
        for (before, group, after, _) in &found {
            let (early, pause) = (rr(before, &group[0]), rr(&group[0], after));
            assert!(early < 0.9 * period, "{rhythm}: {early:.0}");
            assert!(early + pause < 2.0 * period - 20.0, "{rhythm}: {early:.0} + {pause:.0}");
            let width = ms(group[0].end) - ms(group[0].onset);
            assert!(width < 120.0, "{rhythm}: narrow, {width:.0} ms");
        }
    }
}

#[test]
fn r_on_t_falls_on_the_t_wave_before() {
    let played = play(HZ, &[(120.0, &format!("ventricular-r-on-t {STEADY}"))]);
    let found = groups(&played.beats(), ventricular);
    assert!(found.len() >= 6);
    for (before, group, _, _) in &found {
        assert!(group[0].onset < before.t_end && group[0].onset > before.end, "on the T wave");
        assert_eq!(group[0].code, BeatCode::ROnT);
    }
}

#[test]
fn patterns_and_runs_have_their_lengths() {
    for (rhythm, between) in
        [("ventricular-bigeminy", 1), ("ventricular-trigeminy", 2), ("ventricular-quadrigeminy", 3)]
    {
        let all = play(HZ, &[(60.0, rhythm)]).beats();
        let places: Vec<usize> = (0..all.len()).filter(|i| ventricular(&all[*i])).collect();
        assert!(places.len() > 8, "{rhythm}");
        assert!(places.windows(2).all(|pair| pair[1] - pair[0] == between + 1), "{rhythm}: {places:?}");
    }
    for (rhythm, length) in [("ventricular-couplet", 2), ("ventricular-run", 5)] {
        let found = groups(&play(HZ, &[(180.0, rhythm)]).beats(), ventricular);
        assert!(found.len() >= 4, "{rhythm}");
        assert!(found.iter().all(|(_, group, _, _)| group.len() == length), "{rhythm}");
        // A run of ventricular beats is faster than 100 bpm by definition.
        for (_, group, _, _) in &found {
            assert!(group.windows(2).all(|pair| rr(&pair[0], &pair[1]) < 600.0), "{rhythm}");
        }
    }
}

#[test]
fn multifocal_beats_are_of_more_than_one_shape() {
    let played = play(HZ, &[(120.0, "ventricular-multifocal breathing.ecg_percent=0")]);
    let v1 = |beat: &Beat| {
        let samples = played.samples(Channel::Lead(Lead::V1), beat.onset.as_secs_f64(), beat.end.as_secs_f64());
        highest(&samples) + lowest(&samples)
    };
    let found: Vec<f64> = played.beats().iter().filter(|beat| ventricular(beat)).map(v1).collect();
    assert!(
        found.iter().any(|mv| *mv > 0.3) && found.iter().any(|mv| *mv < -0.3),
        "V1 mainly up and mainly down: {found:.1?}"
    );
}

/// Largest swing of lead II in each QRS, with its sign, mV.
fn swings(played: &Played) -> Vec<f64> {
    let swing = |beat: &Beat| {
        let samples = played.samples(Channel::Lead(Lead::II), beat.onset.as_secs_f64(), beat.end.as_secs_f64());
        let (high, low) = (highest(&samples), lowest(&samples));
        if high + low > 0.0 { high } else { low }
    };
    played
        .beats()
        .iter()
        .filter(|beat| beat.end.as_secs_f64() < played.frames.len() as f64 / played.hz)
        .map(swing)
        .collect()
}

/// Lengths, beats, of the stretches in which the sign of a series stays.
fn stretches(series: &[f64]) -> Vec<usize> {
    let mut lengths = vec![1];
    for pair in series.windows(2) {
        if pair[0].signum() == pair[1].signum() {
            *lengths.last_mut().expect("one") += 1;
        } else {
            lengths.push(1);
        }
    }
    lengths
}

#[test]
fn torsades_turns_its_axis_over_in_5_to_20_beats() {
    let played = play(HZ, &[(60.0, "torsades breathing.ecg_percent=0")]);
    let swings = swings(&played);
    let turns = stretches(&swings);
    let whole = &turns[1..turns.len() - 1];
    // QRS twist about the baseline, turning over in 5 to 20 beats: Dessertenne's description as textbooks give it, from memory.
    assert!(whole.len() > 10 && whole.iter().all(|beats| (5..=20).contains(beats)), "{turns:?}");
    // Spindles: at the turns the QRS are small, between them large.
    let size: Vec<f64> = swings.iter().map(|mv| mv.abs()).collect();
    assert!(lowest(&size) < 0.6 * highest(&size), "{size:.1?}");
    let rate = 60_000.0 / mean(&played.beats().windows(2).map(|pair| rr(&pair[0], &pair[1])).collect::<Vec<_>>());
    assert!(
        (160.0..=250.0).contains(&rate),
        "{rate:.0} bpm: 160 to 250, AHA/ACCF 2010 statement on torsades, from memory"
    );
}

#[test]
fn polymorphic_tachycardia_changes_from_beat_to_beat_without_a_regular_twist() {
    let played = play(HZ, &[(60.0, "ventricular-tachycardia-polymorphic breathing.ecg_percent=0")]);
    let swings = swings(&played);
    let lengths: Vec<f64> = stretches(&swings).iter().map(|beats| *beats as f64).collect();
    assert!(deviation(&swings) > 0.3, "of many shapes");
    assert!(lengths.len() > 3, "the axis turns over at times");
    assert!(deviation(&lengths) > 0.5 * mean(&lengths), "at irregular times: {lengths:?}");
    let all = played.beats();
    let intervals: Vec<f64> = all.windows(2).map(|pair| rr(&pair[0], &pair[1])).collect();
    assert!(deviation(&intervals) / mean(&intervals) > 0.04, "irregular");
    assert!(60_000.0 / mean(&intervals) > 120.0);
}

#[test]
fn monomorphic_tachycardia_keeps_one_shape_with_p_independent() {
    let played = play(HZ, &[(60.0, "ventricular-tachycardia breathing.ecg_percent=0")]);
    let all = played.beats();
    let p = played.p_ms();
    let rate_p = 60_000.0 * (p.len() - 1) as f64 / (p[p.len() - 1] - p[0]);
    let rate_qrs = 60_000.0 * (all.len() - 1) as f64 / rr(&all[0], &all[all.len() - 1]);
    assert!(rate_qrs > 1.5 * rate_p && rate_p > 50.0, "QRS {rate_qrs:.0}, P {rate_p:.0} a minute");
    for beat in &all[2..all.len() - 2] {
        assert!(ms(beat.end) - ms(beat.onset) >= 120.0, "wide: over 120 ms by definition");
    }
    let swings = swings(&played);
    let clear = &swings[2..swings.len() - 2];
    // P waves ride on some of them.
    assert!(highest(clear) - lowest(clear) < 0.35, "{:.2} to {:.2} mV", lowest(clear), highest(clear));
}

#[test]
fn fusion_and_capture_come_where_two_sources_compete() {
    let all = play(HZ, &[(120.0, "idioventricular-accelerated")]).beats();
    let count = |code: BeatCode| all.iter().filter(|beat| beat.code == code).count();
    assert!(count(BeatCode::Fusion) >= 1, "fusion");
    let captured = all.iter().filter(|beat| beat.code == BeatCode::Normal && beat.p_onset.is_some()).count();
    assert!(captured >= 1, "capture");
    assert!(count(BeatCode::VentricularPremature) > all.len() / 2, "mostly its own");
}
