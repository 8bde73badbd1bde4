//! One record scored: all counts, and the outcome of each beat.
//!
//! # Which beats count
//! Matching runs over the whole record; then a pair or a missed beat counts if its *reference* beat lies in the
//! test period. An extra beat counts if it lies there itself, or before the record, where there is no signal. So a pair across
//! the edge is neither credit nor penalty.
//! The test period starts after the learning period (EC57: 5 min) and ends with the record.
//! Unmatched test beats between start and end of fibrillation in the reference are not counted (open beat comparator);
//! reference beats during fibrillation that only the test marks still count as missed.

use serde::{Deserialize, Serialize};

use crate::annotations::{AnnotatedBeat, Annotations, EpisodeKind, TimeRange};
use crate::codes::{BeatClass, ClassMap};
use crate::episodes::{self, EpisodeFigures};
use crate::instant::{RecordInstant, RecordSpan};
use crate::match_beats::{Pairing, pair};
use crate::matrix::{ClassFigures, Detection, Matrix, NONE, Proportion, SHUTDOWN};
use crate::rates::{RateFigures, RateSums, compare_rates, intervals_ms, rates_bpm};
use crate::runs::{self, RunCounts, RunFigures};

/// The kind of the events.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Events {
    /// QRS complexes.
    #[default]
    Beats,
    /// Pressure pulses.
    Pulses,
    /// Breaths.
    Breaths,
}

impl Events {
    /// Usual match window, s: 0.15 for beats (EC57); for pulses 0.15 and breaths 0.5 (common practice, no source).
    pub fn window_s(self) -> f64 {
        match self {
            Events::Beats | Events::Pulses => 0.15,
            Events::Breaths => 0.5,
        }
    }

    /// Name for reports.
    pub fn name(self) -> &'static str {
        match self {
            Events::Beats => "beats",
            Events::Pulses => "pulses",
            Events::Breaths => "breaths",
        }
    }
}

/// How to score.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ScoreOptions {
    /// The kind of the events.
    pub events: Events,
    /// Match window, s, inclusive.
    pub window_s: f64,
    /// Learning period at the start that does not count, s.
    pub learning_s: f64,
    /// End of the test period, s; `None` for the end of the record.
    pub end_s: Option<f64>,
    /// Known delay of the detector, s: taken off each test time before anything else.
    pub delay_s: f64,
    /// Where the escape beats belong.
    pub classes: ClassMap,
}

impl Default for ScoreOptions {
    /// The published rules for beats: 150 ms, 5 min learning, the comparator's class map.
    fn default() -> ScoreOptions {
        ScoreOptions {
            events: Events::Beats,
            window_s: Events::Beats.window_s(),
            learning_s: 300.0,
            end_s: None,
            delay_s: 0.0,
            classes: ClassMap::default(),
        }
    }
}

/// The outcome of one beat that counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeatOutcome {
    /// The reference beat; `None` for an extra test beat.
    pub reference: Option<AnnotatedBeat>,
    /// The test beat; `None` for a missed reference beat.
    pub test: Option<AnnotatedBeat>,
}

/// Time and beats lost to shutdown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct ShutdownFigures {
    /// Time in which the test could not read the signal, s.
    pub test_s: f64,
    /// Time in which the reference could not, s.
    pub reference_s: f64,
    /// Reference beats missed in test shutdown, of all.
    pub beats: Proportion,
    /// Of the normal ones.
    pub n: Proportion,
    /// Of the supraventricular ones.
    pub s: Proportion,
    /// Of the ventricular ones.
    pub v: Proportion,
    /// Of the fusion beats.
    pub f: Proportion,
}

/// Sums that add up over records.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sums {
    matrix: Matrix,
    labelled: Option<Matrix>,
    rates: RateSums,
    ventricular_runs: Option<RunCounts>,
    supraventricular_runs: Option<RunCounts>,
    episodes: Vec<EpisodeFigures>,
    shutdown_s: [f64; 2],
}

/// Everything counted, of one record or of many.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Figures {
    /// Beats found, missed and extra.
    pub detection: Detection,
    /// Reference class by test class.
    pub matrix: Matrix,
    /// Ventricular ectopic beats; `None` if the test gives no labels.
    pub ventricular: Option<ClassFigures>,
    /// Supraventricular ectopic beats; `None` if the test gives no labels.
    pub supraventricular: Option<ClassFigures>,
    /// Interval, rate and timing errors.
    pub rates: RateFigures,
    /// Ventricular runs; `None` if the test gives no labels.
    pub ventricular_runs: Option<RunFigures>,
    /// Supraventricular runs; `None` if the test gives no labels.
    pub supraventricular_runs: Option<RunFigures>,
    /// Episodes by kind.
    pub episodes: Vec<EpisodeFigures>,
    /// Shutdown.
    pub shutdown: ShutdownFigures,
}

