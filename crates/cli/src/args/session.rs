//! `session`.

use super::values;
use crate::diagnostics::Failure;
use crate::session::Request;
use clap::Args;
use pulsewright_core::time::FrameRate;
use std::path::PathBuf;

/// Go through a plan in the terminal: it plays step by step in real time, holds, asks, and writes the record.
///
/// A step holds until its readings are entered; alarms are timed from its first frame. After every answer a draft is kept
/// beside the record; the same command line goes on where a session was left or cut off. Ends as `report` does: exit code
/// 0 when everything passed, 1 when something failed or is missing, 2 when it was left or can't go on.
#[derive(Args, Debug)]
#[command(after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\n\
    Examples:\n  \
    pulsewright session examples/plan-transport-monitor.json -o record.json\n  \
    pulsewright session plan.json -o record.json --play /dev/rig --rig bench.json")]
pub struct Session {
    /// The script; docs/script.md specifies the expectations of its steps.
    script: PathBuf,
    /// Record to write, ending in .json; the draft has the same name with .draft added.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// File, pipe or device that takes the signal as it plays: codes for the converters of --rig, else frames of the usual
    /// channels, 32-bit floats; little-endian. Without it only the clock runs, for a rig that plays by itself.
    #[arg(long, value_name = "FILE")]
    play: Option<PathBuf>,
    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "500")]
    frame_rate: FrameRate,
    /// Description of the rig with its correction, whose digest goes into the record. Samples beyond its reach are held
    /// at the nearest code, counted and reported.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Overwrite a record, or a file of signal, that is there.
    #[arg(long)]
    force: bool,
}

impl Session {
    /// The request.
    pub fn request(self) -> Result<Request, Failure> {
        if !self.output.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("json")) {
            return Err(Failure::input(format!("'{}' must be a record: end it in .json", self.output.display())));
        }
        Ok(Request {
            script: self.script,
            output: self.output,
            play: self.play,
            frame_rate: self.frame_rate,
            rig: self.rig,
            force: self.force,
        })
    }
}
