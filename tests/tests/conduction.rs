//! Criteria of each rhythm of the atria and the AV node, from the truth and from the samples.
//!
//! They are those of the textbooks (Goldberger, Clinical Electrocardiography, among others; from memory where no other
//! source stands beside the check).

use pulsewright_core::anatomy::AtrialOrigin;
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::script::{Conflict, Item, Script, ScriptError};
use pulsewright_core::truth::{Beat, Event};
use pulsewright_core::{ADULT, Field, Settings, named};
use pulsewright_tests::played::{Played, items, ms, play};
use pulsewright_tests::statistics::{autocorrelation, deviation, dominant_hz, mean};

const HZ: u32 = 1000;

fn onsets_ms(beats: &[Beat]) -> Vec<f64> {
    beats.iter().map(|beat| ms(beat.onset)).collect()
}

fn intervals(times: &[f64]) -> Vec<f64> {
    times.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

/// First sample of a window, ms, at which any of I, II and V1 has left its level at the window's start by this much: what a
/// reader takes for an onset.
fn leaves_the_line(played: &Played, from_ms: f64, to_ms: f64, by_mv: f64) -> Option<f64> {
    let leads =
        [Lead::I, Lead::II, Lead::V1].map(|lead| played.samples(Channel::Lead(lead), from_ms / 1000.0, to_ms / 1000.0));
    let left = |i: &usize| leads.iter().any(|lead| (lead[*i] - lead[0]).abs() > by_mv);
    (0..leads[0].len()).find(left).map(|i| from_ms + i as f64)
}

#[test]
fn type_one_grows_its_pr_and_shortens_its_rr_until_a_p_is_lost() {
    for ratio in 3..=7 {
        let played =
            play(HZ, &[(90.0, &format!("av-block-2-type-1 heart.av_ratio={ratio} variability.breathing_ms=0"))]);
        let beats = played.beats();
        let p = played.p_ms();
        let pp = mean(&intervals(&p));
        // Rounds: beats between two pauses, a pause being an RR over 1.3 PP.
        let mut rounds: Vec<Vec<Beat>> = vec![vec![beats[0]]];
        for pair in beats.windows(2) {
            if ms(pair[1].onset) - ms(pair[0].onset) > 1.3 * pp {
                rounds.push(Vec::new());
            }
            rounds.last_mut().expect("a round").push(pair[1]);
        }
        let whole = &rounds[1..rounds.len() - 1];
        assert!(whole.len() > 8, "{ratio}: {} rounds", whole.len());
        for (i, round) in whole.iter().enumerate() {
            assert_eq!(round.len(), ratio - 1, "{ratio}:{} conduction", ratio - 1);
            let pr: Vec<f64> =
                round.iter().map(|beat| ms(beat.onset) - ms(beat.p_onset.expect("a conducted beat"))).collect();
            assert!(pr.windows(2).all(|pair| pair[1] > pair[0] + 2.0), "{ratio}: PR {pr:.0?}");
            let growth = intervals(&pr);
            assert!(growth.windows(2).all(|pair| pair[1] < pair[0]), "{ratio}: less each time, {growth:.0?}");
            let rr = intervals(&onsets_ms(round));
            assert!(rr.windows(2).all(|pair| pair[1] < pair[0]), "{ratio}: RR {rr:.0?}");
            let next = whole.get(i + 1).map_or(rounds[rounds.len() - 1][0], |next| next[0]);
            let pause = ms(next.onset) - ms(round[round.len() - 1].onset);
            let shortest = rr.last().copied().unwrap_or(pp);
            assert!(pause < 2.0 * shortest, "{ratio}: pause of {pause:.0} ms, RR {rr:.0?}");
            // One P between, not conducted.
            let lost =
                p.iter().filter(|p| **p > ms(round[round.len() - 1].onset) && **p < ms(next.onset) - 1.0).count();
            assert_eq!(lost, 2, "{ratio}: the lost P and the one that ends the pause");
        }
        let p_between = intervals(&p);
        assert!(deviation(&p_between) < 1.0, "{ratio}: P regular");
    }
}

#[test]
fn type_ones_growing_pr_is_in_the_samples() {
    let played = play(HZ, &[(40.0, "av-block-2-type-1 breathing.ecg_percent=0")]);
    let mut measured = 0;
    for beat in &played.beats()[2..] {
        let (Some(p), qrs) = (beat.p_onset.map(ms), ms(beat.onset)) else { continue };
        // The first wave after a flat stretch is the P; the QRS rises by half a millivolt.
        let Some(seen_p) = leaves_the_line(&played, p - 30.0, p + 100.0, 0.01) else { continue };
        let seen_qrs = leaves_the_line(&played, qrs - 12.0, qrs + 60.0, 0.03).expect("a QRS");
        assert!(
            (seen_p - p).abs() < 25.0 && (seen_qrs - qrs).abs() < 12.0,
            "P {seen_p:.0} of {p:.0} ms, QRS {seen_qrs:.0} of {qrs:.0}"
        );
        measured += 1;
    }
    assert!(measured > 20);
}

#[test]
fn type_two_keeps_its_pr_and_its_pause_is_two_pp() {
    let played = play(HZ, &[(60.0, "av-block-2-type-2 variability.breathing_ms=0")]);
    let beats = played.beats();
    let pr: Vec<f64> = beats.iter().filter_map(|beat| Some(ms(beat.onset) - ms(beat.p_onset?))).collect();
    assert!(deviation(&pr) < 1.0, "PR constant: {pr:.0?}");
    let pp = mean(&intervals(&played.p_ms()));
    let rr = intervals(&onsets_ms(&beats));
    let pauses: Vec<f64> = rr.iter().copied().filter(|rr| *rr > 1.3 * pp).collect();
    assert!(pauses.len() > 10);
    assert!(pauses.iter().all(|pause| (pause - 2.0 * pp).abs() < 2.0), "pauses {pauses:.0?} of PP {pp:.0}");
    assert!(rr.iter().filter(|rr| **rr < 1.3 * pp).all(|rr| (rr - pp).abs() < 2.0));
}

#[test]
fn fixed_ratios_conduct_one_of_so_many() {
    let words = |rhythm: &str, ratio: usize| format!("{rhythm} heart.av_ratio={ratio} variability.breathing_ms=0");
    let cases = [("av-block-2-1", 2), ("av-block-high-grade", 3), ("av-block-high-grade", 4)];
    for (rhythm, ratio) in cases.into_iter().chain((1..=6).map(|ratio| ("atrial-flutter", ratio))) {
        let played = play(HZ, &[(40.0, &words(rhythm, ratio))]);
        let (p, rr) = (played.p_ms(), intervals(&onsets_ms(&played.beats())));
        let pp = mean(&intervals(&p));
        for rr in &rr {
            assert!((rr - ratio as f64 * pp).abs() < 2.0, "{rhythm} {ratio}:1, RR {rr:.0}, PP {pp:.0} ms");
        }
        assert!(rr.len() > 8, "{rhythm} {ratio}:1");
    }
}

#[test]
fn any_ratio_keeps_the_rate_that_was_set() {
    let rhythms = ["av-block-2-type-1", "av-block-2-type-2", "atrial-flutter", "atrial-flutter-varying"];
    for (rhythm, ratio) in rhythms.into_iter().flat_map(|rhythm| [2, 3, 4, 5].map(|ratio| (rhythm, ratio))) {
        let words = format!("{rhythm} heart.av_ratio={ratio} variability.breathing_ms=0");
        let Item::Step(step) = items(&[(1.0, &words)])[0] else { panic!("a step") };
        let set = f64::from(step.settings.get(Field::RateBpm));
        let rr = intervals(&onsets_ms(&play(HZ, &[(120.0, &words)]).beats()));
        let bpm = 60_000.0 / mean(&rr);
        // Chance chooses the ratios of the varying one.
        let share = if rhythm == "atrial-flutter-varying" { 0.1 } else { 0.02 };
        assert!((bpm / set - 1.0).abs() < share, "{rhythm} at {ratio}: {bpm:.1} bpm, set {set:.1}");
    }
}

#[test]
fn where_one_of_each_round_is_dropped_a_round_of_one_is_refused() {
    // Rounds are whole.
    assert!(Settings::new(&ADULT, named("atrial-flutter")).with(Field::AvRatio, 2.4).is_err());
    for rhythm in ["av-block-2-type-1", "av-block-2-type-2"] {
        for (ratio, allowed) in [(1.0, false), (2.0, true)] {
            let items = items(&[(10.0, &format!("{rhythm} heart.av_ratio={ratio}"))]);
            let refused = ScriptError::Conflict(0, Conflict::RatioOfRhythm { ratio, min: 2.0 });
            assert_eq!(Script::new(0, &items).err(), (!allowed).then_some(refused), "{rhythm} at {ratio}");
        }
    }
}

#[test]
fn flutter_waves_stand_in_the_samples_at_250_to_350_a_minute() {
    // Where few QRS lie over them, the strongest line of II is the flutter's: Goldberger, Clinical Electrocardiography.
    let played = play(HZ, &[(40.0, "atrial-flutter heart.av_ratio=6")]);
    let beats = played.beats();
    let lead: Vec<f64> = played.samples(Channel::Lead(Lead::II), 0.0, 40.0);
    // QRS and T blotted out, as far as they reach.
    let mut waves = lead.clone();
    for beat in &beats {
        let (from, to) = (ms(beat.onset) as usize, (ms(beat.end) as usize).min(lead.len()));
        let (a, b) = (lead[from.saturating_sub(1)], lead[to.min(lead.len() - 1)]);
        for (i, sample) in waves[from..to].iter_mut().enumerate() {
            *sample = a + (b - a) * i as f64 / (to - from) as f64;
        }
    }
    let found = dominant_hz(&waves, f64::from(HZ), 2.5, 12.0) * 60.0;
    let atrial = 60_000.0 / mean(&intervals(&played.p_ms()));
    assert!((found - atrial).abs() < 4.0, "waves at {found:.0}, truth {atrial:.0} a minute");
    assert!((250.0..=350.0).contains(&found), "{found:.0} a minute");
}

#[test]
fn varying_flutter_keeps_its_waves_and_changes_its_ratio() {
    let played = play(HZ, &[(60.0, "atrial-flutter-varying")]);
    let p = intervals(&played.p_ms());
    assert!(deviation(&p) < 1.0);
    let ratios: Vec<f64> = intervals(&onsets_ms(&played.beats())).iter().map(|rr| rr / mean(&p)).collect();
    assert!(ratios.iter().all(|ratio| (ratio - ratio.round()).abs() < 0.02), "{ratios:.2?}");
    let mut seen: Vec<i64> = ratios.iter().map(|ratio| ratio.round() as i64).collect();
    seen.sort_unstable();
    seen.dedup();
    assert!(seen.len() >= 3, "ratios {seen:?}");
}

#[test]
fn in_complete_block_p_and_qrs_are_each_regular_and_know_nothing_of_each_other() {
    for (rhythm, narrow) in [("av-block-3-junctional", true), ("av-block-3-ventricular", false)] {
        let played = play(HZ, &[(120.0, rhythm)]);
        let beats = played.beats();
        let (p, qrs) = (played.p_ms(), onsets_ms(&beats));
        assert!(deviation(&intervals(&p)) < 1.0, "{rhythm}: P regular");
        assert!(deviation(&intervals(&qrs)) < 1.0, "{rhythm}: QRS regular");
        assert!(beats.iter().all(|beat| beat.p_onset.is_none()), "{rhythm}: nothing conducted");
        let pp = mean(&intervals(&p));
        // Where in the PP interval each QRS falls: everywhere alike.
        let mut places = [0_usize; 4];
        for qrs in &qrs {
            let before = p.iter().rev().find(|p| *p <= qrs).copied().unwrap_or(p[0] - pp);
            places[((((qrs - before) / pp) * 4.0) as usize).min(3)] += 1;
        }
        let fair = qrs.len() as f64 / 4.0;
        assert!(places.iter().all(|n| *n as f64 > 0.5 * fair), "{rhythm}: {places:?}");
        let qrs_ms = ms(beats[3].end) - ms(beats[3].onset);
        assert_eq!(qrs_ms < 120.0, narrow, "{rhythm}: QRS of {qrs_ms:.0} ms");
    }
}

#[test]
fn atrial_fibrillation_is_irregular_without_memory_and_has_no_p() {
    for rhythm in ["atrial-fibrillation", "atrial-fibrillation-fine"] {
        let played = play(250, &[(900.0, rhythm)]);
        let beats = played.beats();
        let rr = intervals(&onsets_ms(&beats));
        assert!(played.p_ms().is_empty(), "{rhythm}");
        let spread = deviation(&rr) / mean(&rr);
        // RR spread over mean of 0.15 to 0.3 in atrial fibrillation: from memory.
        assert!((0.15..0.30).contains(&spread), "{rhythm}: spread {spread:.2}");
        // No memory: within three standard errors of zero, 1/sqrt(n), for ten lags.
        for lag in 1..=10 {
            let r = autocorrelation(&rr, lag);
            assert!(r.abs() < 3.0 / (rr.len() as f64).sqrt(), "{rhythm}: {r:.3} at lag {lag} of {} RR", rr.len());
        }
        // The mean before the QRS is flat: f waves cancel, P waves would not.
        let lead = played.samples(Channel::Lead(Lead::II), 0.0, 900.0);
        let mut before = [0.0; 60];
        // Long cycles only, clear of the T wave before.
        let long: Vec<usize> = beats
            .windows(2)
            .filter(|pair| ms(pair[1].onset) - ms(pair[0].t_end) > 260.0)
            .map(|pair| (ms(pair[1].onset) / 4.0) as usize)
            .collect();
        assert!(long.len() > 100, "{rhythm}: {} long cycles", long.len());
        for onset in &long {
            for (mean, sample) in before.iter_mut().zip(&lead[onset - 60..*onset]) {
                *mean += sample / long.len() as f64;
            }
        }
        let span = before.iter().copied().fold(f64::MIN, f64::max) - before.iter().copied().fold(f64::MAX, f64::min);
        assert!(span < 0.035, "{rhythm}: a mean wave of {span:.3} mV before the QRS");
    }
}

#[test]
fn sinus_pauses_differ_by_their_length() {
    // Exit block: the pause is two PP. Arrest: as long as set, at any PP.
    let played = play(HZ, &[(90.0, "sinus-exit-block variability.breathing_ms=0")]);
    let pp = intervals(&played.p_ms());
    let usual = pp.iter().copied().fold(f64::MAX, f64::min);
    let pauses: Vec<f64> = pp.iter().copied().filter(|pp| *pp > 1.5 * usual).collect();
    assert!(pauses.len() >= 3 && pauses.iter().all(|pause| (pause - 2.0 * usual).abs() < 2.0), "{pauses:.0?}");
    let played = play(HZ, &[(120.0, "sinus-arrest heart.pause_s=4.3 variability.breathing_ms=0")]);
    let pauses: Vec<f64> = intervals(&played.p_ms()).into_iter().filter(|pp| *pp > 2_000.0).collect();
    assert!(pauses.len() >= 2 && pauses.iter().all(|pause| (pause - 4_300.0).abs() < 2.0), "{pauses:.0?}");
}

#[test]
fn sinus_arrhythmia_follows_the_breath() {
    let played = play(HZ, &[(120.0, "sinus-arrhythmia breathing.rate_per_min=14")]);
    let pp = intervals(&played.p_ms());
    let (least, most) = (pp.iter().copied().fold(f64::MAX, f64::min), pp.iter().copied().fold(f64::MIN, f64::max));
    // Longest and shortest PP differ by over 120 ms: textbooks, from memory.
    assert!(most - least > 120.0, "{least:.0} to {most:.0} ms");
    // The rate as a signal of 4 Hz has its strongest line at the breath.
    let p = played.p_ms();
    let rate = |t: f64| {
        let i = p.partition_point(|p| *p <= t).clamp(1, p.len() - 1);
        60_000.0 / (p[i] - p[i - 1])
    };
    let sampled: Vec<f64> = (8..460).map(|i| rate(f64::from(i) * 250.0)).collect();
    let found = dominant_hz(&sampled, 4.0, 0.1, 0.5) * 60.0;
    assert!((found - 14.0).abs() < 0.6, "{found:.1} a minute");
}

#[test]
fn multifocal_atria_show_three_shapes_of_p() {
    let played = play(HZ, &[(60.0, "multifocal-atrial-tachycardia")]);
    let origins: Vec<AtrialOrigin> = played
        .events
        .iter()
        .filter_map(|event| if let Event::Atrial(p) = event { Some(p.origin) } else { None })
        .collect();
    let mut kinds: Vec<AtrialOrigin> = Vec::new();
    for origin in origins {
        if !kinds.contains(&origin) {
            kinds.push(origin);
        }
    }
    assert!(kinds.len() >= 3, "{kinds:?}");
    let pr: Vec<f64> = played.beats().iter().filter_map(|beat| Some(ms(beat.onset) - ms(beat.p_onset?))).collect();
    assert!(deviation(&pr) > 5.0, "PR varies");
    let rate = 60_000.0 / mean(&intervals(&onsets_ms(&played.beats())));
    assert!(rate > 100.0, "{rate:.0} bpm");
}
