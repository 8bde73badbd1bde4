//! `stream`: frames to standard output at the pace of the clock, to a board or a sound card at its own, led by commands from
//! standard input.

mod sink;

use crate::diagnostics::{VerbFailure, VerbOutcome, say, warn};
use crate::output::claim;
use crate::sound::{CardPlay, Playback};
use crate::source::SeededScript;
use crate::{interruption, rig, sound};
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_device::marks::Triggers;
use pulsewright_files::atomic::{FileSet, is_device};
use pulsewright_files::quantiser::Tally;
use pulsewright_files::truth::{ExpectedTables, TruthFile};
use pulsewright_files::{Encoding, FileFormat};
use pulsewright_rig::{Clip, RigRender};
use pulsewright_script::Document;
use pulsewright_stream::{Command, LivePlayer, Pace, Samples, StreamEnd, command, send};
use pulsewright_text::fit;
use pulsewright_text::source::{self, BadLine};
use serde_json::Value;
use sink::sink;
use std::cell::{Cell, RefCell};
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver};
use std::thread;

/// A stream.
pub struct Request {
    /// The script or step to play.
    pub source: SeededScript,
    /// Longest to stream.
    pub duration: Option<Span>,
    /// Whether standard input gives commands.
    pub live: bool,
    /// Script to write at the end: what was played.
    pub log: Option<PathBuf>,
    /// Whether a log that is there may be replaced.
    pub force: bool,
    /// When frames are sent.
    pub pace: Pace,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Form of the frames.
    pub form: StreamFormat,
    /// Whether a line of JSON comes before the frames.
    pub header: bool,
    /// Serial line of a board that takes the codes of a rig, in place of standard output.
    pub board: Option<PathBuf>,
    /// Sound card that plays the frames, in place of standard output.
    pub card: Option<CardPlay>,
}

/// Form of the frames.
pub enum StreamFormat {
    /// Samples of these channels.
    Channels(Vec<Channel>, Encoding),
    /// Codes for the rig of this description.
    Rig(PathBuf),
}

/// Streams.
pub fn run(request: Request) -> VerbOutcome {
    let stream = &request;
    if stream.card.as_ref().is_some_and(CardPlay::asks_for_list) {
        return sound::list();
    }
    if stream.board.is_none() && stream.card.is_none() && io::stdout().is_terminal() {
        return Err(VerbFailure::input("a stream is not for a terminal; send it to a pipe or a device"));
    }
    if stream.live && stream.source.file() == Some(Path::new("-")) {
        return Err(VerbFailure::input("--live reads commands from standard input; give the script as a file"));
    }
    let rig = if let StreamFormat::Rig(path) = &stream.form { Some(path.as_path()) } else { None };
    let inputs = stream.source.file().into_iter().chain(rig);
    let log = stream.log.as_deref().map(Log::new);
    let set = log.as_ref().map(|log| claim(&log.paths(), inputs, stream.force)).transpose()?;
    let rate = stream.frame_rate;
    let document = stream.source.document()?;
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(VerbFailure::input)?;
    let sent = RefCell::new(Sent::new(&stream.form, rate, &script)?);
    let card = stream.card.as_ref().map(|card| sent.borrow().playback(card, rate)).transpose()?;
    card.as_ref().map_or(Ok(()), |card| card.check(&document))?;
    let channels = sent.borrow().channels();
    let chosen = SiteSet::of(&channels).map_err(VerbFailure::input)?;
    let arena = bumpalo::Bump::new();
    let live = RefCell::new(LivePlayer::new(&arena, &document, &script, chosen, rate));
    let mut header = Vec::new();
    if stream.header {
        header = sent.borrow().header(rate).to_string().into_bytes();
        header.push(b'\n');
    }
    let commands = stream.live.then(read_commands);
    if stream.live {
        let first = document.label(0);
        say(&format!("plays: {first}; a line is a command: 'help' lists the commands, 'list' the rhythms"));
    }
    interruption::watch();
    let most = stream.duration.map_or(u64::MAX, |span| rate.frame_at_or_after(Instant::ZERO.plus(span)));
    let stopping = Cell::new(false);
    let mut block = vec![Frame::default(); live.borrow().block()];
    let mut triggers = stream.board.is_some().then(|| Triggers::new(rate));
    let make = |bytes: &mut Vec<u8>| {
        let mut live = live.borrow_mut();
        if let Some(commands) = &commands {
            obey(commands, &mut live, &stopping, card.as_ref());
        }
        if stopping.get() && live.may_stop() {
            return 0;
        }
        let left = most.saturating_sub(live.position()).min(block.len() as u64) as usize;
        let first = live.position();
        let mut watch = |event| triggers.iter_mut().for_each(|triggers| triggers.take(event));
        let filled = live.fill_observed(&mut block[..left], &mut watch);
        let mut sent = sent.borrow_mut();
        match &mut triggers {
            None => sent.encode(&block[..filled], bytes),
            Some(triggers) => {
                for (frame, index) in block[..filled].iter().zip(first..) {
                    bytes.push(triggers.of_frame(index).bits());
                    sent.encode(std::slice::from_ref(frame), bytes);
                }
            }
        }
        filled as u64
    };
    let (sink, ending) = sink(card.as_ref(), stream.board.as_deref(), sent.borrow().rig(), rate)?;
    let pace = if card.is_some() { Pace::Writer } else { stream.pace };
    let ended = send(rate, pace, header, make, sink, interruption::asked);
    let log = log.zip(set).map_or(Ok(()), |(log, set)| {
        let live = live.borrow();
        let played = live.log();
        warn_of_scales(&played, &sent.borrow());
        log.write(set, &played, rate.instant_of(live.position()))
    });
    match ended {
        Ok(ended) => {
            report(&ended, pace, &sent.borrow(), rate.as_hz());
            // The log holds whatever became of the board or the card.
            log.and(ending.say())
        }
        // The log still holds for the frames before the reader left.
        Err(error) => log.and(Err(ending.failure(&error))),
    }
}

