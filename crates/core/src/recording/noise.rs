//! Noise of a recording, added to the leads beside any signal.
//!
//! One or two channels are spread over the leads as the artefacts are: the first is lead I, the second is V2, the other leads are
//! sums of both whose squared shares add to 1. So channels of the same size that are not correlated give all of I, II, III and V1 to V6
//! noise of that size. A channel that is alone is also the second one, half of the stretch later.

use super::filter::{MOST_GROWTH, ResamplingFilter};
use super::stretch::Stretch;
use crate::artefact::spread;
use crate::block::BlockRows;
use crate::math;
use crate::time::{FrameRate, Instant, Span};
use core::fmt;

/// A stretch of one or two channels of a recording as noise.
#[derive(Clone, Copy)]
pub struct RecordedNoise<'a> {
    channels: [&'a [f32]; 2],
    /// Levels that are taken off, in the unit of the samples.
    levels: [f32; 2],
    /// mV of 1.
    gains_mv: [f32; 2],
    /// Largest size of each, mV.
    largest_mv: [f32; 2],
    stretch: Stretch,
}

impl fmt::Debug for RecordedNoise<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let samples = self.channels.map(<[f32]>::len);
        let RecordedNoise { levels, gains_mv, stretch, .. } = self;
        let mut text = f.debug_struct("RecordedNoise");
        text.field("samples", &samples).field("levels", levels).field("gains_mv", gains_mv);
        text.field("stretch", stretch).finish()
    }
}

impl<'a> RecordedNoise<'a> {
    /// All of two channels with so many samples a second, in any unit, each 1 mV for 1; the second one may be empty.
    ///
    /// `None` without a sample of the first, with channels of different lengths, with samples that are no numbers or beyond 1e12, or with a rate out
    /// of [`super::RATES_HZ`]; and always on a board without an operating system.
    pub fn new(channels: [&'a [f32]; 2], rate_hz: f64) -> Option<RecordedNoise<'a>> {
        let stretch =
            Stretch::whole(&channels, rate_hz).filter(|_| channels.first().is_some_and(|one| !one.is_empty()))?;
        let whole = RecordedNoise { channels, levels: [0.0; 2], gains_mv: [1.0; 2], largest_mv: [0.0; 2], stretch };
        Some(whole.scaled([1.0; 2], [0.0; 2]))
    }

    /// The stretch of this length that begins there; at its end it begins again.
    pub fn stretch(self, from: Span, length: Span) -> RecordedNoise<'a> {
        RecordedNoise { stretch: Stretch { from, length, ..self.stretch }, ..self }
    }

    /// The same, begun this long ago.
    pub fn passed(self, passed: Span) -> RecordedNoise<'a> {
        RecordedNoise { stretch: Stretch { passed, ..self.stretch }, ..self }
    }

    /// The same with a gain for each channel, mV for 1, after a level, in the unit of the samples, has been taken off.
    pub fn scaled(self, gains_mv: [f32; 2], levels: [f32; 2]) -> RecordedNoise<'a> {
        let [first, second] = self.pair();
        let [first_level, second_level] = levels;
        let [first_gain, second_gain] = gains_mv;
        let largest = |channel: &[f32], level: f32, gain: f32| {
            math::abs(gain) * channel.iter().fold(0.0, |most, value| math::max(most, math::abs(*value - level)))
        };
        let largest_mv = [largest(first, first_level, first_gain), largest(second, second_level, second_gain)];
        RecordedNoise { levels, gains_mv, largest_mv, ..self }
    }

    /// mV of 1 of the first and of the second channel, after the levels of [`RecordedNoise::levels`] have been taken off.
    pub fn gains_mv(&self) -> [f32; 2] {
        self.gains_mv
    }

    /// Levels that are taken off, in the unit of the samples.
    pub fn levels(&self) -> [f32; 2] {
        self.levels
    }

    /// Whether one channel alone is played, half of the stretch later as the second.
    pub fn is_single(&self) -> bool {
        let [_, second] = self.channels;
        second.is_empty()
    }

    /// The stretch: where it begins, and after how long it begins again.
    pub fn bounds(&self) -> (Span, Span) {
        (self.stretch.from, self.stretch.length)
    }

    /// The samples of both channels, of which the second may be the first.
    fn pair(&self) -> [&'a [f32]; 2] {
        let [first, second] = self.channels;
        [first, if second.is_empty() { first } else { second }]
    }

    /// A size, mV, that no lead goes beyond.
    pub(crate) fn reach_mv(&self) -> f32 {
        let [first, second] = self.largest_mv;
        MOST_GROWTH * math::sqrt(first * first + second * second)
    }

    /// Adds the noise to rows, the first of them `from`, in a step that began at `start`, each times a `share`.
    #[cfg_attr(target_os = "none", allow(dead_code))] // A board plays no recordings.
    pub(crate) fn add_to<R: BlockRows + ?Sized>(
        &self,
        start: Instant,
        frame_rate: FrameRate,
        share: impl Fn(Instant) -> f32,
        instants: &[Instant],
        rows: &mut R,
        from: usize,
    ) {
        let filter = ResamplingFilter::new(self.stretch.rate, frame_rate);
        let half = Span::from_ticks(self.stretch.length.ticks() / 2);
        for (row, now) in (from..).zip(instants) {
            let since = now.since(start);
            let [first, second] = if self.is_single() {
                let [channel, _] = &self.channels;
                let [[first], [second]] =
                    [since, since.plus(half)].map(|since| self.stretch.values(&filter, &[*channel], since));
                [first, second]
            } else {
                self.stretch.values(&filter, &self.channels, since)
            };
            let ([first_level, second_level], [first_gain, second_gain]) = (self.levels, self.gains_mv);
            let share = share(*now);
            let pair = [share * first_gain * (first - first_level), share * second_gain * (second - second_level)];
            let mut leads_mv = rows.leads(row);
            spread(pair, &mut leads_mv);
            rows.set_leads(row, leads_mv);
        }
    }
}
