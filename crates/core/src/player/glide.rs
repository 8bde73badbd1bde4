//! Amplitudes that a step sets anew: they glide from the value before to the new one, so that no wave is torn.

use crate::artefact::GLIDING;
use crate::course::Course;
use crate::field::Field;
use crate::timeline::Placed;

/// How far each amplitude was from its new value when the step began.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Glide {
    offsets: [f32; GLIDING.len()],
}

impl Glide {
    /// The glide into a step, from the value that the step before has reached.
    pub(super) fn into_step(self, before: Option<&Placed<'_>>, next: &Placed<'_>) -> Glide {
        let mut glide = Glide::default();
        if let Some(before) = before {
            let since = next.start.since(before.start);
            for (offset, field) in glide.offsets.iter_mut().zip(GLIDING) {
                *offset = self.course(before, field).at(since) - next.step.get(field);
            }
        }
        glide
    }

    /// Whether an amplitude still comes from elsewhere.
    pub(super) fn moves(&self, field: Field) -> bool {
        self.offset(field) != 0.0
    }

    /// Course of an amplitude over a step.
    pub(super) fn course(&self, placed: &Placed<'_>, field: Field) -> Course {
        placed.step.course(field).gliding(self.offset(field))
    }

    fn offset(&self, field: Field) -> f32 {
        GLIDING.into_iter().zip(self.offsets).find_map(|(of, offset)| (of == field).then_some(offset)).unwrap_or(0.0)
    }
}
