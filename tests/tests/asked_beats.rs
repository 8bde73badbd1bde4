//! Premature beats that a script asks for: each comes, or the truth gives the reason.

use pulsewright_core::anatomy::{EctopicSite, Refusal};
use pulsewright_core::body::BODIES;
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step, TimedBeat};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::{Beat, BeatCode, Event, RefusedBeat};
use pulsewright_tests::played::{ms, play};

/// Events of a step with these beats.
fn events(settings: Settings, beats: &[TimedBeat]) -> Vec<Event> {
    let items = [Item::Step(Step::lasting(Span::secs(20), settings).with_beats(beats))];
    let script = Script::new(11, &items).expect("a script");
    let mut player = Player::new(&script, FrameRate::lit(250));
    let mut events = Vec::new();
    player.skip_observed(u64::MAX, &mut |event| events.push(event));
    events
}

fn refused(events: &[Event]) -> Vec<RefusedBeat> {
    events.iter().filter_map(|event| if let Event::Refused(beat) = event { Some(*beat) } else { None }).collect()
}

fn beats(events: &[Event]) -> Vec<Beat> {
    events.iter().filter_map(|event| if let Event::Beat(beat) = event { Some(*beat) } else { None }).collect()
}

/// Whether a beat from `site`, asked for at `asked`, came.
fn came(events: &[Event], site: EctopicSite, asked: Instant) -> bool {
    beats(events).iter().any(|beat| match site {
        EctopicSite::Atrium => beat.p_onset == Some(asked),
        // 80 ms after its focus fired, or fused with a beat of the ventricles within 50 ms before.
        EctopicSite::Junction => {
            let late = ms(beat.onset) - ms(asked) - 80.0;
            late.abs() < 0.01
                || (matches!(beat.code, BeatCode::Fusion | BeatCode::PacedFusion)
                    && (-50.0..0.0).contains(&late)
                    && beat.p_onset.is_none_or(|p| p == asked))
        }
        _ => beat.onset == asked,
    })
}

#[test]
fn a_beat_asked_for_comes_or_the_truth_says_why_not() {
    let mut why = Vec::new();
    for rhythm in RHYTHMS {
        for body in BODIES {
            for &site in EctopicSite::ALL {
                // A period and more of any rhythm, in 41 phases.
                for phase in 0..41 {
                    let after = Span::millis(9000 + 37 * phase);
                    let events = events(Settings::new(body, rhythm), &[TimedBeat { after, site }]);
                    let refused = refused(&events);
                    let asked = Instant::ZERO.plus(after);
                    let came = came(&events, site, asked);
                    let at = format!("{} {} {} {phase}", body.id, rhythm.id, site.id());
                    assert!(refused.len() == usize::from(!came), "{at}: came {came}, {refused:?}");
                    for beat in refused {
                        assert!(beat.asked == asked && beat.site == site && beat.at >= asked, "{at}: {beat:?}");
                        why.push(beat.why);
                    }
                }
            }
        }
    }
    for expected in [Refusal::Refractory, Refusal::Blocked, Refusal::Fibrillation] {
        assert!(why.contains(&expected), "{expected:?}");
    }
}

#[test]
fn a_beat_after_its_step_is_refused() {
    let settings = Settings::new(BODIES[0], RHYTHMS[0]);
    let site = EctopicSite::RightVentricle;
    let all = events(settings, &[TimedBeat { after: Span::secs(20), site }, TimedBeat { after: Span::secs(30), site }]);
    let refused = refused(&all);
    assert_eq!(refused.iter().map(|beat| beat.why).collect::<Vec<_>>(), [Refusal::StepEnded; 2]);
    assert_eq!(refused[1].asked, Instant::ZERO.plus(Span::secs(30)));
}

