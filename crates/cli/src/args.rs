//! The command line: every verb with its arguments. Help, completions and the manual page come from it.

use crate::flags;
use clap::{Args, Parser, Subcommand, ValueEnum};
use pulsewright_core::body::Body;
use pulsewright_core::frame::Channel;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_files::{Bits, Encoding};
use pulsewright_plot::strip::Line;
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
    Render(Box<Render>),
    Stream(Box<Stream>),
    Plot(Box<Plot>),
    Catalog(Catalog),
    Check(Check),
    Compile(crate::compile::CompileArgs),
    Schema(Schema),
    Rig(crate::rig_args::RigArgs),
    Calibrate(Box<crate::rig_args::Calibrate>),
    Score(Box<crate::score::ScoreArgs>),
    Suite(Box<crate::suite::SuiteArgs>),
    Worksheet(crate::worksheet::WorksheetArgs),
    Session(crate::session::SessionArgs),
    Report(crate::report::ReportArgs),
    Completions(Completions),
    /// Print the manual page (roff): `pulsewright manual | man -l -`.
    Manual,
}

/// Render a script, or one step made of flags, to a file with the truth beside it.
///
/// OUT.wav, OUT.csv, OUT.edf, or OUT.dat of a record OUT.hea holds the signal, OUT.channels.json the meaning of its numbers,
/// OUT.manifest.json every file with its digest. The truth is in OUT.beats.csv, and likewise in atrial, pulses, breaths, pacing,
/// cuff, episodes, refused, steps, readings and alarms. A record and EDF+ carry beats and steps as annotations too. All appear
/// complete or not at all. Numbers are the same in every format with as many bits, rounded once.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
    pulsewright render ward.json -o ward.wav\n  \
    pulsewright render --rhythm atrial-fibrillation --rate 110 --pressure 105/70 --duration 5m -o fibrillation.csv\n  \
    pulsewright render --rhythm sinus --set breathing.depth_ohm=0.5 --duration 24h --channels II -o day.wav\n  \
    pulsewright render ward.json --channels leads --bits 12 -o ward.hea")]
pub struct Render {
    /// The script; - reads it from standard input. Without one the flags make one step.
    pub script: Option<PathBuf>,

    /// File to write, ending in .wav, .csv, .edf, .hea or .raw; - is standard output, the signal alone.
    #[arg(short, long, value_name = "OUT")]
    pub output: PathBuf,

    /// Longest to render, as 30s, 5m or 24h; a script that holds a step, and one made of flags, needs it.
    #[arg(short, long, value_name = "TIME", value_parser = flags::span)]
    pub duration: Option<Span>,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,

    #[command(flatten)]
    pub patient: Patient,

    #[command(flatten)]
    pub samples: SampleFlags,

    /// File format, if the name does not say it.
    #[arg(long, value_enum, help_heading = "Output")]
    pub format: Option<FormatWord>,

    #[command(flatten)]
    pub rig: crate::rig_args::RigFlags,

    /// Several files, OUT.001.wav and so on, each this long.
    #[arg(long, value_name = "TIME", value_parser = flags::span, help_heading = "Output")]
    pub split: Option<Span>,

    /// Leave the truth out.
    #[arg(long, help_heading = "Output")]
    pub no_truth: bool,

    /// Write OUT.leads.csv too: time and height of R, and ST, of each beat in these leads, as II,V1.
    #[arg(long, value_name = "LEADS", value_parser = flags::leads, conflicts_with = "no_truth", help_heading = "Output")]
    pub lead_truth: Option<Channels>,

    /// Overwrite files that are there.
    #[arg(long, help_heading = "Output")]
    pub force: bool,

    /// Wait until the disk has a large signal, too; small files are always waited for.
    #[arg(long, help_heading = "Output")]
    pub sync: bool,
}

/// Send frames to standard output as they are due, for a converter, an algorithm or another program.
///
/// Samples are interleaved, little-endian, as in a WAV file; --header puts a line of JSON before them that says so. The pace is
/// that of the clock over any length. A reader that is slow loses nothing: the stream falls behind, says so at the end, and
/// catches up. It ends with the script, with --duration, on a signal, or when the reader goes away.
///
/// With --live each line of standard input is a command; 'help' lists them. A command takes effect just after the next beat and
/// then holds. --log writes what was played as a script that renders to the same bytes.
#[derive(Args)]
#[command(after_help = "Never to a patient, nor to equipment connected to one.\n\nExamples:\n  \
    pulsewright stream ward.json --channels II,arterial --frame-rate 1000 | ./converter\n  \
    pulsewright stream --rhythm sinus --live --log played.json | ./converter\n  \
    pulsewright stream ward.json --fast --duration 10m --bits float --header | ./algorithm")]
