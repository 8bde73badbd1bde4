//! QT: how long the ventricles take to recover after a beat.

use super::{Heart, HeartConditions};
use crate::anatomy::Pathway;
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// QT, ms, at a preceding interval, s: Fridericia's cube root, held between 350 and 37 bpm.
fn fridericia_ms(qtc_ms: f32, interval_s: f32) -> f32 {
    qtc_ms * math::pow(math::clamp(interval_s, 0.17, 1.6), 1.0 / 3.0)
}

/// Largest share of an interval that QT takes: a T wave ends before the next beat, whatever the cube root says at rates
/// that it was not made for.
const LARGEST_SHARE: f32 = 0.9;

/// Largest share of an interval that QRS takes: 133 ms at 300 bpm, so that the shorter intervals of an irregular rhythm also leave it
/// the 120 ms from which it is wide.
const WIDEST_SHARE: f32 = 2.0 / 3.0;
/// Shortest time from J to the end of T, ms; T is low there, so that it is not as steep as a QRS.
const SHORTEST_JT_MS: f32 = 40.0;

/// QRS duration of a beat that takes `pathway`, ms, where a normal beat's is set: what a pathway adds stays added, and a
/// pathway of its own, over 1.5 times as wide as the normal one, keeps its width.
pub(crate) fn qrs_ms(pathway_ms: f32, normal_ms: f32, set_ms: f32) -> f32 {
    if pathway_ms > 1.5 * normal_ms { pathway_ms } else { pathway_ms + set_ms - normal_ms }
}

/// Memory of QT.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    /// The interval that QT has followed so far, s; zero before the first beat.
    interval_s: f32,
    /// End of the last T wave.
    pub(super) t_end: Instant,
}

impl Memory {
    pub(super) const fn new() -> Memory {
        Memory { interval_s: 0.0, t_end: Instant::ZERO }
    }
}

/// How long a beat takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Length {
    /// QT with the QRS duration set, ms; a wider QRS adds the difference.
    pub qt_ms: f32,
    /// Factor on the QRS duration of its pathways, below 1 where they would leave a fast rhythm no time.
    pub width: f32,
}

impl Heart {
    /// Lengths of a beat at `now` that spreads by these pathways; later beats depend on them.
    pub(super) fn repolarise(
        &mut self,
        now: Instant,
        interval: Option<Span>,
        pathways: [Option<Pathway>; 2],
        conditions: &HeartConditions,
        noise: &Noise,
    ) -> Length {
        let period = conditions.period();
        let interval = interval.unwrap_or(period);
        let life = &conditions.life;
        let before_s = self.memory.interval_s;
        let followed_s = if life.qt_lag_s > 0.0 && before_s > 0.0 {
            let gained = 1.0 - math::exp(-interval.as_secs() / life.qt_lag_s);
            before_s + gained * (interval.as_secs() - before_s)
        } else {
            interval.as_secs()
        };
        self.memory.interval_s = followed_s;
        let mut qt_ms = fridericia_ms(conditions.qtc_ms, followed_s);
        if life.qt_ms > 0.0 {
            qt_ms += life.qt_ms * noise.bell(Purpose::Repolarisation, self.beats);
        }
        let normal_ms = conditions.body.qrs_ms(Pathway::Normal);
        let mut widest_ms = conditions.qrs_ms;
        for pathway in pathways.into_iter().flatten() {
            widest_ms = math::max(widest_ms, qrs_ms(conditions.body.qrs_ms(pathway), normal_ms, conditions.qrs_ms));
        }
        let next = period.min(self.next_regular(now, conditions));
        let next_ms = 1000.0 * next.as_secs();
        // Faster than 300 bpm, the shortest JT needs more than the rest; half is left to the QRS at any rate.
        let room_ms = math::max(LARGEST_SHARE * next_ms - SHORTEST_JT_MS, 0.5 * next_ms);
        let width = math::min(math::min(WIDEST_SHARE * next_ms, room_ms) / widest_ms, 1.0);
        let wider_ms = math::max(widest_ms * width - conditions.qrs_ms, 0.0);
        let longest_ms = LARGEST_SHARE * 1000.0 * next.min(interval).as_secs();
        let shortest_ms = math::min(widest_ms * width, conditions.qrs_ms) + SHORTEST_JT_MS;
        qt_ms = math::max(math::min(qt_ms, longest_ms - wider_ms), shortest_ms);
        self.memory.t_end = now.plus(Span::from_secs(0.001 * (qt_ms + wider_ms)));
        Length { qt_ms, width }
    }
}
