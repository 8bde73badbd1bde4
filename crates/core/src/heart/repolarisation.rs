//! QT: how long the ventricles take to recover after a beat.

use super::recovery::{Length, qrs_ms};
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

impl Heart {
    /// Lengths of a beat at `now` that spreads by these pathways; later beats depend on them.
    pub(super) fn repolarise(
        &mut self,
        now: Instant,
        interval: Option<Span>,
        pathways: [Option<Pathway>; 2],
        conditions: &HeartConditions<'_>,
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
