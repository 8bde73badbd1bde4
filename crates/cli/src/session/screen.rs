//! The session on a screen of the terminal.

#[cfg(not(feature = "console"))]
use super::Request;
#[cfg(not(feature = "console"))]
use crate::diagnostics::Outcome;

/// Whether the program has the screen.
pub const BUILT: bool = cfg!(feature = "console");

/// Never called: see [`BUILT`].
#[cfg(not(feature = "console"))]
pub fn run(_: Request) -> Outcome {
    Ok(())
}

#[cfg(feature = "console")]
pub use built::run;

#[cfg(feature = "console")]
mod built {
    use super::super::{Request, no_device, show_report};
    use crate::bench::{self, Outputs};
    use crate::diagnostics::{Failure, Outcome};
    use crate::interruption;
    use crate::output::claim;
    use pulsewright_bench::{RecordFile, Setup};
    use pulsewright_record::session::SessionError;
    use std::path::PathBuf;

    /// Shows the session until the person leaves.
    pub fn run(request: Request) -> Outcome {
        let Request { script, output, play, frame_rate, rig, force, folder, .. } = request;
        if let Some(record) = &output {
            no_device(record)?;
            if script.is_none() {
                return Err(Failure::input("a record needs a plan: name its script"));
            }
            // The session claims it; here it is only no file that the same command reads.
            let inputs = rig.iter().chain(&script).map(PathBuf::as_path);
            drop(claim(&[record], inputs, force)?);
        }
        let outputs = Outputs { play, rig, rate: frame_rate };
        // Held until the end: no other process writes there.
        let target = outputs.target(script.as_deref())?;
        let of_plan = bench::planned(script.as_deref(), outputs.rig.as_deref())?;
        let consumer = outputs.consumer(target.as_ref(), of_plan.as_ref().map(|of| &of.document))?;
        let seed = of_plan.as_ref().map_or(1, |of| of.document.seed());
        let plan = of_plan.map(|of| of.planned);
        let record = output.map(|path| RecordFile { path, force });
        let planned = plan.is_some();
        let setup = Setup { rate: frame_rate, seed, folder, plan, record, consumer };
        interruption::watch();
        let left = pulsewright_terminal::run(setup, interruption::asked).map_err(Failure::input)?;
        bench::ended(&left.served)?;
        if let Some(line) = left.refused {
            return Err(Failure::input(SessionError::NotPrepared(line.to_owned())));
        }
        match &left.served.record {
            Some(record) => show_report(record),
            None if planned => Err(Failure::input(SessionError::Left)),
            None => Ok(()),
        }
    }
}