/// One record scored.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordReport {
    /// Its name.
    pub record: String,
    /// The counts.
    #[serde(flatten)]
    pub figures: Figures,
    /// Beat by beat, in order of time.
    #[serde(skip)]
    pub outcomes: Vec<BeatOutcome>,
    /// The sums behind the figures.
    #[serde(skip)]
    pub sums: Sums,
}

/// Scores one record. Options out of range (negative, NaN) count as zero.
pub fn score_record(record: &str, reference: &Annotations, test: &Annotations, options: &ScoreOptions) -> RecordReport {
    let span = |s: f64| RecordSpan::from_s(s.max(0.0)).unwrap_or_default();
    let window = span(options.window_s);
    let mut test = test.clone();
    // A time before the first frame answers no signal: neither a learning period nor a delay excuses it.
    let before_start = test.beats.iter().take_while(|beat| beat.at < RecordInstant::START).count();
    shift(&mut test, options.delay_s);
    let record_end = reference.end.unwrap_or_else(|| reference.last().max(test.last()));
    let asked_end = options.end_s.and_then(RecordInstant::from_s).unwrap_or(RecordInstant::END);
    let scored = TimeRange { from: RecordInstant::START + span(options.learning_s), to: record_end.min(asked_end) };

    let instants = |beats: &[AnnotatedBeat]| beats.iter().map(|beat| beat.at).collect::<Vec<_>>();
    let pairing = pair(&instants(&reference.beats), &instants(&test.beats), window);
    let outcomes = outcomes(&pairing, reference, &test, &scored, before_start);
    let matrix = matrix(&outcomes, reference, &test, options.classes);
    let mut sums = Sums {
        matrix,
        rates: rate_sums(&pairing.pairs, reference, &test, &scored),
        episodes: episodes::score(reference, &test, &scored),
        shutdown_s: [&test, reference].map(|side| {
            side.shutdown.iter().filter_map(|s| s.clipped(&scored)).map(|s| s.length().s()).fold(0.0, |a, b| a + b)
        }),
        ..Sums::default()
    };
    if test.labelled && reference.labelled {
        let is = |class| move |code| options.classes.class(code) == Some(class);
        sums.labelled = Some(matrix);
        sums.ventricular_runs = Some(runs::count(reference, &test, is(BeatClass::V), true, window, &scored));
        sums.supraventricular_runs = Some(runs::count(reference, &test, is(BeatClass::S), false, window, &scored));
    }
    RecordReport { record: record.into(), figures: sums.figures(), outcomes, sums }
}

fn shift(test: &mut Annotations, delay_s: f64) {
    let Some(delay) = RecordSpan::from_s(delay_s) else {
        return;
    };
    for beat in &mut test.beats {
        beat.at = beat.at - delay;
    }
}

/// The outcome of each beat that counts. The first `before_start` test beats came before the record; those without a match
/// count as extra. So do extra beats that the delay moved before it, unless a learning period begins there.
fn outcomes(
    pairing: &Pairing,
    reference: &Annotations,
    test: &Annotations,
    scored: &TimeRange,
    before_start: usize,
) -> Vec<BeatOutcome> {
    let fibrillation = reference.stretches(EpisodeKind::Vf);
    let mut outcomes = Vec::with_capacity(reference.beats.len() + pairing.extra.len());
    for &(r, t) in &pairing.pairs {
        outcomes.push(BeatOutcome { reference: Some(reference.beats[r]), test: Some(test.beats[t]) });
    }
    for &r in &pairing.missed {
        outcomes.push(BeatOutcome { reference: Some(reference.beats[r]), test: None });
    }
    outcomes.retain(|outcome| outcome.at().is_some_and(|at| scored.holds(at)));
    for &t in &pairing.extra {
        let beat = test.beats[t];
        let learning = scored.from > RecordInstant::START;
        let before = t < before_start || (beat.at < RecordInstant::START && !learning);
        let counts = scored.holds(beat.at) && !fibrillation.iter().any(|stretch| stretch.holds(beat.at));
        if before || counts {
            outcomes.push(BeatOutcome { reference: None, test: Some(beat) });
        }
    }
    outcomes.sort_by_key(BeatOutcome::at);
    outcomes
}

impl BeatOutcome {
    /// When: the reference beat's time, else the test beat's.
    pub fn at(&self) -> Option<RecordInstant> {
        self.reference.or(self.test).map(|beat| beat.at)
    }
}

