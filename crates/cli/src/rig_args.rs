//! What may be typed about a bench rig.

use crate::flags;
use clap::{Args, Subcommand, ValueEnum};
use pulsewright_core::time::FrameRate;
use std::path::PathBuf;

/// Frames for a rig's converters instead of channels.
#[derive(Args)]
pub struct RigFlags {
    /// Integer frames for the converters of this rig, to OUT.raw (little-endian) or OUT.wav; OUT.channels.json says what
    /// each code is at the connector. Test benches only: never to a person, nor to equipment connected to one. Verify
    /// the rig's output with a calibrated meter first.
    #[arg(long, value_name = "RIG", conflicts_with_all = ["channels", "bits"], help_heading = "Rig")]
    pub rig: Option<PathBuf>,

    /// What to do when the rig can't reach a sample: refuse the render, or hold the nearest code and count.
    #[arg(long, value_enum, default_value = "refuse", requires = "rig", help_heading = "Rig")]
    pub clip: ClipWord,
}

/// What to do about clipping.
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

/// Validate a rig and print what a step and a frame rate are worth at its connectors.
///
/// Steps at the electrodes are held against the noise that a monitor may have; the hold's droop and the first image are
/// those of the frame rate.
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
