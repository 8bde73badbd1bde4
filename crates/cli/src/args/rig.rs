//! `rig`.

use super::values;
use crate::{circuit, rig};
use clap::{Args, Subcommand};
use pulsewright_core::time::FrameRate;
use pulsewright_rig::reading::resistance;
use std::path::PathBuf;

/// Describe and judge a bench rig.
#[derive(Args)]
pub struct RigVerbFlags {
    #[command(subcommand)]
    verb: RigVerb,
}

#[derive(Subcommand)]
enum RigVerb {
    Check(RigCheck),
    Circuit(RigCircuit),
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

/// Design the front end behind a rig's converters with parts of standard values, and work out its levels.
///
/// Prints the level at each connector into its load, into the least input of a monitor and on a meter, how far tolerances take it,
/// the filter, the bridges by their excitation and the element by its carrier. -o writes the drawing, the parts list, a SPICE
/// netlist and the description of what was designed. Exit code 1 when a level is more than 0.1 % off the description.
#[derive(Args)]
#[command(after_help = "Example:\n  pulsewright rig circuit examples/rig/front-end.json -o front-end\n\
    Test benches only: never to a person, nor to equipment connected to one. The engineer who builds the circuit judges it.\n\
    In the program with the feature `circuit`.")]
struct RigCircuit {
    /// The rig; - reads it from standard input.
    rig: PathBuf,

    /// Folder for schematic.svg, parts.csv, circuit.cir and bench.json; it is made when it is missing.
    #[arg(short, long, value_name = "FOLDER")]
    output: Option<PathBuf>,

    /// Input resistance of the meter, ohm.
    #[arg(long, value_name = "OHM", value_parser = resistance, default_value = "10M")]
    meter_ohm: f64,

    /// Circuits to draw within the tolerances, up to 100000.
    #[arg(long, value_name = "COUNT", value_parser = values::hundred_thousand, default_value = "1000")]
    draws: u32,

    /// Seed of the draws.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed, default_value = "1")]
    seed: u64,

    /// Overwrite files that are there.
    #[arg(long, requires = "output")]
    force: bool,
}

/// The request of one of the verbs.
pub enum Request {
    /// The description is judged.
    Check(rig::Request),
    /// The front end is designed.
    Circuit(circuit::Request),
}

impl RigVerbFlags {
    /// The request.
    pub fn request(self) -> Request {
        match self.verb {
            RigVerb::Check(RigCheck { rig, frame_rate }) => Request::Check(rig::Request { rig, frame_rate }),
            RigVerb::Circuit(flags) => Request::Circuit(circuit::Request {
                rig: flags.rig,
                folder: flags.output,
                meter_ohm: flags.meter_ohm,
                draws: flags.draws,
                seed: flags.seed,
                force: flags.force,
            }),
        }
    }
}
