//! Runs of ventricular (or supraventricular) ectopic beats.
//!
//! Rule (open run comparator, EC38): for each run of one side take the time from 150 ms before its first beat
//! to 150 ms after its last; the longest run of the other side in there is its partner. Done once with the
//! reference leading (sensitivity) and once with the test leading (predictivity). Couplet = 2 beats,
//! short run = 3 to 5, long run = 6 or more; the count stops at 6, and fibrillation counts as 6.
//! Which partner lengths count as right (a couplet is found by two beats or more, a short run by three or more, a long one by six)
//! is from memory.

use serde::Serialize;

use crate::annotations::{AnnotatedBeat, Annotations, TimeRange};
use crate::instant::{RecordInstant, RecordSpan};
use crate::matrix::Proportion;

/// Length at which counting stops.
pub const LONGEST: usize = 6;

/// Run lengths of the leading side (row) and of its partner (column), 0 to 6.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct RunMatrix(pub [[u64; LONGEST + 1]; LONGEST + 1]);

/// Both directions for one class.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct RunCounts {
    /// Reference runs (row) and the test runs in them.
    pub reference_leads: RunMatrix,
    /// Test runs (row) and the reference runs in them.
    pub test_leads: RunMatrix,
}

/// Sensitivity and positive predictivity by length of run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct RunFigures {
    /// Couplets found.
    pub couplet_sensitivity: Proportion,
    /// Couplets called with reason.
    pub couplet_predictivity: Proportion,
    /// Short runs (3 to 5) found.
    pub short_sensitivity: Proportion,
    /// Short runs called with reason.
    pub short_predictivity: Proportion,
    /// Long runs (6 or more) found.
    pub long_sensitivity: Proportion,
    /// Long runs called with reason.
    pub long_predictivity: Proportion,
}

/// A run: when, and how many beats (at most [`LONGEST`]).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    stretch: TimeRange,
    length: usize,
}

/// Runs of one side within the scored time; single beats are runs of 1.
///
/// `in_class` says which beats build runs; any other beat ends one. `fibrillation` stretches are runs of 6.
pub fn runs(
    beats: &[AnnotatedBeat],
    in_class: impl Fn(char) -> bool,
    fibrillation: &[TimeRange],
    scored: &TimeRange,
) -> Vec<Run> {
    let mut found: Vec<Run> = Vec::new();
    let mut open = false;
    for beat in beats.iter().filter(|beat| scored.holds(beat.at)) {
        if !in_class(beat.code) {
            open = false;
            continue;
        }
        match found.last_mut() {
            Some(run) if open => {
                run.stretch.to = beat.at;
                run.length = (run.length + 1).min(LONGEST);
            }
            _ => found.push(Run { stretch: TimeRange { from: beat.at, to: beat.at }, length: 1 }),
        }
        open = true;
    }
    let clipped = fibrillation.iter().filter_map(|stretch| stretch.clipped(scored));
    found.extend(clipped.map(|stretch| Run { stretch, length: LONGEST }));
    found.sort_by_key(|run| run.stretch.from);
    found
}

/// Counts the runs of one class in both directions.
pub fn count(
    reference: &Annotations,
    test: &Annotations,
    in_class: impl Fn(char) -> bool + Copy,
    with_fibrillation: bool,
    window: RecordSpan,
    scored: &TimeRange,
) -> RunCounts {
    let of = |side: &Annotations| {
        let fibrillation =
            if with_fibrillation { side.stretches(crate::annotations::EpisodeKind::Vf) } else { Vec::new() };
        runs(&side.beats, in_class, &fibrillation, scored)
    };
    let (reference, test) = (of(reference), of(test));
    RunCounts { reference_leads: lead(&reference, &test, window), test_leads: lead(&test, &reference, window) }
}