/// The form in which frames are sent.
enum Sent {
    /// Samples of channels.
    Channels(Samples),
    /// Codes for a rig, with what was clipped.
    Rig(RigRender, Vec<Tally>),
}

impl Sent {
    fn new(form: &StreamFormat, rate: FrameRate, script: &Script<'_>) -> Result<Sent, VerbFailure> {
        match form {
            StreamFormat::Channels(channels, encoding) => {
                Ok(Sent::Channels(Samples::new(script, channels, *encoding, rate)))
            }
            StreamFormat::Rig(path) => {
                let (_, rig) = rig::load(path)?;
                let rig = RigRender::new(rig, FileFormat::Raw(Encoding::Float), rate, Clip::Count);
                let rig = rig.map_err(VerbFailure::input)?;
                let tallies = rig.no_tallies();
                Ok(Sent::Rig(rig, tallies))
            }
        }
    }

    /// The rig that they are for.
    fn rig(&self) -> Option<&RigRender> {
        match self {
            Sent::Channels(_) => None,
            Sent::Rig(rig, _) => Some(rig),
        }
    }

    /// The card that plays them.
    fn playback(&self, card: &CardPlay, rate: FrameRate) -> Result<Playback, VerbFailure> {
        match self {
            Sent::Channels(samples) => Playback::of_samples(card, samples, rate),
            Sent::Rig(rig, _) => Playback::of_rig(card, Some(rig), rate),
        }
    }

    fn channels(&self) -> Vec<Channel> {
        match self {
            Sent::Channels(samples) => samples.channels().collect(),
            Sent::Rig(rig, _) => rig.channels(),
        }
    }

    fn header(&self, rate: FrameRate) -> Value {
        match self {
            Sent::Channels(samples) => samples.header(),
            Sent::Rig(rig, _) => rig.header(rate),
        }
    }

    fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        match self {
            Sent::Channels(samples) => samples.encode(frames, bytes),
            Sent::Rig(rig, tallies) => rig.encode(frames, bytes, tallies),
        }
    }

    /// A sentence for each channel or output with clipped samples.
    fn clipped(&self) -> Vec<String> {
        match self {
            Sent::Channels(samples) => {
                let words = |(channel, clipped): (Channel, u64)| {
                    let id = channel.id();
                    format!(
                        "{id}: {clipped} samples beyond the range are sent as the nearest; more --bits reach further"
                    )
                };
                samples.clipped().map(words).collect()
            }
            Sent::Rig(rig, tallies) => rig.clipped(tallies),
        }
    }
}

/// Most commands that wait, and most that are carried out between two blocks: a flood of them must not hold the signal up.
const WAITING: usize = 256;

/// A line of standard input, or why it is none.
type Line = Result<String, BadLine>;

