//! Wandering of the sinus node: beats are displaced from their regular places, so the mean rate stays as set.
//!
//! A displacement D(t) turns a period p into the interval p + D(t + p) - D(t). In step with breathing D is a sine. At random
//! it is noise on a lattice in time, drawn through a cubic spline: its difference has a smooth spectrum about one
//! frequency, without lines. The slowest bands displace beats by a minute, so of those only the differences are added up.

use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// How much the sinus interval wanders.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Variability {
    /// Longest less shortest RR over the breaths, ms.
    pub breathing_ms: f32,
    /// Standard deviation of the random RR change below 0.04 Hz over an hour, ms.
    pub very_slow_ms: f32,
    /// Standard deviation of the random RR change in the low-frequency band (0.04 to 0.15 Hz, Task Force 1996), ms.
    pub slow_ms: f32,
    /// Standard deviation of the random RR change in the high-frequency band (0.15 to 0.40 Hz), ms.
    pub fast_ms: f32,
    /// Period at the body's resting rate; random change shrinks with the square of a shorter one.
    pub resting: Span,
    /// Start of the breath being drawn.
    pub breath_start: Instant,
    /// Period of breathing; `MAX` in apnoea.
    pub breath_period: Span,
    /// Share of a breath that is inspiration.
    pub inspiration: f32,
    /// From the impulse to the QRS whose interval is to follow.
    pub delay: Span,
}

/// How much everything but the sinus node varies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Life {
    /// Standard deviation of PR, ms.
    pub pr_ms: f32,
    /// Standard deviation of QT, ms.
    pub qt_ms: f32,
    /// Time in which QT follows a change of RR by 63 %, s; zero at once.
    pub qt_lag_s: f32,
    /// Standard deviation of the coupling of premature beats, ms.
    pub coupling_ms: f32,
    /// How far pauses, and the number of beats between them, differ from those set, share either way.
    pub pause: f32,
    /// Standard deviation of the interval of a focus below the sinus node, share of its mean.
    pub focus: f32,
}

/// Random change about one frequency.
struct Band {
    purpose: Purpose,
    /// Lattice, 0.242 of the period of the frequency where the difference of the spline is largest.
    spacing: Span,
    /// First index on the lattice, so that bands of one purpose differ.
    first: u64,
}

const fn band(purpose: Purpose, spacing_ms: u64, number: u64) -> Band {
    Band { purpose, spacing: Span::millis(spacing_ms), first: number << 48 }
}

/// About 0.1 Hz, half as much at 0.05 and 0.16 Hz.
static SLOW: [Band; 1] = [band(Purpose::SlowVariability, 2420, 0)];
/// About 0.25 Hz, half as much at 0.13 and 0.40 Hz.
static FAST: [Band; 1] = [band(Purpose::FastVariability, 970, 0)];
/// About 0.027 Hz and down to once in 2.6 hours by factors of 2.5, all alike: a spectrum of 1/f (Kobayashi and Musha 1982).
static VERY_SLOW: [Band; 7] = [
    band(Purpose::VerySlowVariability, 9_000, 0),
    band(Purpose::VerySlowVariability, 22_500, 1),
    band(Purpose::VerySlowVariability, 56_000, 2),
    band(Purpose::VerySlowVariability, 140_000, 3),
    band(Purpose::VerySlowVariability, 350_000, 4),
    band(Purpose::VerySlowVariability, 880_000, 5),
    band(Purpose::VerySlowVariability, 2_200_000, 6),
];

/// Most beats looked at for the longest and the shortest interval.
const LOOKED_AT: u16 = 32;
/// Breaths looked at.
const BREATHS: f32 = 3.0;

