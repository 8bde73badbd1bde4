//! The signal of a patient and its events.

use crate::content::with_content;
use crate::error::CohortError;
use crate::people::Patient;
use crate::plan::CohortPlan;
use pulsewright_core::block::{BLOCK, Block, Signals};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::truth::Observer;
use pulsewright_files::{Content, Encoding, FileFormat, RenderError, RenderOptions, render_observed};
use std::ops::ControlFlow;
use std::path::Path;

/// Most bytes of a record, which is held in memory.
const MOST_BYTES: u64 = 1 << 30;

/// Bytes of a sample.
pub const SAMPLE: usize = size_of::<f32>();

impl CohortPlan {
    /// Frames of each signal, after every check that a render to a file makes.
    ///
    /// # Errors
    /// When a render would be refused.
    pub fn frames(&self) -> Result<usize, CohortError> {
        let first = self.patient(0)?;
        let options = self.options(FileFormat::Raw(Encoding::Float));
        let frames = self.with_content(&first, "", |content| {
            let plan = pulsewright_files::plan::RenderPlan::new(content, &options).map_err(RenderError::from)?;
            Ok(plan.frames)
        })?;
        let frames = frames.map_err(|error: RenderError| failed(&first, error))?;
        let most = MOST_BYTES / (SAMPLE * self.channels.len()) as u64;
        let fits = usize::try_from(frames).ok().filter(|_| frames <= most);
        fits.ok_or_else(|| {
            let megabytes = MOST_BYTES >> 20;
            CohortError::Plan(format!(
                "duration_s: {} s of these channels are more than {megabytes} MiB",
                self.duration_s
            ))
        })
    }

    /// A block for [`CohortPlan::samples`], which may serve any number of patients.
    pub fn block(&self) -> Box<Block> {
        Box::new(Block::new(Signals::of(&self.channels)))
    }

    /// The samples of a patient as the bytes of little-endian floats, channel after channel, in place of the content of `bytes`;
    /// `observer` gets the events.
    ///
    /// # Errors
    /// When no script can be played; a fault of the program.
    pub fn samples(
        &self,
        patient: &Patient,
        block: &mut Block,
        bytes: &mut [u8],
        observer: &mut impl Observer,
    ) -> Result<(), CohortError> {
        let frames = bytes.len() / SAMPLE / self.channels.len();
        self.with_content(patient, "", |content| {
            let pressures = SiteSet::of(&self.channels).unwrap_or(SiteSet::USUAL);
            let mut player = Player::new(content.script, self.frame_rate).with_pressures_at(pressures);
            let mut done = 0;
            while done < frames {
                let filled = player.fill_block_observed(block, BLOCK.min(frames - done), observer);
                if filled == 0 {
                    break;
                }
                for (channel, row) in self.channels.iter().zip(bytes.chunks_exact_mut(frames * SAMPLE)) {
                    let row = &mut row[done * SAMPLE..(done + filled) * SAMPLE];
                    for (place, value) in row.as_chunks_mut::<SAMPLE>().0.iter_mut().zip(block.column(*channel)) {
                        *place = value.to_le_bytes();
                    }
                }
                done += filled;
            }
            // Events between the last frame and the end.
            player.skip_observed(0, observer);
        })
    }

    /// Plays a patient for the events alone.
    ///
    /// # Errors
    /// When no script can be played; a fault of the program.
    pub fn events(&self, patient: &Patient, frames: usize, observer: &mut impl Observer) -> Result<(), CohortError> {
        self.with_content(patient, "", |content| {
            let none = SiteSet::of(&[]).unwrap_or(SiteSet::USUAL);
            let mut player = Player::new(content.script, self.frame_rate).with_pressures_at(none);
            player.skip_observed(frames as u64, observer);
        })
    }

    /// Writes the signal of a patient in any format, with its truth; `observer` gets the events.
    ///
    /// # Errors
    /// When it can't be rendered or written.
    pub fn render_file(
        &self,
        patient: &Patient,
        format: FileFormat,
        target: &Path,
        observer: &mut impl Observer,
    ) -> Result<(), CohortError> {
        let options = RenderOptions { truth: true, ..self.options(format) };
        let title = format!("patient {}", patient.number);
        let rendered = self.with_content(patient, &title, |content| {
            render_observed(content, &options, target, observer, &mut |_, _| ControlFlow::Continue(()))
        })?;
        rendered.map(|_| ()).map_err(|error| failed(patient, error))
    }

    fn options(&self, format: FileFormat) -> RenderOptions {
        RenderOptions::new(self.frame_rate, &self.channels, format)
    }

    /// Calls `work` with a patient's script as content to render.
    fn with_content<T>(
        &self,
        patient: &Patient,
        title: &str,
        work: impl FnOnce(Content<'_>) -> T,
    ) -> Result<T, CohortError> {
        with_content(&patient.document, patient.seed, title, work)
            .map_err(|error| CohortError::Patient { patient: patient.number, what: error.to_string() })
    }
}

fn failed(patient: &Patient, error: RenderError) -> CohortError {
    CohortError::Render { patient: patient.number, source: Box::new(error) }
}
