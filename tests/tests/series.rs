//! Series of beats: each comes at its own time, whatever its code, the rhythm and the body; the rhythm's own do not come.

use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::{RHYTHMS, named};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Conflict, Item, Script, ScriptError, Series, SeriesBeat, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::{Beat, BeatCode, Event, Refusal};
use pulsewright_core::{ADULT, SINUS};
use pulsewright_tests::played::ms;

/// Beats of these codes, so many milliseconds apart.
fn beats(codes: &[BeatCode], apart_ms: u64) -> Vec<SeriesBeat> {
    let after = |i: usize| Span::millis(apart_ms * (i as u64 + 1));
    codes.iter().enumerate().map(|(i, code)| SeriesBeat { after: after(i), code: *code }).collect()
}

fn events(items: &[Item<'_>]) -> Vec<Event> {
    let script = Script::new(5, items).expect("a script");
    let mut events = Vec::new();
    Player::new(&script, FrameRate::lit(250)).skip_observed(u64::MAX, &mut |event| events.push(event));
    events
}

fn beats_of(events: &[Event]) -> Vec<Beat> {
    events.iter().filter_map(|event| if let Event::Beat(beat) = event { Some(*beat) } else { None }).collect()
}

fn step(settings: Settings, seconds: u32, list: &[SeriesBeat]) -> Step<'_> {
    let length = list.last().expect("a beat").after;
    Step::lasting(Span::secs(seconds), settings).with_series(Series { beats: list, length })
}

#[test]
fn every_code_comes_at_its_time_in_every_rhythm_and_body() {
    let list = beats(BeatCode::ALL, 640);
    let mut played = 0;
    for rhythm in RHYTHMS {
        for body in BODIES {
            let settings = Settings::new(body, rhythm);
            let item = [Item::Step(step(settings, 22, &list))];
            match Script::new(0, &item) {
                Err(ScriptError::Conflict(0, Conflict::SeriesOfRhythm)) => continue,
                made => made.expect("a script"),
            };
            let found = beats_of(&events(&item));
            let again = (0..2).flat_map(|pass| list.iter().map(move |beat| (pass, beat)));
            let expected: Vec<(f64, BeatCode)> = again
                .map(|(pass, beat)| (640.0 * (list.len() * pass) as f64 + 1000.0 * beat.after.as_secs_f64(), beat.code))
                .filter(|(at, _)| *at < 21_950.0)
                .collect();
            assert_eq!(found.len(), expected.len(), "{} {}", rhythm.id, body.id);
            for (beat, (at, code)) in found.iter().zip(expected) {
                assert_eq!(beat.code, code, "{} {} at {at}", rhythm.id, body.id);
                // Fused complexes are two half ones, so their peak lies between those of both; a T wave that begins within the QRS
                // moves the peak with the QT of the beat.
                let fused = matches!(code, BeatCode::Fusion | BeatCode::PacedFusion);
                let late = ms(beat.peak) - at;
                let most = if fused { 40.0 } else { 1.5 };
                assert!(late.abs() < most, "{} {} {code:?}: {late} ms late", rhythm.id, body.id);
            }
            played += 1;
        }
    }
    assert!(played > 150, "{played} of {}", RHYTHMS.len() * BODIES.len());
}

/// A first beat within 0.1 s of the QRS before the step is left out, and the truth says so.
#[test]
fn a_first_beat_that_would_follow_at_once_is_reported() {
    let settings = Settings::new(&ADULT, &SINUS);
    let before = beats_of(&events(&[Item::Step(Step::lasting(Span::secs(6), settings))]));
    let onset = before.last().expect("a beat").onset;
    for (after_ms, first_ms, left_out) in [(30, 90, true), (70, 75, true), (300, 90, false)] {
        for code in [BeatCode::Normal, BeatCode::VentricularPremature] {
            let mut list = beats(&[code, code, code], 800);
            list[0].after = Span::millis(first_ms);
            let start = onset.plus(Span::millis(after_ms));
            let lasts = start.since(Instant::ZERO);
            let series = Series { beats: &list, length: Span::millis(3200) };
            let late = Step::lasting(Span::secs(3), settings).with_series(series);
            let played = events(&[Item::Step(Step::lasting(lasts, settings)), Item::Step(late)]);
            let refused: Vec<_> =
                played.iter().filter_map(|e| if let Event::Refused(beat) = e { Some(*beat) } else { None }).collect();
            let at: Vec<f64> =
                beats_of(&played).iter().map(|beat| ms(beat.peak) - ms(start)).filter(|at| *at > 0.0).collect();
            let came = at.iter().any(|at| (at - first_ms as f64).abs() < 40.0);
            assert_eq!(came, !left_out, "{code:?} {after_ms} ms after: {at:?}");
            let expected: Vec<Instant> = left_out.then(|| start.plus(Span::millis(first_ms))).into_iter().collect();
            assert_eq!(refused.iter().map(|beat| beat.asked).collect::<Vec<_>>(), expected, "{code:?}");
            assert!(refused.iter().all(|beat| beat.why == Refusal::Refractory && beat.at == start));
        }
    }
}

