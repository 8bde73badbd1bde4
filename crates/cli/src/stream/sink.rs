//! Where the frames of a stream go: standard output, a board, a sound card.

use crate::diagnostics::{VerbFailure, VerbOutcome, say, warn};
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
pub enum SinkReport<'a> {
    /// Standard output: nothing.
    StandardOutput,
    /// The board at the end of a serial line.
    #[cfg_attr(not(unix), allow(dead_code))]
    Board(BoardSink<'a>),
    /// A sound card.
    Card(OnceLock<Reporter>),
}

/// The board at the end of a serial line.
pub struct BoardSink<'a> {
    line: &'a Path,
    report: Box<dyn Fn() -> LinkReport>,
}

impl BoardSink<'_> {
    fn failure(&self, why: &dyn fmt::Display) -> VerbFailure {
        VerbFailure::input(format!("{}: {why}", source::name(self.line)))
    }
}

impl SinkReport<'_> {
    /// Says how it has ended.
    pub fn say(&self) -> VerbOutcome {
        match self {
            SinkReport::StandardOutput => Ok(()),
            SinkReport::Board(board) => {
                let LinkReport { repeated, empty, failed } = (board.report)();
                say(&format!(
                    "sent to the board more than once: {}; without a frame: {} of its timer",
                    counted(repeated, "frame"),
                    counted(empty.into(), "tick")
                ));
                failed.map_or(Ok(()), |why| Err(board.failure(&why)))
            }
            SinkReport::Card(reporter) => reporter.get().map_or(Ok(()), |reporter| {
                reporter.remarks().iter().for_each(|words| warn(words));
                reporter.outcome()
            }),
        }
    }

    /// The failure of an error while frames were sent.
    pub fn failure(&self, error: &io::Error) -> VerbFailure {
        match self {
            SinkReport::StandardOutput => VerbFailure::output(error),
            SinkReport::Board(board) => board.failure(error),
            SinkReport::Card(reporter) => {
                let known = reporter.get().and_then(|reporter| reporter.outcome().err());
                known.unwrap_or_else(|| VerbFailure::input(error))
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
) -> Result<(Sink, SinkReport<'a>), VerbFailure> {
    if let Some(playback) = card {
        playback.announce();
        let reporter = OnceLock::new();
        let writer = playback.open(&reporter).map_err(VerbFailure::input)?;
        return Ok((writer, SinkReport::Card(reporter)));
    }
    match (board, rig) {
        (Some(line), Some(rig)) => board_at(line, rig, rate),
        (Some(_), None) => Err(VerbFailure::input("--board takes the codes of a rig: give --rig")),
        (None, _) => Ok((Box::new(standard_output()?), SinkReport::StandardOutput)),
    }
}

#[cfg(unix)]
fn board_at<'a>(line: &'a Path, rig: &RigRender, rate: FrameRate) -> Result<(Sink, SinkReport<'a>), VerbFailure> {
    let writer = pulsewright_stream::link::BoardWriter::open(line, rig.frames().wiring(), rate);
    let writer = writer.map_err(|error| VerbFailure::input(format!("{}: {error}", source::name(line))))?;
    let board = BoardSink { line, report: Box::new(writer.reporter()) };
    Ok((Box::new(writer), SinkReport::Board(board)))
}

#[cfg(not(unix))]
fn board_at<'a>(_: &'a Path, _: &RigRender, _: FrameRate) -> Result<(Sink, SinkReport<'a>), VerbFailure> {
    Err(VerbFailure::input("--board needs a serial line of Unix; on this system send the frames to a program of yours"))
}

/// Standard output without the line buffer of the standard library, which would flush at any byte 10 of the signal.
#[cfg(unix)]
fn standard_output() -> Result<std::fs::File, VerbFailure> {
    use std::os::fd::AsFd;
    io::stdout().as_fd().try_clone_to_owned().map(Into::into).map_err(|error| VerbFailure::output(&error))
}

#[cfg(not(unix))]
fn standard_output() -> Result<io::Stdout, VerbFailure> {
    Ok(io::stdout())
}
