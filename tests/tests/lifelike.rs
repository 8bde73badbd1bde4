//! Intervals of a person's heart: their random changes, from the truth; the same from samples is in `tests/conformance`.
//!
//! Criteria are those of the textbooks (from memory where no other source stands beside the check).

use pulsewright_core::anatomy::BeatCode;
use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::{EctopicConduction, Ventricles};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::{Beat, Event};
use pulsewright_tests::played::ms;
use pulsewright_tests::statistics::{deviation, mean};

fn events(settings: Settings, seed: u64, seconds: u32) -> Vec<Event> {
    let items = [Item::Step(Step::lasting(Span::secs(seconds), settings))];
    let script = Script::new(seed, &items).expect("a script");
    let mut events = Vec::new();
    Player::new(&script, FrameRate::lit(250)).skip_observed(u64::MAX, &mut |event| events.push(event));
    events
}

fn beats(settings: Settings, seed: u64, seconds: u32) -> Vec<Beat> {
    let beat = |event| if let Event::Beat(beat) = event { Some(beat) } else { None };
    events(settings, seed, seconds).into_iter().filter_map(beat).collect()
}

fn settings(body: usize, rhythm: &str) -> Settings {
    let rhythm = RHYTHMS.iter().find(|known| known.id == rhythm).expect("a rhythm");
    Settings::new(BODIES[body], rhythm)
}

fn rr(beats: &[Beat]) -> Vec<f64> {
    beats.windows(2).map(|pair| ms(pair[1].onset) - ms(pair[0].onset)).collect()
}

fn correlation(values: &[f64], lag: usize) -> f64 {
    let middle = mean(values);
    let sum = |lag: usize| values.iter().zip(&values[lag..]).map(|(a, b)| (a - middle) * (b - middle)).sum::<f64>();
    sum(lag) / sum(0)
}

#[test]
fn fibrillation_has_no_memory_no_repeat_and_the_rate_set() {
    for (seed, rate, variation) in
        [(1, 91.0, 24.0), (2, 60.0, 24.0), (3, 140.0, 20.0), (4, 91.0, 30.0), (5, 200.0, 15.0)]
    {
        let set =
            settings(0, "atrial-fibrillation").lit(Field::RateBpm, rate).lit(Field::FibrillationPercent, variation);
        let found = beats(set, seed, 3600);
        let rr = rr(&found);
        let average = mean(&rr);
        assert!((60_000.0 / average - f64::from(rate)).abs() < 0.1, "{rate}: {} bpm", 60_000.0 / average);
        let share = deviation(&rr) / average;
        assert!((share - 0.01 * f64::from(variation)).abs() < 0.02, "{rate}: variation {share:.3}");
        for lag in 1..10 {
            let found = correlation(&rr, lag);
            assert!(found.abs() < 0.06, "{rate}: correlation {found:.3} at lag {lag}");
        }
        let mut ticks: Vec<u64> = found.windows(2).map(|pair| pair[1].onset.since(pair[0].onset).ticks()).collect();
        ticks.sort_unstable();
        ticks.dedup();
        assert!(ticks.len() as f64 > 0.998 * rr.len() as f64, "{} values of {}", ticks.len(), rr.len());
        // Ashman: wide, after a long interval and then a short one, and some only.
        let mut wide = 0;
        for i in 2..found.len() {
            if found[i].code == BeatCode::AberratedAtrialPremature {
                wide += 1;
                assert!(ms(found[i].end) - ms(found[i].onset) >= 120.0);
                assert!(
                    rr[i - 2] > 1.15 * average && rr[i - 1] < 0.62 * rr[i - 2],
                    "{:.0}, {:.0}",
                    rr[i - 2],
                    rr[i - 1]
                );
            }
        }
        let share = f64::from(wide) / found.len() as f64;
        assert!(share < 0.08 && (share > 0.003 || variation < 20.0), "{rate}: {share:.3} aberrant");
    }
}

