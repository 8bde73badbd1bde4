//! Recordings: samples of leads that a step plays in the place of drawn waves, resampled to the frame rate.
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
//! from its start, within [`FADE`], by a raised cosine. Before the first sample and after the last one the values are those.

use crate::block::Rows;
use crate::course::Course;
use crate::frame::INDEPENDENT_LEADS;
use crate::math;
use crate::time::{FrameRate, Instant, Span};
use core::fmt;

/// Whether recordings are played here: not on a board without an operating system. Their arithmetic is double precision, which such a
/// board has no unit for, and images carry none.
pub(crate) const PLAYED: bool = cfg!(not(target_os = "none"));

/// How long a pass fades into the next one.
pub const FADE: Span = Span::millis(80);

/// Frames or samples to either side of an instant that have a part in its value.
const HALF: i64 = 32;

/// Attenuation of the stop band, dB.
const STOP_DB: f32 = 80.0;

/// Of Kaiser's window.
const BETA: f32 = 0.1102 * (STOP_DB - 8.7);

/// Half of the transition band over the frame rate: (80 - 7.95) / (2.285 * 2 pi * 64) / 2.
const HALF_TRANSITION: f64 = 0.0392;

/// Fewest and most samples a second.
pub const RATES_HZ: [f64; 2] = [1.0, 100_000.0];

/// An interpolated value lies below this times the largest sample: the sum of the weights' sizes is at most 2.8.
const MOST_GROWTH: f32 = 3.0;

/// A stretch of a recording.
#[derive(Clone, Copy)]
pub struct Recording<'a> {
    /// Leads I, II and V1 to V6; one that the recording lacks has no samples, and is flat.
    leads_mv: [&'a [f32]; INDEPENDENT_LEADS],
    /// Samples a second, in units of 2^-32.
    rate: u64,
    /// Largest size of a sample, mV.
    largest_mv: f32,
    /// Where the stretch begins.
    from: Span,
    /// After this time it begins again.
    length: Span,
    /// Time of its first pass that is over when it starts to play.
    passed: Span,
}

impl fmt::Debug for Recording<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let samples = self.leads_mv.map(<[f32]>::len);
        let Recording { rate, from, length, passed, .. } = self;
        let mut text = f.debug_struct("Recording");
        text.field("samples", &samples).field("rate", rate).field("from", from);
        text.field("length", length).field("passed", passed).finish()
    }
}

impl<'a> Recording<'a> {
    /// All of a recording with so many samples a second, its leads I, II and V1 to V6 in mV; a lead that it lacks is empty.
    ///
    /// `None` without a sample, with leads of different lengths, with samples that are no numbers, or with a rate out of
    /// [`RATES_HZ`]; and always on a board without an operating system, whose images carry no recordings.
    pub fn new(leads_mv: [&'a [f32]; INDEPENDENT_LEADS], rate_hz: f64) -> Option<Recording<'a>> {
        let samples = leads_mv.iter().map(|lead| lead.len()).max().filter(|samples| *samples > 0)?;
        let [least, most] = RATES_HZ;
        let even = leads_mv.iter().all(|lead| lead.is_empty() || lead.len() == samples);
        if !PLAYED
            || !even
            || !(least..=most).contains(&rate_hz)
            || leads_mv.iter().any(|lead| lead.iter().any(|mv| !mv.is_finite()))
        {
            return None;
        }
        let largest_mv =
            leads_mv.iter().flat_map(|lead| lead.iter()).fold(0.0, |most, mv| math::max(most, math::abs(*mv)));
        let rate = (rate_hz * 4_294_967_296.0) as u64;
        let length = Span::from_ticks(u64::try_from(((samples as u128) << 64) / u128::from(rate)).unwrap_or(u64::MAX));
        Some(Recording { leads_mv, rate, largest_mv, from: Span::ZERO, length, passed: Span::ZERO })
    }

    /// The stretch of this length that begins there; at its end it begins again.
    pub fn stretch(self, from: Span, length: Span) -> Recording<'a> {
        Recording { from, length, ..self }
    }

    /// The same, begun this long ago.
    pub fn passed(self, passed: Span) -> Recording<'a> {
        Recording { passed, ..self }
    }

