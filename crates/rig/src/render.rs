//! Codes for a rig's converters, to files or a stream, with the handling of samples that the rig can't reach.

use crate::description::Rig;
use crate::frames::{Packing, RigError, RigFrames};
use crate::table::{OutputDescription, coding_word};
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::time::FrameRate;
use pulsewright_files::quantiser::Tally;
use pulsewright_files::{
    Content, Encoding, FileFormat, RenderError, RenderOptions, RenderReport, render_through, stream_through,
};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;

/// The treatment of a sample that the rig can't reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clip {
    /// The render is refused; no file is written.
    Refuse,
    /// The nearest code is held, and the sample counted.
    Count,
}

/// A rig that a render can't be made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnfitForRig {
    /// The format has no integers for converters.
    #[error("--rig writes .raw or .wav: integers for its converters")]
    Format,
    /// The codes can't be made, or the packing can't hold them.
    #[error(transparent)]
    Codes(#[from] RigError),
    /// The rig follows no channel.
    #[error("the rig has the reference alone: nothing to render")]
    NothingToRender,
}

/// A rig ready for a render.
#[derive(Clone, Debug)]
pub struct RigRender {
    rig: Rig,
    frames: RigFrames,
    clip: Clip,
}

impl RigRender {
    /// For frames of `format`, which is WAV or raw.
    ///
    /// # Errors
    /// [`UnfitForRig::Format`], [`UnfitForRig::Codes`].
    pub fn new(rig: Rig, format: FileFormat, rate: FrameRate, clip: Clip) -> Result<RigRender, UnfitForRig> {
        let packing = match format {
            FileFormat::Raw(_) => Packing::Raw,
            FileFormat::Wav(_) => Packing::Wav(rate),
            _ => return Err(UnfitForRig::Format),
        };
        let frames = RigFrames::new(&rig, packing)?;
        Ok(RigRender { rig, frames, clip })
    }

    /// The rig.
    pub fn rig(&self) -> &Rig {
        &self.rig
    }

    /// How frames become codes.
    pub fn frames(&self) -> &RigFrames {
        &self.frames
    }

    /// `options` with the channels that the rig follows.
    ///
    /// # Errors
    /// [`UnfitForRig::NothingToRender`].
    pub fn options(&self, options: RenderOptions) -> Result<RenderOptions, UnfitForRig> {
        let format = match options.format {
            FileFormat::Raw(_) => FileFormat::Raw(Encoding::Float),
            // Played as it is; the codes are the rig's.
            _ => FileFormat::Wav(Encoding::Float),
        };
        let channels = self.frames.channels();
        if channels.is_empty() {
            return Err(UnfitForRig::NothingToRender);
        }
        Ok(RenderOptions { channels, format, ..options })
    }

    /// Channels that the rig follows.
    pub fn channels(&self) -> Vec<Channel> {
        self.frames.channels()
    }

    /// A count for each output, to be passed to [`RigRender::encode`].
    pub fn no_tallies(&self) -> Vec<Tally> {
        vec![Tally::default(); self.rig.outputs.len()]
    }

    /// Appends frames as codes, and counts what was clipped.
    pub fn encode(&self, frames: &[Frame], bytes: &mut Vec<u8>, tallies: &mut [Tally]) {
        for (tally, clipped) in tallies.iter_mut().zip(self.frames.push(frames.iter().copied(), bytes)) {
            tally.clipped += clipped;
        }
    }

    /// The header of a stream: the meaning of its codes.
    pub fn header(&self, rate: FrameRate) -> Value {
        let mut header = self.describe(&self.no_tallies());
        header.insert("version".into(), json!(1));
        header.insert("frame_rate_hz".into(), json!(rate.as_hz()));
        header.insert("byte_order".into(), json!("little"));
        header.insert("sample".into(), json!(self.frames.sample_word()));
        header.insert("made_by".into(), json!(concat!("pulsewright ", env!("CARGO_PKG_VERSION"))));
        Value::Object(header)
    }

    /// Renders to files.
    ///
    /// # Errors
    /// Those of [`render_through`]; [`RenderError::Refused`] when samples were clipped and clipping is refused.
    pub fn to_files(
        &self,
        content: Content<'_>,
        options: &RenderOptions,
        target: &Path,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<RenderReport, RenderError> {
        let describe = |report: &RenderReport| {
            if self.clip == Clip::Refuse
                && let Some(words) = self.clipped(&report.tallies).first()
            {
                return Err(format!(
                    "{words}; nothing was written: lower the signal, or --clip count to hold and count"
                ));
            }
            Ok(self.describe(&report.tallies))
        };
        render_through(content, options, &self.frames, &describe, target, progress)
    }

    /// Renders to a stream; clipping is known only at its end.
    ///
    /// # Errors
    /// Those of [`stream_through`]; [`RenderError::Refused`] when samples were clipped and clipping is refused.
    pub fn to_stream(
        &self,
        content: Content<'_>,
        options: &RenderOptions,
        stream: &mut dyn Write,
        progress: &mut dyn FnMut(u64, u64) -> ControlFlow<()>,
    ) -> Result<RenderReport, RenderError> {
        let report = stream_through(content, options, &self.frames, stream, progress)?;
        match self.clipped(&report.tallies).first() {
            Some(words) if self.clip == Clip::Refuse => Err(RenderError::Refused(words.clone())),
            _ => Ok(report),
        }
    }

    /// A sentence for each output with clipped samples.
    pub fn clipped(&self, tallies: &[Tally]) -> Vec<String> {
        let outputs = self.rig.outputs.iter().zip(tallies).filter(|(_, tally)| tally.clipped > 0);
        let words = outputs.map(|(output, tally)| {
            let OutputDescription { name, unit, min, max, .. } = OutputDescription::new(&self.rig, output, 0);
            format!(
                "output {name}: {} samples beyond the {min:.3} to {max:.3} {unit} that the rig reaches",
                tally.clipped
            )
        });
        words.collect()
    }

    fn describe(&self, tallies: &[Tally]) -> Map<String, Value> {
        let converter = &self.rig.converter;
        let outputs = self.rig.outputs.iter().zip(tallies);
        let channels: Vec<OutputDescription> =
            outputs.map(|(output, tally)| OutputDescription::new(&self.rig, output, tally.clipped)).collect();
        let mut more = Map::new();
        more.insert("rig".into(), json!({"title": self.rig.title, "coding": coding_word(converter.coding)}));
        more.insert("frame_bytes".into(), json!(self.frames.frame_bytes()));
        let value_is = "code * scale + offset: in the channel's unit, at the connector, and of the converter";
        more.insert("value_is".into(), json!(value_is));
        more.insert("channels".into(), json!(channels));
        more
    }
}
