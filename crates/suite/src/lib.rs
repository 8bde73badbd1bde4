//! Many rendered records through a detector under test, scored together.
//!
//! A [`SuitePlan`] spans a matrix of rhythms, rates, bodies, settings, frame rates and seeds. Each of its [`SuiteRecord`]s is
//! rendered, given to the [`Detector`] (a command of the user's), and the answer is kept in a [`AnswerFolder`]. The
//! [`SuiteReport`] is made from the plan and the answers alone.
//!
//! # Map
//! [`plan`] reads the plan, [`record`] renders a record and its truth, [`detector`] runs the command, [`mod@repeats`] finds
//! records that are equal, [`folder`] keeps answers, [`mod@run`] spreads the work over cores, [`mod@merge`] joins shards,
//! [`report`] scores.
//!
//! # What holds
//! - The report depends on plan, answers and limits only: not on the number of cores, the order in which records were
//!   run, how often the run was interrupted, or into how many shards it was cut.
//! - An answer appears whole or not at all, so a run that was killed goes on where it was.
//! - The truth is the events that a render writes beside its signal, with their times as the player has them.
#![forbid(unsafe_code)]

mod answer;
pub mod detector;
mod error;
pub mod folder;
pub mod merge;
pub mod plan;
pub mod record;
pub mod recorded;
mod reference;
pub mod repeats;
pub mod report;
pub mod run;
pub mod shard;
mod signal;

pub use detector::Detector;
pub use error::SuiteError;
pub use folder::{AnswerFolder, AnswerManifest};
pub use merge::merge;
pub use plan::SuitePlan;
pub use record::SuiteRecord;
pub use repeats::{Repeat, repeats};
pub use report::SuiteReport;
pub use run::run;
pub use shard::Shard;