#[test]
fn a_code_says_when_a_beat_came() {
    for body in BODIES {
        for rhythm in RHYTHMS.iter().filter(|rhythm| rhythm.ectopy.is_some()) {
            let (min, max) = rhythm.allowed_bpm(body.resting_bpm, rhythm.usual_ratio());
            let usual = Settings::new(body, rhythm).get(Field::RateBpm);
            for rate in [usual, 0.5 * (usual + min), 0.5 * (usual + max)] {
                for life in [0.0, 1.0, 2.0] {
                    let set = Settings::new(body, rhythm).lit(Field::RateBpm, rate).lit(Field::Life, life);
                    let found = beats(set, 5, 120);
                    let at = format!("{} {} {rate} bpm, life {life}", body.id, rhythm.id);
                    let mut premature = 0;
                    for pair in found.windows(2) {
                        let on_t = pair[1].onset < pair[0].t_end;
                        let code = pair[1].code;
                        premature += usize::from(!matches!(code, BeatCode::Normal));
                        if matches!(code, BeatCode::VentricularPremature | BeatCode::ROnT) {
                            assert_eq!(on_t, code == BeatCode::ROnT, "{at}: {pair:?}");
                            assert_eq!(
                                on_t,
                                rhythm.id == "ventricular-r-on-t" && on_t,
                                "{at}: an ordinary beat on T: {pair:?}"
                            );
                        }
                        if code == BeatCode::AtrialPremature || code == BeatCode::JunctionalPremature {
                            assert!(
                                ms(pair[1].onset) - ms(pair[0].onset) < 0.95 * 60_000.0 / f64::from(rate),
                                "{at}: {pair:?}"
                            );
                        }
                    }
                    // A blocked one is no beat of the ventricles.
                    if rhythm.ectopy.is_some_and(|ectopy| ectopy.conduction == EctopicConduction::Blocked) {
                        assert_eq!(premature, 0, "{at}: premature beats");
                    } else {
                        assert!(premature >= 3, "{at}: {premature} premature beats");
                    }
                    if rhythm.id == "ventricular-r-on-t" && life == 0.0 {
                        assert!(found.iter().any(|beat| beat.code == BeatCode::ROnT), "{at}");
                    }
                }
            }
        }
    }
}

/// QT over the interval that follows: 0.9 at most, also before premature beats, unless one is meant to come on T. The rest is where two
/// sources meet by chance.
#[test]
fn t_ends_before_the_next_beat() {
    for rhythm in RHYTHMS
        .iter()
        .filter(|rhythm| !matches!(rhythm.ventricles, Ventricles::Fibrillation { .. } | Ventricles::Flutter { .. }))
    {
        for body in BODIES {
            let (min, max) = rhythm.allowed_bpm(body.resting_bpm, rhythm.usual_ratio());
            let usual = Settings::new(body, rhythm).get(Field::RateBpm);
            for rate in [usual, min, max, 0.5 * (usual + max)] {
                for life in [0.0, 1.0] {
                    let set = Settings::new(body, rhythm).lit(Field::RateBpm, rate).lit(Field::Life, life);
                    let found = beats(set, 3, 60);
                    let mut over = Vec::new();
                    for pair in found.windows(2) {
                        let (qt, rr) = (ms(pair[0].t_end) - ms(pair[0].onset), ms(pair[1].onset) - ms(pair[0].onset));
                        let meant = pair[1].code == BeatCode::ROnT;
                        // Without sensing, pulses come on the T wave: that is the fault.
                        let sensed = rhythm.id != "paced-no-sensing";
                        // A beat from above stays early in a heart so fast that QT takes most of its interval.
                        let from_above = matches!(
                            pair[1].code,
                            BeatCode::AtrialPremature
                                | BeatCode::AberratedAtrialPremature
                                | BeatCode::JunctionalPremature
                        );
                        let crowded = from_above && qt > 0.81 * 60_000.0 / f64::from(rate);
                        if !meant && !crowded && sensed && qt > 0.9 * rr + 8.0 {
                            over.push((qt, rr, pair[0].code.symbol(), pair[1].code.symbol()));
                        }
                    }
                    let allowed = found.len() / 50;
                    assert!(
                        over.len() <= allowed,
                        "{} {} {rate} bpm, life {life}: {} of {}: {:?}",
                        body.id,
                        rhythm.id,
                        over.len(),
                        found.len(),
                        over.first()
                    );
                }
            }
        }
    }
}

#[test]
fn pr_follows_the_rate_until_it_is_named() {
    let pr = |set: Settings| {
        let found = beats(set, 1, 10);
        ms(found[5].onset) - ms(found[5].p_onset.expect("a P wave"))
    };
    let usual = |rate: f32| settings(0, "sinus").lit(Field::RateBpm, rate);
    assert!((pr(usual(70.0)) - 160.0).abs() < 0.5);
    // Narrower than 200 ms at any rate of an adult, above 100 up to 200 bpm.
    assert!((170.0..200.0).contains(&pr(usual(45.0))) && (110.0..135.0).contains(&pr(usual(150.0))));
    assert!(pr(usual(200.0)) > 100.0);
    assert!((pr(usual(150.0).lit(Field::PrMs, 180.0)) - 180.0).abs() < 0.5);
}

