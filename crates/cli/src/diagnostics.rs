//! How a run ends: one message on standard error and an exit code.
//!
//! 0 done (a reader that closed the pipe is done too), 1 a check or score failed, 2 bad input or output.

use pulsewright_script::Problems;
use pulsewright_text::fit::{self, TerminalText};
use pulsewright_text::source::reason;
use std::fmt::Display;
use std::io::{self, BufWriter, StdoutLock, Write};
use std::process::ExitCode;

/// Why a verb did not do all it was asked.
#[derive(Debug)]
pub enum VerbFailure {
    /// The reader of standard output went away: nothing is left to do, and nothing is wrong.
    Closed,
    /// A check or score failed; its report has been printed and says why.
    Failed,
    /// Bad input, or output that could not be written; the message, complete.
    Input(String),
    /// A script with problems.
    Script(Box<Problems>),
}

/// The result of a verb.
pub type VerbOutcome = Result<(), VerbFailure>;

impl VerbFailure {
    /// Bad input or output.
    pub fn input(message: impl Display) -> VerbFailure {
        VerbFailure::Input(message.to_string())
    }

    /// Standard output could not be written.
    pub fn output(error: &io::Error) -> VerbFailure {
        if error.kind() == io::ErrorKind::BrokenPipe {
            VerbFailure::Closed
        } else {
            VerbFailure::Input(format!("cannot write standard output: {}", reason(error)))
        }
    }
}

/// Says what went wrong and gives the exit code.
pub fn report(outcome: VerbOutcome) -> ExitCode {
    match outcome {
        Ok(()) | Err(VerbFailure::Closed) => ExitCode::SUCCESS,
        Err(VerbFailure::Failed) => ExitCode::from(1),
        Err(VerbFailure::Input(message)) => {
            error(&message);
            ExitCode::from(2)
        }
        Err(VerbFailure::Script(problems)) => {
            // The stream takes the colour out again where it is not wanted.
            let _ = writeln!(anstream::stderr(), "{}", problems.render(true));
            ExitCode::from(2)
        }
    }
}

/// Prints clap's message: an error of the command line, or help. Typed text may hold any character, so a message with
/// characters unfit for a terminal is printed as plain text, without colours.
pub fn usage(error: &clap::Error) -> ExitCode {
    let plain = error.render().to_string();
    if plain.contains(|c| c != '\n' && fit::is_unfit(c)) {
        let _ = write!(io::stderr(), "{}", fit::block(&plain));
        return ExitCode::from(2);
    }
    error.exit()
}

/// Prints an error.
pub fn error(message: &str) {
    say(&format!("error: {message}"));
}

/// Prints a warning: the work is done, but something in it may not be what was wanted.
pub fn warn(message: &str) {
    say(&format!("warning: {message}"));
}

/// A line on standard error, fit for a terminal. A standard error that is closed is no reason to stop.
pub fn say(message: &str) {
    let _ = writeln!(io::stderr(), "{}", fit::message(message));
}

/// Standard output for people.
pub type PeopleOutput = TerminalText<BufWriter<StdoutLock<'static>>>;

/// Calls `write` with a buffered standard output, fit for a terminal, and flushes it.
pub fn print(write: impl FnOnce(&mut PeopleOutput) -> io::Result<()>) -> VerbOutcome {
    let mut out = TerminalText::new(BufWriter::new(io::stdout().lock()));
    write(&mut out).and_then(|()| out.flush()).map_err(|error| VerbFailure::output(&error))
}

/// Standard output fit for a terminal, for a conversation: every line is flushed.
pub fn conversation() -> TerminalText<StdoutLock<'static>> {
    TerminalText::new(io::stdout().lock())
}

/// Calls `write` with a buffered standard output that takes a document byte for byte, and flushes it.
pub fn print_document(write: impl FnOnce(&mut BufWriter<StdoutLock<'static>>) -> io::Result<()>) -> VerbOutcome {
    let mut out = BufWriter::new(io::stdout().lock());
    write(&mut out).and_then(|()| out.flush()).map_err(|error| VerbFailure::output(&error))
}
