//! One record of a plan: its signal and its truth.

use crate::{Plan, SuiteError};
use pulsewright_core::body::Body;
use pulsewright_core::expect::AlarmLimits;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_files::sha256::{Sha256Digest, Sha256Writer};
use pulsewright_files::truth::{Truth, TruthFile};
use pulsewright_files::{
    Content, Durability, Encoding, FileFormat, Options, RenderError, render_to_files, render_to_stream,
};
use pulsewright_score::read::{ReadOptions, beats};
use pulsewright_score::record::Events;
use pulsewright_score::{Annotations, Instant};
use pulsewright_script::Document;
use pulsewright_text::table;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;

/// One record of a plan.
#[derive(Clone, Debug)]
pub struct Record {
    /// Its name: number and settings, unique in the plan and fit for a file.
    pub name: String,
    /// Rhythm.
    pub rhythm: &'static Rhythm,
    /// Body.
    pub body: &'static Body,
    /// Ventricular rate, bpm; `None` is the usual one of rhythm and body.
    pub rate_bpm: Option<f32>,
    /// Further settings.
    pub values: Arc<[(Field, f32)]>,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Seed.
    pub seed: u64,
    /// The script, shared by the records of it; the seed is the record's own.
    pub document: Arc<Document>,
}

/// Longest name, bytes; file systems take 255 with what follows the name.
const LONGEST_NAME: usize = 160;

/// The name of the `number`th record.
pub(crate) fn name(number: usize, digits: usize, record: &Record) -> String {
    let mut name = format!("{number:0digits$}-{}-{}", record.rhythm.id, record.body.id);
    if let Some(bpm) = record.rate_bpm {
        name += &format!("-{bpm}bpm");
    }
    for (field, value) in record.values.iter() {
        name += &format!("-{}={value}", field.info().path);
    }
    name += &format!("-{}hz-seed{}", record.frame_rate.as_hz(), record.seed);
    // All ASCII; the number alone makes it unique.
    name.truncate(LONGEST_NAME);
    name
}

impl Record {
    /// Values of the record in each dimension of the matrix, seeds aside: pairs of dimension and value.
    pub fn dimensions(&self) -> Vec<(&'static str, String)> {
        let rate = self.rate_bpm.map_or("usual".to_owned(), |bpm| bpm.to_string());
        let rate = if self.rhythm.beats() { rate } else { "none".to_owned() };
        let mut all = vec![
            ("rhythm", self.rhythm.id.to_owned()),
            ("body", self.body.id.to_owned()),
            (Field::RateBpm.info().path, rate),
            ("frame_rate_hz", self.frame_rate.as_hz().to_string()),
        ];
        all.extend(self.values.iter().map(|(field, value)| (field.info().path, value.to_string())));
        all
    }

    /// Writes the signal to a file; with `truth` everything else beside it, as `render` does.
    ///
    /// # Errors
    /// When it can't be rendered or written.
    pub fn render_file(&self, plan: &Plan, target: &Path, truth: bool) -> Result<(), SuiteError> {
        // Kept signals are synced; temporary ones can be made again.
        let durability = if truth { Durability::Usual } else { Durability::Temporary };
        let options = Options { truth, overwrite: true, durability, ..self.options(plan, plan.format) };
        let rendered = self.with_content(|content| {
            render_to_files(content, &options, target, &mut |_, _| ControlFlow::Continue(()))
        })?;
        rendered.map(|_| ()).map_err(|error| self.failed(error))
    }

    /// Writes the signal as CSV to a stream. A reader that goes away early is no error.
    ///
    /// # Errors
    /// When it can't be rendered.
    pub fn render_stream(&self, plan: &Plan, stream: &mut dyn Write) -> Result<(), SuiteError> {
        let bits = match plan.format {
            FileFormat::Csv(bits) => bits,
            _ => pulsewright_files::Bits::B16,
        };
        let options = self.options(plan, FileFormat::Csv(bits));
        let rendered = self.with_content(|content| {
            render_to_stream(content, &options, stream, &mut |_, _| ControlFlow::Continue(()))
        })?;
        match rendered {
            Ok(_) | Err(RenderError::Stream(_)) => Ok(()),
            Err(error) => Err(self.failed(error)),
        }
    }

