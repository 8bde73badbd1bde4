//! The command line: every verb with its flags, and the request that they make. Help, completions and the manual page come
//! from it.

mod calibrate;
mod catalog;
mod compile;
mod documents;
mod plot;
mod render;
mod report;
mod rig;
mod samples;
mod score;
mod scoring;
mod session;
mod source;
mod stream;
mod suite;
mod values;
mod worksheet;

use clap::{Parser, Subcommand};

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
    Render(Box<render::Render>),
    Stream(Box<stream::Stream>),
    Plot(Box<plot::Plot>),
    Catalog(catalog::Catalog),
    Check(documents::Check),
    Compile(compile::Compile),
    Schema(documents::Schema),
    Rig(rig::Rig),
    Calibrate(Box<calibrate::Calibrate>),
    Score(Box<score::Score>),
    Suite(Box<suite::Suite>),
    Worksheet(worksheet::Worksheet),
    Session(session::Session),
    Report(report::Report),
    Completions(documents::Completions),
    /// Print the manual page (roff): `pulsewright manual | man -l -`.
    Manual,
}
