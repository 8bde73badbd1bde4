//! Where the frames of a stream go: standard output, a board, a sound card.

use crate::diagnostics::{Failure, Outcome, say, warn};
use crate::sound::{Playback, Reporter};
use pulsewright_core::time::FrameRate;
use pulsewright_rig::RigRender;
use pulsewright_stream::link::LinkReport;
use pulsewright_text::number::counted;
use pulsewright_text::source;
use std::fmt;
use std::io::{self, Write};
use std::path::Path;
use std::sync::OnceLock;

/// Takes the frames.
pub type Sink = Box<dyn Write + Send>;

/// The report of a sink once the stream has ended.
pub enum Ending<'a> {
    /// Standard output: nothing.
    StandardOutput,
    /// The board at the end of a serial line.
    #[cfg_attr(not(unix), allow(dead_code))]
    Board(Board<'a>),
    /// A sound card.
    Card(OnceLock<Reporter>),
}

/// The board at the end of a serial line.
pub struct Board<'a> {
    line: &'a Path,
    report: Box<dyn Fn() -> LinkReport>,
}

impl Board<'_> {
    fn failure(&self, why: &dyn fmt::Display) -> Failure {
        Failure::input(format!("{}: {why}", source::name(self.line)))
    }
}

impl Ending<'_> {
    /// Says how it has ended.
    pub fn say(&self) -> Outcome {
        match self {
            Ending::StandardOutput => Ok(()),
            Ending::Board(board) => {
                let LinkReport { repeated, empty, failed } = (board.report)();
                say(&format!(
                    "sent to the board more than once: {}; without a frame: {} of its timer",
                    counted(repeated, "frame"),
                    counted(empty.into(), "tick")
                ));
                failed.map_or(Ok(()), |why| Err(board.failure(&why)))
            }
            Ending::Card(reporter) => reporter.get().map_or(Ok(()), |reporter| {
                reporter.remarks().iter().for_each(|words| warn(words));
                reporter.outcome()
            }),
        }
    }

    /// The failure of an error while frames were sent.
    pub fn failure(&self, error: &io::Error) -> Failure {
        match self {
            Ending::StandardOutput => Failure::output(error),
            Ending::Board(board) => board.failure(error),
            Ending::Card(reporter) => {
                let known = reporter.get().and_then(|reporter| reporter.outcome().err());
                known.unwrap_or_else(|| Failure::input(error))
            }
        }
    }
}

/// The card, the board at the end of a serial line, or standard output.
pub fn sink<'a>(
    card: Option<&Playback>,
    board: Option<&'a Path>,
    rig: Option<&RigRender>,
    rate: FrameRate,
) -> Result<(Sink, Ending<'a>), Failure> {
    if let Some(playback) = card {
        playback.announce();
        let reporter = OnceLock::new();
        let writer = playback.open(&reporter).map_err(Failure::input)?;
        return Ok((writer, Ending::Card(reporter)));
    }
    match (board, rig) {
        (Some(line), Some(rig)) => board_at(line, rig, rate),
        (Some(_), None) => Err(Failure::input("--board takes the codes of a rig: give --rig")),
        (None, _) => Ok((Box::new(standard_output()?), Ending::StandardOutput)),
    }
}

#[cfg(unix)]
fn board_at<'a>(line: &'a Path, rig: &RigRender, rate: FrameRate) -> Result<(Sink, Ending<'a>), Failure> {
    let writer = pulsewright_stream::link::BoardWriter::open(line, rig.frames().wiring(), rate);
    let writer = writer.map_err(|error| Failure::input(format!("{}: {error}", source::name(line))))?;
    let board = Board { line, report: Box::new(writer.reporter()) };
    Ok((Box::new(writer), Ending::Board(board)))
}

#[cfg(not(unix))]
fn board_at<'a>(_: &'a Path, _: &RigRender, _: FrameRate) -> Result<(Sink, Ending<'a>), Failure> {
    Err(Failure::input("--board needs a serial line of Unix; on this system send the frames to a program of yours"))
}

/// Standard output without the line buffer of the standard library, which would flush at any byte 10 of the signal.
#[cfg(unix)]
fn standard_output() -> Result<std::fs::File, Failure> {
    use std::os::fd::AsFd;
    io::stdout().as_fd().try_clone_to_owned().map(Into::into).map_err(|error| Failure::output(&error))
}

#[cfg(not(unix))]
fn standard_output() -> Result<io::Stdout, Failure> {
    Ok(io::stdout())
}
