//! Rhythms that an image carries itself: the parameters in which each differs from sinus rhythm.

use super::numbers::f32_at;
use crate::heart::catalogue::SINUS;
use crate::heart::rhythm::Rhythm;
use crate::heart::rhythm::parameter::Parameter;

/// Word and name of a rhythm that an image carries: names stay in the document.
pub const OWN: &str = "own";

/// Most rhythms that an image carries.
pub const MOST_OWN: usize = 32;

/// The rhythm at the start of `record`; `None` if it is cut off or makes no sense.
pub(super) fn read(record: &[u8]) -> Option<Rhythm> {
    let (&count, rest) = record.split_first()?;
    let (numbers, values) = rest.split_at_checked(usize::from(count))?;
    let mut rhythm = Rhythm { id: OWN, name: OWN, ..SINUS };
    for (i, number) in numbers.iter().enumerate() {
        let parameter = *Parameter::ALL.get(usize::from(*number))?;
        rhythm = rhythm.with_parameter(parameter, f32_at(values, 4 * i)?).ok()?;
    }
    rates_in_order(&rhythm).then_some(rhythm)
}

/// Whether a rhythm's record, once put out, can be read.
pub(super) fn readable(rhythm: &Rhythm) -> bool {
    let allowed = |parameter: &Parameter| rhythm.parameter(*parameter).is_none_or(|value| parameter.allows(value));
    rates_in_order(rhythm) && Parameter::ALL.iter().all(allowed)
}

fn rates_in_order(rhythm: &Rhythm) -> bool {
    rhythm.min_bpm <= rhythm.max_bpm
}

/// Bytes of a rhythm's record.
pub(super) fn length(rhythm: &Rhythm) -> usize {
    1 + 5 * changes(rhythm).count()
}

/// Puts out a rhythm's record.
pub(super) fn put(rhythm: &Rhythm, put: &mut dyn FnMut(&[u8])) {
    put(&[changes(rhythm).count() as u8]);
    changes(rhythm).for_each(|(parameter, _)| put(&[parameter as u8]));
    changes(rhythm).for_each(|(_, value)| put(&value.to_le_bytes()));
}

/// The parameters that make the rhythm from sinus rhythm, in order.
fn changes(rhythm: &Rhythm) -> impl Iterator<Item = (Parameter, f32)> + '_ {
    Parameter::ALL.iter().filter_map(|parameter| {
        let value = rhythm.parameter(*parameter)?;
        (SINUS.parameter(*parameter) != Some(value)).then_some((*parameter, value))
    })
}

/// The rhythms or bodies of a script that this program does not have, each once, in the order of the steps.
pub(super) struct OwnRecords<T: 'static, const MOST: usize>([Option<&'static T>; MOST]);

impl<T, const MOST: usize> OwnRecords<T, MOST> {
    pub(super) const NONE: Self = OwnRecords([None; MOST]);

    /// The index of one, which joins the others if it is new; `None` when there is no room.
    pub(super) fn join(&mut self, one: &'static T) -> Option<usize> {
        let free = self.0.iter().position(|other| other.is_none_or(|other| core::ptr::eq(other, one)))?;
        *self.0.get_mut(free)? = Some(one);
        Some(free)
    }

    /// The index of one that has joined.
    pub(super) fn position(&self, one: &'static T) -> Option<usize> {
        self.all().position(|other| core::ptr::eq(other, one))
    }

    /// In order.
    pub(super) fn all(&self) -> impl Iterator<Item = &'static T> + '_ {
        self.0.iter().map_while(|one| *one)
    }
}
