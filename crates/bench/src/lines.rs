//! The plain view of a session: a plan asked about in lines, over any two streams, where there is no screen.
//!
//! A step holds until its items are entered; one with nothing to read plays for its duration. Alarms are asked about first, and
//! their time counts from the step's first frame.

mod desk;
mod error;
mod questions;
mod talk;

use crate::bench::{Bench, SessionEnd, Setup};
use crate::error::BenchError;
use desk::{LinesSession, NewsView};
pub use error::LinesError;
use questions::Questions;
use std::io::{BufRead, Write};
use talk::Conversation;
pub use talk::LinesTerminal;

/// How a session that asked in lines ended.
#[derive(Debug)]
pub struct LinesOutcome {
    /// How the session ended.
    pub served: SessionEnd,
    /// Why it did not come to its end; what was entered until then is kept.
    pub outcome: Result<(), LinesError>,
}

/// Asks and plays until the plan of the session is done; a record that was left is taken up where it stands.
///
/// # Errors
/// When the session can't be opened, or its last log can't be written.
pub fn run(
    setup: Setup,
    terminal: &LinesTerminal<'_>,
    input: &mut impl BufRead,
    out: &mut impl Write,
) -> Result<LinesOutcome, BenchError> {
    let planned = setup.plan.as_ref().map(|planned| (planned.plan.clone(), planned.rests()));
    let (plan, rests) = planned.ok_or(BenchError::NoPlan)?;
    let leaves = setup.consumer.leaves;
    let heard = NewsView::default();
    let bench = Bench::open(setup, Box::new(heard.clone()))?;
    let talk = Conversation { input, out, terminal };
    let mut questions = Questions {
        talk,
        desk: LinesSession { bench: &bench, heard, asked: terminal.asked },
        plan: &plan,
        rests: &rests,
    };
    let outcome = questions.ask_all(leaves);
    let served = bench.close()?;
    Ok(LinesOutcome { served, outcome })
}
