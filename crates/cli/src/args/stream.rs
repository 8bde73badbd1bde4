//! `stream`.

use super::samples::SampleFlags;
use super::source::StepFlags;
use super::values;
use crate::diagnostics::VerbFailure;
use crate::sound::CardPlay;
use crate::stream::{Request, StreamFormat};
use clap::Args;
use pulsewright_core::time::Span;
use pulsewright_stream::Pace;
use std::path::PathBuf;

/// Send frames to standard output as they are due, for a converter, an algorithm or another program.
///
/// Samples are interleaved, little-endian, as in a WAV file; --header puts a line of JSON before them that says so. The pace is
/// that of the clock over any length. A reader that is slow loses nothing: the stream falls behind, says so at the end, and
/// catches up. It ends with the script, with --duration, on an interrupt or a request to terminate, or when the reader goes
/// away.
///
/// With --live each line of standard input is a command; 'help' lists them. A command takes effect just after the next beat and
/// then holds. --log writes what was played as a script that renders to the same bytes.
#[derive(Args)]
#[command(after_help = "Never to a patient, nor to equipment connected to one.\n\nExamples:\n  \
    pulsewright stream ward.json --channels II,arterial --frame-rate 1000 | ./converter\n  \
    pulsewright stream --rhythm sinus --live --log played.json | ./converter\n  \
    pulsewright stream ward.json --fast --duration 10m --bits float --header | ./algorithm")]
pub struct StreamFlags {
    /// The script; - reads it from standard input. Without one the flags make one step.
    script: Option<PathBuf>,

    /// Longest to stream, as 30s, 5m or 24h.
    #[arg(short, long, value_name = "TIME", value_parser = values::span)]
    duration: Option<Span>,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
    seed: Option<u64>,

    #[command(flatten)]
    patient: StepFlags,

    /// Take commands from standard input, a line each.
    #[arg(long, help_heading = "Leading")]
    live: bool,

    /// Write what was played as a script, at the end; beside it steps, readings and alarms of a correct monitor.
    #[arg(long, value_name = "SCRIPT", help_heading = "Leading")]
    log: Option<PathBuf>,

    /// Overwrite a log that is there.
    #[arg(long, help_heading = "Leading")]
    force: bool,

    /// Send frames as fast as they are taken, not at the clock's pace.
    #[arg(long, help_heading = "Output")]
    fast: bool,

    #[command(flatten)]
    samples: SampleFlags,

    /// Codes for the converters of this rig instead of channels; samples beyond its reach are held and counted. Test benches
    /// only: never to a person, nor to equipment connected to one. Verify the rig's output with a calibrated meter first.
    #[arg(long, value_name = "RIG", conflicts_with_all = ["channels", "bits"], help_heading = "Output")]
    rig: Option<PathBuf>,

    /// Serial line of a board that drives the rig's converters, as /dev/ttyACM0, in place of standard output; see docs/link.md.
    #[arg(long, value_name = "LINE", requires = "rig", conflicts_with = "header", help_heading = "Output")]
    board: Option<PathBuf>,

    /// Sound card that plays the frames, as audio:NAME, in place of standard output; audio:? lists the cards. See docs/rig.md.
    #[arg(long, value_name = "CARD", conflicts_with_all = ["board", "header", "fast"], help_heading = "Output")]
    play: Option<String>,

    /// The sound card is DC-coupled: it holds a level at a meter.
    #[arg(long, requires = "play", help_heading = "Output")]
    dc_coupled: bool,

    /// Corner of the sound card's AC coupling, Hz, where no rig names it.
    #[arg(long, value_name = "HZ", requires = "play", conflicts_with_all = ["dc_coupled", "rig"],
        value_parser = values::corner_hz, help_heading = "Output")]
    ac_coupling_hz: Option<f64>,

    /// A line of JSON before the frames: frame rate, sample, and how each channel's numbers become values.
    #[arg(long, help_heading = "Output")]
    header: bool,
}

impl StreamFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let SampleFlags { frame_rate, channels, bits } = self.samples;
        let named = |text: &String| {
            CardPlay::of(text, self.dc_coupled, self.ac_coupling_hz).ok_or_else(|| {
                VerbFailure::input(
                    "--play of a stream is a sound card, as audio:NAME; a file or pipe takes its standard output",
                )
            })
        };
        let card = self.play.as_ref().map(named).transpose()?;
        Ok(Request {
            source: self.patient.source(self.script, self.seed)?,
            duration: self.duration,
            live: self.live,
            log: self.log,
            force: self.force,
            pace: if self.fast { Pace::Free } else { Pace::Clock },
            frame_rate,
            form: self.rig.map_or(StreamFormat::Channels(channels.0, bits.encoding()), StreamFormat::Rig),
            header: self.header,
            board: self.board,
            card,
        })
    }
}