fn lead(leading: &[Run], other: &[Run], window: RecordSpan) -> RunMatrix {
    let mut matrix = RunMatrix::default();
    let mut first = 0;
    for run in leading {
        let around = TimeRange { from: run.stretch.from - window, to: run.stretch.to + window };
        while other.get(first).is_some_and(|o| o.stretch.to < around.from && o.stretch.from < around.from) {
            first += 1;
        }
        let inside = other.iter().skip(first).take_while(|o| o.stretch.from <= around.to);
        let partner = inside.filter(|o| o.stretch.overlaps(&around)).map(|o| o.length).max().unwrap_or(0);
        matrix.0[run.length][partner] += 1;
    }
    matrix
}

impl RunMatrix {
    fn add(&mut self, other: &RunMatrix) {
        for (row, others) in self.0.iter_mut().zip(&other.0) {
            for (cell, other) in row.iter_mut().zip(others) {
                *cell += other;
            }
        }
    }

    /// Runs of the given lengths, and those of them whose partner is long enough.
    fn share(&self, lengths: std::ops::RangeInclusive<usize>, partner_at_least: usize) -> Proportion {
        let rows = || self.0[lengths.clone()].iter();
        let found = rows().map(|row| row[partner_at_least..].iter().sum::<u64>()).sum();
        Proportion::new(found, rows().map(|row| row.iter().sum::<u64>()).sum())
    }
}

impl RunCounts {
    /// Adds another record.
    pub fn add(&mut self, other: &RunCounts) {
        self.reference_leads.add(&other.reference_leads);
        self.test_leads.add(&other.test_leads);
    }

    /// The figures.
    pub fn figures(&self) -> RunFigures {
        RunFigures {
            couplet_sensitivity: self.reference_leads.share(2..=2, 2),
            couplet_predictivity: self.test_leads.share(2..=2, 2),
            short_sensitivity: self.reference_leads.share(3..=5, 3),
            short_predictivity: self.test_leads.share(3..=5, 3),
            long_sensitivity: self.reference_leads.share(LONGEST..=LONGEST, LONGEST),
            long_predictivity: self.test_leads.share(LONGEST..=LONGEST, LONGEST),
        }
    }
}

/// The whole of accepted time, for scoring without bounds.
pub fn all_time() -> TimeRange {
    TimeRange { from: RecordInstant::START, to: RecordInstant::END }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn side(codes: &str) -> Annotations {
        let beats = codes.chars().enumerate().filter(|(_, code)| *code != '.');
        Annotations::from_beats(
            beats.map(|(i, code)| AnnotatedBeat { at: RecordInstant::from_s(i as f64).expect("in range"), code }),
        )
    }

    fn counted(reference: &str, test: &str) -> RunCounts {
        let window = RecordSpan::from_s(0.15).expect("in range");
        count(&side(reference), &side(test), |code| code == 'V', true, window, &all_time())
    }

    #[test]
    fn lengths_and_partners() {
        let counts = counted("NVNVVNVVVNVVVVVVVVN", "NVNVNNVVVNVVVVVNVVN");
        let leads = counts.reference_leads.0;
        assert_eq!((leads[1][1], leads[2][1], leads[3][3], leads[6][5]), (1, 1, 1, 1));
        let leads = counts.test_leads.0;
        assert_eq!((leads[1][1], leads[1][2], leads[3][3], leads[5][6], leads[2][6]), (1, 1, 1, 1, 1));
        let figures = counts.figures();
        assert_eq!((figures.couplet_sensitivity.part, figures.couplet_sensitivity.whole), (0, 1));
        assert_eq!((figures.couplet_predictivity.part, figures.couplet_predictivity.whole), (1, 1));
        assert_eq!((figures.short_sensitivity.part, figures.short_sensitivity.whole), (1, 1));
        assert_eq!((figures.short_predictivity.part, figures.short_predictivity.whole), (2, 2));
        assert_eq!((figures.long_sensitivity.part, figures.long_sensitivity.whole), (0, 1));
        assert_eq!(figures.long_predictivity.whole, 0);
    }

    #[test]
    fn a_run_missed_altogether() {
        let counts = counted("NVVVN", "N...N");
        assert_eq!(counts.reference_leads.0[3][0], 1);
    }
}
