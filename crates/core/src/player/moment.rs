//! Values of a step at an instant.

use crate::field::{Field, Values};
use crate::pressure::sites::Moment;
use crate::respiration::Respiration;
use crate::time::{Instant, Span};
use crate::timeline::Placed;

/// The values that a step's settings have at an instant; zero before the first step.
pub(super) fn value_at<'s>(step: Option<&'s Placed<'s>>, at: Instant) -> impl Fn(Field) -> f32 + 's {
    move |field| step.map_or(0.0, |placed| placed.value(field, at))
}

/// The pressures' values at an instant.
pub(super) fn moment<'v>(step: Option<&'v Placed<'v>>, at: Instant, respiration: &'v Respiration) -> Moment<'v> {
    let value = value_at(step, at);
    let rate_bpm = value(Field::RateBpm);
    let filling_bpm =
        step.map_or(rate_bpm, |placed| placed.step.rhythm().filling_bpm(rate_bpm, || value(Field::AvRatio)));
    let ejection = step.map_or(1.0, |placed| placed.step.rhythm().ejection);
    let set = step.map(|placed| placed as &dyn Values);
    Moment { at, period: Span::period(filling_bpm), set, respiration, ejection }
}
