//! The command line: every verb with its flags, and the request that they make. Help, completions and the manual page come
//! from it.

mod calibrate;
mod catalog;
mod cohort;
mod compile;
mod console;
mod documents;
mod fit;
mod play;
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
use pulsewright_text::fit::{cut, line};
use std::env;
use std::ffi::{OsStr, OsString};

pub use rig::Request as RigRequest;

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

/// Most characters of an argument that a message repeats.
const LONGEST_SHOWN: usize = 200;

impl Arguments {
    /// Reads the command line.
    ///
    /// # Errors
    /// The message of what is wrong with it, or the help that was asked for. A message repeats arguments, so they are shown in it
    /// as a terminal may have them: on one line, without unseen characters, cut.
    pub fn typed() -> Result<Arguments, clap::Error> {
        let words: Vec<OsString> = env::args_os().collect();
        Arguments::try_parse_from(&words).map_err(|error| {
            let fit: Vec<OsString> = words.iter().map(|word| shown(word)).collect();
            if fit == words {
                return error;
            }
            let again = Arguments::try_parse_from(fit);
            again.err().filter(|again| again.kind() == error.kind()).unwrap_or(error)
        })
    }
}

/// An argument as a message shows it.
fn shown(word: &OsStr) -> OsString {
    match word.to_str() {
        Some(word) => cut(&line(word), LONGEST_SHOWN).into_owned().into(),
        None => word.to_owned(),
    }
}

#[derive(Subcommand)]
pub enum Verb {
    Render(Box<render::RenderFlags>),
    Stream(Box<stream::StreamFlags>),
    Plot(Box<plot::PlotFlags>),
    Catalog(catalog::CatalogFlags),
    Check(documents::CheckFlags),
    Compile(compile::CompileFlags),
    Schema(documents::SchemaFlags),
    Rig(rig::RigVerbFlags),
    Calibrate(Box<calibrate::CalibrateFlags>),
    Fit(Box<fit::FitFlags>),
    Score(Box<score::ScoreFlags>),
    Suite(Box<suite::SuiteFlags>),
    Cohort(Box<cohort::CohortFlags>),
    Worksheet(worksheet::WorksheetFlags),
    Session(session::SessionFlags),
    Console(Box<console::ConsoleFlags>),
    Report(report::ReportVerbFlags),
    Completions(documents::CompletionsFlags),
    /// Print the manual page (roff): `pulsewright manual | man -l -`.
    Manual,
}
