//! Leading a player while it plays: other steps from the next frame on, holding, going on with the script.

use super::Player;
use crate::settings::Settings;
use crate::step::Step;
use crate::time::{Instant, Span};
use crate::timeline::Timeline;

impl<'a> Player<'a> {
    /// Ends a step that holds (or any step) at the next frame. Called again before that frame it changes nothing.
    pub fn next_step(&mut self) {
        self.timeline.resume_at(self.clock.now());
    }

    /// Holds the step of the next frame: it goes on until [`Player::next_step`], its ramps to their ends.
    ///
    /// From then on the player ends only by [`Player::end_here`].
    pub fn hold(&mut self) {
        self.end = Instant::NEVER;
        self.timeline.hold_at(self.clock.now());
    }

    /// What is to come after the present step, for [`Player::go_on`].
    pub fn to_come(&self) -> Timeline<'a> {
        self.timeline.clone()
    }

    /// Replaces the rest of the script by `rest`, from the next frame on.
    ///
    /// From then on the player ends only by [`Player::end_here`], and the last step goes on.
    pub fn go_on(&mut self, rest: Timeline<'a>) {
        self.end = Instant::NEVER;
        self.timeline = rest;
        self.timeline.resume_at(self.clock.now());
    }

    /// Replaces the rest of the script by `step`, as item `item`, from `start` on, or from after the last frame where that is
    /// later.
    ///
    /// From then on the player ends only by [`Player::end_here`]: this is for live control.
    pub fn play_next(&mut self, step: &'a Step<'a>, item: usize, start: Instant) {
        self.end = Instant::NEVER;
        self.timeline = Timeline::led(step, item, self.soonest(start));
    }

    /// Settings of the present step at the next frame, or of the first step before it; `None` for a rhythm or body that only an image
    /// has.
    pub fn settings(&self) -> Option<Settings> {
        match &self.step {
            Some(placed) => placed.step.settings(self.clock.now().since(placed.start)),
            None => self.timeline.clone().next()?.step.settings(Span::ZERO),
        }
    }

    /// `start`, or where that is later the time after the last frame, up to which everything has happened.
    fn soonest(&self, start: Instant) -> Instant {
        let happened = self.clock.index().checked_sub(1).map(|last| self.clock.rate().instant_of(last));
        start.max(happened.map_or(Instant::ZERO, |last| last.plus(Span::from_ticks(1))))
    }
}
