//! `render`: a script, or one step made of flags, to files or standard output.

use crate::args::{BitsWord, FormatWord, Render};
use crate::diagnostics::{Failure, Outcome, warn};
use crate::progress::Progress;
use crate::rig_render::RigRender;
use crate::{interruption, patient};
use pulsewright_core::frame::Channel;
use pulsewright_core::script::Script;
use pulsewright_files::atomic::{reason, refuse_inputs};
use pulsewright_files::{
    Bits, Content, Durability, Encoding, FileFormat, Names, Options, RenderError, render_to_files, render_to_stream,
};
use pulsewright_script::Document;
use std::fs::{self, File};
use std::io::{self, IsTerminal};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

/// Renders.
pub fn run(render: &Render) -> Outcome {
    let options = options(render)?;
    let rig = match &render.rig.rig {
        Some(rig) => Some(RigRender::new(rig, options.format, options.rate, render.rig.clip)?),
        None => None,
    };
    let options = match &rig {
        Some(rig) => rig.options(options)?,
        None => options,
    };
    let target = Target::of(&render.output);
    let is_text = matches!(options.format, FileFormat::Csv(_));
    if matches!(target, Target::Stdout) && !is_text && io::stdout().is_terminal() {
        return Err(Failure::input(
            "this format is not for a terminal; write it to a file or a pipe, or take --format csv",
        ));
    }
    let document = patient::document(render.script.as_deref(), &render.patient)?;
    let document = render.seed.into_iter().fold(document, Document::with_seed);
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(Failure::input)?;
    let labels: Vec<&str> = (0..items.len()).map(|item| document.label(item)).collect();
    let content = Content {
        script: &script,
        title: document.title().unwrap_or(""),
        labels: &labels,
        limits: document.alarm_limits(),
    };
    check_inputs(render, options.format)?;
    let mut bar = Progress::new();
    let mut progress = |done, total| {
        bar.show(done, total);
        if interruption::asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let outcome = match target {
        Target::Files => {
            interruption::watch();
            match &rig {
                Some(rig) => rig.to_files(content, &options, &render.output, &mut progress),
                None => render_to_files(content, &options, &render.output, &mut progress),
            }
        }
        Target::Stdout => match &rig {
            Some(rig) => rig.to_stream(content, &options, &mut io::stdout().lock(), &mut progress),
            None => render_to_stream(content, &options, &mut io::stdout().lock(), &mut progress),
        },
        Target::Device => {
            let mut device =
                File::options().write(true).open(&render.output).map_err(|error| failed(&render.output, &error))?;
            match &rig {
                Some(rig) => rig.to_stream(content, &options, &mut device, &mut progress),
                None => render_to_stream(content, &options, &mut device, &mut progress),
            }
        }
    };
    drop(bar);
    match outcome {
        Ok(report) => {
            report.notes.iter().for_each(|note| warn(note));
            if let Some(rig) = &rig {
                rig.warn(&report);
            }
            Ok(())
        }
        Err(RenderError::Stream(error)) if error.kind() == io::ErrorKind::BrokenPipe => Err(Failure::Closed),
        Err(RenderError::Stream(error)) => Err(failed(&render.output, &error)),
        Err(RenderError::Stopped) => Err(Failure::input("interrupted; nothing was written")),
        Err(error) => Err(Failure::input(error)),
    }
}

/// Where output goes.
pub enum Target {
    /// A file, with others beside it.
    Files,
    /// Standard output.
    Stdout,
    /// A pipe or device: written through, never replaced.
    Device,
}

impl Target {
    /// The kind of target that `output` names.
    pub fn of(output: &Path) -> Target {
        if output == Path::new("-") {
            return Target::Stdout;
        }
        match fs::metadata(output) {
            Ok(there) if !there.is_file() && !there.is_dir() => Target::Device,
            _ => Target::Files,
        }
    }
}

fn failed(output: &Path, error: &io::Error) -> Failure {
    let name = if output == Path::new("-") { "standard output".to_owned() } else { output.display().to_string() };
    Failure::input(format!("cannot write {name}: {}", reason(error)))
}

fn options(render: &Render) -> Result<Options, Failure> {
    let extension = render.output.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
    let format = match (render.format, extension.as_deref()) {
        (Some(format), _) => format,
        (None, Some("wav")) => FormatWord::Wav,
        (None, Some("raw")) => FormatWord::Raw,
        (None, Some("csv")) => FormatWord::Csv,
        (None, Some("edf")) => FormatWord::Edf,
        (None, Some("hea")) => FormatWord::Wfdb,
        (None, _) if render.output == Path::new("-") => FormatWord::Csv,
        (None, _) => {
            return Err(Failure::input(format!(
                "'{}' does not say its format: end it in .wav, .csv, .edf, .hea or .raw, or add --format",
                render.output.display()
            )));
        }
    };
    let format = file_format(format, render.samples.bits)?;
    if render.split.is_some() && !matches!(Target::of(&render.output), Target::Files) {
        return Err(Failure::input("--split makes files; give -o a file's name"));
    }
    if render.lead_truth.is_some() && !matches!(Target::of(&render.output), Target::Files) {
        return Err(Failure::input("--lead-truth makes a file beside the signal; give -o a file's name"));
    }
    let chosen = render.lead_truth.iter().flat_map(|channels| &channels.0);
    Ok(Options {
        rate: render.samples.frame_rate,
        channels: render.samples.channels.0.clone(),
        format,
        duration: render.duration,
        split: render.split,
        truth: !render.no_truth,
        lead_truth: chosen
            .filter_map(|channel| if let Channel::Lead(lead) = channel { Some(*lead) } else { None })
            .collect(),
        overwrite: render.force,
        durability: if render.sync { Durability::Full } else { Durability::Usual },
    })
}

fn file_format(format: FormatWord, bits: BitsWord) -> Result<FileFormat, Failure> {
    let encoding = bits.encoding();
    match (format, encoding) {
        (FormatWord::Wav, encoding) => Ok(FileFormat::Wav(encoding)),
        (FormatWord::Raw, encoding) => Ok(FileFormat::Raw(encoding)),
        (FormatWord::Rf64, encoding) => Ok(FileFormat::Rf64(encoding)),
        (FormatWord::Csv, Encoding::Integer(bits)) => Ok(FileFormat::Csv(bits)),
        (FormatWord::Csv, Encoding::Float) => {
            Err(Failure::input("--bits float is for WAV; in CSV 12, 16, 24 or 32 bits decide the decimals"))
        }
        (FormatWord::Edf, Encoding::Integer(Bits::B16)) => Ok(FileFormat::Edf),
        (FormatWord::Edf, _) => {
            Err(Failure::input("EDF+ has 16 bits a sample: leave --bits out, or write WAV, CSV or a record (.hea)"))
        }
        (FormatWord::Wfdb, Encoding::Integer(bits)) => Ok(FileFormat::Record(bits)),
        (FormatWord::Wfdb, Encoding::Float) => {
            Err(Failure::input("a record has samples of 12, 16 or 24 bits; for floats write WAV"))
        }
    }
}

/// Refuses a target that is one of the inputs, with `--force` too.
fn check_inputs(render: &Render, format: FileFormat) -> Outcome {
    let inputs = render.script.iter().chain(&render.rig.rig).map(PathBuf::as_path);
    let names = Names::new(&render.output, format, 1);
    refuse_inputs(names.all(), inputs.clone()).map_err(Failure::input)?;
    // Of the numbered files the existing ones: any of them may be replaced.
    let folder = render.output.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let there = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok).map(|entry| entry.path());
    let stem = render.output.file_stem().unwrap_or_default();
    let numbered = there.filter(|path| {
        render.split.is_some() && path.file_stem().map(Path::new).and_then(Path::file_stem) == Some(stem)
    });
    let numbered: Vec<PathBuf> = numbered.collect();
    refuse_inputs(numbered.iter().map(PathBuf::as_path), inputs).map_err(Failure::input)
}
