//! The range of every setting and every channel over a script.

use super::{Item, Script, Step};
use crate::artefact::GLIDING;
use crate::course::{Course, GLIDE};
use crate::field::Field;
use crate::frame::Channel;
use crate::math::{max, min};
use crate::reach::ValueRange;
use crate::recording::RecordedNoise;
use crate::time::Span;
use crate::{cuff, ecg, pressure, respiration};
use core::array;

impl Script<'_> {
    /// From the lowest to the highest value that a setting has in the script.
    pub fn range_of(&self, field: Field) -> ValueRange {
        self.over(|step| step.range_of(field))
    }

    /// A lowest and a highest value that a channel does not go beyond in the script, in its unit, as the part of the core says
    /// that makes the channel.
    pub fn reach(&self, channel: Channel) -> ValueRange {
        let ever = |field| self.range_of(field);
        match channel {
            Channel::Lead(_) | Channel::Electrode(_) => self.ecg(),
            Channel::Respiration => respiration::range(&ever),
            Channel::Pressure(site) => {
                self.over(|step| pressure::reach::range(site, &|field| step.range_of(field), &ever))
            }
            Channel::Cuff => cuff::reach::range(&ever),
            Channel::CuffOscillation => cuff::reach::oscillation(&ever),
        }
    }

    /// Reach of the leads and electrodes: amplitudes fade from the step before into each.
    fn ecg(&self) -> ValueRange {
        // With repeats, any step may come before.
        let repeats = self.items().iter().any(|item| matches!(item, Item::Repeat { .. }));
        let anywhere = repeats.then(|| GLIDING.map(|field| self.range_of(field)));
        let mut came = anywhere;
        // The noise of a step glides into the next one, which need not be the next item.
        let noise_mv = |step: &Step<'_>| ValueRange::within(step.noise.map_or(0.0, RecordedNoise::reach_mv));
        let noise_mv = self.over(noise_mv).highest;
        self.over(|step| {
            let before = came.unwrap_or(GLIDING.map(|field| ValueRange::of(step.value(field, Span::ZERO))));
            let gliding: [ValueRange; GLIDING.len()] = array::from_fn(|i| step.range_from(GLIDING[i], before[i]));
            came = anywhere.or(Some(array::from_fn(|i| step.end_from(GLIDING[i], before[i]))));
            let range = |field| match GLIDING.iter().zip(gliding).find(|(glides, _)| **glides == field) {
                Some((_, range)) => range,
                None => step.range_of(field),
            };
            // Waves of the step before may still be under way in a recording.
            let recorded_mv =
                step.recording.map_or(0.0, |recording| range(Field::EcgGain).highest * recording.reach_mv());
            ValueRange::within(
                ecg::reach::size_mv(&range, step.settings.body().templates, step.is_paced()) + recorded_mv + noise_mv,
            )
        })
    }

    fn over(&self, range: impl FnMut(&Step<'_>) -> ValueRange) -> ValueRange {
        let steps = self.items().iter().filter_map(|item| match item {
            Item::Step(step) => Some(step),
            Item::Repeat { .. } => None,
        });
        steps.map(range).reduce(ValueRange::and).unwrap_or(ValueRange::of(0.0))
    }
}

impl Step<'_> {
    /// From the lowest to the highest value that a setting has in the step: a ramp goes from one end to the other.
    pub fn range_of(&self, field: Field) -> ValueRange {
        // A step that holds comes to the end of its ramps.
        self.range_until(field, self.duration.unwrap_or(Span::MAX))
    }

    fn range_until(&self, field: Field, end: Span) -> ValueRange {
        ValueRange::of(self.value(field, Span::ZERO)).and(ValueRange::of(self.value(field, end)))
    }

    /// The range of an amplitude that glides into the step from one of the values `before`.
    fn range_from(&self, field: Field, before: ValueRange) -> ValueRange {
        let start = self.value(field, Span::ZERO);
        let early = self.range_until(field, GLIDE.min(self.duration.unwrap_or(Span::MAX)));
        let gliding = ValueRange {
            lowest: early.lowest + min(before.lowest - start, 0.0),
            highest: early.highest + max(before.highest - start, 0.0),
        };
        self.range_of(field).and(gliding)
    }

    /// The range of such an amplitude at the end of the step.
    fn end_from(&self, field: Field, before: ValueRange) -> ValueRange {
        // A step that holds may be left at any time.
        let Some(duration) = self.duration else { return self.range_from(field, before) };
        let (start, end) = (self.value(field, Span::ZERO), self.value(field, duration));
        let rest = Course::held(0.0).gliding(1.0).at(duration);
        ValueRange { lowest: end + rest * (before.lowest - start), highest: end + rest * (before.highest - start) }
    }
}
