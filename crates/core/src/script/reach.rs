//! The range of every setting and every channel over a script.

use super::{Item, Script, Step};
use crate::field::Field;
use crate::frame::Channel;
use crate::reach::Range;
use crate::time::Span;
use crate::{cuff, ecg, pressure, respiration};

impl Script<'_> {
    /// From the lowest to the highest value that a setting has in the script.
    pub fn range_of(&self, field: Field) -> Range {
        self.over(|step| step.range_of(field))
    }

    /// A lowest and a highest value that a channel does not go beyond in the script, in its unit, as the part of the core says
    /// that makes the channel.
    pub fn reach(&self, channel: Channel) -> Range {
        let ever = |field| self.range_of(field);
        match channel {
            Channel::Lead(_) | Channel::Electrode(_) => self.over(|step| {
                let paced = step.settings.rhythm().pacing.is_some();
                // The gain of the step before fades into this one.
                let gain = ever(Field::EcgGain);
                let range = |field| if matches!(field, Field::EcgGain) { gain } else { step.range_of(field) };
                Range::within(ecg::reach::size_mv(&range, paced))
            }),
            Channel::Respiration => respiration::range(&ever),
            Channel::Pressure(site) => {
                self.over(|step| pressure::reach::range(site, &|field| step.range_of(field), &ever))
            }
            Channel::Cuff => cuff::reach::range(&ever),
            Channel::CuffOscillation => cuff::reach::oscillation(&ever),
        }
    }

    fn over(&self, range: impl Fn(&Step<'_>) -> Range) -> Range {
        let steps = self.items().iter().filter_map(|item| match item {
            Item::Step(step) => Some(range(step)),
            Item::Repeat { .. } => None,
        });
        steps.reduce(Range::and).unwrap_or(Range::of(0.0))
    }
}

impl Step<'_> {
    /// From the lowest to the highest value that a setting has in the step: a ramp goes from one end to the other.
    pub fn range_of(&self, field: Field) -> Range {
        // A step that holds comes to the end of its ramps.
        let end = self.duration.unwrap_or(Span::MAX);
        Range::of(self.value(field, Span::ZERO)).and(Range::of(self.value(field, end)))
    }
}
