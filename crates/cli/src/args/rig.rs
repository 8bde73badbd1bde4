//! `rig`.

use super::values;
use crate::rig::Request;
use clap::{Args, Subcommand};
use pulsewright_core::time::FrameRate;
use std::path::PathBuf;

/// Describe and judge a bench rig.
#[derive(Args)]
pub struct Rig {
    #[command(subcommand)]
    verb: RigVerb,
}

#[derive(Subcommand)]
enum RigVerb {
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
struct RigCheck {
    /// The rig; - reads it from standard input. `pulsewright schema rig` prints its schema.
    rig: PathBuf,

    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "1000")]
    frame_rate: FrameRate,
}

impl Rig {
    /// The request.
    pub fn request(self) -> Request {
        let RigVerb::Check(RigCheck { rig, frame_rate }) = self.verb;
        Request { rig, frame_rate }
    }
}
