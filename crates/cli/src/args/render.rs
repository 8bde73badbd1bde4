//! `render`.

use super::samples::{SampleBitsWord, SampleFlags};
use super::source::StepFlags;
use super::values;
use crate::diagnostics::VerbFailure;
use crate::render::{Request, RigCodesRequest};
use clap::{Args, ValueEnum};
use pulsewright_core::frame::Channel;
use pulsewright_core::time::Span;
use pulsewright_files::{Bits, Durability, Encoding, FileFormat, RenderOptions};
use pulsewright_rig::Clip;
use std::path::{Path, PathBuf};

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
pub struct RenderFlags {
    /// The script; - reads it from standard input. Without one the flags make one step.
    script: Option<PathBuf>,

    /// File to write, ending in .wav, .csv, .edf, .hea or .raw; - is standard output, the signal alone.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// Longest to render, as 30s, 5m or 24h; a script that holds a step, and one made of flags, needs it.
    #[arg(short, long, value_name = "TIME", value_parser = values::span)]
    duration: Option<Span>,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
    seed: Option<u64>,

    #[command(flatten)]
    patient: StepFlags,

    #[command(flatten)]
    samples: SampleFlags,

    /// File format, if the name does not say it.
    #[arg(long, value_enum, help_heading = "Output")]
    format: Option<FormatWord>,

    #[command(flatten)]
    rig: RigFrameFlags,

    /// Several files, OUT.001.wav and so on, each this long.
    #[arg(long, value_name = "TIME", value_parser = values::span, help_heading = "Output")]
    split: Option<Span>,

    /// Leave the truth out.
    #[arg(long, help_heading = "Output")]
    no_truth: bool,

    /// Write OUT.leads.csv too: time and height of R, and ST, of each beat in these leads, as II,V1.
    #[arg(long, value_name = "LEADS", value_parser = values::leads, conflicts_with = "no_truth", help_heading = "Output")]
    lead_truth: Option<values::Channels>,

    /// Overwrite files that are there.
    #[arg(long, help_heading = "Output")]
    force: bool,

    /// Wait until the disk has a large signal, too; small files are always waited for.
    #[arg(long, help_heading = "Output")]
    sync: bool,
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

/// Frames for a rig's converters instead of channels.
#[derive(Args)]
pub struct RigFrameFlags {
    /// Integer frames for the converters of this rig, to OUT.raw (little-endian) or OUT.wav; OUT.channels.json gives the
    /// value of a code at the connector. Test benches only: never to a person, nor to equipment connected to one. Verify
    /// the rig's output with a calibrated meter first.
    #[arg(long, value_name = "RIG", conflicts_with_all = ["channels", "bits"], help_heading = "Rig")]
    rig: Option<PathBuf>,

    /// When the rig can't reach a sample: refuse the render, or hold the nearest code and count.
    #[arg(long, value_enum, default_value = "refuse", requires = "rig", help_heading = "Rig")]
    clip: ClipWord,
}

/// How clipping is handled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ClipWord {
    /// Refuse; no file is written.
    Refuse,
    /// Hold the nearest code, count and warn.
    Count,
}

impl RenderFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let format = file_format(self.format_word()?, self.samples.bits)?;
        let leads = self.lead_truth.iter().flat_map(|channels| &channels.0);
        let options = RenderOptions {
            rate: self.samples.frame_rate,
            channels: self.samples.channels.0,
            format,
            duration: self.duration,
            split: self.split,
            truth: !self.no_truth,
            lead_truth: leads
                .filter_map(|channel| if let Channel::Lead(lead) = channel { Some(*lead) } else { None })
                .collect(),
            overwrite: self.force,
            durability: if self.sync { Durability::Full } else { Durability::Usual },
        };
        let clip = match self.rig.clip {
            ClipWord::Refuse => Clip::Refuse,
            ClipWord::Count => Clip::Count,
        };
        let rig = self.rig.rig.map(|path| RigCodesRequest { path, clip });
        Ok(Request { source: self.patient.source(self.script, self.seed)?, output: self.output, options, rig })
    }

    fn format_word(&self) -> Result<FormatWord, VerbFailure> {
        let extension = self.output.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
        match (self.format, extension.as_deref()) {
            (Some(format), _) => Ok(format),
            (None, Some("wav")) => Ok(FormatWord::Wav),
            (None, Some("raw")) => Ok(FormatWord::Raw),
            (None, Some("csv")) => Ok(FormatWord::Csv),
            (None, Some("edf")) => Ok(FormatWord::Edf),
            (None, Some("hea")) => Ok(FormatWord::Wfdb),
            (None, _) if self.output == Path::new("-") => Ok(FormatWord::Csv),
            (None, _) => Err(VerbFailure::input(format!(
                "'{}' does not say its format: end it in .wav, .csv, .edf, .hea or .raw, or add --format",
                self.output.display()
            ))),
        }
    }
}

fn file_format(format: FormatWord, bits: SampleBitsWord) -> Result<FileFormat, VerbFailure> {
    let encoding = bits.encoding();
    match (format, encoding) {
        (FormatWord::Wav, encoding) => Ok(FileFormat::Wav(encoding)),
        (FormatWord::Raw, encoding) => Ok(FileFormat::Raw(encoding)),
        (FormatWord::Rf64, encoding) => Ok(FileFormat::Rf64(encoding)),
        (FormatWord::Csv, Encoding::Integer(bits)) => Ok(FileFormat::Csv(bits)),
        (FormatWord::Csv, Encoding::Float) => {
            Err(VerbFailure::input("--bits float is for WAV; in CSV 12, 16, 24 or 32 bits decide the decimals"))
        }
        (FormatWord::Edf, Encoding::Integer(Bits::B16)) => Ok(FileFormat::Edf),
        (FormatWord::Edf, _) => {
            Err(VerbFailure::input("EDF+ has 16 bits a sample: leave --bits out, or write WAV, CSV or a record (.hea)"))
        }
        (FormatWord::Wfdb, Encoding::Integer(bits)) => Ok(FileFormat::Record(bits)),
        (FormatWord::Wfdb, Encoding::Float) => {
            Err(VerbFailure::input("a record has samples of 12, 16 or 24 bits; for floats write WAV"))
        }
    }
}