pub struct Stream {
    /// The script; - reads it from standard input. Without one the flags make one step.
    pub script: Option<PathBuf>,

    /// Longest to stream, as 30s, 5m or 24h.
    #[arg(short, long, value_name = "TIME", value_parser = flags::span)]
    pub duration: Option<Span>,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,

    #[command(flatten)]
    pub patient: Patient,

    /// Take commands from standard input, a line each.
    #[arg(long, help_heading = "Leading")]
    pub live: bool,

    /// Write what was played as a script, at the end.
    #[arg(long, value_name = "SCRIPT", help_heading = "Leading")]
    pub log: Option<PathBuf>,

    /// Overwrite a log that is there.
    #[arg(long, help_heading = "Leading")]
    pub force: bool,

    /// As fast as it is taken, instead of at the clock's pace.
    #[arg(long, help_heading = "Output")]
    pub fast: bool,

    #[command(flatten)]
    pub samples: SampleFlags,

    /// Codes for the converters of this rig instead of channels; samples beyond its reach are held and counted. Test benches
    /// only: never to a person, nor to equipment connected to one. Verify the rig's output with a calibrated meter first.
    #[arg(long, value_name = "RIG", conflicts_with_all = ["channels", "bits"], help_heading = "Output")]
    pub rig: Option<PathBuf>,

    /// A line of JSON before the frames: frame rate, sample, and how each channel's numbers become values.
    #[arg(long, help_heading = "Output")]
    pub header: bool,
}

/// Draw a script, or one step made of flags, as a strip on millimetre paper.
///
/// ECG at 25 mm/s and 10 mm/mV with its calibration mark, pressures and respiration below on the same time axis; beats,
/// P waves and steps are marked from the truth. Long strips wrap.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
    pulsewright plot --rhythm atrial-flutter\n  \
    pulsewright plot ward.json --from 1m --duration 20s -o ward.svg\n  \
    pulsewright plot --rhythm sinus --channels 12-lead,arterial,respiration -o sinus.png --dpi 300")]
pub struct Plot {
    /// The script; - reads it from standard input. Without one the flags make one step.
    pub script: Option<PathBuf>,

    /// Picture to write, ending in .svg or .png; - prints to the terminal.
    #[arg(short, long, value_name = "OUT", default_value = "-")]
    pub output: PathBuf,

    /// Where the strip starts, as 10s or 1h30m after the start.
    #[arg(long, value_name = "TIME", value_parser = flags::start, default_value = "0s")]
    pub from: Span,

    /// Length of the strip, at most 10m.
    #[arg(short, long, value_name = "TIME", value_parser = flags::span, default_value = "10s")]
    pub duration: Span,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,

    #[command(flatten)]
    pub patient: Patient,

    /// Channels, groups of them, and 12-lead for the usual arrangement over a rhythm strip.
    #[arg(long, value_name = "LIST", value_parser = flags::lines, default_value = "II,V1,arterial,respiration", help_heading = "Output")]
    pub channels: Lines,

    /// Paper speed, mm/s.
    #[arg(long, value_name = "MM_PER_S", default_value = "25", help_heading = "Output")]
    pub paper_speed: f64,

    /// ECG gain on paper, mm/mV.
    #[arg(long, value_name = "MM_PER_MV", default_value = "10", help_heading = "Output")]
    pub gain: f64,

    /// Length of a row, 1s to 60s.
    #[arg(long, value_name = "TIME", value_parser = flags::span, default_value = "10s", help_heading = "Output")]
    pub row: Span,

    /// Pixels an inch of a PNG, 50 to 1200.
    #[arg(long, value_name = "DPI", default_value = "200", help_heading = "Output")]
    pub dpi: u32,

    /// Leave out the codes of beats and P waves.
    #[arg(long, help_heading = "Output")]
    pub no_codes: bool,

