//! The technician's record: what to expect of a monitor, what it showed, the verdict, and proof that nothing was changed.
//!
//! # Map
//! [`plan`] is what a script expects, step by step, with the identity of what is played. [`worksheet`] makes one page of
//! it to fill in; the page and the terminal's session save a [`record`], which people may also write by hand
//! ([`record_csv`]). [`judge`] works every verdict out from the numbers, [`integrity`] tells what was changed, [`guide`]
//! where to look when something failed, [`trend`] how readings of the same asset moved. [`report`] writes all of it.
//!
//! # What holds
//! - Verdicts come from what was written and the plan; a verdict in a file is only compared.
//! - The tolerance arithmetic is the score's; the page's copy of it is held against the same table of cases.
//! - Pages are self-contained: no address in them is ever fetched.
//! - Nothing here prints or touches files; a [`session`] is given both sides of a terminal, and its output.

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
pub mod seal;
pub mod session;
pub mod trend;
pub mod walk;
pub mod worksheet;
pub mod written;

pub use integrity::Integrity;
pub use judge::{Judgement, Overall, Verdict};
pub use plan::{Plan, PlanError, Rig};
pub use record::{BadRecord, Record};