    /// The samples of leads I, II and V1 to V6, mV; those of a lead that the recording lacks are empty.
    pub fn leads_mv(&self) -> [&'a [f32]; INDEPENDENT_LEADS] {
        self.leads_mv
    }

    /// The stretch: where it begins, and after how long it begins again.
    pub fn bounds(&self) -> (Span, Span) {
        (self.from, self.length)
    }

    /// A size, mV, that no frame goes beyond.
    pub(crate) fn reach_mv(&self) -> f32 {
        MOST_GROWTH * self.largest_mv
    }

    /// Adds the leads to rows, the first of them `from`, in a step that began at `start`.
    pub(crate) fn add_to<R: Rows + ?Sized>(
        &self,
        start: Instant,
        frame_rate: FrameRate,
        gain: &Course,
        instants: &[Instant],
        rows: &mut R,
        from: usize,
    ) {
        let filter = Filter::new(self.rate, frame_rate);
        for (row, now) in (from..).zip(instants) {
            let since = now.since(start);
            let (leads, gain) = (self.at(&filter, since), gain.at(since));
            let mut sums = rows.leads(row);
            sums.iter_mut().zip(leads).for_each(|(sum, lead)| *sum += gain * lead);
            rows.set_leads(row, sums);
        }
    }

    /// The leads at a time after the start of the step, mV.
    fn at(&self, filter: &Filter, since: Span) -> [f32; INDEPENDENT_LEADS] {
        let played = since.plus(self.passed).ticks();
        let length = self.length.ticks().max(1);
        let within = played % length;
        let here = self.place(within);
        let leads = filter.values(&self.leads_mv, here);
        if played < length || within >= FADE.ticks() {
            return leads;
        }
        let before = filter.values(&self.leads_mv, self.place(within.saturating_add(length)));
        let share = Span::from_ticks(within).as_secs() * (1.0 / FADE.as_secs());
        let new = 0.5 - 0.5 * math::cos_turn(math::small_phase(0.5 * share));
        core::array::from_fn(|i| {
            let [new_mv, old_mv] = [&leads, &before].map(|leads| leads.get(i).copied().unwrap_or(0.0));
            old_mv + new * (new_mv - old_mv)
        })
    }

    /// The place in the samples, in units of 2^-32 samples, of a time after the start of the stretch.
    fn place(&self, within: u64) -> u64 {
        let ticks = u128::from(self.from.ticks()) + u128::from(within);
        u64::try_from((ticks * u128::from(self.rate)) >> 32).unwrap_or(u64::MAX)
    }
}

/// The resampling filter for a recording and a frame rate.
struct Filter {
    /// Half of its pass band, in turns a sample: units of 2^-32.
    cutoff: u32,
    /// The same as a number: the zeros of `sin(x)/x` lie this share of a sample apart, turned over.
    zeros: f32,
    /// Samples to either side.
    half: i64,
    /// One over the half width of the window, in samples.
    window: f32,
    /// Whether a frame at the instant of a sample has its value.
    interpolates: bool,
}

/// A place so near to a sample, in units of 2^-32 samples, is that of the sample: instants of frames are rounded.
const NEAR: u64 = 1 << 10;

/// Samples that are weighted at a time.
const TAPS: usize = 16;

/// One over the squares of 1 to 15: what follows in the series is below 1e-8 of the sum.
const TERMS: [f32; 15] = {
    let mut terms = [0.0; 15];
    let mut k = 0;
    while k < terms.len() {
        terms[k] = 1.0 / ((k + 1) * (k + 1)) as f32;
        k += 1;
    }
    terms
};

