//! Bodies from recordings: the average beat of each kind, as waves on the heart vector.
//!
//! [`read::recording`] reads the leads of a recording; [`beats`] takes its beats from annotations, or finds them; [`fit()`] averages
//! them kind by kind, finds waves whose sum comes nearest to the average, and writes a body's document with them. What is left over is
//! reported lead by lead. Only shapes, intervals and rates of the average are kept.
//!
//! # Map
//! | module | content |
//! |---|---|
//! | [`read`] | records of the open waveform database, EDF and CSV |
//! | [`recording`] | a recording in memory |
//! | [`leads`] | names of leads, and their weights on the heart vector |
//! | [`beats`] | where the beats are and of which kind |
//! | `qrs` | a finder of QRS complexes, for recordings without annotations |
//! | `average` | beats aligned, outliers left out, the mean |
//! | `fiducials` | QRS onset and end, tops of P and T of an average |
//! | `waves` | the least-squares fit |
//! | `residual` | the part of leads that the waves do not draw |
//! | `shapes` | the waves of an average |
//! | [`document`] | the document as text |
//! | `correlation` | how alike two courses are |
//! | [`body`] | all of it, and the document |

mod average;
pub mod beats;
pub mod body;
mod correlation;
pub mod document;
mod fiducials;
pub mod leads;
mod qrs;
pub mod read;
pub mod recording;
mod residual;
mod shapes;
mod waves;

pub use body::{Fit, FitError, FittedBeats, LeadResidual, fit};
pub use recording::LeadRecording;
