//! Scripts of one line a step, played whole.

use pulsewright_core::body::{ADULT, Body};
use pulsewright_core::frame::{Channel, Frame, PressureSite};
use pulsewright_core::heart::catalogue::{self, SINUS};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::{Beat, Event, Pulse};

/// A step: how long, s, and words (a rhythm, a body, `path=value`) on top of the step before.
pub type StepLine<'a> = (f32, &'a str);

/// Frames and events of a script.
pub struct Played {
    /// Frames a second.
    pub hz: f64,
    /// Every frame.
    pub frames: Vec<Frame>,
    /// Every event.
    pub events: Vec<Event>,
}

/// The items of these lines.
pub fn items(steps: &[StepLine<'_>]) -> Vec<Item<'static>> {
    let mut settings = Settings::new(&ADULT, &SINUS);
    steps
        .iter()
        .map(|(seconds, words)| {
            for word in words.split_whitespace() {
                settings = with_word(settings, word);
            }
            Item::Step(Step::lasting(Span::from_secs(*seconds), settings))
        })
        .collect()
}

fn with_word(settings: Settings, word: &str) -> Settings {
    if let Some((path, value)) = word.split_once('=') {
        let field = Field::ALL.iter().find(|field| field.info().path == path);
        let field = field.unwrap_or_else(|| panic!("no field {path}"));
        return settings.with(*field, value.parse().expect("a number")).expect("in range");
    }
    match (catalogue::find(word), Body::find(word)) {
        (Some(rhythm), _) => settings.with_rhythm(rhythm),
        (_, Some(body)) => settings.with_body(body),
        _ => panic!("neither a rhythm nor a body: {word}"),
    }
}

/// Plays steps with the usual pressures.
pub fn play(hz: u32, steps: &[StepLine<'_>]) -> Played {
    play_at(hz, SiteSet::USUAL, steps)
}

/// Plays steps with these pressures and seed 7.
pub fn play_at(hz: u32, chosen: SiteSet, steps: &[StepLine<'_>]) -> Played {
    let items = items(steps);
    let script = Script::new(7, &items).expect("a script");
    let mut player = Player::new(&script, FrameRate::hz(hz).expect("a frame rate")).with_pressures_at(chosen);
    let mut played = Played { hz: f64::from(hz), frames: Vec::new(), events: Vec::new() };
    let mut block = [Frame::default(); 256];
    while let n @ 1.. = player.fill_observed(&mut block, &mut |event| played.events.push(event)) {
        played.frames.extend_from_slice(&block[..n]);
    }
    played
}

impl Played {
    /// A channel's samples from one time to another, s.
    pub fn samples(&self, channel: Channel, from_s: f64, to_s: f64) -> Vec<f64> {
        let index = |s: f64| ((s * self.hz).round() as usize).min(self.frames.len());
        self.frames[index(from_s)..index(to_s)].iter().map(|frame| f64::from(frame.sample(channel))).collect()
    }

    /// The beats reported.
    pub fn beats(&self) -> Vec<Beat> {
        self.events.iter().filter_map(|event| if let Event::Beat(beat) = event { Some(*beat) } else { None }).collect()
    }

    /// Onsets of the P waves reported, ms.
    pub fn p_ms(&self) -> Vec<f64> {
        let p = |event: &Event| if let Event::Atrial(p) = event { Some(ms(p.onset)) } else { None };
        self.events.iter().filter_map(p).collect()
    }

    /// The pulses reported at a site.
    pub fn pulses(&self, site: PressureSite) -> Vec<Pulse> {
        let pulse = |event: &Event| if let Event::Pulse(pulse) = event { Some(*pulse) } else { None };
        self.events.iter().filter_map(pulse).filter(|pulse| pulse.site == site).collect()
    }
}

/// Milliseconds from the start to an instant.
pub fn ms(instant: Instant) -> f64 {
    instant.as_secs_f64() * 1000.0
}

/// Largest of samples.
pub fn highest(samples: &[f64]) -> f64 {
    samples.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

/// Smallest of samples.
pub fn lowest(samples: &[f64]) -> f64 {
    samples.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Index and height of every local maximum that rises by at least `rise` above the lowest sample since the one before,
/// and falls by as much after it.
pub fn peaks(samples: &[f64], rise: f64) -> Vec<(usize, f64)> {
    let mut found = Vec::new();
    let (mut low, mut top) = (f64::INFINITY, (0, f64::NEG_INFINITY));
    for (i, value) in samples.iter().copied().enumerate() {
        if value > top.1 {
            top = (i, value);
        }
        if top.1 - value >= rise {
            if top.1 - low >= rise {
                found.push(top);
            }
            (low, top) = (value, (i, value));
        }
        if value < low {
            low = value;
            top = (i, value);
        }
    }
    found
}