/// Lines of standard input, as they come.
fn read_commands() -> Receiver<Line> {
    let (lines, read) = mpsc::sync_channel(WAITING);
    thread::spawn(move || {
        let mut input = io::stdin().lock();
        while let Ok(Some(line)) = source::line(&mut input) {
            if lines.send(line).is_err() {
                break;
            }
        }
    });
    read
}

/// Carries out the commands that have come since the last call.
fn obey(commands: &Receiver<Line>, live: &mut LivePlayer<'_>, stopping: &Cell<bool>, card: Option<&Playback>) {
    for line in commands.try_iter().take(WAITING) {
        let line = match line {
            Ok(line) => line,
            Err(bad) => {
                warn(&bad.to_string());
                continue;
            }
        };
        match Command::parse(&line) {
            Ok(None) => {}
            Ok(Some(Command::Stop)) => stopping.set(true),
            Ok(Some(command)) if let Some(why) = card.and_then(|card| card.forbids(&command)) => warn(&why),
            Ok(Some(command)) => match live.apply(&command) {
                Ok(at) => {
                    say(&format!("{:.3} s: {}", at.as_secs_f64(), line.trim()));
                    command::remark(&command, &live.settings()).iter().for_each(|words| warn(words));
                }
                Err(why) => warn(&format!("{}: {why}", line.trim())),
            },
            Err(_) if matches!(line.trim(), "help" | "?") => command::HELP.lines().for_each(say),
            Err(_) if line.trim() == "list" => command::list().for_each(|line| say(&line)),
            Err(why) => warn(&format!("{}: {why}", line.trim())),
        }
    }
}

fn report(ended: &StreamEnd, pace: Pace, sent: &Sent, hz: u32) {
    let mut words = format!("{} frames, {:.3} s", ended.frames, ended.frames as f64 / f64::from(hz));
    if pace == Pace::Clock {
        let scheduling = if ended.real_time { "real-time" } else { "ordinary" };
        words += &format!("; at most {:.2} ms behind the clock", ended.latest.as_secs_f64() * 1e3);
        words += &match ended.behind {
            0 => String::new(),
            times => format!(", {times} times by more than 20 ms; no frame was left out"),
        };
        words += &format!("; {scheduling} scheduling");
    }
    say(&words);
    if ended.not_taken > 0 {
        warn(&format!("the last {} frames were not taken by the reader", ended.not_taken));
    }
    sent.clipped().iter().for_each(|words| warn(words));
}

/// The log alone may need, or allow, other scales than the stream had to have from the start.
fn warn_of_scales(log: &Document, sent: &Sent) {
    // A rig's codes are the same whatever is played.
    let Sent::Channels(samples) = sent else { return };
    let items = log.items();
    let channels = Script::new(log.seed(), &items).map_or(Vec::new(), |script| samples.differ(&script));
    if let Some(first) = channels.first() {
        warn(&format!(
            "{} and {} others have another scale when the log is rendered: the same values, not the same bytes; \
             --bits float has no scale",
            first.id(),
            channels.len() - 1
        ));
    }
}

/// The log, and beside it the tables of what a correct monitor shows; beside a pipe or a device there are none.
struct Log {
    script: PathBuf,
    tables: Vec<PathBuf>,
}

impl Log {
    fn new(script: &Path) -> Log {
        let tables =
            TruthFile::EXPECTED.iter().filter(|_| !is_device(script)).map(|file| script.with_extension(file.suffix()));
        Log { script: script.to_owned(), tables: tables.collect() }
    }

    fn paths(&self) -> Vec<&Path> {
        [&self.script].into_iter().chain(&self.tables).map(PathBuf::as_path).collect()
    }

    fn write(&self, set: FileSet, played: &Document, end: Instant) -> VerbOutcome {
        let text = serde_json::to_string_pretty(&played.to_json()).map_err(VerbFailure::input)? + "\n";
        let text = fit::json(&text);
        let items = played.items();
        let script = Script::new(played.seed(), &items).map_err(VerbFailure::input)?;
        let labels = played.labels();
        let expectations = ExpectedTables::new(&script, &labels, SiteSet::USUAL, played.alarm_limits(), end);
        let tables = expectations.write(TruthFile::EXPECTED.map(|_| Vec::new())).map_err(VerbFailure::input)?;
        let tables = self.tables.iter().zip(&tables).map(|(path, table)| (path.as_path(), table.as_slice()));
        let files: Vec<(&Path, &[u8])> = [(self.script.as_path(), text.as_bytes())].into_iter().chain(tables).collect();
        set.write(&files).map_err(VerbFailure::input)
    }
}
