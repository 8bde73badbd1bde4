//! What may be typed: every verb with its arguments, from which help, completions and the manual page are made.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Reference patient signals whose truth is known: ECG, respiration and pressures from rhythm scripts.
#[derive(Parser)]
#[command(
    name = "pulsewright",
    version,
    arg_required_else_help = true,
    disable_help_subcommand = true,
    after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\
                  Exit codes: 0 done, 1 a check or score failed, 2 bad input or output."
)]
pub struct Arguments {
    #[command(subcommand)]
    pub verb: Verb,
}

#[derive(Subcommand)]
pub enum Verb {
    Catalog(Catalog),
    Check(Check),
    /// Print the JSON Schema of scripts, for editors and other checkers.
    Schema,
    Completions(Completions),
    /// Print the manual page (roff): `pulsewright manual | man -l -`.
    Manual,
}

/// List what can be chosen: rhythms, bodies, channels, fields.
#[derive(Args)]
pub struct Catalog {
    /// Only this list.
    #[arg(value_enum)]
    pub list: Option<List>,
    /// As JSON, with the numbers that the tables round or leave out.
    #[arg(long)]
    pub json: bool,
}

/// A list of the catalogue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum List {
    /// Rhythms with their rates and the alarm expected of a monitor.
    Rhythms,
    /// Bodies with their resting values.
    Bodies,
    /// Channels, and the words for groups of them.
    Channels,
    /// Settings of a step with unit and range.
    Fields,
}

/// Validate scripts and print their timelines.
#[derive(Args)]
pub struct Check {
    /// The scripts; - reads one from standard input.
    #[arg(required = true, value_name = "SCRIPT")]
    pub scripts: Vec<PathBuf>,
}

/// Print the completions of a shell.
#[derive(Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}
