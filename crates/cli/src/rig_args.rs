//! Arguments about a bench rig.

use crate::flags;
use clap::{Args, Subcommand, ValueEnum};
use pulsewright_core::time::{FrameRate, Span};
use std::path::PathBuf;

/// Frames for a rig's converters instead of channels.
#[derive(Args)]
pub struct RigFlags {
    /// Integer frames for the converters of this rig, to OUT.raw (little-endian) or OUT.wav; OUT.channels.json gives the
    /// value of a code at the connector. Test benches only: never to a person, nor to equipment connected to one. Verify
    /// the rig's output with a calibrated meter first.
    #[arg(long, value_name = "RIG", conflicts_with_all = ["channels", "bits"], help_heading = "Rig")]
    pub rig: Option<PathBuf>,

    /// When the rig can't reach a sample: refuse the render, or hold the nearest code and count.
    #[arg(long, value_enum, default_value = "refuse", requires = "rig", help_heading = "Rig")]
    pub clip: ClipWord,
}

/// How clipping is handled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ClipWord {
    /// Refuse; no file is written.
    Refuse,
    /// Hold the nearest code, count and warn.
    Count,
}

/// Describe and judge a bench rig.
#[derive(Args)]
pub struct RigArgs {
    #[command(subcommand)]
    pub verb: RigVerb,
}

#[derive(Subcommand)]
pub enum RigVerb {
    Check(RigCheck),
}

/// Validate a rig and print its steps, its reach and its frequency response at the connectors.
///
/// Steps at the electrodes are held against the noise that a monitor may have; the hold's droop and the first image are
/// those of the frame rate. Exit code 1 when an output can hurt or can't work.
#[derive(Args)]
#[command(
    after_help = "Test benches only: never to a person, nor to equipment connected to one. Isolate the rig, and verify its\n\
                        output with a calibrated meter before a monitor is connected."
)]
pub struct RigCheck {
    /// The rig; - reads it from standard input. `pulsewright schema rig` prints its schema.
    pub rig: PathBuf,

    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = flags::frame_rate, default_value = "1000")]
    pub frame_rate: FrameRate,
}

/// Measure a rig at two levels of each output and write the correction into its description.
///
/// Without readings the levels are listed, or at a terminal asked for one after the other; --levels writes frames that
/// play them. Decimal commas and units (uV, mV, V, ohm, kohm) are taken; readings that can't be meant are refused.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
    pulsewright calibrate bench.json --levels levels.raw --hold 20s --frame-rate 1000\n  \
    pulsewright calibrate bench.json --meter 'DMM 7, calibrated 2026-03'\n  \
    pulsewright calibrate bench.json --meter 'DMM 7' --meter-ohm 10M --reading 'RA=-4,63 / 4,66 mV' --reading LA=-4.64/4.62\n  \
    pulsewright calibrate bench.json --check --readings after.csv\n\
    Test benches only: never to a person, nor to equipment connected to one.\n\
    Exit codes: 0 done, 1 --check found an output off, 2 bad input or output.")]
pub struct Calibrate {
    /// The rig.
    pub rig: PathBuf,

    /// Readings of the meter at the low and the high level of an output, as RA=-4.69/4.71; may be given several times.
    #[arg(long, value_name = "OUTPUT=LOW/HIGH", value_parser = reading, allow_hyphen_values = true)]
    pub reading: Vec<(String, String, String)>,

    /// A table of readings with the columns output, low, high.
    #[arg(long, value_name = "FILE")]
    pub readings: Option<PathBuf>,

    /// The meter, by its number and the date of its own calibration; kept with the readings.
    #[arg(long, value_name = "TEXT")]
    pub meter: Option<String>,

    /// Input resistance of the meter, ohm, as 10M: its load beside the rig's is then taken out of the readings.
    #[arg(long, value_name = "OHM", value_parser = resistance)]
    pub meter_ohm: Option<f64>,

    /// Take readings that are more than 10 % off.
    #[arg(long)]
    pub accept: bool,

    /// Only judge the rig as corrected so far: nothing is written, exit code 1 when an output is more than 1 % off.
    #[arg(long)]
    pub check: bool,

    /// Write the levels as frames, one output after the other, to OUT.raw or OUT.wav, and say when each is played.
    #[arg(long, value_name = "OUT", conflicts_with_all = ["reading", "readings", "check"], help_heading = "Levels")]
    pub levels: Option<PathBuf>,

    /// Time for which each level is held.
    #[arg(long, value_name = "TIME", value_parser = flags::span, default_value = "20s", requires = "levels", help_heading = "Levels")]
    pub hold: Span,

    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = flags::frame_rate, default_value = "1000", requires = "levels", help_heading = "Levels")]
    pub frame_rate: FrameRate,

    /// Overwrite a file of levels that is there.
    #[arg(long, requires = "levels", help_heading = "Levels")]
    pub force: bool,
}

/// A resistance such as 10000000, 10M or 10 Mohm, in ohm.
fn resistance(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches("ohm").trim_end();
    let (number, factor) = [('k', 1e3), ('M', 1e6), ('G', 1e9)]
        .iter()
        .find_map(|(letter, factor)| Some((number.strip_suffix(*letter)?, *factor)))
        .unwrap_or((number, 1.0));
    let ohm = number.trim().parse::<f64>().map(|number| number * factor);
    ohm.ok().filter(|ohm| (1e3..=1e12).contains(ohm)).ok_or_else(|| "a meter has 1k to 1000G ohm, as 10M".to_owned())
}

/// Output, low and high reading as written; a unit after the high one may stand for both.
fn reading(text: &str) -> Result<(String, String, String), String> {
    let expected = || "readings are OUTPUT=LOW/HIGH, as RA=-4.69/4.71 or 'RA=-4,69 / 4,71 mV'".to_owned();
    let (output, readings) = text.split_once('=').ok_or_else(expected)?;
    let (low, high) = readings.split_once('/').ok_or_else(expected)?;
    let unit = |text: &str| text.trim_start_matches(|c: char| !c.is_alphabetic()).to_owned();
    let low = if unit(low).is_empty() { format!("{low}{}", unit(high)) } else { low.to_owned() };
    Ok((output.to_owned(), low, high.to_owned()))
}
