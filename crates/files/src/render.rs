//! Renders a script to files or to a stream: the signal, its channel description, and the truth about it.

use crate::atomic::{Durability, FileError, FileSet, FinishedPart, UnfinishedPart};
use crate::content::Content;
use crate::digest::FramesDigest;
use crate::format::{Encoder, FileFormat};
use crate::manifest::{PartContent, RenderManifest};
use crate::names::{Names, RecordNames};
use crate::parts::{EncodedPart, play};
use crate::plan::{PlanError, RenderOptions, RenderPlan};
use crate::quantiser::Tally;
use crate::record::{self, annotations::AnnotationWriter};
use crate::sidecar::{self, ChannelDescription, Description};
use crate::truth::leads::LeadTruth;
use crate::truth::{ExpectedTables, TruthFile, TruthWriter};
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::Observer;
use serde_json::{Map, Value};
use std::io::{self, Write};
use std::ops::ControlFlow;
use std::panic::resume_unwind;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

/// Why a render came to nothing. No file has its final name then.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RenderError {
    /// It can't be done as asked.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The name is not one that a record can have.
    #[error("a record's name is of letters, digits, - and _ and ends in .hea; '{0}' is not")]
    RecordName(String),
    /// A record to a stream.
    #[error("a record is three files; give -o a file's name that ends in .hea")]
    RecordStream,
    /// A file could not be made.
    #[error(transparent)]
    File(#[from] FileError),
    /// The stream could not be written.
    #[error("cannot write the stream: {0}")]
    Stream(#[source] io::Error),
    /// A sample was not a number: a fault of the program, never of the script.
    #[error("{0} has a sample that is not a number between frame {1} and {2}")]
    NotANumber(String, u64, u64),
    /// `describe` refused the signal.
    #[error("{0}")]
    Refused(String),
    /// The caller stopped it.
    #[error("stopped")]
    Stopped,
}

/// Called with the frames written and the frames in all; may stop the work.
pub type RenderProgress<'a> = &'a mut dyn FnMut(u64, u64) -> ControlFlow<()>;

/// Result of a render.
#[derive(Clone, Debug)]
pub struct RenderReport {
    /// Files in the order in which they got their names: the truth, the description, the signal.
    pub files: Vec<PathBuf>,
    /// Frames in all.
    pub frames: u64,
    /// Frames a second.
    pub rate: FrameRate,
    /// The channels as stored, with counts of clipped samples.
    pub channels: Vec<ChannelDescription>,
    /// Counts for each lane of the encoder.
    pub tallies: Vec<Tally>,
    /// Digest of the frames as played.
    pub digest: FramesDigest,
    /// Notes for users of the signal, a sentence each.
    pub notes: Vec<String>,
}

/// Renders to `target` and, beside it, the channel description and the truth.
///
/// # Errors
/// [`RenderError`]; after any error no file has been changed and none is left half written.
pub fn render_to_files(
    content: Content<'_>,
    options: &RenderOptions,
    target: &Path,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    render_observed(content, options, target, &mut (), progress)
}

/// Renders to files as [`render_to_files`] does; `watcher` gets the events too.
///
/// # Errors
/// As [`render_to_files`].
pub fn render_observed(
    content: Content<'_>,
    options: &RenderOptions,
    target: &Path,
    watcher: &mut impl Observer,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    let plan = RenderPlan::new(content, options)?;
    let names = Names::new(target, options.format, plan.sections.len());
    write_files(&plan, target, &names, options, watcher, progress, &|report| match clipped(report) {
        Some(words) => Err(words),
        None => Ok(Map::new()),
    })
}

/// A channel that went beyond its scale, in words. A scale holds the whole range of its channel, so that none should.
fn clipped(report: &RenderReport) -> Option<String> {
    let channel = report.channels.iter().find(|channel| channel.clipped > 0)?;
    let (min, max) = (channel.min.unwrap_or(0.0), channel.max.unwrap_or(0.0));
    Some(format!(
        "{}: {} samples lie beyond {min} to {max} {}, which its samples hold; choose more --bits, or float",
        channel.name, channel.clipped, channel.unit
    ))
}

/// Gives keys that replace those of the channel description, or the reason to refuse the signal.
pub type Describe<'a> = &'a dyn Fn(&RenderReport) -> Result<Map<String, Value>, String>;

/// Renders to `target` as [`render_to_files`] does, with frames that `encoder` writes and, in the channel description,
/// the keys that `describe` makes of the counts.
///
/// # Errors
/// As [`render_to_files`], and [`RenderError::Refused`] with the words of `describe`.
pub fn render_through(
    content: Content<'_>,
    options: &RenderOptions,
    encoder: &dyn Encoder,
    describe: Describe<'_>,
    target: &Path,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    let plan = RenderPlan::new(content, options)?.through(encoder);
    let names = Names::new(target, options.format, plan.sections.len());
    write_files(&plan, target, &names, options, &mut (), progress, describe)
}

fn write_files(
    plan: &RenderPlan<'_>,
    target: &Path,
    names: &Names,
    options: &RenderOptions,
    watcher: &mut impl Observer,
    progress: RenderProgress<'_>,
    describe: Describe<'_>,
) -> Result<RenderReport, RenderError> {
    if let Some(RecordNames { header, .. }) = &names.record
        && !(record::is_name(&stem(header)) && header.extension().is_some_and(|end| end == "hea"))
    {
        return Err(RenderError::RecordName(name(header)));
    }
    // Also those that will not be written: beside this signal they would describe another.
    let set = FileSet::of_render(target, names.all(), options.overwrite, options.durability)?;
    let mut run = Run::new(plan);
    let mut signal = SignalFiles { plan, set: &set, names: &names.signal, open: None, done: Vec::new() };
    // First, so that the error of a folder that takes no files has the name that was asked for.
    signal.open(0)?;
    let truth = if options.truth { Some(truth_files(&set, names)?) } else { None };
    let mut annotations = match &names.record {
        Some(RecordNames { annotations, .. }) => {
            Some(AnnotationWriter::new(plan.content, plan.rate, plan.frames, set.part(annotations)?))
        }
        None => None,
    };
    let mut lead_truth = match plan.lead_truth.as_slice() {
        [] => None,
        _ => Some(LeadTruth::new(plan.rate, plan.frames, set.part(&names.leads)?)),
    };
    let mut finished = Vec::new();
    let stop = AtomicBool::new(false);
    let tables = thread::scope(|scope| {
        // What to expect is played on a thread of its own, beside the signal, and given up with it.
        let _stop = SetOnDrop(&stop);
        let (mut truth, expected) = truth.map_or((None, None), |(events, expected)| {
            let truth = TruthWriter::new(plan.content.script, plan.rate, plan.frames, events);
            let expectations = expectations(plan).stopped_by(&stop);
            (Some(truth), Some(scope.spawn(move || expectations.write(expected))))
        });
        let mut observer = |event| {
            watcher.observe(event);
            if let Some(lead_truth) = &mut lead_truth {
                lead_truth.observe(event);
            }
            if let Some(truth) = &mut truth {
                truth.observe(event);
            }
            if let Some(annotations) = &mut annotations {
                annotations.observe(event);
            }
        };
        play(plan, &mut observer, |part| run.take(part, &mut signal, progress))?;
        let events = truth.map(TruthWriter::finish).transpose().map_err(FileError::of(&names.truth[0]))?;
        let expected = expected.map(|thread| thread.join().unwrap_or_else(|panic| resume_unwind(panic)));
        let expected = expected.transpose().map_err(FileError::of(&names.truth[TruthFile::Steps as usize]))?;
        Ok::<_, RenderError>(events.zip(expected))
    })?;
    if let Some((events, expected)) = tables {
        let events = TruthFile::EVENTS.into_iter().zip(events);
        let mut tables: Vec<(TruthFile, UnfinishedPart)> =
            events.chain(TruthFile::EXPECTED.into_iter().zip(expected)).collect();
        tables.sort_by_key(|(file, _)| *file as usize);
        for (_, file) in tables {
            finished.push((file.finish()?, PartContent::Truth));
        }
    }
    if let Some(lead_truth) = lead_truth {
        let file = lead_truth.finish().map_err(FileError::of(&names.leads))?;
        finished.push((file.finish()?, PartContent::Truth));
    }
    let signal = signal.finish()?;
    let mut description = set.part(&names.description)?;
    let report = run.report();
    let more = describe(&report).map_err(RenderError::Refused)?;
    let document = serde_json::to_value(base(plan, &signal, &report)).map(|mut document| {
        if let Some(keys) = document.as_object_mut() {
            keys.extend(more);
        }
        document
    });
    let document = document.map_err(io::Error::from);
    document.and_then(|document| write_json(&mut description, &document)).map_err(FileError::of(&names.description))?;
    finished.push((description.finish()?, PartContent::Channels));
    if let Some((annotations, names)) = annotations.zip(names.record.as_ref()) {
        let annotations = annotations.finish().map_err(FileError::of(&names.annotations))?;
        finished.push((annotations.finish()?, PartContent::Annotations));
    }
    // Late, so that a signal under its final name has everything beside it; the header of a record comes after its signal.
    finished.extend(signal.into_iter().map(|signal| (signal, PartContent::Signal)));
    if let Some(RecordNames { header, .. }) = &names.record {
        let mut file = set.part(header)?;
        file.write_all(record_header(plan, &run, &stem(header)).as_bytes()).map_err(FileError::of(header))?;
        finished.push((file.finish()?, PartContent::Header));
    }
    let manifest = RenderManifest::new(finished.iter().map(|(part, holds)| (part, *holds)));
    let mut parts: Vec<FinishedPart> = finished.into_iter().map(|(part, _)| part).collect();
    // Last of all: its files are complete.
    if options.durability != Durability::Temporary {
        let mut file = set.part(&names.manifest)?;
        write_json(&mut file, &manifest).map_err(FileError::of(&names.manifest))?;
        parts.push(file.finish()?);
    }
    let without_truth = names.truth.iter().filter(|_| !options.truth);
    let without_leads = [&names.leads].into_iter().filter(|_| plan.lead_truth.is_empty());
    let stale: Vec<&Path> = without_truth.chain(without_leads).map(PathBuf::as_path).collect();
    let files = set.publish(parts, &stale)?;
    Ok(RenderReport { files, ..report })
}

/// A document as lines of JSON.
fn write_json(file: &mut UnfinishedPart, document: &impl serde::Serialize) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *file, document).map_err(io::Error::from).and_then(|()| file.write_all(b"\n"))
}

