//! The session on a screen of the terminal.

use crate::diagnostics::VerbFailure;
use pulsewright_bench::lines::LinesError;
use pulsewright_bench::{SessionEnd, Setup};

/// Whether the program has the screen.
pub const BUILT: bool = cfg!(feature = "console");

/// Never called: see [`BUILT`].
#[cfg(not(feature = "console"))]
pub fn show(_: Setup) -> Result<(SessionEnd, Result<(), LinesError>), VerbFailure> {
    Err(VerbFailure::input("this program was built without the screen"))
}

/// Shows the session until the person leaves. Gives how it ended, and why before its end.
#[cfg(feature = "console")]
pub fn show(setup: Setup) -> Result<(SessionEnd, Result<(), LinesError>), VerbFailure> {
    use crate::interruption;
    let planned = setup.plan.is_some();
    interruption::watch();
    let left = pulsewright_terminal::run(setup, interruption::asked).map_err(VerbFailure::input)?;
    let outcome = match left.refused {
        Some(line) => Err(LinesError::NotPrepared(line.to_owned())),
        None if planned && left.served.record.is_none() => Err(LinesError::Left),
        None => Ok(()),
    };
    Ok((left.served, outcome))
}
