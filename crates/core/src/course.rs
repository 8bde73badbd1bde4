//! The course of a value over a step.

use crate::math::smooth_step;
use crate::time::Span;

/// How long an amplitude glides to the value that a step gives it.
pub(crate) const GLIDE: Span = Span::millis(500);

/// The course of a field over a step: held, or in a straight line, then held.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Course {
    from: f32,
    to: f32,
    /// How long the line is; zero where the value is held.
    over: Span,
    /// The value before less this one; fades over [`GLIDE`].
    offset: f32,
}

impl Course {
    /// From one value to another in a straight line, then held.
    pub(crate) const fn ramp(from: f32, to: f32, over: Span) -> Course {
        Course { from, to, over, offset: 0.0 }
    }

    /// A value that does not move.
    pub(crate) const fn held(value: f32) -> Course {
        Course { from: value, to: value, over: Span::ZERO, offset: 0.0 }
    }

    /// The same, starting `offset` away and gliding to it.
    pub(crate) const fn gliding(self, offset: f32) -> Course {
        Course { offset, ..self }
    }

    /// The value, if it does not move from `since_start` into the step on.
    pub(crate) fn settled(&self, since_start: Span) -> Option<f32> {
        let still = since_start >= self.over && (self.offset == 0.0 || since_start >= GLIDE);
        still.then_some(self.to)
    }

    /// When, after `since_start`, it has passed `level` or its opposite, or ends; `None` once it has settled.
    pub(crate) fn passes(&self, level: f32, since_start: Span) -> Option<Span> {
        self.settled(since_start).is_none().then(|| {
            let after = |level: f32| {
                let share = (level - self.from) / (self.to - self.from);
                // A little late, so that rounding does not leave it on this side.
                let passed = self.over.scaled(share).plus(Span::millis(1));
                (share > 0.0 && share < 1.0 && passed > since_start).then_some(passed)
            };
            [after(level), after(-level)].into_iter().flatten().fold(self.over, Span::min)
        })
    }

    /// The value at `since_start` into the step.
    #[inline]
    pub(crate) fn at(&self, since_start: Span) -> f32 {
        let value = if since_start >= self.over {
            self.to
        } else {
            self.from + (self.to - self.from) * (since_start.as_secs() / self.over.as_secs())
        };
        if self.offset == 0.0 || since_start >= GLIDE {
            return value;
        }
        value + self.offset * (1.0 - smooth_step(since_start.as_secs() * (1.0 / GLIDE.as_secs())))
    }
}