/// Files of what happens, and of what to expect.
type TruthFiles = ([UnfinishedPart; TruthFile::EVENTS.len()], [UnfinishedPart; TruthFile::EXPECTED.len()]);

/// The truth's files, open.
fn truth_files(set: &FileSet, names: &Names) -> Result<TruthFiles, RenderError> {
    let open = |files: &[TruthFile]| -> Result<Vec<UnfinishedPart>, FileError> {
        files.iter().map(|file| set.part(&names.truth[*file as usize])).collect()
    };
    let (events, expected) = (open(&TruthFile::EVENTS)?, open(&TruthFile::EXPECTED)?);
    events.try_into().ok().zip(expected.try_into().ok()).ok_or(RenderError::Stopped)
}

/// The readings and alarms of a correct monitor that gets this render.
fn expectations<'p>(plan: &'p RenderPlan<'_>) -> ExpectedTables<'p> {
    let Content { script, labels, limits, .. } = plan.content;
    let end = plan.rate.instant_of(plan.frames);
    ExpectedTables::new(script, labels, plan.pressures, limits, end).with_st_in(&plan.lead_truth)
}

/// Sets a flag when it goes out of scope, by an error or a panic too.
struct SetOnDrop<'f>(&'f AtomicBool);

impl Drop for SetOnDrop<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