/// The heart's own beat that begins before a pulse takes hold is no capture (pseudo-fusion), and no P wave follows another
/// within the atria's refractory period.
#[test]
fn a_pulse_captures_only_what_it_started() {
    let (mut pulses, mut pseudo) = (0, 0);
    for rhythm in RHYTHMS.iter().filter(|rhythm| rhythm.pacing.is_some()) {
        let played = play(250, &[(300.0, rhythm.id)]);
        let (beats, p) = (played.beats(), played.p_ms());
        for event in &played.events {
            let Event::Pace { at, chamber, captures } = event else { continue };
            let within = |onset: f64| (0.0..=30.0).contains(&(onset - ms(*at)));
            let answer = match chamber {
                pulsewright_core::truth::Chamber::Atrium => p.iter().any(|onset| within(*onset)),
                _ => {
                    pulses += 1;
                    let near: Vec<&Beat> = beats.iter().filter(|beat| within(ms(beat.onset))).collect();
                    let own = near.iter().any(|beat| !matches!(beat.code, BeatCode::Paced | BeatCode::PacedFusion));
                    pseudo += usize::from(own);
                    assert!(!(own && *captures), "{} at {:.3} s: {near:?}", rhythm.id, at.as_secs_f64());
                    !own && !near.is_empty()
                }
            };
            assert_eq!(answer, *captures, "{} at {:.3} s", rhythm.id, at.as_secs_f64());
        }
    }
    assert!(pulses > 1000 && pseudo > 5, "{pseudo} of {pulses}");
}

#[test]
fn no_p_wave_follows_another_within_the_refractory_period() {
    for rhythm in RHYTHMS {
        for body in BODIES {
            for phase in 0..20 {
                let asked = [
                    TimedBeat { after: Span::millis(9000 + 47 * phase), site: EctopicSite::Atrium },
                    TimedBeat { after: Span::millis(9130 + 47 * phase), site: EctopicSite::Junction },
                ];
                let events = events(Settings::new(body, rhythm), &asked);
                let p: Vec<f64> = events
                    .iter()
                    .filter_map(|event| if let Event::Atrial(p) = event { Some(ms(p.onset)) } else { None })
                    .collect();
                let closest = p.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
                // 55 % of a cycle: a newborn's flutter has 430 a minute.
                assert!(closest > 76.0, "{} {}: {closest:.0} ms", body.id, rhythm.id);
                let fast = rhythm.id.contains("flutter") || body.id != "adult";
                assert!(closest > 180.0 || fast, "{}: {closest:.0} ms", rhythm.id);
            }
        }
    }
}

#[test]
fn what_settings_add_to_the_ecg_is_an_episode() {
    let steps = [
        (5.0, "sinus"),
        (5.0, "st.inferior_mv=0.2"),
        (5.0, "st.inferior_mv=0.05 artefact.muscle_mv=0.1"),
        (5.0, "artefact.muscle_mv=0 artefact.motion_mv=0.3 artefact.off_la=1"),
        (5.0, "artefact.motion_mv=0 artefact.off_la=0 st.inferior_mv=0"),
    ];
    let played = play(500, &steps);
    let reported: Vec<(String, f64, bool)> = played
        .events
        .iter()
        .filter_map(|event| match event {
            Event::Episode { episode, at, starts } => Some((format!("{episode:?}"), at.as_secs_f64(), *starts)),
            _ => None,
        })
        .collect();
    let expected = [
        ("StShift", 5.0, true),
        ("StShift", 10.0, false),
        ("Noise", 10.0, true),
        ("LeadOff", 15.0, true),
        ("Noise", 20.0, false),
        ("LeadOff", 20.0, false),
    ];
    assert_eq!(reported, expected.map(|(word, at, starts)| (word.to_owned(), at, starts)));
    // A lead is flat, to the bit, only while its electrode is off.
    let flat = |from: f64, to: f64| {
        let samples = played.samples(Channel::Lead(Lead::I), from, to);
        samples.windows(2).all(|pair| pair[0] == pair[1])
    };
    assert!(flat(15.1, 19.9) && !flat(13.0, 14.9) && !flat(20.1, 22.0));
}
