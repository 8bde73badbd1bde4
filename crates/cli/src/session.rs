//! `session`: work at the bench in the terminal, on a screen or in lines.

mod screen;
mod typed;

use crate::bench::{self, Outputs};
use crate::diagnostics::{VerbFailure, VerbOutcome, conversation, print};
use crate::interruption;
use crate::output::claim;
use crate::record_files;
use crate::signal_output::Play;
use crate::sound::{self, CardPlay};
use crate::terminal;
use pulsewright_bench::lines::{self, LinesError, LinesOutcome, LinesTerminal};
use pulsewright_bench::{RecordFile, SessionEnd, Setup};
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::is_device;
use pulsewright_record::report::Report;
use std::io::{self, BufReader, Write};
use std::path::{Path, PathBuf};
use typed::InputLines;

/// The folder of a session on a screen that names none.
const FOLDER: &str = "pulsewright-console";

/// A session to go through.
pub struct Request {
    /// The script.
    pub script: Option<PathBuf>,
    /// Record to write.
    pub output: Option<PathBuf>,
    /// The output that takes the signal.
    pub play: Option<Play>,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Whether a record that is there may be replaced.
    pub force: bool,
    /// Folder of logs and the address book.
    pub folder: Option<PathBuf>,
    /// Whether it asks in lines on a terminal too.
    pub plain: bool,
}

/// Goes through the session: on a screen where there is one.
pub fn run(request: Request) -> VerbOutcome {
    if request.play.as_ref().and_then(Play::card).is_some_and(CardPlay::asks_for_list) {
        return sound::list();
    }
    let Request { script, output, play, frame_rate, rig, force, folder, plain } = request;
    let on_screen = !plain && screen::BUILT && terminal::is_interactive();
    if !on_screen {
        let missing = [(script.is_none(), "a script"), (output.is_none(), "--output")];
        if let Some((_, what)) = missing.iter().find(|(missing, _)| *missing) {
            return Err(VerbFailure::input(format!("a session that asks in lines needs {what}; see 'session --help'")));
        }
    }
    if let Some(record) = &output {
        no_device(record)?;
        if script.is_none() {
            return Err(VerbFailure::input("a record needs a plan: name its script"));
        }
        if matches!(&play, Some(Play::File(path)) if path == record) {
            return Err(VerbFailure::input(
                "the record and the signal need two files: --output and --play name the same one",
            ));
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
    let folder = folder.or(on_screen.then(|| PathBuf::from(FOLDER)));
    let setup = Setup { rate: frame_rate, seed, folder, plan, record, consumer };
    let (served, outcome) = if on_screen { screen::show(setup)? } else { ask(setup)? };
    bench::ended(&served)?;
    outcome.map_err(|error| match error {
        LinesError::Io(error) if error.kind() == io::ErrorKind::BrokenPipe => VerbFailure::Closed,
        error => VerbFailure::input(error),
    })?;
    served.record.as_deref().map_or(Ok(()), show_report)
}

/// Asks in lines. Gives how it ended, and why before its end.
fn ask(setup: Setup) -> Result<(SessionEnd, Result<(), LinesError>), VerbFailure> {
    // Outputs come to rest before the program ends.
    interruption::watch();
    let discard_typed = || terminal::discard_typed();
    let terminal =
        LinesTerminal { columns: terminal::columns(), discard_typed: &discard_typed, asked: &interruption::asked };
    let mut input = BufReader::new(InputLines::new());
    let LinesOutcome { served, outcome } =
        lines::run(setup, &terminal, &mut input, &mut conversation()).map_err(VerbFailure::input)?;
    Ok((served, outcome))
}

/// Prints the report of a record that was written; it ends as the record does.
fn show_report(record: &Path) -> VerbOutcome {
    let record = record_files::record(record)?;
    let report = Report::new(&record, None, &[]).map_err(VerbFailure::input)?;
    print(|out| out.write_all(report.text().as_bytes()))?;
    if report.passed() { Ok(()) } else { Err(VerbFailure::Failed) }
}

/// Refuses a record that is no plain file.
fn no_device(record: &Path) -> VerbOutcome {
    if is_device(record) {
        let name = record.display();
        return Err(VerbFailure::input(format!("{name} is a pipe or a device; a record is a plain file")));
    }
    Ok(())
}