fn record_header(plan: &RenderPlan<'_>, run: &Run<'_, '_>, name: &str) -> String {
    let mut first = [Frame::default()];
    Player::new(plan.content.script, plan.rate).with_pressures_at(plan.pressures).fill(&mut first);
    record::header(name, plan.heading(), plan.frames, &plan.columns, &first[0], &run.tallies)
}

/// The last part of a path.
fn name(path: &Path) -> String {
    path.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned())
}

/// The last part of a path without its extension.
fn stem(path: &Path) -> String {
    path.file_stem().map_or(String::new(), |name| name.to_string_lossy().into_owned())
}

/// Renders the signal alone to a stream that need not seek, such as standard output.
///
/// # Errors
/// [`RenderError`]; of a reader that went away, [`RenderError::Stream`] with [`io::ErrorKind::BrokenPipe`].
pub fn render_to_stream(
    content: Content<'_>,
    options: &RenderOptions,
    stream: &mut dyn Write,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    let plan = RenderPlan::new(content, &RenderOptions { split: None, ..options.clone() })?;
    let report = write_stream(&plan, stream, progress)?;
    clipped(&report).map_or(Ok(report), |words| Err(RenderError::Refused(words)))
}

/// Renders to a stream as [`render_to_stream`] does, with frames that `encoder` writes.
///
/// # Errors
/// As [`render_to_stream`].
pub fn stream_through(
    content: Content<'_>,
    options: &RenderOptions,
    encoder: &dyn Encoder,
    stream: &mut dyn Write,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    let plan = RenderPlan::new(content, &RenderOptions { split: None, ..options.clone() })?.through(encoder);
    write_stream(&plan, stream, progress)
}

