//! A year of signal, passed over by `skip`: nothing drifts, in leaps of any size.
//!
//! A year is some 40 million beats. Release builds pass 28 days of the regular rhythm and 14 of the irregular one, debug builds
//! nine days of each; with `PULSEWRIGHT_YEAR=all` a release build passes the whole year of both.

use pulsewright_core::frame::{Digest, Frame};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Instant, Span, TICKS_PER_SECOND};
use pulsewright_core::truth::Event;
use pulsewright_tests::played::items;

const RATE: FrameRate = FrameRate::lit(500);

/// The days that a test passes: so many in an everyday run of a release build, or the whole year.
fn days(everyday: u64) -> u64 {
    let whole = std::env::var("PULSEWRIGHT_YEAR").is_ok_and(|value| value == "all");
    match (cfg!(debug_assertions), whole) {
        (true, _) => 9,
        (false, true) => 365,
        (false, false) => everyday,
    }
}

/// Frames of a day.
const DAY: u64 = 86_400 * 500;

/// The last days, which are passed in two ways.
const LAST: u64 = 7 * DAY;

/// Beats that a player reported.
#[derive(Clone, Default, PartialEq, Debug)]
struct Beats {
    count: u64,
    first: Option<Instant>,
    last: Option<Instant>,
    /// Longest and shortest interval, ticks.
    longest: u64,
    shortest: Option<u64>,
}

impl Beats {
    fn observe(&mut self, event: Event) {
        let Event::Beat(beat) = event else { return };
        if let Some(last) = self.last {
            let interval = beat.onset.since(last).ticks();
            self.longest = self.longest.max(interval);
            self.shortest = Some(self.shortest.map_or(interval, |shortest| shortest.min(interval)));
        }
        self.count += 1;
        self.first = self.first.or(Some(beat.onset));
        self.last = Some(beat.onset);
    }
}

/// Passes over all but the last days in one leap; the last days once in one leap and once in many unequal leaps. The events
/// reported must be the same, and so must the 10 s that follow.
fn passed(words: &str, days: u64) -> Beats {
    let items = items(&[(86_400.0 * (days + 1) as f32, words)]);
    let script = Script::new(7, &items).expect("a script");
    // Without pressures: with them this listener would get eight pulses for each beat, and all would have to be played.
    let chosen = SiteSet::new(&[]).expect("no site is not too many");
    let mut player = Player::new(&script, RATE).with_pressures_at(chosen);
    let mut beats = Beats::default();
    leap(&mut player, &mut beats, days * DAY - LAST);
    let (mut other, mut reported) = (player.clone(), beats.clone());

    leap(&mut player, &mut beats, LAST);
    let mut leaps = vec![1, 499, 500, LAST / 3, DAY + 7, LAST / 7];
    leaps.push(LAST - leaps.iter().sum::<u64>());
    for count in leaps {
        leap(&mut other, &mut reported, count);
    }
    assert_eq!((player.position(), other.position()), (days * DAY, days * DAY));
    assert_eq!(beats, reported);
    assert_eq!(what_follows(player), what_follows(other));
    beats
}

fn leap(player: &mut Player<'_>, beats: &mut Beats, count: u64) {
    assert_eq!(player.skip_observed(count, &mut |event| beats.observe(event)), count);
}

fn what_follows(mut player: Player<'_>) -> u64 {
    let mut frames = vec![Frame::default(); 5000];
    assert_eq!(player.fill(&mut frames), frames.len());
    let mut digest = Digest::default();
    frames.iter().for_each(|frame| digest.update(frame));
    digest.value()
}

#[test]
fn seventy_beats_a_minute_stay_seventy_to_the_tick() {
    let days = days(28);
    let beats = passed("sinus rate_bpm=70 variability.breathing_ms=0", days);
    // One period, rounded once to a tick, from the definition.
    let period = (TICKS_PER_SECOND as f64 * 60.0 / 70.0).round() as u64;
    assert_eq!((beats.shortest, beats.longest), (Some(period), period));
    let (first, last) = (beats.first.expect("a beat").ticks(), beats.last.expect("a beat").ticks());
    let end = days * 86_400 * TICKS_PER_SECOND;
    let count = (end - 1 - first) / period + 1;
    assert_eq!(beats.count, count);
    assert_eq!(last, first + (count - 1) * period);
    // The rounding, half a tick a beat at the most, comes to less than 5 ms in a year.
    let exact_s = (count - 1) as f64 * 60.0 / 70.0;
    let found_s = Span::from_ticks(last - first).as_secs_f64();
    assert!((found_s - exact_s).abs() < 0.005, "{found_s} s, not {exact_s} s");
}

#[test]
fn an_irregular_rhythm_is_the_same_in_any_leaps() {
    let days = days(14);
    let beats = passed("atrial-fibrillation rate_bpm=90", days);
    let mean_bpm = beats.count as f64 / (days * 1440) as f64;
    assert!((mean_bpm - 90.0).abs() < 0.9, "{mean_bpm} bpm");
    assert!(beats.longest > 2 * beats.shortest.expect("beats"), "irregular: {beats:?}");
}