#[test]
fn conducted_beats_follow_their_p_waves_and_others_have_none() {
    let list = beats(BeatCode::ALL, 900);
    let settings = Settings::new(&ADULT, &SINUS);
    let pr_ms = f64::from(settings.get(Field::PrMs));
    for beat in beats_of(&events(&[Item::Step(step(settings, 15, &list))])) {
        let pr = beat.p_onset.map(|p| ms(beat.onset) - ms(p));
        let expected = match beat.code.symbol() {
            'V' | 'r' | 'E' | '/' | 'f' => None,
            'J' | 'j' | 'n' => Some(80.0),
            _ => Some(pr_ms),
        };
        match (pr, expected) {
            (Some(pr), Some(expected)) => assert!((pr - expected).abs() < 0.01, "{:?}: {pr}", beat.code),
            (pr, expected) => assert_eq!(pr, expected, "{:?}", beat.code),
        }
    }
}

#[test]
fn fibrillating_atria_lead_to_no_beat_and_pulses_lead_to_paced_ones() {
    let list = beats(&[BeatCode::Normal, BeatCode::Paced], 700);
    let events = events(&[Item::Step(step(Settings::new(&ADULT, named("atrial-fibrillation")), 30, &list))]);
    assert!(!events.iter().any(|event| matches!(event, Event::Atrial(_))));
    let pulses: Vec<Instant> =
        events.iter().filter_map(|event| if let Event::Pace { at, .. } = event { Some(*at) } else { None }).collect();
    let paced: Vec<Beat> = beats_of(&events).into_iter().filter(|beat| beat.code == BeatCode::Paced).collect();
    assert_eq!((pulses.len(), paced.len()), (21, 21));
    for (pulse, beat) in pulses.iter().zip(&paced) {
        assert!((ms(beat.onset) - ms(*pulse) - 20.0).abs() < 0.01);
    }
}

#[test]
fn beats_less_than_a_sixth_of_a_second_apart_all_come() {
    let codes = [BeatCode::Normal, BeatCode::VentricularPremature, BeatCode::ROnT, BeatCode::AtrialPremature];
    let list = beats(&codes, 150);
    let found = beats_of(&events(&[Item::Step(step(Settings::new(&ADULT, &SINUS), 30, &list))]));
    assert_eq!(found.len(), 200);
    for (i, beat) in found.iter().enumerate() {
        let late = ms(beat.peak) - 150.0 * (i + 1) as f64;
        assert!(late.abs() < 25.0 && beat.end > beat.onset, "beat {i}: {late} ms late");
    }
}

#[test]
fn a_rhythm_takes_over_and_hands_over() {
    let sinus = Settings::new(&ADULT, &SINUS);
    let list = beats(&[BeatCode::Normal; 3], 500);
    let plain = Step::lasting(Span::secs(10), sinus);
    let found = beats_of(&events(&[Item::Step(plain), Item::Step(step(sinus, 10, &list)), Item::Step(plain)]));
    let between = |from: f64, to: f64| found.iter().filter(move |beat| (from..to).contains(&ms(beat.onset)));
    for (i, beat) in between(10_000.0, 20_000.0).enumerate() {
        assert!((ms(beat.peak) - 10_500.0 - 500.0 * i as f64).abs() < 0.5, "beat {i}");
    }
    // The last begins in the step, and its peak comes with the end.
    assert_eq!(between(10_000.0, 20_000.0).count(), 20);
    let closest = found.windows(2).map(|pair| ms(pair[1].onset) - ms(pair[0].onset)).fold(f64::INFINITY, f64::min);
    assert!(closest > 100.0, "{closest} ms apart");
    assert!((10..13).contains(&between(20_000.0, 30_000.0).count()));
}

#[test]
fn lists_that_make_no_series_are_refused() {
    let sinus = Settings::new(&ADULT, &SINUS);
    let good = beats(&[BeatCode::Normal; 3], 200);
    let close = beats(&[BeatCode::Normal; 3], 149);
    let refused = |series: Series<'_>, settings: Settings| {
        let step = Step::lasting(Span::secs(5), settings).with_series(series);
        Script::new(0, &[Item::Step(step)]).expect_err("no series")
    };
    let whole = |beats, ms| Series { beats, length: Span::millis(ms) };
    for series in [whole(&[], 900), whole(&close, 900), whole(&good, 599), whole(&good[1..], 449)] {
        assert_eq!(refused(series, sinus), ScriptError::Series(0));
    }
    let still = Settings::new(&ADULT, named("ventricular-fibrillation"));
    assert_eq!(refused(whole(&good, 900), still), ScriptError::Conflict(0, Conflict::SeriesOfRhythm));
}
