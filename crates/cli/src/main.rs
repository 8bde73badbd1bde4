//! The `pulsewright` command line: arguments in, calls out, nothing else.
//!
//! [`args`] has the arguments, one module per verb does the work, [`diagnostics`] turns the outcome into a message and an
//! exit code. A new verb is a row in [`args::Verb`], a module, and an arm in `main`.

mod args;
mod calibrate;
mod catalog;
mod channel_groups;
mod check;
mod compile;
mod diagnostics;
mod flags;
mod interruption;
mod manual;
mod output;
mod patient;
mod plot;
mod progress;
mod record_files;
mod render;
mod report;
mod rig;
mod rig_args;
mod rig_render;
mod schema;
mod score;
mod score_flags;
mod script_file;
mod session;
mod stream;
mod suite;
mod table;
mod worksheet;

use args::{Arguments, Verb};
use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return diagnostics::usage(&error),
    };
    let outcome = match arguments.verb {
        Verb::Render(render) => render::run(&render),
        Verb::Stream(stream) => stream::run(&stream),
        Verb::Plot(plot) => plot::run(&plot),
        Verb::Catalog(catalog) => catalog::run(&catalog),
        Verb::Check(check) => check::run(&check),
        Verb::Schema(schema) => schema::run(&schema),
        Verb::Compile(compile) => compile::run(&compile),
        Verb::Calibrate(calibrate) => calibrate::run(&calibrate),
        Verb::Rig(rig) => rig::run(&rig),
        Verb::Completions(completions) => manual::completions(completions.shell),
        Verb::Score(score) => score::run(&score),
        Verb::Suite(suite) => suite::run(&suite),
        Verb::Worksheet(worksheet) => worksheet::run(&worksheet),
        Verb::Session(session) => session::run(&session),
        Verb::Report(report) => report::run(&report),
        Verb::Manual => manual::page(),
    };
    diagnostics::report(outcome)
}