impl Filter {
    fn new(rate: u64, frame_rate: FrameRate) -> Filter {
        let frames = u64::from(frame_rate.as_hz()) << 32;
        if frames >= rate {
            let window = 1.0 / HALF as f32;
            return Filter { cutoff: 1 << 31, zeros: 1.0, half: HALF, window, interpolates: true };
        }
        // Frames a sample.
        let share = frames as f64 / rate as f64;
        let width = HALF as f64 / share;
        Filter {
            cutoff: ((0.5 - HALF_TRANSITION) * share * 4_294_967_296.0) as u32,
            zeros: ((1.0 - 2.0 * HALF_TRANSITION) * share) as f32,
            half: width as i64 + 1,
            window: (1.0 / width) as f32,
            interpolates: false,
        }
    }

    /// The values of leads at a place, in units of 2^-32 samples.
    fn values(&self, leads_mv: &[&[f32]; INDEPENDENT_LEADS], place: u64) -> [f32; INDEPENDENT_LEADS] {
        let (whole, part) = (place >> 32, place & 0xffff_ffff);
        let sample = |lead: &[f32], index: u64| {
            let last = lead.len().saturating_sub(1);
            lead.get(usize::try_from(index).unwrap_or(last).min(last)).copied().unwrap_or(0.0)
        };
        if self.interpolates && !(NEAR..=(1 << 32) - NEAR).contains(&part) {
            let index = whole + (part >> 31);
            return leads_mv.map(|lead| sample(lead, index));
        }
        let mut sums = [[0.0; TAPS]; INDEPENDENT_LEADS];
        let mut totals = [0.0; TAPS];
        let turns = ((part * u64::from(self.cutoff)) >> 32) as u32;
        let part = part as f32 * (1.0 / 4_294_967_296.0);
        for first in (1 - self.half..=self.half).step_by(TAPS) {
            let weights = self.weights(first, part, turns);
            totals.iter_mut().zip(weights).for_each(|(total, weight)| *total += weight);
            let index = whole.saturating_add_signed(first);
            let inside = usize::try_from(index).ok().filter(|_| whole as i64 >= -first);
            for (sums, lead) in sums.iter_mut().zip(leads_mv).filter(|(_, lead)| !lead.is_empty()) {
                let samples = inside.and_then(|index| lead.get(index..index.checked_add(TAPS)?)?.first_chunk::<TAPS>());
                let near_an_end =
                    || core::array::from_fn(|i| sample(lead, whole.saturating_add_signed(first + i as i64)));
                let samples = samples.copied().unwrap_or_else(near_an_end);
                sums.iter_mut().zip(weights).zip(samples).for_each(|((sum, weight), sample)| *sum += weight * sample);
            }
        }
        let total: f32 = totals.iter().sum();
        sums.map(|sums| sums.iter().sum::<f32>() / total)
    }

    /// The weights of samples from the `first` after a place on, which lies `part` of a sample after one: `turns` of the cut-off.
    fn weights(&self, first: i64, part: f32, turns: u32) -> [f32; TAPS] {
        let apart: [f32; TAPS] = core::array::from_fn(|i| (first + i as i64) as f32 - part);
        let z = apart.map(|apart| {
            let from_middle = apart * self.window;
            0.25 * BETA * BETA * math::max(1.0 - from_middle * from_middle, 0.0)
        });
        // The modified Bessel function of order zero, by its series.
        let mut weights = [1.0; TAPS];
        for term in TERMS.iter().rev() {
            weights.iter_mut().zip(z).for_each(|(sum, z)| *sum = 1.0 + *sum * z * term);
        }
        for (i, ((weight, apart), z)) in weights.iter_mut().zip(apart).zip(z).enumerate() {
            let x = core::f32::consts::PI * self.zeros * apart;
            let sine = math::sin_turn(((first + i as i64) as u32).wrapping_mul(self.cutoff).wrapping_sub(turns));
            let wave = if math::abs(x) < 1e-3 { 1.0 } else { sine / x };
            *weight = if z > 0.0 { *weight * wave } else { 0.0 };
        }
        weights
    }
}
