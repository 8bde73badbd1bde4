//! Recordings: samples of leads that a step plays in the place of drawn waves, and noise of recordings beside any signal, both
//! resampled to the frame rate.
//!
//! | frames a second | filter |
//! |---|---|
//! | as many as the recording has, or more | the ideal interpolation `sin(x)/x`, 32 samples to either side: a frame at the instant of a sample has its value |
//! | fewer | the same as a low pass of 32 frames to either side: -6 dB at 0.461 of the frame rate, flat to 0.42 of it, its stop band from half of it on |
//!
//! Both are weighted by a Kaiser window for 80 dB (Kaiser, Nonrecursive digital filter design using the I0-sinh window function,
//! ISCAS 1974; beta = 0.1102 (80 - 8.7)), and each value is divided by the sum of its weights, so that a level stays what it is.
//! The weights are worked out at each frame from its instant: no filter keeps a state.
//!
//! A pass through the stretch that is played ends where the next one begins. There the samples after the stretch fade into those
//! from its start, within 80 ms, by a raised cosine. Before the first sample and after the last one the values are those.

mod filter;
mod noise;
mod stretch;

pub use noise::RecordedNoise;
pub(crate) use stretch::PLAYED;
pub use stretch::RATES_HZ;

use crate::block::BlockRows;
use crate::course::Course;
use crate::frame::INDEPENDENT_LEADS;
use crate::math;
use crate::time::{FrameRate, Instant, Span};
use core::fmt;
use filter::{MOST_GROWTH, ResamplingFilter};
use stretch::Stretch;

/// A stretch of a recording.
#[derive(Clone, Copy)]
pub struct Recording<'a> {
    /// Leads I, II and V1 to V6; one that the recording lacks has no samples, and is flat.
    leads_mv: [&'a [f32]; INDEPENDENT_LEADS],
    /// Largest size of a sample, mV.
    largest_mv: f32,
    stretch: Stretch,
}

impl fmt::Debug for Recording<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let samples = self.leads_mv.map(<[f32]>::len);
        f.debug_struct("Recording").field("samples", &samples).field("stretch", &self.stretch).finish()
    }
}

impl<'a> Recording<'a> {
    /// All of a recording with so many samples a second, its leads I, II and V1 to V6 in mV; a lead that it lacks is empty.
    ///
    /// `None` without a sample, with leads of different lengths, with samples that are no numbers or beyond 1e12, or with a rate out of
    /// [`RATES_HZ`]; and always on a board without an operating system, whose images carry no recordings.
    pub fn new(leads_mv: [&'a [f32]; INDEPENDENT_LEADS], rate_hz: f64) -> Option<Recording<'a>> {
        let stretch = Stretch::whole(&leads_mv, rate_hz)?;
        let largest_mv =
            leads_mv.iter().flat_map(|lead| lead.iter()).fold(0.0, |most, mv| math::max(most, math::abs(*mv)));
        Some(Recording { leads_mv, largest_mv, stretch })
    }

    /// The stretch of this length that begins there; at its end it begins again.
    pub fn stretch(self, from: Span, length: Span) -> Recording<'a> {
        Recording { stretch: Stretch { from, length, ..self.stretch }, ..self }
    }

    /// The same, begun this long ago.
    pub fn passed(self, passed: Span) -> Recording<'a> {
        Recording { stretch: Stretch { passed, ..self.stretch }, ..self }
    }

    /// The samples of leads I, II and V1 to V6, mV; those of a lead that the recording lacks are empty.
    pub fn leads_mv(&self) -> [&'a [f32]; INDEPENDENT_LEADS] {
        self.leads_mv
    }

    /// The stretch: where it begins, and after how long it begins again.
    pub fn bounds(&self) -> (Span, Span) {
        (self.stretch.from, self.stretch.length)
    }

    /// A size, mV, that no frame goes beyond.
    pub(crate) fn reach_mv(&self) -> f32 {
        MOST_GROWTH * self.largest_mv
    }

    /// Adds the leads to rows, the first of them `from`, in a step that began at `start`.
    pub(crate) fn add_to<R: BlockRows + ?Sized>(
        &self,
        start: Instant,
        frame_rate: FrameRate,
        gain: &Course,
        instants: &[Instant],
        rows: &mut R,
        from: usize,
    ) {
        let filter = ResamplingFilter::new(self.stretch.rate, frame_rate);
        for (row, now) in (from..).zip(instants) {
            let since = now.since(start);
            let (leads, gain) = (self.stretch.values(&filter, &self.leads_mv, since), gain.at(since));
            let mut sums = rows.leads(row);
            sums.iter_mut().zip(leads).for_each(|(sum, lead)| *sum += gain * lead);
            rows.set_leads(row, sums);
        }
    }
}
