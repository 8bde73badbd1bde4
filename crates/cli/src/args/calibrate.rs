//! `calibrate`.

use super::values;
use crate::calibrate::{LevelFrames, Request};
use crate::diagnostics::VerbFailure;
use clap::Args;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_rig::Packing;
use pulsewright_rig::reading::{as_written as reading, resistance};
use std::path::PathBuf;

/// Measure a rig at two levels of each output and write the correction into its description.
///
/// Without readings the levels are listed, or at a terminal asked for one after the other; --levels writes frames that
/// play them. Decimal commas and units (uV, mV, V, ohm, kohm) are taken; implausible readings are refused.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
    pulsewright calibrate bench.json --levels levels.raw --hold 20s --frame-rate 1000\n  \
    pulsewright calibrate bench.json --meter 'DMM 7, calibrated 2026-03'\n  \
    pulsewright calibrate bench.json --meter 'DMM 7' --meter-ohm 10M --reading 'RA=-4,63 / 4,66 mV' --reading LA=-4.64/4.62\n  \
    pulsewright calibrate bench.json --check --readings after.csv\n\
    Test benches only: never to a person, nor to equipment connected to one.\n\
    Exit codes: 0 done, 1 --check found an output off, 2 bad input or output.")]
pub struct CalibrateFlags {
    /// The rig.
    rig: PathBuf,

    /// Readings of the meter at the low and the high level of an output, as RA=-4.69/4.71; may be given several times.
    #[arg(long, value_name = "OUTPUT=LOW/HIGH", value_parser = reading, allow_hyphen_values = true)]
    reading: Vec<(String, String, String)>,

    /// A table of readings with the columns output, low, high.
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,

    /// The meter, by its number and the date of its own calibration; kept with the readings.
    #[arg(long, value_name = "TEXT")]
    meter: Option<String>,

    /// Input resistance of the meter, ohm, as 10M: its load beside the rig's is then taken out of the readings.
    #[arg(long, value_name = "OHM", value_parser = resistance)]
    meter_ohm: Option<f64>,

    /// Take readings that are more than 10 % off.
    #[arg(long)]
    accept: bool,

    /// Only judge the rig as corrected so far: nothing is written, exit code 1 when an output is more than 1 % off.
    #[arg(long)]
    check: bool,

    /// Write the levels as frames, one output after the other, to OUT.raw or OUT.wav, and say when each is played.
    #[arg(long, value_name = "OUT", conflicts_with_all = ["reading", "readings", "check"], help_heading = "Levels")]
    levels: Option<PathBuf>,

    /// Time for which each level is held.
    #[arg(long, value_name = "TIME", value_parser = values::span, default_value = "20s", requires = "levels", help_heading = "Levels")]
    hold: Span,

    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "1000", requires = "levels", help_heading = "Levels")]
    frame_rate: FrameRate,

    /// Overwrite a file of levels that is there.
    #[arg(long, requires = "levels", help_heading = "Levels")]
    force: bool,
}

impl CalibrateFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let (frame_rate, hold, force) = (self.frame_rate, self.hold, self.force);
        let levels = self.levels.map(|path| {
            let packing = match path.extension().and_then(|extension| extension.to_str()) {
                Some("raw") => Packing::Raw,
                Some("wav") => Packing::Wav(frame_rate),
                _ => return Err(VerbFailure::input("--levels writes frames: end the name in .raw or .wav")),
            };
            Ok(LevelFrames { path, packing, frame_rate, hold, force })
        });
        Ok(Request {
            rig: self.rig,
            readings: self.reading,
            table: self.readings,
            meter: self.meter,
            meter_ohm: self.meter_ohm,
            accept: self.accept,
            check: self.check,
            levels: levels.transpose()?,
        })
    }
}
