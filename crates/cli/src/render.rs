//! `render`: a script, or one step made of flags, to files or standard output.

use crate::diagnostics::{VerbFailure, VerbOutcome, warn};
use crate::progress::LateProgressBar;
use crate::source::SeededScript;
use crate::{interruption, rig};
use pulsewright_core::script::Script;
use pulsewright_files::atomic::{reason, refuse_inputs};
use pulsewright_files::{Content, FileFormat, Names, RenderError, RenderOptions, render_to_files, render_to_stream};
use pulsewright_rig::{Clip, RigRender};
use std::fs::{self, File};
use std::io::{self, IsTerminal};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

/// A render.
pub struct Request {
    /// The script or step to play.
    pub source: SeededScript,
    /// File to write; `-` is standard output.
    pub output: PathBuf,
    /// Rate, channels, format and files.
    pub options: RenderOptions,
    /// A rig whose codes are written instead of channels.
    pub rig: Option<RigCodesRequest>,
}

/// A rig to write codes for.
pub struct RigCodesRequest {
    /// Its description.
    pub path: PathBuf,
    /// How clipping is handled.
    pub clip: Clip,
}

/// Renders.
pub fn run(request: Request) -> VerbOutcome {
    let Request { source, output, options, rig } = request;
    let target = RenderTarget::of(&output);
    if !matches!(target, RenderTarget::Files) {
        check_single(&options)?;
    }
    let mut inputs: Vec<&Path> = source.file().into_iter().collect();
    inputs.extend(rig.iter().map(|rig| rig.path.as_path()));
    let rig = match &rig {
        Some(RigCodesRequest { path, clip }) => {
            let (_, rig) = rig::load(path)?;
            Some(RigRender::new(rig, options.format, options.rate, *clip).map_err(VerbFailure::input)?)
        }
        None => None,
    };
    let options = match &rig {
        Some(rig) => rig.options(options).map_err(VerbFailure::input)?,
        None => options,
    };
    let is_text = matches!(options.format, FileFormat::Csv(_));
    if matches!(target, RenderTarget::Stdout) && !is_text && io::stdout().is_terminal() {
        return Err(VerbFailure::input(
            "this format is not for a terminal; write it to a file or a pipe, or take --format csv",
        ));
    }
    let document = source.document()?;
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(VerbFailure::input)?;
    let labels = document.labels();
    let content = Content {
        script: &script,
        title: document.title().unwrap_or(""),
        labels: &labels,
        limits: document.alarm_limits(),
    };
    check_inputs(&output, &options, &inputs)?;
    let mut bar = LateProgressBar::new();
    let mut progress = |done, total| {
        bar.show(done, total);
        if interruption::asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let outcome = match target {
        RenderTarget::Files => {
            interruption::watch();
            match &rig {
                Some(rig) => rig.to_files(content, &options, &output, &mut progress),
                None => render_to_files(content, &options, &output, &mut progress),
            }
        }
        RenderTarget::Stdout => match &rig {
            Some(rig) => rig.to_stream(content, &options, &mut io::stdout().lock(), &mut progress),
            None => render_to_stream(content, &options, &mut io::stdout().lock(), &mut progress),
        },
        RenderTarget::Device => {
            let mut device = File::options().write(true).open(&output).map_err(|error| failed(&output, &error))?;
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
                rig.clipped(&report.tallies).iter().for_each(|words| warn(words));
            }
            Ok(())
        }
        Err(RenderError::Stream(error)) if error.kind() == io::ErrorKind::BrokenPipe => Err(VerbFailure::Closed),
        Err(RenderError::Stream(error)) => Err(failed(&output, &error)),
        Err(RenderError::Stopped) => Err(VerbFailure::input("interrupted; nothing was written")),
        Err(error) => Err(VerbFailure::input(error)),
    }
}

/// Where output goes.
pub enum RenderTarget {
    /// A file, with others beside it.
    Files,
    /// Standard output.
    Stdout,
    /// A pipe or device: written through, never replaced.
    Device,
}

impl RenderTarget {
    /// The kind of target that `output` names.
    pub fn of(output: &Path) -> RenderTarget {
        if output == Path::new("-") {
            return RenderTarget::Stdout;
        }
        match fs::metadata(output) {
            Ok(there) if !there.is_file() && !there.is_dir() => RenderTarget::Device,
            _ => RenderTarget::Files,
        }
    }
}

fn failed(output: &Path, error: &io::Error) -> VerbFailure {
    let name = if output == Path::new("-") { "standard output".to_owned() } else { output.display().to_string() };
    VerbFailure::input(format!("cannot write {name}: {}", reason(error)))
}

/// Refuses options that need a file's name.
fn check_single(options: &RenderOptions) -> VerbOutcome {
    if options.split.is_some() {
        return Err(VerbFailure::input("--split makes files; give -o a file's name"));
    }
    if !options.lead_truth.is_empty() {
        return Err(VerbFailure::input("--lead-truth makes a file beside the signal; give -o a file's name"));
    }
    Ok(())
}

/// Refuses a target that is one of the inputs, with `--force` too.
fn check_inputs(output: &Path, options: &RenderOptions, inputs: &[&Path]) -> VerbOutcome {
    let inputs = inputs.iter().copied();
    let names = Names::new(output, options.format, 1);
    refuse_inputs(names.all(), inputs.clone()).map_err(VerbFailure::input)?;
    // The numbered files that exist: any of them may be replaced.
    let folder = output.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let there = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok).map(|entry| entry.path());
    let stem = output.file_stem().unwrap_or_default();
    let numbered = there.filter(|path| {
        options.split.is_some() && path.file_stem().map(Path::new).and_then(Path::file_stem) == Some(stem)
    });
    let numbered: Vec<PathBuf> = numbered.collect();
    refuse_inputs(numbered.iter().map(PathBuf::as_path), inputs).map_err(VerbFailure::input)
}
