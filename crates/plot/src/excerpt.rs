//! A stretch of frames as played, with the events in it and just before it.

use std::borrow::Cow;

use pulsewright_core::{
    frame::Frame,
    player::Player,
    script::{Item, Script},
    settings::{Field, Settings},
    time::{FrameRate, Instant, Span},
    truth::Event,
};

/// Longest stretch that can be drawn, s.
pub const MAX_SECONDS: u32 = 600;

/// Events this long before the first frame are kept, as they may reach into it: a QRS that started before it.
const BEFORE: Span = Span::secs(2);

/// Time after the start of a pacing pulse in which it is surely over: the longest is 2 ms.
const PULSE: Span = Span::millis(3);

/// Frames played at one go.
const BLOCK: usize = 4096;

/// A stretch of signal and the truth about it.
#[derive(Clone, Debug)]
pub struct Excerpt {
    /// Frames a second.
    pub rate: FrameRate,
    /// Index of the first frame since the start of the script.
    pub first: u64,
    /// The frames.
    pub frames: Vec<Frame>,
    /// Events in order: the step in force at the first frame, events up to 2 s before it, and all within.
    pub events: Vec<Event>,
    /// Label of each item of the script, by item index; made from the settings, replaceable by names from a document.
    pub labels: Vec<String>,
    /// Seed of everything left to chance.
    pub seed: u64,
    /// Of each item of the script, the settings that differ from the usual ones of its body and rhythm.
    pub settings: Vec<String>,
}

/// Why a stretch cannot be played.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ExcerptError {
    /// The stretch starts at or after the script's end.
    #[error("nothing to draw from {from_s} s: the script ends at {end_s} s")]
    AfterEnd {
        /// Start asked for, s.
        from_s: f64,
        /// End of the script, s.
        end_s: f64,
    },
    /// No time, or more than [`MAX_SECONDS`].
    #[error("cannot draw {seconds} s at one go: more than 0 and at most {MAX_SECONDS} s")]
    Length {
        /// Length asked for, s.
        seconds: f64,
    },
}

impl Excerpt {
    /// Plays `length` of `script` from `from`; shorter when the script ends before.
    pub fn play(script: &Script<'_>, rate: FrameRate, from: Instant, length: Span) -> Result<Excerpt, ExcerptError> {
        if length == Span::ZERO || length > Span::secs(MAX_SECONDS) {
            return Err(ExcerptError::Length { seconds: length.as_secs_f64() });
        }
        if let Some(end) = script.duration()
            && from >= Instant::ZERO.plus(end)
        {
            return Err(ExcerptError::AfterEnd { from_s: from.as_secs_f64(), end_s: end.as_secs_f64() });
        }
        let first = rate.frame_at_or_after(from);
        let count = rate.frame_at_or_after(from.plus(length)).saturating_sub(first);
        let mut player = Player::new(script, rate);
        let mut step_before = None;
        let mut events = Vec::new();
        let since = from.minus(BEFORE);
        player.skip_observed(first, &mut |event: Event| {
            if matches!(event, Event::Step { .. }) {
                step_before = Some(event);
            } else if event.at() >= since {
                events.push(event);
            }
        });
        events.splice(0..0, step_before);
        let mut frames = vec![Frame::default(); usize::try_from(count).unwrap_or(0)];
        let mut filled = 0;
        while let Some(rest) = frames.get_mut(filled..).filter(|rest| !rest.is_empty()) {
            let block = rest.len().min(BLOCK);
            match player.fill_observed(&mut rest[..block], &mut |event: Event| events.push(event)) {
                0 => break,
                n => filled += n,
            }
        }
        frames.truncate(filled);
        let labels = script
            .items()
            .iter()
            .map(|item| match item {
                Item::Step(step) => label(&step.settings),
                Item::Repeat { .. } => String::new(),
            })
            .collect();
        let settings = script
            .items()
            .iter()
            .map(|item| match item {
                Item::Step(step) => unusual(&step.settings),
                Item::Repeat { .. } => String::new(),
            })
            .collect();
        Ok(Excerpt { rate, first, frames, events, labels, seed: script.seed(), settings })
    }

    /// The same with straight lines where pacing pulses are.
    ///
    /// Most are shorter than a frame and many times as high as a beat: in the samples some would show and others not,
    /// and those that do would squeeze everything else. A strip draws them from the truth.
    pub(crate) fn without_pulses(&self) -> Cow<'_, Excerpt> {
        let pulses = self.events.iter().filter_map(|event| match event {
            Event::Pace { at, .. } => Some(*at),
            _ => None,
        });
        let mut smooth = Cow::Borrowed(self);
        for at in pulses {
            let index = |instant| usize::try_from(self.rate.frame_at_or_after(instant).saturating_sub(self.first));
            let (Ok(first), Ok(end)) = (index(at), index(at.plus(PULSE))) else {
                continue;
            };
            let (Some(before), Some(after)) = (self.frames.get(first.saturating_sub(1)), self.frames.get(end)) else {
                continue;
            };
            for i in first..end {
                let share = (i + 1 - first) as f32 / (end + 1 - first) as f32;
                if let Some(frame) = smooth.to_mut().frames.get_mut(i) {
                    for (lead, (from, to)) in frame.leads_mv.iter_mut().zip(before.leads_mv.iter().zip(after.leads_mv))
                    {
                        *lead = from + (to - from) * share;
                    }
                }
            }
        }
        smooth
    }

    /// Seconds from the start of the script to the first frame.
    pub fn start_s(&self) -> f64 {
        self.rate.instant_of(self.first).as_secs_f64()
    }

    /// Length, s.
    pub fn seconds(&self) -> f64 {
        self.frames.len() as f64 / f64::from(self.rate.as_hz())
    }

    /// Seconds from the first frame to `instant`; negative before it.
    pub fn seconds_to(&self, instant: Instant) -> f64 {
        instant.as_secs_f64() - self.start_s()
    }
}

/// Settings that differ from the usual ones of body and rhythm, as a script writes them; those that `life` sets with its word alone.
fn unusual(settings: &Settings) -> String {
    let life = settings.get(Field::Life);
    let usual = Settings::new(settings.body(), settings.rhythm());
    let usual = usual.with(Field::Life, life).unwrap_or(usual);
    let value = |field: Field| match field.info().words().get(settings.get(field) as usize) {
        Some(word) => (*word).to_owned(),
        None => settings.get(field).to_string(),
    };
    let differs = |field: &Field| settings.get(*field) != usual.get(*field) || *field == Field::Life && life != 0.0;
    let each: Vec<String> = Field::ALL
        .iter()
        .copied()
        .filter(differs)
        .map(|field| format!("{} {}", field.info().path, value(field)))
        .collect();
    each.join(", ")
}

/// A step in words: rhythm, body and, where the rhythm has beats, rate.
pub fn label(settings: &Settings) -> String {
    let rhythm = settings.rhythm();
    let body = settings.body().name.to_lowercase();
    if rhythm.beats() {
        format!("{}, {body}, {} bpm", rhythm.name, settings.get(Field::RateBpm))
    } else {
        format!("{}, {body}", rhythm.name)
    }
}
