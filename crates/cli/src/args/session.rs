//! `session`.

use super::play::PlayFlags;
use super::values;
use crate::diagnostics::VerbFailure;
use crate::session::Request;
use clap::Args;
use pulsewright_core::time::FrameRate;
use std::path::PathBuf;

/// Work at the bench in the terminal: choose a rhythm, see and hold it; go through a plan, enter what the monitor shows.
///
/// On a terminal it shows one screen: the live strip, the clock, what to do, and the keys that do it; `?` shows help. That
/// needs a program with the console. With --plain, or where input or output is no terminal, it asks in lines instead; then it
/// needs a script and --output.
///
/// A step holds until the next one is ordered; alarms are timed from its first frame. After every answer a draft is kept; the
/// same command line goes on where a session was left or cut off. Ends as `report` does: exit code 0 when everything passed, 1
/// when something failed or is missing, 2 when it was left or can't go on.
#[derive(Args, Debug)]
#[command(after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\n\
    Examples:\n  \
    pulsewright session\n  \
    pulsewright session examples/plan-transport-monitor.json -o record.json\n  \
    pulsewright session plan.json -o record.json --play /dev/rig --rig bench.json")]
pub struct SessionFlags {
    /// The script; docs/script.md specifies the expectations of its steps. Without one, rhythms are chosen by hand.
    script: Option<PathBuf>,
    /// Record to write, ending in .json; the draft has the same name with .draft added. Without it the screen keeps a record of
    /// each asset in the folder.
    #[arg(short, long, value_name = "OUT")]
    output: Option<PathBuf>,
    /// Folder of the logs, the address book, and of favourite and recent rhythms, which the console shares; made when it is not
    /// there. Without it the screen takes pulsewright-console, and a session that asks in lines keeps its record alone.
    #[arg(long, value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Ask in lines, without a screen.
    #[arg(long)]
    plain: bool,
    #[command(flatten)]
    play: PlayFlags,
    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "500")]
    frame_rate: FrameRate,
    /// Description of the rig with its correction, whose digest goes into the record. Samples beyond its reach are held
    /// at the nearest code, counted and reported.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Overwrite a record that is there.
    #[arg(long)]
    force: bool,
}

impl SessionFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let json = |path: &PathBuf| path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("json"));
        if let Some(output) = self.output.as_ref().filter(|output| !json(output)) {
            return Err(VerbFailure::input(format!("'{}' must be a record: end it in .json", output.display())));
        }
        Ok(Request {
            script: self.script,
            output: self.output,
            play: self.play.play()?,
            frame_rate: self.frame_rate,
            rig: self.rig,
            force: self.force,
            folder: self.folder,
            plain: self.plain,
        })
    }
}
