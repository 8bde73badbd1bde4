//! A step of an image, read where it lies.

use super::numbers::{f32_at, u16_at, u64_at};
use crate::anatomy::{BeatCode, EctopicSite};
use crate::body::PlayedBody;
use crate::field::{FIELDS, Field};
use crate::heart::rhythm::Rhythm;
use crate::settings::resting_in_sinus;
use crate::step::{Ramp, SeriesBeat, TimedBeat};
use crate::time::Span;

/// First byte of a step with a series of beats.
pub(super) const SERIES: u8 = 3;
/// Bytes of a step before its fields.
pub(super) const HEAD: usize = 16;
/// Bytes of a ramp.
pub(super) const RAMP: usize = 13;
/// Bytes of a premature beat, and of one of a series.
pub(super) const BEAT: usize = 9;
/// Bytes after the beats of a series.
pub(super) const TAIL: usize = 8;

/// The bit of a field in [`ImageStep::may_ramp`].
const fn bit(field: Field) -> u32 {
    1 << (field as u8 % 32)
}

const WORDS: usize = FIELDS.div_ceil(32);

/// A step of an image.
///
/// A player asks for values a dozen times a frame and has no room for all of them, so it keeps in which fields the step differs
/// from the body at rest; the values themselves stay in the image, in the order of the fields.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ImageStep<'a> {
    record: &'a [u8],
    values: &'a [u8],
    resting: &'static [f32; FIELDS],
    /// The fields that differ, by bit.
    differs: [u32; WORDS],
    /// How many differ in the words before each.
    before: [u8; WORDS],
    ramps: u8,
    /// Whether a field may ramp: the bit of its number modulo 32.
    may_ramp: u32,
    rhythm: Rhythm,
    which_rhythm: usize,
    body: PlayedBody<'a>,
}

impl<'a> ImageStep<'a> {
    /// The step at the start of `record`, with the rhythm that its number stands for and where that lies, and its body; `None` if it
    /// is cut off or names what does not exist.
    pub(super) fn new(
        record: &'a [u8],
        rhythm: impl FnOnce(u8) -> Option<(Rhythm, usize)>,
        body: impl FnOnce(u8) -> Option<PlayedBody<'a>>,
    ) -> Option<ImageStep<'a>> {
        let (&[_, whose, number, changes, ramps, _, _, _], _) = record.split_first_chunk()?;
        let (rhythm, which_rhythm) = rhythm(number)?;
        let body = body(whose)?;
        let fields = record.get(HEAD..)?.get(..usize::from(changes))?;
        let values = record.get(HEAD + fields.len()..)?.get(..4 * fields.len())?;
        let mut step = ImageStep {
            record,
            values,
            resting: resting_in_sinus(usize::from(whose)),
            differs: [0; WORDS],
            before: [0; WORDS],
            ramps,
            may_ramp: 0,
            rhythm,
            which_rhythm,
            body,
        };
        let mut next = 0;
        for &field in fields {
            // In order and each once, or values would go to other fields.
            if field < next || usize::from(field) >= FIELDS {
                return None;
            }
            next = field + 1;
            *step.differs.get_mut(usize::from(field / 32))? |= 1 << (field % 32);
        }
        let mut count = 0;
        for (before, word) in step.before.iter_mut().zip(step.differs) {
            *before = count;
            count += word.count_ones() as u8;
        }
        for i in 0..usize::from(ramps) {
            step.may_ramp |= bit(step.ramp(i)?.field);
        }
        let whole = (0..step.beats()).all(|i| step.timed(i).is_some())
            && (!step.is_series() || step.beats() > 0 && step.series_length().is_some());
        whole.then_some(step)
    }

    /// Whether every value lies in its field's range.
    pub(super) fn values_allowed(&self) -> bool {
        Field::ALL.iter().all(|field| field.limits().allow(self.get(*field)))
    }

    pub(crate) fn get(&self, field: Field) -> f32 {
        let place = field as usize;
        let (word, bit) = (self.differs[place / 32], 1 << (place % 32));
        if word & bit == 0 {
            return self.resting[place];
        }
        let rank = usize::from(self.before[place / 32]) + (word & (bit - 1)).count_ones() as usize;
        f32_at(self.values, 4 * rank).unwrap_or(self.resting[place])
    }

    pub(crate) fn duration(&self) -> Option<Span> {
        u64_at(self.record, 8).filter(|ticks| *ticks > 0).map(Span::from_ticks)
    }

    pub(crate) fn rhythm(&self) -> &Rhythm {
        &self.rhythm
    }

    pub(crate) fn which_rhythm(&self) -> usize {
        self.which_rhythm
    }

    pub(crate) fn body(&self) -> &PlayedBody<'a> {
        &self.body
    }

    /// How many fields ramp.
    pub(crate) fn ramps(&self) -> usize {
        self.ramps.into()
    }

    pub(crate) fn ramp(&self, index: usize) -> Option<Ramp> {
        if index >= self.ramps() {
            return None;
        }
        let fields = self.after_values();
        let field = *Field::ALL.get(self.byte(fields + index)?)?;
        let to = f32_at(self.record, fields + self.ramps() + 4 * index)?;
        let over = u64_at(self.record, fields + 5 * self.ramps() + 8 * index)?;
        Some(Ramp { field, to, over: (over > 0).then_some(Span::from_ticks(over)) })
    }

    /// The ramp of a field.
    pub(crate) fn ramp_of(&self, field: Field) -> Option<Ramp> {
        if self.may_ramp & bit(field) == 0 {
            return None;
        }
        let fields = self.record.get(self.after_values()..)?.get(..self.ramps())?;
        self.ramp(fields.iter().position(|number| *number == field as u8)?)
    }

    /// Number of premature beats that the step asks for, or of beats of its series.
    fn beats(&self) -> usize {
        u16_at(self.record, 6).unwrap_or(0).into()
    }

    fn is_series(&self) -> bool {
        self.record.first() == Some(&SERIES)
    }

    /// The time of a beat, and the number of its site or code, which exists.
    fn timed(&self, index: usize) -> Option<(Span, usize)> {
        if index >= self.beats() {
            return None;
        }
        let place = self.beat_at(index);
        let number = self.byte(place + 8)?;
        let kinds = if self.is_series() { BeatCode::ALL.len() } else { EctopicSite::ALL.len() };
        (number < kinds).then_some((Span::from_ticks(u64_at(self.record, place)?), number))
    }

    pub(crate) fn beat(&self, index: usize) -> Option<TimedBeat> {
        let (after, site) = self.timed(index).filter(|_| !self.is_series())?;
        Some(TimedBeat { after, site: *EctopicSite::ALL.get(site)? })
    }

    pub(crate) fn series_beat(&self, index: usize) -> Option<SeriesBeat> {
        let (after, code) = self.timed(index).filter(|_| self.is_series())?;
        Some(SeriesBeat { after, code: *BeatCode::ALL.get(code)? })
    }

    pub(crate) fn series_length(&self) -> Option<Span> {
        let length = || u64_at(self.record, self.beat_at(self.beats()));
        if self.is_series() { length().map(Span::from_ticks) } else { None }
    }

    /// Where a beat starts.
    fn beat_at(&self, index: usize) -> usize {
        self.after_values() + RAMP * self.ramps() + BEAT * index
    }

    /// Where the ramps start.
    fn after_values(&self) -> usize {
        HEAD + self.values.len() / 4 * 5
    }

    fn byte(&self, place: usize) -> Option<usize> {
        self.record.get(place).map(|byte| usize::from(*byte))
    }
}
