//! Series of beats: the beats of a step one by one, in the place of those of its rhythm.
//!
//! A script holds the list itself, or names a file beside it: a table with a header line, or an annotation file of the open
//! waveform database.

mod file;
mod read;
pub(crate) mod write;

use pulsewright_core::script::{self, SHORTEST_RR, SeriesBeat};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{Span, TICKS_PER_SECOND};
use pulsewright_core::truth::BeatCode;
use pulsewright_text::number::counted;

/// Most beats of a series: a day at 139 a minute.
pub const MOST_SERIES_BEATS: usize = 200_000;

/// The beats of a step.
#[derive(Clone, Debug, PartialEq)]
pub struct StepSeries {
    /// Beats in order of time after the start of the list, at least [`SHORTEST_RR`] apart.
    pub beats: Vec<SeriesBeat>,
    /// After this time the list begins again.
    pub length: Span,
}

/// Why beats make no series: the index of the beat, and the mistake.
type Unfit = (usize, String);

impl StepSeries {
    /// A series of these beats; without a length, its last beat and the first of the next pass are a mean interval apart.
    pub(crate) fn new(beats: Vec<SeriesBeat>, length: Option<Span>) -> Result<StepSeries, Unfit> {
        let (Some(first), Some(last)) = (beats.first(), beats.last()) else {
            return Err((0, "a series without beats".to_owned()));
        };
        let (first, last) = (first.after, last.after);
        let least = SHORTEST_RR.as_secs();
        for (index, pair) in beats.windows(2).enumerate() {
            if let [before, beat] = pair
                && beat.after < before.after.plus(SHORTEST_RR)
            {
                let (at, since) = (beat.after.as_secs_f64(), before.after.as_secs_f64());
                let what = format!("a beat at {at:.3} s after one at {since:.3} s; beats are at least {least} s apart");
                return Err((index + 1, what));
            }
        }
        let count = beats.len();
        let length = match length {
            Some(length) => length,
            None if count == 1 => {
                return Err((0, "a single beat, and no length after which it comes again".to_owned()));
            }
            None => {
                let mean = Span::from_ticks(last.minus(first).ticks() / (count as u64 - 1));
                last.plus(mean).minus(first).max(last)
            }
        };
        if length < last || length.plus(first) < last.plus(SHORTEST_RR) {
            let what = format!(
                "a length of {:.3} s for a last beat at {:.3} s and a first at {:.3} s; it is at least {least} s from the last beat to the first again",
                length.as_secs_f64(),
                last.as_secs_f64(),
                first.as_secs_f64()
            );
            return Err((count - 1, what));
        }
        Ok(StepSeries { beats, length })
    }

    /// The series as the core plays it.
    pub fn item(&self) -> script::Series<'_> {
        script::Series { beats: &self.beats, length: self.length }
    }

    /// Mean rate, beats a minute, to a tenth.
    pub fn mean_bpm(&self) -> f32 {
        let bpm = 60.0 * self.beats.len() as f64 / self.length.as_secs_f64();
        ((10.0 * bpm).round() / 10.0) as f32
    }

    /// Settings at its mean rate, or as near to it as their rhythm allows.
    pub(crate) fn at_its_rate(&self, settings: Settings) -> Settings {
        let (min, max) = settings.rhythm().allowed_bpm(settings.body().resting_bpm, settings.get(Field::AvRatio));
        settings.with(Field::RateBpm, self.mean_bpm().clamp(min, max.max(min))).unwrap_or(settings)
    }

    /// The series in words.
    pub fn words(&self) -> String {
        format!("series of {}", counted(self.beats.len() as u64, "beat"))
    }

    /// The same list from `passed` after its start on, for a step that goes on with it: beats that are over come at its end.
    pub fn from(&self, passed: Span) -> StepSeries {
        let passed = Span::from_ticks(passed.ticks() % self.length.ticks().max(1));
        let (before, after): (Vec<SeriesBeat>, Vec<SeriesBeat>) =
            self.beats.iter().copied().partition(|beat| beat.after < passed);
        let now = after.iter().map(|beat| SeriesBeat { after: beat.after.minus(passed), ..*beat });
        let again = before.iter().map(|beat| SeriesBeat { after: beat.after.plus(self.length).minus(passed), ..*beat });
        StepSeries { beats: now.chain(again).collect(), length: self.length }
    }
}

/// The nearest span to a time; `None` for one that is negative, no number or too long.
pub(crate) fn span(seconds: f64) -> Option<Span> {
    let allowed = (0.0..=crate::limits::MAX_STEP_S).contains(&seconds);
    allowed.then(|| Span::from_ticks((seconds * TICKS_PER_SECOND as f64).round() as u64))
}

/// The beat of a code letter; `None` for letters that mark no beat. `B` (either bundle branch blocked) is played as `R`, `?` (not
/// classified) as `Q`.
fn code(letter: char) -> Option<BeatCode> {
    let letter = match letter {
        'B' => 'R',
        '?' => 'Q',
        other => other,
    };
    BeatCode::ALL.iter().copied().find(|code| code.symbol() == letter)
}
