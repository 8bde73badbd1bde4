//! The `pulsewright` command line: arguments in, calls out, nothing else.
//!
//! [`args`] reads the flags of each verb and makes a request of plain values; the module of the verb does the work of a
//! request, and knows no flags; [`diagnostics`] turns the outcome into a message and an exit code.
//!
//! A new verb is a row in [`args::Verb`], a file of flags below `args`, a module with a `Request` and its `run`, and an arm
//! in [`run`].

mod args;
mod bench;
mod calibrate;
mod catalog;
mod check;
mod circuit;
mod cohort;
mod compile;
mod console;
mod diagnostics;
mod fit;
mod interruption;
mod manual;
mod output;
mod plot;
mod progress;
mod record_files;
mod render;
mod report;
mod rig;
mod schema;
mod score;
mod scoring;
mod script_file;
mod session;
mod signal_output;
mod signatures;
mod sound;
mod source;
mod stream;
mod suite;
mod table;
mod terminal;
mod worksheet;

use args::{Arguments, RigRequest, Verb};
use clap::CommandFactory;
use diagnostics::VerbOutcome;
use std::process::ExitCode;

fn main() -> ExitCode {
    match Arguments::typed() {
        Ok(arguments) => diagnostics::report(run(arguments.verb)),
        Err(error) => diagnostics::usage(&error),
    }
}

fn run(verb: Verb) -> VerbOutcome {
    match verb {
        Verb::Render(flags) => render::run(flags.request()?),
        Verb::Stream(flags) => stream::run(flags.request()?),
        Verb::Plot(flags) => plot::run(flags.request()?),
        Verb::Catalog(flags) => catalog::run(flags.request()),
        Verb::Check(flags) => check::run(&flags.scripts),
        Verb::Schema(flags) => schema::run(flags.request()),
        Verb::Compile(flags) => compile::run(flags.request()),
        Verb::Calibrate(flags) => calibrate::run(flags.request()?),
        Verb::Fit(flags) => fit::run(flags.request()),
        Verb::Rig(flags) => match flags.request() {
            RigRequest::Check(request) => rig::run(request),
            RigRequest::Circuit(request) => circuit::run(request),
        },
        Verb::Completions(flags) => manual::completions(Arguments::command(), flags.shell),
        Verb::Score(flags) => score::run(flags.request()?),
        Verb::Suite(flags) => suite::run(flags.request()?),
        Verb::Cohort(flags) => cohort::run(flags.request()?),
        Verb::Worksheet(flags) => worksheet::run(flags.request()?),
        Verb::Session(flags) => session::run(flags.request()?),
        Verb::Console(flags) => console::run(flags.request()?),
        Verb::Report(flags) => report::run(flags.request()?),
        Verb::Manual => manual::page(Arguments::command()),
    }
}