fn write_stream(
    plan: &RenderPlan<'_>,
    stream: &mut dyn Write,
    progress: RenderProgress<'_>,
) -> Result<RenderReport, RenderError> {
    if matches!(plan.format, FileFormat::Record(_)) {
        return Err(RenderError::RecordStream);
    }
    let mut run = Run::new(plan);
    let mut signal = SignalStream { plan, stream };
    play(plan, &mut (), |part| run.take(part, &mut signal, progress))?;
    signal.stream.flush().map_err(RenderError::Stream)?;
    Ok(run.report())
}

/// Where encoded parts go.
trait Sink {
    fn put(&mut self, part: &EncodedPart) -> Result<(), RenderError>;
}

/// Sums over the parts.
struct Run<'p, 'a> {
    plan: &'p RenderPlan<'a>,
    lanes: Vec<String>,
    tallies: Vec<Tally>,
    digest: FramesDigest,
}

impl<'p, 'a> Run<'p, 'a> {
    fn new(plan: &'p RenderPlan<'a>) -> Run<'p, 'a> {
        let lanes = plan.encoder().lanes();
        Run { plan, tallies: vec![Tally::default(); lanes.len()], lanes, digest: FramesDigest::default() }
    }

    fn take(
        &mut self,
        part: &EncodedPart,
        sink: &mut impl Sink,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<(), RenderError> {
        for ((total, tally), lane) in self.tallies.iter_mut().zip(&part.tallies).zip(&self.lanes) {
            if tally.not_numbers > 0 {
                return Err(RenderError::NotANumber(lane.clone(), part.first, part.first + part.frames));
            }
            total.add(*tally);
        }
        self.digest.add(part.digest);
        sink.put(part)?;
        match progress(part.first + part.frames, self.plan.frames) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(RenderError::Stopped),
        }
    }