#[test]
fn qt_follows_the_rate_slowly_at_resting_life_and_varies_a_little() {
    let slow = settings(0, "sinus").lit(Field::RateBpm, 60.0).lit(Field::Life, 1.0);
    let fast = slow.lit(Field::RateBpm, 110.0);
    let step = |settings, seconds| Item::Step(Step::lasting(Span::secs(seconds), settings));
    let items = [step(slow, 120), step(fast, 400)];
    let script = Script::new(2, &items).expect("a script");
    let mut found = Vec::new();
    Player::new(&script, FrameRate::lit(250)).skip_observed(u64::MAX, &mut |event| {
        if let Event::Beat(beat) = event {
            found.push((beat.onset.as_secs_f64(), ms(beat.t_end) - ms(beat.onset)));
        }
    });
    let between = |from: f64, to: f64| {
        mean(&found.iter().filter(|(at, _)| (from..to).contains(at)).map(|(_, qt)| *qt).collect::<Vec<_>>())
    };
    let (before, soon, late) = (between(60.0, 120.0), between(122.0, 130.0), between(400.0, 520.0));
    assert!(before - late > 50.0, "{before:.0} to {late:.0} ms");
    assert!((before - soon) < 0.3 * (before - late), "after ten seconds {soon:.0} of {before:.0} to {late:.0} ms");
    let minute: Vec<f64> = found.iter().filter(|(at, _)| *at > 460.0).map(|(_, qt)| *qt).collect();
    assert!((1.0..5.0).contains(&deviation(&minute)), "QT deviates by {:.1} ms", deviation(&minute));
}

#[test]
fn pauses_and_couplings_differ_with_life_and_are_as_set_without() {
    let couplings = |set: Settings| {
        let found = beats(set, 9, 600);
        let pairs = found.windows(2).filter(|pair| pair[1].code == BeatCode::VentricularPremature);
        pairs.map(|pair| ms(pair[1].onset) - ms(pair[0].onset)).collect::<Vec<f64>>()
    };
    let set = settings(0, "ventricular-premature").lit(Field::RateBpm, 60.0);
    let alike = couplings(set.lit(Field::CouplingMs, 520.0).lit(Field::PrematurePerMin, 12.0));
    assert!(alike.iter().all(|coupling| (coupling - 520.0).abs() < 0.1), "{alike:?}");
    assert!((95..=145).contains(&alike.len()), "{} of about 120", alike.len());
    let varied = couplings(set.lit(Field::Life, 1.0).lit(Field::PrematurePerMin, 12.0));
    assert!((6.0..20.0).contains(&deviation(&varied)), "{:.1} ms", deviation(&varied));
    let pauses = |life: f32| {
        let found = beats(settings(0, "sinus-arrest").lit(Field::Life, life), 4, 900);
        let long = |(i, rr): (usize, &f64)| (*rr > 1700.0).then_some((i, *rr));
        let pauses: Vec<(usize, f64)> = rr(&found).iter().enumerate().filter_map(long).collect();
        let apart: Vec<f64> = pauses.windows(2).map(|pair| (pair[1].0 - pair[0].0) as f64).collect();
        let escapes = found.iter().filter(|beat| beat.code == BeatCode::JunctionalEscape).count();
        (deviation(&pauses.iter().map(|(_, rr)| *rr).collect::<Vec<_>>()), deviation(&apart), escapes)
    };
    let (length, apart, escapes) = pauses(0.0);
    assert!(length < 1.0 && apart < 0.01 && escapes == 0, "{length:.1} ms, {apart:.1} beats, {escapes}");
    let (length, apart, escapes) = pauses(1.0);
    assert!(length > 300.0 && apart > 1.0 && escapes >= 3, "{length:.0} ms, {apart:.1} beats, {escapes}");
}

#[test]
fn an_interpolated_beat_makes_the_next_pr_longer_and_multifocal_beats_have_many_foci() {
    let found = beats(settings(0, "ventricular-interpolated").lit(Field::RateBpm, 55.0), 6, 300);
    let pr = |beat: &Beat| ms(beat.onset) - ms(beat.p_onset.expect("a P wave"));
    let mut longer = Vec::new();
    for three in found.windows(3).filter(|three| three[1].code == BeatCode::VentricularPremature) {
        longer.push(pr(&three[2]) - pr(&three[0]));
    }
    assert!(longer.len() > 10 && longer.iter().all(|ms| (20.0..70.0).contains(ms)), "{longer:?}");
}

