//! The session on a screen of the terminal.

use crate::diagnostics::Failure;
use pulsewright_bench::lines::LinesError;
use pulsewright_bench::{Served, Setup};

/// Whether the program has the screen.
pub const BUILT: bool = cfg!(feature = "console");

/// Never called: see [`BUILT`].
#[cfg(not(feature = "console"))]
pub fn show(_: Setup) -> Result<(Served, Result<(), LinesError>), Failure> {
    Err(Failure::input("this program was built without the screen"))
}

/// Shows the session until the person leaves. Gives how it ended, and why before its end.
#[cfg(feature = "console")]
pub fn show(setup: Setup) -> Result<(Served, Result<(), LinesError>), Failure> {
    use crate::interruption;
    let planned = setup.plan.is_some();
    interruption::watch();
    let left = pulsewright_terminal::run(setup, interruption::asked).map_err(Failure::input)?;
    let outcome = match left.refused {
        Some(line) => Err(LinesError::NotPrepared(line.to_owned())),
        None if planned && left.served.record.is_none() => Err(LinesError::Left),
        None => Ok(()),
    };
    Ok((left.served, outcome))
}
