//! Detector results against truth.
//!
//! A detector under test gives the times of beats (pulses, breaths); a monitor gives readings and alarms. This crate
//! compares them with a reference and counts. The rules are the
//! published ones of ANSI/AAMI EC57 and EC38 as the open waveform-database comparators apply them;
//! each module names its source.
//!
//! ```
//! use pulsewright_score::{AnnotatedBeat, Annotations, RecordInstant, ScoreOptions, score_record};
//!
//! let beats = |times: &[f64]| {
//!     Annotations::from_beats(times.iter().filter_map(|&s| Some(AnnotatedBeat { at: RecordInstant::from_s(s)?, code: 'N' })))
//! };
//! let truth = beats(&[0.5, 1.3, 2.1, 2.9]);
//! let found = beats(&[0.52, 1.31, 2.95]);
//! let options = ScoreOptions { learning_s: 0.0, ..ScoreOptions::default() };
//! let report = score_record("example", &truth, &found, &options);
//! assert_eq!((report.figures.detection.matched, report.figures.detection.missed), (3, 1));
//! ```
//!
//! # Map
//! | module | content |
//! |---|---|
//! | [`instant`] | points in time as whole ticks, so that the match window is exact |
//! | [`codes`] | the open annotation codes and the two published class maps |
//! | [`annotations`] | beats, episodes and shutdown of one record |
//! | [`read`] | annotation files, CSV, JSON |
//! | [`match_beats`] | which test beat belongs to which reference beat |
//! | [`matrix`], [`rates`], [`runs`], [`episodes`] | the counts |
//! | [`record`], [`record_set`], [`report`] | one record, which files belong together, many records |
//! | [`metrics`], [`limits`] | figures by name, pass or fail |
//! | [`compare`] | two reports of the same records, with confidence intervals |
//! | [`readings`], [`alarms`], [`tolerance`] | monitor readings and alarm logs against what a script expects |
//!
//! # Guarantees
//! No input panics. Nothing here renders signals, prints, or ends the process. Reports are plain data
//! (`serde`), so the text table, JSON, CSV and JUnit forms show the same numbers.

pub mod alarms;
pub mod annotations;
pub mod codes;
pub mod compare;
pub mod episodes;
pub mod instant;
pub mod limits;
pub mod match_beats;
pub mod matrix;
pub mod metrics;
pub mod rates;
pub mod read;
pub mod readings;
pub mod record;
pub mod record_set;
pub mod report;
pub mod runs;
pub mod tolerance;

pub use annotations::{AnnotatedBeat, Annotation, Annotations};
pub use codes::ClassMap;
pub use compare::{Comparison, EarlierReport};
pub use instant::{RecordInstant, RecordSpan};
pub use limits::FigureLimits;
pub use record::{RecordReport, ScoreOptions, score_record};
pub use report::Report;