    fn report(&self) -> RenderReport {
        let stored = self.plan.stored();
        let columns = self.plan.columns.iter().zip(&self.tallies);
        RenderReport {
            files: Vec::new(),
            frames: self.plan.frames,
            rate: self.plan.rate,
            channels: columns.map(|(column, tally)| ChannelDescription::new(column, stored, *tally)).collect(),
            tallies: self.tallies.clone(),
            digest: self.digest,
            notes: self.plan.notes(),
        }
    }
}

/// The signal's files, one open at a time.
struct SignalFiles<'p, 'a> {
    plan: &'p RenderPlan<'a>,
    set: &'p FileSet,
    names: &'p [PathBuf],
    open: Option<(usize, UnfinishedPart)>,
    done: Vec<FinishedPart>,
}

impl SignalFiles<'_, '_> {
    fn open(&mut self, section: usize) -> Result<(), FileError> {
        self.close()?;
        let mut file = self.set.signal(&self.names[section])?;
        let mut head = Vec::new();
        let (encoder, place) = (self.plan.encoder(), self.plan.sections[section]);
        encoder.head(place, &mut head);
        if let Some(encoded) = encoder.encoded_bytes(place) {
            file.reserve(encoded.saturating_add(head.len() as u64)).map_err(FileError::of(&self.names[section]))?;
        }
        file.write_all(&head).map_err(FileError::of(&self.names[section]))?;
        self.open = Some((section, file));
        Ok(())
    }

    fn close(&mut self) -> Result<(), FileError> {
        if let Some((section, mut file)) = self.open.take() {
            let mut tail = Vec::new();
            self.plan.encoder().tail(self.plan.sections[section], &mut tail);
            file.write_all(&tail).map_err(FileError::of(&self.names[section]))?;
            self.done.push(file.finish()?);
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Vec<FinishedPart>, FileError> {
        self.close()?;
        Ok(self.done)
    }
}

impl Sink for SignalFiles<'_, '_> {
    fn put(&mut self, part: &EncodedPart) -> Result<(), RenderError> {
        let name = &self.names[part.section];
        if self.open.as_ref().is_none_or(|(section, _)| *section != part.section) {
            self.open(part.section)?;
        }
        if let Some((_, file)) = &mut self.open {
            file.write_all(&part.bytes).map_err(FileError::of(name))?;
        }
        Ok(())
    }
}

/// One section to a stream.
struct SignalStream<'p, 'a> {
    plan: &'p RenderPlan<'a>,
    stream: &'p mut dyn Write,
}

impl Sink for SignalStream<'_, '_> {
    fn put(&mut self, part: &EncodedPart) -> Result<(), RenderError> {
        let mut more = Vec::new();
        let section = self.plan.sections[part.section];
        if part.first == section.first {
            self.plan.encoder().head(section, &mut more);
        }
        self.stream.write_all(&more).and_then(|()| self.stream.write_all(&part.bytes)).map_err(RenderError::Stream)?;
        if part.first + part.frames == section.first + section.frames {
            more.clear();
            self.plan.encoder().tail(section, &mut more);
            self.stream.write_all(&more).map_err(RenderError::Stream)?;
        }
        Ok(())
    }
}

fn base(plan: &RenderPlan<'_>, signal: &[FinishedPart], report: &RenderReport) -> Description {
    let files = signal.iter().zip(&plan.sections);
    Description {
        version: sidecar::VERSION,
        made_by: format!("pulsewright {}", env!("CARGO_PKG_VERSION")),
        title: plan.content.title.to_owned(),
        seed: plan.content.script.seed(),
        frame_rate_hz: plan.rate.as_hz(),
        frames: plan.frames,
        frames_digest: format!("{:016x}", report.digest.value()),
        value_is: "stored number * scale + offset, in the channel's unit".to_owned(),
        notes: report.notes.iter().cloned().chain(plan.recorded_noise()).collect(),
        files: files
            .map(|(part, section)| sidecar::SignalFile::new(name(part.path()), *section, part.digest()))
            .collect(),
        channels: report.channels.clone(),
    }
}
