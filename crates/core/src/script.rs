//! Scripts: validated steps in playing order, with repeats, as plain constant data.
//!
//! A script holds resolved settings in every step; the reader of a document fills in the fields left out, so a
//! step can be played, printed or compared on its own. On a microcontroller a script is a `static`.

mod reach;

use crate::field::Field;
use crate::time::{FrameRate, Span};
use crate::timeline::{PlayedStep, Source, Timeline};

pub use crate::step::{
    Conflict, Item, MAX_NESTING, MIN_STEP, Pair, Ramp, SHORTEST_RR, ScriptError, Series, SeriesBeat, Step, TimedBeat,
};

/// A validated script.
#[derive(Clone, Copy, Debug)]
pub struct Script<'a> {
    seed: u64,
    items: &'a [Item<'a>],
}

impl Step<'_> {
    /// The value of `field` at `since_start` into the step.
    pub fn value(&self, field: Field, since_start: Span) -> f32 {
        PlayedStep::from(self).value(field, since_start)
    }

    /// Frames a second that the step's pacing pulses need; `None` without pacing.
    pub fn pulse_rate_hz(&self) -> Option<u32> {
        let width_ms = self.settings.get(Field::PacingMs);
        self.is_paced().then(|| FrameRate::hz_for_pulse(width_ms))
    }

    /// Settings that exclude each other, at the start and at the end of the ramps.
    pub fn conflicts(&self) -> impl Iterator<Item = Conflict> + '_ {
        PlayedStep::from(self).conflicts()
    }
}

impl<'a> Script<'a> {
    /// Checks the items; everything after this can rely on them.
    pub fn new(seed: u64, items: &'a [Item<'a>]) -> Result<Script<'a>, ScriptError> {
        Source::Items(items).check()?;
        Ok(Script { seed, items })
    }

    /// The seed of everything left to chance.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The items.
    pub fn items(&self) -> &'a [Item<'a>] {
        self.items
    }

    /// The steps as they will be played, each with its item index and start; ends with a step that holds.
    pub fn timeline(&self) -> Timeline<'a> {
        Timeline::new(Source::Items(self.items))
    }

    /// How long the script plays; `None` when a step holds, or when it is beyond the range of an instant (136 years).
    ///
    /// Takes time in proportion to the items, not to the repeats.
    pub fn duration(&self) -> Option<Span> {
        Source::Items(self.items).duration()
    }
}