impl Variability {
    /// Random change of the interval between two impulses that are regularly due at these instants, s; positive is longer.
    pub(crate) fn change_s(&self, from: Instant, to: Instant, period: Span, noise: &Noise) -> f32 {
        let mut sum = 0.0;
        let shorter = math::min(period.as_secs() / self.resting.as_secs(), 1.0);
        for (ms, bands) in [(self.very_slow_ms, &VERY_SLOW[..]), (self.slow_ms, &SLOW[..]), (self.fast_ms, &FAST[..])] {
            if ms > 0.0 {
                let each_s = 0.001 * ms * shorter * shorter / math::sqrt(bands.len() as f32);
                for band in bands {
                    sum += each_s * band.change(from, to, period, noise);
                }
            }
        }
        sum
    }

    /// How far breathing displaces the impulse that regularly lies at `due`, s: RR is shortest about the end of inspiration.
    pub(crate) fn breathing_s(&self, due: Instant, period: Span) -> f32 {
        if self.breathing_ms <= 0.0 || self.breath_period == Span::MAX {
            return 0.0;
        }
        let breath_s = self.breath_period.as_secs();
        // Below half a turn: fewer than two beats a breath can't follow it.
        let per_beat = math::min(period.as_secs() / breath_s, 0.5);
        let turns = due.plus(self.delay).since(self.breath_start).as_secs() / breath_s - self.inspiration;
        // With few beats a breath, in step with it, none may meet the longest or the shortest interval.
        let beats = math::min(math::max(BREATHS / per_beat, 3.0), f32::from(LOOKED_AT)) as u16;
        let (mut least, mut most) = (0.0, 0.0);
        for beat in 0..beats {
            let middle = turns + (f32::from(beat) + 0.5) * per_beat;
            let change = -math::cos_turn(math::phase_of(middle));
            (least, most) = (math::min(least, change), math::max(most, change));
        }
        let met = math::max(0.5 * (most - least), 0.667);
        let largest_s = 0.001 * self.breathing_ms / (4.0 * math::sin_turn(math::phase_of(0.5 * per_beat)) * met);
        -largest_s * math::sin_turn(math::phase_of(turns))
    }
}

impl Band {
    /// Change between two instants, about a period apart, with a standard deviation of 1.
    fn change(&self, from: Instant, to: Instant, period: Span, noise: &Noise) -> f32 {
        let gained = self.spline(to, noise) - self.spline(from, noise);
        gained / difference(period.as_secs() / self.spacing.as_secs())
    }

    /// The spline through lattice values with a standard deviation of 1.
    fn spline(&self, at: Instant, noise: &Noise) -> f32 {
        let spacing = self.spacing.ticks();
        // Without a check by the compiler that could panic: no band has a spacing of zero.
        let whole = at.ticks().checked_div(spacing).unwrap_or(0);
        let part = at.ticks() - whole * spacing;
        let u = part as f32 / spacing as f32;
        let rest = 1.0 - u;
        // The four pieces of a cubic B-spline.
        let weights =
            [rest * rest * rest, (3.0 * u - 6.0) * u * u + 4.0, (3.0 * rest - 6.0) * rest * rest + 4.0, u * u * u];
        let mut sum = 0.0;
        for (place, weight) in (0..).zip(weights) {
            sum += weight * noise.signed(self.purpose, self.first.wrapping_add(whole).wrapping_add(place));
        }
        // A uniform value between -1 and 1 has a deviation of 1 / sqrt(3).
        sum * (1.732_050_8 / 6.0)
    }
}

/// Standard deviation of the spline's difference over `x` of its spacing, for lattice values with a deviation of 1.
///
/// The spline's autocovariance, averaged over its phase, is the B-spline of degree 7.
fn difference(x: f32) -> f32 {
    let x2 = x * x;
    let half_variance = if x <= 1.0 {
        x2 * (1.0 / 3.0 - x2 * (1.0 / 9.0 - x2 * (1.0 / 36.0 - x * (1.0 / 144.0))))
    } else {
        let seventh = |y: f32| if y > 0.0 { y * y * y * y * y * y * y } else { 0.0 };
        151.0 / 315.0 - (seventh(4.0 - x) - 8.0 * seventh(3.0 - x) + 28.0 * seventh(2.0 - x)) * (1.0 / 5040.0)
    };
    math::sqrt(2.0 * half_variance)
}