    /// Overwrite a picture that is there.
    #[arg(long, help_heading = "Output")]
    pub force: bool,
}

/// One step without a script.
#[derive(Args)]
#[group(id = "patient", multiple = true, conflicts_with = "script")]
pub struct Patient {
    /// Rhythm; `pulsewright catalog rhythms` lists them.
    #[arg(long, value_name = "WORD", value_parser = flags::rhythm, help_heading = "Without a script")]
    pub rhythm: Option<&'static Rhythm>,

    /// Body; `pulsewright catalog bodies` lists them.
    #[arg(long, value_name = "WORD", value_parser = flags::body, help_heading = "Without a script")]
    pub body: Option<&'static Body>,

    /// Mean ventricular rate, bpm.
    #[arg(long, value_name = "BPM", value_parser = flags::rate, help_heading = "Without a script")]
    pub rate: Option<f32>,

    /// Arterial pressure, systolic/diastolic in mmHg.
    #[arg(long, value_name = "120/80", value_parser = flags::pressure, help_heading = "Without a script")]
    pub pressure: Option<(f32, f32)>,

    /// Breaths a minute; 0 is apnoea.
    #[arg(long, value_name = "PER_MIN", value_parser = flags::breaths, help_heading = "Without a script")]
    pub breaths: Option<f32>,

    /// Any other setting, as ecg.gain=2; `pulsewright catalog fields` lists them. May be given several times.
    #[arg(long, value_name = "FIELD=VALUE", value_parser = flags::setting, help_heading = "Without a script")]
    pub set: Vec<(Field, f32)>,
}

/// Channels, bits and rate of the frames.
#[derive(Args)]
pub struct SampleFlags {
    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = flags::frame_rate, default_value = "500", help_heading = "Output")]
    pub frame_rate: FrameRate,

    /// Channels in the order wanted, and words for groups of them; `pulsewright catalog channels` lists both.
    #[arg(long, value_name = "LIST", value_parser = flags::channels, default_value = "usual", help_heading = "Output")]
    pub channels: Channels,

    /// Bits of a sample; in a CSV file they decide the decimals, in a record the signal format.
    #[arg(long, value_enum, default_value = "16", help_heading = "Output")]
    pub bits: BitsWord,
}

/// Channels chosen. A type of its own, since a bare list would mean a flag given several times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Channels(pub Vec<Channel>);

/// Lines of a strip.
#[derive(Clone, Debug, PartialEq)]
pub struct Lines(pub Vec<Line>);

/// Bits of a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum BitsWord {
    /// 12-bit integers; records (format 212) and CSV.
    #[value(name = "12")]
    B12,
    /// 16-bit integers.
    #[value(name = "16")]
    B16,
    /// 24-bit integers; not EDF+.
    #[value(name = "24")]
    B24,
    /// 32-bit integers; WAV and CSV.
    #[value(name = "32")]
    B32,
    /// 32-bit floats in the channel's unit; WAV only.
    Float,
}

impl BitsWord {
    /// How a sample of this width is stored.
    pub const fn encoding(self) -> Encoding {
        match self {
            BitsWord::B12 => Encoding::Integer(Bits::B12),
            BitsWord::B16 => Encoding::Integer(Bits::B16),
            BitsWord::B24 => Encoding::Integer(Bits::B24),
            BitsWord::B32 => Encoding::Integer(Bits::B32),
            BitsWord::Float => Encoding::Float,
        }
    }
}

/// A file format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FormatWord {
    /// RIFF WAVE, over 4 GiB as RF64.
    Wav,
    /// WAV with sizes of 64 bits, whatever its length.
    Rf64,
    /// The frames alone, little-endian.
    Raw,
    /// Comma-separated values.
    Csv,
    /// EDF+ with annotations, 16 bits.
    Edf,
    /// A record of the open waveform database: header, signals, annotations.
    Wfdb,
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

/// Print the JSON Schema of scripts or rigs, for editors and other checkers.
#[derive(Args)]
pub struct Schema {
    /// Of which documents.
    #[arg(value_enum, default_value = "script")]
    pub document: SchemaWord,
}

/// A kind of document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaWord {
    /// Scripts.
    Script,
    /// Rigs.
    Rig,
}

/// Print the completions of a shell.
#[derive(Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}
