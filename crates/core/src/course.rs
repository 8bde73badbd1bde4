//! What a value does over a step.

use crate::time::Span;

/// What a field does over a step: held, or in a straight line, then held.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Course {
    from: f32,
    to: f32,
    /// How long the line is; zero where the value is held.
    over: Span,
}

impl Course {
    /// From one value to another in a straight line, then held.
    pub(crate) const fn ramp(from: f32, to: f32, over: Span) -> Course {
        Course { from, to, over }
    }

    /// A value that does not move.
    pub(crate) const fn held(value: f32) -> Course {
        Course { from: value, to: value, over: Span::ZERO }
    }

    /// The value, if it does not move from `since_start` into the step on.
    pub(crate) fn settled(&self, since_start: Span) -> Option<f32> {
        (since_start >= self.over).then_some(self.to)
    }

    /// The value at `since_start` into the step.
    #[inline]
    pub(crate) fn at(&self, since_start: Span) -> f32 {
        if since_start >= self.over {
            return self.to;
        }
        self.from + (self.to - self.from) * (since_start.as_secs() / self.over.as_secs())
    }
}