fn matrix(outcomes: &[BeatOutcome], reference: &Annotations, test: &Annotations, classes: ClassMap) -> Matrix {
    let shut = |side: &Annotations, at: RecordInstant| side.shutdown.iter().any(|stretch| stretch.holds(at));
    let class = |beat: AnnotatedBeat| classes.class(beat.code).unwrap_or(BeatClass::Q).index();
    let absent = |side, at| if shut(side, at) { SHUTDOWN } else { NONE };
    let mut matrix = Matrix::default();
    for outcome in outcomes {
        match (outcome.reference, outcome.test) {
            (Some(r), Some(t)) => matrix.count(class(r), class(t)),
            (Some(r), None) => matrix.count(class(r), absent(test, r.at)),
            (None, Some(t)) => matrix.count(absent(reference, t.at), class(t)),
            (None, None) => {}
        }
    }
    matrix
}

fn rate_sums(pairs: &[(usize, usize)], reference: &Annotations, test: &Annotations, scored: &TimeRange) -> RateSums {
    let mut sums = RateSums::default();
    let void_gaps: Vec<TimeRange> = [reference, test]
        .iter()
        .flat_map(|side| side.stretches(EpisodeKind::Vf).into_iter().chain(side.shutdown.iter().copied()))
        .collect();
    let void = |from, to| void_gaps.iter().any(|gap| gap.overlaps(&TimeRange { from, to }));
    let instants = |beats: &[AnnotatedBeat]| beats.iter().map(|beat| beat.at).collect::<Vec<_>>();
    let (reference_at, test_at) = (instants(&reference.beats), instants(&test.beats));
    let reference_ms = intervals_ms(&reference_at, void);
    let test_ms = intervals_ms(&test_at, void);

    // An interval may reach back into the learning period; the beat that ends it must count.
    let mut before = None;
    for &(r, t) in pairs {
        if scored.holds(reference_at[r]) {
            sums.offset_ms.take((test_at[t] - reference_at[r]).ms());
            if let (Some(reference_rr), Some(test_rr)) = (reference_ms[r], test_ms[t]) {
                sums.rr_ms.take(test_rr - reference_rr);
                if before == Some((r - 1, t - 1)) {
                    sums.rr_intact_ms.take(test_rr - reference_rr);
                }
            }
        }
        before = Some((r, t));
    }
    let within = |mut rates: Vec<(RecordInstant, f64)>| {
        rates.retain(|(at, _)| scored.holds(*at));
        rates
    };
    let reference_rates = within(rates_bpm(&reference_at, &reference_ms));
    compare_rates(&reference_rates, &within(rates_bpm(&test_at, &test_ms)), &mut sums);
    sums
}

impl Sums {
    /// Adds another record.
    pub fn add(&mut self, other: &Sums) {
        self.matrix.add(&other.matrix);
        if let Some(matrix) = &other.labelled {
            self.labelled.get_or_insert_default().add(matrix);
        }
        self.rates.add(&other.rates);
        if let Some(counts) = &other.ventricular_runs {
            self.ventricular_runs.get_or_insert_default().add(counts);
        }
        if let Some(counts) = &other.supraventricular_runs {
            self.supraventricular_runs.get_or_insert_default().add(counts);
        }
        for episode in &other.episodes {
            match self.episodes.iter_mut().find(|e| e.kind == episode.kind) {
                Some(same) => same.add(episode),
                None => self.episodes.push(*episode),
            }
        }
        self.shutdown_s[0] += other.shutdown_s[0];
        self.shutdown_s[1] += other.shutdown_s[1];
    }

    /// The figures.
    pub fn figures(&self) -> Figures {
        let lost = |rows: &[usize]| {
            let part = rows.iter().map(|&row| self.matrix.0[row][SHUTDOWN]).sum();
            Proportion::new(part, rows.iter().map(|&row| self.matrix.0[row].iter().sum::<u64>()).sum())
        };
        Figures {
            detection: self.matrix.detection(),
            matrix: self.matrix,
            ventricular: self.labelled.map(|matrix| matrix.ventricular()),
            supraventricular: self.labelled.map(|matrix| matrix.supraventricular()),
            rates: self.rates.figures(),
            ventricular_runs: self.ventricular_runs.map(|counts| counts.figures()),
            supraventricular_runs: self.supraventricular_runs.map(|counts| counts.figures()),
            episodes: self.episodes.clone(),
            shutdown: ShutdownFigures {
                test_s: self.shutdown_s[0],
                reference_s: self.shutdown_s[1],
                beats: lost(&[0, 1, 2, 3, 4]),
                n: lost(&[BeatClass::N.index()]),
                s: lost(&[BeatClass::S.index()]),
                v: lost(&[BeatClass::V.index()]),
                f: lost(&[BeatClass::F.index()]),
            },
        }
    }
}
