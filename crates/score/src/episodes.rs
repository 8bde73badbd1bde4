//! Episodes: by number and by time.
//!
//! Rule (open episode comparator, EC38): any overlap makes an episode found (or called with reason); the
//! episode figures weigh each episode alike, the duration figures weigh by time. Reference atrial flutter is taken out of
//! the scoring of atrial fibrillation: neither credit nor penalty.

use serde::Serialize;

use crate::annotations::{Annotations, EpisodeKind, TimeRange};
use crate::matrix::Proportion;

/// Counts of one kind of episode.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct EpisodeFigures {
    /// Its kind.
    pub kind: EpisodeKind,
    /// Reference episodes found.
    pub sensitivity: Proportion,
    /// Test episodes with a reference episode.
    pub predictivity: Proportion,
    /// Reference time, s.
    pub reference_s: f64,
    /// Test time, s.
    pub test_s: f64,
    /// Time marked by both, s.
    pub common_s: f64,
    /// Common time as percent of the reference time.
    pub duration_sensitivity_percent: Option<f64>,
    /// Common time as percent of the test time.
    pub duration_predictivity_percent: Option<f64>,
}

const SCORED: [EpisodeKind; 4] = [EpisodeKind::Vf, EpisodeKind::Af, EpisodeKind::Asystole, EpisodeKind::Apnoea];

/// Scores all kinds that either side has within the scored time.
pub fn score(reference: &Annotations, test: &Annotations, scored: &TimeRange) -> Vec<EpisodeFigures> {
    let flutter = reference.stretches(EpisodeKind::AtrialFlutter);
    let mut figures = Vec::new();
    for kind in SCORED {
        let excluded: &[TimeRange] = if kind == EpisodeKind::Af { &flutter } else { &[] };
        let of = |side: &Annotations| -> Vec<TimeRange> {
            let inside = side.stretches(kind).into_iter().filter_map(|s| s.clipped(scored));
            inside.flat_map(|stretch| without(stretch, excluded)).collect()
        };
        let (reference, test) = (of(reference), of(test));
        if !reference.is_empty() || !test.is_empty() {
            figures.push(compare(kind, &reference, &test));
        }
    }
    figures
}

/// The rest of a stretch; `excluded` is in order.
fn without(stretch: TimeRange, excluded: &[TimeRange]) -> Vec<TimeRange> {
    let mut left = Vec::new();
    let mut from = stretch.from;
    for hole in excluded.iter().filter(|hole| hole.overlaps(&stretch)) {
        if from < hole.from {
            left.push(TimeRange { from, to: hole.from });
        }
        from = from.max(hole.to);
    }
    if from < stretch.to || (from == stretch.to && from == stretch.from && left.is_empty()) {
        left.push(TimeRange { from, to: stretch.to });
    }
    left
}

fn compare(kind: EpisodeKind, reference: &[TimeRange], test: &[TimeRange]) -> EpisodeFigures {
    let met = |side: &[TimeRange], other: &[TimeRange]| {
        let met = side.iter().filter(|stretch| other.iter().any(|o| o.overlaps(stretch))).count();
        Proportion::new(met as u64, side.len() as u64)
    };
    // Folded from zero: the sum of nothing is minus zero, which prints as such.
    let length_s = |side: &[TimeRange]| side.iter().map(|stretch| stretch.length().s()).fold(0.0, |a, b| a + b);
    let common = reference.iter().flat_map(|r| test.iter().filter_map(|t| r.clipped(t)));
    let common_s = common.map(|stretch| stretch.length().s()).fold(0.0, |a, b| a + b);
    EpisodeFigures {
        kind,
        sensitivity: met(reference, test),
        predictivity: met(test, reference),
        reference_s: length_s(reference),
        test_s: length_s(test),
        common_s,
        duration_sensitivity_percent: percent(common_s, length_s(reference)),
        duration_predictivity_percent: percent(common_s, length_s(test)),
    }
}

fn percent(part: f64, whole: f64) -> Option<f64> {
    (whole > 0.0).then(|| 100.0 * part / whole)
}

impl EpisodeFigures {
    /// Adds the same kind of another record.
    pub fn add(&mut self, other: &EpisodeFigures) {
        let share = |a: Proportion, b: Proportion| Proportion::new(a.part + b.part, a.whole + b.whole);
        self.sensitivity = share(self.sensitivity, other.sensitivity);
        self.predictivity = share(self.predictivity, other.predictivity);
        self.reference_s += other.reference_s;
        self.test_s += other.test_s;
        self.common_s += other.common_s;
        self.duration_sensitivity_percent = percent(self.common_s, self.reference_s);
        self.duration_predictivity_percent = percent(self.common_s, self.test_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::annotations::AnnotatedEpisode;
    use crate::instant::RecordInstant;

    fn side(episodes: &[(EpisodeKind, f64, f64)]) -> Annotations {
        let at = |s| RecordInstant::from_s(s).expect("in range");
        let mut side = Annotations::default();
        let stretch = |from, to| TimeRange { from: at(from), to: at(to) };
        side.add_episodes(
            episodes.iter().map(|&(kind, from, to)| AnnotatedEpisode { kind, stretch: stretch(from, to) }),
        );
        side
    }

    #[test]
    fn by_number_and_by_time() {
        use EpisodeKind::{Af, AtrialFlutter, Vf};
        let reference = side(&[(Vf, 10.0, 20.0), (Vf, 30.0, 40.0), (Af, 50.0, 70.0), (AtrialFlutter, 70.0, 90.0)]);
        let test = side(&[(Vf, 15.0, 25.0), (Vf, 60.0, 65.0), (Af, 60.0, 80.0), (Af, 82.0, 85.0)]);
        let scored = TimeRange { from: RecordInstant::START, to: RecordInstant::from_s(100.0).expect("in range") };
        let figures = score(&reference, &test, &scored);
        let vf = figures[0];
        assert_eq!((vf.sensitivity.part, vf.sensitivity.whole), (1, 2));
        assert_eq!((vf.predictivity.part, vf.predictivity.whole), (1, 2));
        assert_eq!((vf.reference_s, vf.test_s, vf.common_s), (20.0, 15.0, 5.0));
        let af = figures[1];
        // The test's time in reference flutter is gone from both counts.
        assert_eq!((af.predictivity.part, af.predictivity.whole), (1, 1));
        assert_eq!((af.test_s, af.common_s), (10.0, 10.0));
        assert_eq!(figures.len(), 2);
    }
}