    /// SHA-256 of its samples in the plan's channels, before they are rounded to bits.
    ///
    /// # Errors
    /// When it can't be rendered.
    pub(crate) fn signal_digest(&self, plan: &Plan) -> Result<Sha256Digest, SuiteError> {
        let mut digest = Sha256Writer::default();
        let options = self.options(plan, FileFormat::Raw(Encoding::Float));
        let rendered = self.with_content(|content| {
            render_to_stream(content, &options, &mut digest, &mut |_, _| ControlFlow::Continue(()))
        })?;
        rendered.map_err(|error| self.failed(error))?;
        Ok(digest.digest())
    }

    /// The events that a detector should find, with the end of the record: as `render` writes them beside the signal.
    ///
    /// # Errors
    /// [`SuiteError::Truth`] when pulses of several pressures would mix; anything else is a fault of the program.
    pub fn reference(&self, plan: &Plan) -> Result<Annotations, SuiteError> {
        let options = self.options(plan, plan.format);
        let files = self.with_content(|content| {
            let frames = pulsewright_files::plan::Plan::new(content, &options).map_err(RenderError::from)?.frames;
            let files = std::array::from_fn(|_| Vec::new());
            let mut truth =
                Truth::new(content.script, content.labels, self.frame_rate, frames, files).of_events_alone();
            Player::new(content.script, self.frame_rate).skip_observed(frames, &mut truth);
            truth.finish().map(|files| (files, frames)).map_err(RenderError::Stream)
        })?;
        let (files, frames) = files.map_err(|error| self.failed(error))?;
        let wrong = |what: String| SuiteError::Truth { record: self.name.clone(), what };
        let table = |file: TruthFile| {
            let text = String::from_utf8_lossy(&files[file as usize]);
            table::parse(text, None).map_err(|problem| wrong(problem.to_string()))
        };
        let file = match plan.options.events {
            Events::Beats => TruthFile::Beats,
            Events::Pulses => TruthFile::Pulses,
            Events::Breaths => TruthFile::Breaths,
        };
        let reading = ReadOptions {
            times_only: plan.options.events != Events::Beats,
            channel: plan.pulse_channel.clone(),
            ..ReadOptions::default()
        };
        let mut all = beats::from_table(&table(file)?, &reading).map_err(|problem| wrong(problem.to_string()))?;
        if plan.options.events == Events::Beats {
            let episodes = beats::episodes_from_table(&table(TruthFile::Episodes)?);
            all.add_episodes(episodes.map_err(|problem| wrong(problem.to_string()))?);
            // Also without a single beat: the truth knows the codes of all there are.
            all.labelled = true;
        }
        all.end = Instant::from_frame(frames.try_into().unwrap_or(i64::MAX), f64::from(self.frame_rate.as_hz()));
        Ok(all)
    }

    fn options(&self, plan: &Plan, format: FileFormat) -> Options {
        Options {
            rate: self.frame_rate,
            channels: plan.channels.clone(),
            format,
            duration: None,
            split: None,
            truth: false,
            lead_truth: Vec::new(),
            overwrite: false,
            durability: Durability::Usual,
        }
    }

    /// Lends the record's script out, which borrows from its own items.
    fn with_content<T>(&self, work: impl FnOnce(Content<'_>) -> T) -> Result<T, SuiteError> {
        let items = self.document.items();
        let script = Script::new(self.seed, &items)
            .map_err(|error| SuiteError::Truth { record: self.name.clone(), what: error.to_string() })?;
        let labels: Vec<&str> = (0..items.len()).map(|item| self.document.label(item)).collect();
        Ok(work(Content { script: &script, title: &self.name, labels: &labels, limits: AlarmLimits::USUAL }))
    }

    fn failed(&self, error: RenderError) -> SuiteError {
        SuiteError::Render { record: self.name.clone(), source: Box::new(error) }
    }
}
