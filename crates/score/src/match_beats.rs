//! Which test beat belongs to which reference beat.
//!
//! ```text
//! reference   |        |           |      |
//! test          |      |  |        |
//!             match    match extra  match missed
//! ```
//! Rule (EC57; the open beat comparator): a test beat and a reference beat at most the window apart, the
//! limit included, match; each beat matches at most one other; of two candidates the nearer one wins.
//! The comparator's refinement of 2002 also accepts the pair at hand when its rival fits the *next*
//! beat of the other side better than it fits this one.
//! Worked example of that source: references at 96 and 160, tests at 128 and 185, window 37: both match.
//! At an exact tie the later pair wins, which is what makes the refinement necessary in that example.

use crate::instant::{DECIMAL_SLACK, RecordInstant, RecordSpan};

/// The pairs, missed and extra beats of both sides, as indices into the given lists.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pairing {
    /// Matching pairs (reference, test), in order of time.
    pub pairs: Vec<(usize, usize)>,
    /// Reference beats that no test beat matches.
    pub missed: Vec<usize>,
    /// Test beats that match no reference beat.
    pub extra: Vec<usize>,
}

/// Pairs two lists of instants, each in order of time, within `window` (inclusive).
///
/// Work grows with the sum of both lengths.
pub fn pair(reference: &[RecordInstant], test: &[RecordInstant], window: RecordSpan) -> Pairing {
    let window = window + DECIMAL_SLACK;
    let mut pairing = Pairing::default();
    let (mut r, mut t) = (0, 0);
    while let (Some(&reference_at), Some(&test_at)) = (reference.get(r), test.get(t)) {
        let gap = reference_at.distance(test_at);
        let next_reference = reference.get(r + 1);
        let next_test = test.get(t + 1);
        // The rival is the next beat on the side that is ahead in time: it may fit the later beat better.
        let rival = if test_at < reference_at {
            next_test.map(|at| at.distance(reference_at))
        } else {
            next_reference.map(|at| at.distance(test_at))
        };
        let rival_fits_next = match (next_reference, next_test, rival) {
            (Some(next_r), Some(next_t), Some(rival)) => next_r.distance(*next_t) < rival,
            _ => false,
        };
        let accepted = gap <= window && (rival.is_none_or(|rival| gap < rival) || rival_fits_next);
        if accepted {
            pairing.pairs.push((r, t));
            r += 1;
            t += 1;
        } else if test_at < reference_at {
            pairing.extra.push(t);
            t += 1;
        } else {
            pairing.missed.push(r);
            r += 1;
        }
    }
    pairing.missed.extend(r..reference.len());
    pairing.extra.extend(t..test.len());
    pairing
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(frames: &[i64], rate_hz: f64) -> Vec<RecordInstant> {
        frames.iter().map(|&f| RecordInstant::from_frame(f, rate_hz).expect("in range")).collect()
    }

    fn check(reference: &[i64], test: &[i64], rate_hz: f64, window_s: f64, pairs: &[(usize, usize)]) {
        let window = RecordSpan::from_s(window_s).expect("in range");
        let pairing = pair(&frames(reference, rate_hz), &frames(test, rate_hz), window);
        assert_eq!(pairing.pairs, pairs, "{reference:?} {test:?}");
        assert_eq!(pairing.pairs.len() + pairing.missed.len(), reference.len());
        assert_eq!(pairing.pairs.len() + pairing.extra.len(), test.len());
    }

    #[test]
    fn worked_example_of_competing_candidates_matches_both_pairs() {
        check(&[96, 160], &[128, 185], 250.0, 37.0 / 250.0, &[(0, 0), (1, 1)]);
        // Seen from the other side: the same pairs.
        check(&[128, 185], &[96, 160], 250.0, 37.0 / 250.0, &[(0, 0), (1, 1)]);
    }

    #[test]
    fn window_is_inclusive_and_exact_at_customary_rates() {
        for rate in [100, 200, 360, 500, 1000, 48_000] {
            let frames_in_window = rate * 15 / 100;
            check(&[1000], &[1000 + frames_in_window], f64::from(rate as i32), 0.15, &[(0, 0)]);
            check(&[1000], &[1000 + frames_in_window + 1], f64::from(rate as i32), 0.15, &[]);
            check(&[1000], &[1000 - frames_in_window], f64::from(rate as i32), 0.15, &[(0, 0)]);
            check(&[1000], &[1000 - frames_in_window - 1], f64::from(rate as i32), 0.15, &[]);
        }
    }

    #[test]
    fn nearer_pair_wins() {
        check(&[1000], &[900, 1010], 1000.0, 0.15, &[(0, 1)]);
        check(&[1000], &[990, 1100], 1000.0, 0.15, &[(0, 0)]);
        check(&[900, 1010], &[1000], 1000.0, 0.15, &[(1, 0)]);
        check(&[990, 1100], &[1000], 1000.0, 0.15, &[(0, 0)]);
    }

    #[test]
    fn empty_sides() {
        check(&[], &[], 1000.0, 0.15, &[]);
        check(&[1], &[], 1000.0, 0.15, &[]);
        check(&[], &[1], 1000.0, 0.15, &[]);
    }

    #[test]
    fn doubled_and_dropped_beats_cost_one_each() {
        check(&[1000, 2000, 3000], &[1000, 1300, 3010], 1000.0, 0.15, &[(0, 0), (2, 2)]);
    }
}
