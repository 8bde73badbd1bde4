//! The signal of a record and its truth.

use crate::error::SuiteError;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use crate::reference::Reference;
use pulsewright_cohort::content::with_content;
use pulsewright_core::player::Player;
use pulsewright_files::atomic::Claim;
use pulsewright_files::sha256::{Sha256Digest, Sha256Writer};
use pulsewright_files::{
    Content, Durability, Encoding, FileFormat, RenderError, RenderOptions, render_to_files, render_to_stream,
};
use pulsewright_score::Annotations;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;

impl SuiteRecord {
    /// Writes the signal to a file; with `truth` everything else beside it, as `render` does.
    ///
    /// # Errors
    /// When it can't be rendered or written.
    pub fn render_file(&self, plan: &SuitePlan, target: &Path, truth: bool) -> Result<(), SuiteError> {
        if let Some(recording) = &self.recording {
            let claim = Claim::new(target)?;
            claim.write_whole(target, &recording.encoded(&plan.channels, plan.format))?;
            // Kept signals are synced, as below.
            return if truth { Ok(claim.sync_names()?) } else { Ok(()) };
        }
        // Kept signals are synced; temporary ones can be made again.
        let durability = if truth { Durability::Usual } else { Durability::Temporary };
        let options = RenderOptions { truth, overwrite: true, durability, ..self.options(plan, plan.format) };
        let rendered = self.with_content(|content| {
            render_to_files(content, &options, target, &mut |_, _| ControlFlow::Continue(()))
        })?;
        rendered.map(|_| ()).map_err(|error| self.failed(error))
    }

    /// Writes the signal as CSV to a stream. A reader that goes away early is no error.
    ///
    /// # Errors
    /// When it can't be rendered.
    pub fn render_stream(&self, plan: &SuitePlan, stream: &mut dyn Write) -> Result<(), SuiteError> {
        let bits = match plan.format {
            FileFormat::Csv(bits) => bits,
            _ => pulsewright_files::Bits::B16,
        };
        if let Some(recording) = &self.recording {
            // A reader that goes away early is no error.
            let _ = stream.write_all(&recording.encoded(&plan.channels, FileFormat::Csv(bits)));
            return Ok(());
        }
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
    pub(crate) fn signal_digest(&self, plan: &SuitePlan) -> Result<Sha256Digest, SuiteError> {
        if let Some(recording) = &self.recording {
            return Ok(recording.digest);
        }
        let mut digest = Sha256Writer::default();
        let options = self.options(plan, FileFormat::Raw(Encoding::Float));
        let rendered = self.with_content(|content| {
            render_to_stream(content, &options, &mut digest, &mut |_, _| ControlFlow::Continue(()))
        })?;
        rendered.map_err(|error| self.failed(error))?;
        Ok(digest.digest())
    }

    /// The events that a detector should find, with the end of the record: those that `render` writes beside the signal, at
    /// their exact times.
    ///
    /// # Errors
    /// [`SuiteError::Truth`] when pulses of several pressures would mix; anything else is a fault of the program.
    pub fn reference(&self, plan: &SuitePlan) -> Result<Annotations, SuiteError> {
        if let Some(recording) = &self.recording {
            return Ok(recording.annotations.clone());
        }
        let options = self.options(plan, plan.format);
        let collected = self.with_content(|content| {
            let files = pulsewright_files::plan::RenderPlan::new(content, &options).map_err(RenderError::from)?;
            let mut reference = Reference::new(plan.options.events, self.frame_rate, files.frames);
            // The pressures that the signal has, and no others.
            let mut player = Player::new(content.script, self.frame_rate).with_pressures_at(files.pressures);
            player.skip_observed(files.frames, &mut reference);
            Ok(reference)
        })?;
        let reference = collected.map_err(|error| self.failed(error))?;
        reference
            .annotations(plan.pulse_channel.as_deref())
            .map_err(|what| SuiteError::Truth { record: self.name.clone(), what })
    }

    fn options(&self, plan: &SuitePlan, format: FileFormat) -> RenderOptions {
        RenderOptions::new(self.frame_rate, &plan.channels, format)
    }

    /// Calls `work` with the record's script as content to render.
    fn with_content<T>(&self, work: impl FnOnce(Content<'_>) -> T) -> Result<T, SuiteError> {
        with_content(&self.document, self.seed, &self.name, work)
            .map_err(|error| SuiteError::Truth { record: self.name.clone(), what: error.to_string() })
    }

    fn failed(&self, error: RenderError) -> SuiteError {
        SuiteError::Render { record: self.name.clone(), source: Box::new(error) }
    }
}
