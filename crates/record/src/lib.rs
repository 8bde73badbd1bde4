//! The technician's record: the expectations of a monitor, its readings, the verdicts, and digests that show changes.
//!
//! # Map
//! [`plan`] has the expectations of a script, step by step, and the identity of its frames. [`worksheet`] makes one page of
//! it to fill in; the page and the terminal's session save a [`record`], which people may also write by hand
//! ([`record_csv`]). [`signature`] binds a person to a record that was saved. [`judge`] derives every verdict from the numbers, [`integrity`] finds changes, [`guide`] names the
//! places to look after a failure, [`trend`] follows the readings of one asset. [`report`] writes all of it.
//!
//! # Guarantees
//! - Verdicts come from the entries and the plan; a verdict in a file is only compared.
//! - The tolerance arithmetic is the score's; [`rules`] holds what each item is held to, for the report and for the page.
//! - Pages are self-contained: no address in them is ever fetched.
//! - Nothing here prints; of files, only the draft of a [`session`] is written.

pub mod calendar;
pub mod guide;
pub mod instruments;
pub mod integrity;
pub mod judge;
pub mod markup;
pub mod plan;
pub mod record;
pub mod record_csv;
pub mod report;
pub mod rules;
pub mod seal;
pub mod session;
pub mod signature;
pub mod trend;
pub mod walk;
pub mod worksheet;
pub mod written;

pub use integrity::Integrity;
pub use judge::{Judgement, OverallVerdict, Verdict};
pub use plan::{Plan, PlanRig, PlanWalkError};
pub use record::{Record, RecordError};