/// The seed matters in every rhythm with life on.
#[test]
fn two_seeds_never_give_the_same_beats() {
    for rhythm in RHYTHMS.iter().filter(|rhythm| rhythm.beats() && rhythm.pacing.is_none()) {
        let set = Settings::new(BODIES[0], rhythm).lit(Field::Life, 1.0);
        let onsets = |seed| beats(set, seed, 30).iter().map(|beat| beat.onset.ticks()).collect::<Vec<_>>();
        assert_ne!(onsets(1), onsets(2), "{}", rhythm.id);
    }
}

/// In slow ventricular tachycardia the atria go their own way: now and then one captures or fuses, each with its one P.
#[test]
fn slow_ventricular_tachycardia_has_captures_and_fusions() {
    for seed in 0..3 {
        let set = settings(0, "ventricular-tachycardia").lit(Field::RateBpm, 110.0);
        let events = events(set, seed, 300);
        let found: Vec<Beat> =
            events.iter().filter_map(|event| if let Event::Beat(beat) = event { Some(*beat) } else { None }).collect();
        let count = |code: BeatCode| found.iter().filter(|beat| beat.code == code).count();
        let (fusions, captures) = (count(BeatCode::Fusion), count(BeatCode::Normal));
        assert!(fusions >= 5 && captures >= 2, "{fusions} fusions, {captures} captures of {}", found.len());
        assert!(fusions + captures < found.len() / 4, "{fusions} fusions, {captures} captures of {}", found.len());
        let mut p: Vec<_> = found.iter().filter_map(|beat| beat.p_onset).collect();
        let all = p.len();
        p.dedup();
        assert_eq!(p.len(), all, "each beat has its own P wave");
        // Fusions do not come in step: the beats between two of them differ.
        let at: Vec<usize> = (0..found.len()).filter(|i| found[*i].code == BeatCode::Fusion).collect();
        let apart: Vec<f64> = at.windows(2).map(|pair| (pair[1] - pair[0]) as f64).collect();
        assert!(deviation(&apart) > 1.0, "{apart:?}");
    }
}

/// Rates and intervals of a newborn (textbooks, from memory): flutter of 300 to 500 a minute, complete block with 45 to 80
/// beats under atria of 110 to 180, supraventricular tachycardia of 220 to 300, sinus tachycardia of 160 to 220, PR of
/// first-degree block over 140 ms and before the T wave's end.
#[test]
fn a_newborn_has_rates_and_intervals_of_its_age() {
    let newborn = BODIES.iter().position(|body| body.id == "neonate").expect("a newborn");
    let between = [
        ("sinus-tachycardia", 160.0, 220.0),
        ("supraventricular-tachycardia", 220.0, 300.0),
        ("atrial-flutter", 75.0, 125.0),
        ("av-block-3-junctional", 50.0, 80.0),
        ("av-block-3-ventricular", 40.0, 70.0),
        ("av-block-2-1", 60.0, 90.0),
        ("idioventricular-accelerated", 130.0, 170.0),
        ("ventricular-tachycardia", 180.0, 260.0),
    ];
    for (rhythm, low, high) in between {
        let found = beats(settings(newborn, rhythm), 1, 60);
        let bpm = 60_000.0 / mean(&rr(&found));
        assert!((low..=high).contains(&bpm), "{rhythm}: {bpm:.0} bpm");
    }
    for rhythm in ["av-block-3-junctional", "av-block-3-ventricular", "ventricular-tachycardia"] {
        let set = settings(newborn, rhythm);
        let p = events(set, 1, 60).iter().filter(|event| matches!(event, Event::Atrial(_))).count();
        assert!((110..=185).contains(&p), "{rhythm}: {p} P waves a minute");
    }
    let found = beats(settings(newborn, "av-block-1"), 1, 20);
    let pr = |beat: &Beat| ms(beat.onset) - ms(beat.p_onset.expect("a P wave"));
    for pair in found.windows(2) {
        assert!((140.0..230.0).contains(&pr(&pair[1])), "PR {:.0} ms", pr(&pair[1]));
        assert!(ms(pair[1].p_onset.expect("a P wave")) > ms(pair[0].t_end) - 40.0, "P on T");
    }
    // 55 a minute is not refused in a newborn's complete block, 90 is in an adult's.
    let (_, most) = RHYTHMS.iter().find(|known| known.id == "av-block-3-ventricular").unwrap().allowed_bpm(130.0, 1.0);
    let (_, adult) = RHYTHMS.iter().find(|known| known.id == "av-block-3-ventricular").unwrap().allowed_bpm(70.0, 1.0);
    assert!(most >= 70.0 && adult <= 60.0, "{most} and {adult} bpm");
}
