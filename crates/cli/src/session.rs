//! `session`: plays a plan step by step in real time and asks for the readings, on a screen or in lines.

mod screen;

use crate::diagnostics::{Failure, Outcome, conversation, print, warn};
use crate::output::claim;
use crate::record_files;
use crate::signal_output::{self, Form, Play, Target};
use crate::sound::{self, CardPlay, Playback, Reporter};
use crate::terminal;
use pulsewright_core::frame::Frame;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::{Set, is_device, reason};
use pulsewright_record::instruments::NO_OUTPUT;
use pulsewright_record::record::Played;
use pulsewright_record::report::Report;
use pulsewright_record::session::answers::Answers;
use pulsewright_record::session::{Output, Session, SessionError, Silent, Terminal, draft};
use pulsewright_script::Document;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

/// A plan to go through.
pub struct Request {
    /// The script.
    pub script: Option<PathBuf>,
    /// Record to write.
    pub output: Option<PathBuf>,
    /// What takes the signal.
    pub play: Option<Play>,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Whether files that are there may be replaced.
    pub force: bool,
    /// Folder of logs and the address book.
    #[cfg_attr(not(feature = "console"), allow(dead_code))]
    pub folder: PathBuf,
    /// Whether it asks in lines on a terminal too.
    pub plain: bool,
}

/// A session that asks in lines.
struct Lines {
    script: PathBuf,
    output: PathBuf,
    play: Option<Play>,
    frame_rate: FrameRate,
    rig: Option<PathBuf>,
    force: bool,
}

/// Goes through the plan: on a screen where there is one.
pub fn run(request: Request) -> Outcome {
    if request.play.as_ref().and_then(Play::card).is_some_and(CardPlay::asks_for_list) {
        return sound::list();
    }
    if !request.plain && screen::BUILT && terminal::is_interactive() {
        return screen::run(request);
    }
    let needed = |path: Option<PathBuf>, what: &str| {
        path.ok_or_else(|| Failure::input(format!("a session that asks in lines needs {what}; see 'session --help'")))
    };
    let Request { script, output, play, frame_rate, rig, force, .. } = request;
    ask_in_lines(Lines {
        script: needed(script, "a script")?,
        output: needed(output, "--output")?,
        play,
        frame_rate,
        rig,
        force,
    })
}

fn ask_in_lines(lines: Lines) -> Outcome {
    let args = &lines;
    let set = claim_record(args)?;
    let inputs = args.rig.iter().chain([&args.script]).map(PathBuf::as_path);
    // Held until the end: no other process writes there.
    let target = args.play.as_ref().map(|play| signal_output::target(play, inputs)).transpose()?;
    let (document, plan) = record_files::plan(&args.script, args.rig.as_deref(), None)?;
    let draft = draft::of_record(&args.output);
    let name = target.as_ref().map_or(NO_OUTPUT.to_owned(), Target::name);
    let played = Played { rate_hz: args.frame_rate.as_hz(), output: name, ..Played::default() };
    let mut answers = Answers::open(&draft, &plan, played).map_err(Failure::input)?;
    let mut output = output(args, target.as_ref(), &document)?;
    let discard_typed = || terminal::discard_typed();
    let terminal = Terminal { columns: terminal::columns(), discard_typed: &discard_typed };
    let session = Session { plan: &plan, document: &document, rate: args.frame_rate, terminal };
    let mut input = io::stdin().lock();
    let outcome = session.run(&mut answers, output.as_mut(), &mut input, &mut conversation());
    output.finish();
    output.remarks().iter().for_each(|words| warn(words));
    outcome.map_err(|error| match error {
        SessionError::Io(error) if error.kind() == io::ErrorKind::BrokenPipe => Failure::Closed,
        error => Failure::input(error),
    })?;
    set.write(&[(&args.output, answers.record().sealed_json().as_bytes())]).map_err(Failure::input)?;
    // The record is whole: a draft that can't be taken away is only in the way.
    let _ = fs::remove_file(&draft);
    show_report(&args.output)
}

/// Prints the report of a record that was written; it ends as the record does.
fn show_report(record: &Path) -> Outcome {
    let record = record_files::record(record)?;
    let report = Report::new(&record, None, &[]).map_err(Failure::input)?;
    print(|out| out.write_all(report.text().as_bytes()))?;
    if report.passed() { Ok(()) } else { Err(Failure::Failed) }
}

/// Claims the record.
fn claim_record(args: &Lines) -> Result<Set, Failure> {
    no_device(&args.output)?;
    let inputs = args.rig.iter().chain([&args.script]).map(PathBuf::as_path);
    claim(&[args.output.as_path()], inputs, args.force)
}

/// Refuses a record that is no plain file.
fn no_device(record: &Path) -> Outcome {
    if is_device(record) {
        let name = record.display();
        return Err(Failure::input(format!("{name} is a pipe or a device; a record is a plain file")));
    }
    Ok(())
}

fn output(args: &Lines, target: Option<&Target>, document: &Document) -> Result<Box<dyn Output>, Failure> {
    let Some(target) = target else { return Ok(Box::new(Silent)) };
    let form = Form::new(args.rig.as_deref(), args.frame_rate)?;
    match target {
        Target::File { path, .. } => {
            // It is claimed, and no input.
            let file = signal_output::open(path)
                .map_err(|error| Failure::input(format!("cannot write {}: {}", path.display(), reason(&error))))?;
            Ok(Box::new(ToFile { file, form, bytes: Vec::new() }))
        }
        Target::Card(card) => {
            let playback = Playback::of_rig(card, form.rig(), args.frame_rate)?;
            playback.check(document)?;
            playback.announce();
            Ok(Box::new(ToCard { playback, writer: None, reporter: OnceLock::new(), form, bytes: Vec::new() }))
        }
    }
}

/// Codes to a sound card, which is opened for the first of them: a person has confirmed by then.
struct ToCard {
    playback: Playback,
    writer: Option<Box<dyn Write + Send>>,
    reporter: OnceLock<Reporter>,
    form: Form,
    bytes: Vec<u8>,
}

impl Output for ToCard {
    fn take(&mut self, frames: &[Frame]) -> io::Result<()> {
        self.bytes.clear();
        self.form.encode(frames, &mut self.bytes);
        let writer = match &mut self.writer {
            Some(writer) => writer,
            none => none.insert(self.playback.open(&self.reporter)?),
        };
        writer.write_all(&self.bytes)
    }

    fn delay(&self) -> Option<Duration> {
        Some(self.playback.delay())
    }

    fn pressures(&self) -> SiteSet {
        self.form.pressures()
    }

    fn finish(&mut self) {
        self.writer = None;
    }

    fn remarks(&self) -> Vec<String> {
        self.form.clipped().into_iter().chain(self.reporter.get().into_iter().flat_map(Reporter::remarks)).collect()
    }
}

/// Frames to a file, pipe or device.
struct ToFile {
    file: File,
    form: Form,
    bytes: Vec<u8>,
}

impl Output for ToFile {
    fn take(&mut self, frames: &[Frame]) -> io::Result<()> {
        self.bytes.clear();
        self.form.encode(frames, &mut self.bytes);
        self.file.write_all(&self.bytes)
    }

    fn pressures(&self) -> SiteSet {
        self.form.pressures()
    }

    fn remarks(&self) -> Vec<String> {
        self.form.clipped()
    }
}
