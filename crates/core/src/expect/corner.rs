//! Depth of a trough that lies between samples.

use crate::math::{clamp, min};

/// A trough between samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    pub(super) mmhg: f32,
    /// So many samples before the last one.
    pub(super) ago: f32,
    /// Integral from the trough to the last sample.
    pub(super) area: f32,
}

/// Follows samples, and says how low the pressure was between those two of them where it turned up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corner {
    /// The last four, the oldest first.
    last: [f32; 4],
}

impl Corner {
    pub(super) const fn new() -> Corner {
        Corner { last: [f32::NAN; 4] }
    }

    /// Takes a sample; returns the trough between the second and the third last, if there was one.
    ///
    /// The runoff goes on from its last two samples, with as much less slope as it lost just before, so that a round trough is
    /// not made deeper than it was. It ends where an upstroke that begins without a slope, as all of ours do, meets it: that
    /// parabola goes through the last two samples.
    pub(super) fn take(&mut self, now: f32) -> Option<Turn> {
        let [before, a, b, c] = self.last;
        self.last = [a, b, c, now];
        let (fall, rise) = (a - b, now - c);
        // False too when a sample is missing, as NaN is not compared.
        if !(fall >= 0.0 && rise >= 0.0 && fall + rise > 0.0) {
            return None;
        }
        // Level where the sample before is missing, as NaN takes the lower end.
        let slope = clamp(2.0 * fall - (before - a), 0.0, fall);
        // Where the foot is between the two samples: too early while the later of them is too high for the parabola.
        let (mut early, mut late) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (early + late);
            let foot = b - slope * middle;
            let (near, far) = (1.0 - middle, 2.0 - middle);
            if (c - foot) * far * far < (now - foot) * near * near {
                early = middle;
            } else {
                late = middle;
            }
        }
        let mmhg = min(min(b, c), b - slope * early);
        let late = 1.0 - early;
        Some(Turn { mmhg, ago: 1.0 + late, area: 0.5 * (c + now) + 0.5 * late * (mmhg + c) })
    }
}

/// A thousandth of the time between samples.
const HALVINGS: u32 = 10;

#[cfg(test)]
mod tests {
    use super::Corner;

    /// The deepest trough of these samples.
    fn deepest(samples: impl Iterator<Item = f32>) -> f32 {
        let mut corner = Corner::new();
        samples.filter_map(|sample| corner.take(sample)).map(|turn| turn.mmhg).fold(f32::INFINITY, f32::min)
    }

    #[test]
    fn a_corner_between_samples_is_found() {
        for late in [0.0, 0.2, 0.5, 0.8] {
            let samples =
                (0..20).map(|i| i as f32 - 10.0 - late).map(|t| 50.0 + if t < 0.0 { -t } else { 2.0 * t * t });
            let found = deepest(samples);
            assert!((found - 50.0).abs() < 0.02, "{late}: {found}");
        }
    }

    /// Where the trough lies, and the integral from there, in closed form.
    #[test]
    fn a_corner_is_found_in_time() {
        for late in [0.2, 0.5, 0.8] {
            let pressure = |t: f32| 50.0 + if t < 0.0 { -t } else { 2.0 * t * t };
            let mut corner = Corner::new();
            let turns = (0..20).filter_map(|i| Some((i, corner.take(pressure(i as f32 - 10.0 - late))?)));
            let (last, turn) = turns.min_by(|(_, a), (_, b)| a.mmhg.total_cmp(&b.mmhg)).expect("a trough");
            let since = last as f32 - 10.0 - late;
            assert!((turn.ago - since).abs() < 0.01, "{late}: {turn:?}");
            // The trapezoids lie above the parabola by as much as 2 / 6 of each span cubed.
            let area = 50.0 * since + 2.0 / 3.0 * since.powi(3);
            assert!((-0.01..0.7).contains(&(turn.area - area)), "{late}: {turn:?}, {area}");
        }
    }

    #[test]
    fn a_round_trough_is_not_made_deeper() {
        for late in [0.0, 0.3, 0.5] {
            let found = deepest((0..20).map(|i| i as f32 - 10.0 - late).map(|t| 50.0 + 0.1 * t * t));
            assert!((50.0 - 0.01..50.03).contains(&found), "{late}: {found}");
        }
    }

    /// No slope of the runoff is known before the second sample.
    #[test]
    fn a_trough_within_the_first_four_samples_is_a_number() {
        let mut corner = Corner::new();
        let found = [60.0, 55.0, 58.0, 66.0].map(|sample| corner.take(sample));
        let [None, None, None, Some(turn)] = found else { panic!("{found:?}") };
        assert!((45.0..=55.0).contains(&turn.mmhg), "{turn:?}");
    }

    #[test]
    fn falling_and_rising_pressures_have_no_trough() {
        assert_eq!(deepest((0..20).map(|i| -(i as f32))), f32::INFINITY);
        assert_eq!(deepest((0..20).map(|i| 100.0 + i as f32)), f32::INFINITY);
    }
}
