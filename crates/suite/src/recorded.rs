//! A recording as a record of a suite: its signal as a detector gets it, its annotations as truth.

use pulsewright_core::block::{BLOCK, Block};
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_files::buffer::Buffer;
use pulsewright_files::csv::Csv;
use pulsewright_files::format::{Column, Encoder, Heading, Section};
use pulsewright_files::quantiser::Tally;
use pulsewright_files::scale::{ChannelRange, Scale};
use pulsewright_files::sha256::{Sha256Digest, Sha256Writer};
use pulsewright_files::wav::Wav;
use pulsewright_files::{Encoding, FileFormat};
use pulsewright_recording::{Mapping, RecordingFrames, read};
use pulsewright_score::Annotations;
use pulsewright_score::read::{ReadOptions, read_annotations};
use pulsewright_script::typed::unknown_of;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

/// A recording with its annotations.
#[derive(Clone, Debug)]
pub struct AnnotatedRecording {
    /// Its name: that of its header, without folder and ending.
    pub name: String,
    /// Its header as the plan names it.
    pub header: String,
    /// Its signals.
    pub played: RecordingFrames,
    /// Its annotations, with its end.
    pub annotations: Annotations,
    /// SHA-256 of its samples in the plan's channels, of its frame rate and of its beats.
    pub digest: Sha256Digest,
}

impl AnnotatedRecording {
    /// Reads a recording below `folder`; `channels` maps ours to those of the recording, `wanted` are those of the plan.
    pub(crate) fn read(
        folder: &Path,
        record: &str,
        annotations: Option<&str>,
        channels: &BTreeMap<String, String>,
        wanted: &[Channel],
    ) -> Result<AnnotatedRecording, String> {
        let header = inside(folder, record)?;
        let name = header.file_stem().and_then(|name| name.to_str()).unwrap_or_default().to_owned();
        if !record.ends_with(".hea") || !name.chars().all(is_fit) || name.is_empty() {
            return Err(format!("'{record}' is no header: NAME.hea of letters, digits, - and _"));
        }
        let recording = read(&header).map_err(|error| error.to_string())?;
        let mut pairs = Vec::new();
        for (ours, theirs) in channels {
            let all = Channel::ALL.iter().map(|channel| channel.id());
            let found = Channel::find(ours).ok_or_else(|| format!("channels: {}", unknown_of("channel", ours, all)))?;
            pairs.push((found, theirs.as_str()));
        }
        let mapping = Mapping::new(&pairs, &recording)?;
        if let Some(missing) = wanted.iter().find(|channel| !mapping.gives(**channel)) {
            let id = missing.id();
            let has = recording.names();
            return Err(format!("channels give no {id}, which the plan plays; the recording has {has}"));
        }
        let played = RecordingFrames::new(&recording, &mapping)?;
        let file = match annotations {
            Some(annotations) => inside(folder, annotations)?,
            None => header.with_extension("atr"),
        };
        let reading = ReadOptions { is_reference: true, ..ReadOptions::default() };
        let mut annotations = read_annotations(&file, &reading).map_err(|error| error.to_string())?;
        let end = pulsewright_score::RecordInstant::from_frame(played.len() as i64, f64::from(played.rate().as_hz()));
        annotations.end = end;
        let mut sum = Sha256Writer::default();
        let put = |bytes: &[u8], sum: &mut Sha256Writer| sum.write_all(bytes).map_err(|error| error.to_string());
        put(&played.rate().as_hz().to_le_bytes(), &mut sum)?;
        for index in 0..played.len() {
            let frame = played.frame(index);
            for channel in wanted {
                put(&frame.sample(*channel).to_le_bytes(), &mut sum)?;
            }
        }
        for beat in &annotations.beats {
            put(&beat.at.s().to_le_bytes(), &mut sum)?;
            put(&(beat.code as u32).to_le_bytes(), &mut sum)?;
        }
        Ok(AnnotatedRecording { name, header: record.to_owned(), played, annotations, digest: sum.digest() })
    }

    /// The signal in these channels as a file of this format has it.
    pub(crate) fn encoded(&self, channels: &[Channel], format: FileFormat) -> Vec<u8> {
        let rate = self.played.rate();
        let encoding = match format {
            FileFormat::Csv(bits) => Encoding::Integer(bits),
            FileFormat::Wav(encoding) => encoding,
            _ => Encoding::Float,
        };
        let column = |channel: &Channel| {
            let scale = match encoding {
                Encoding::Integer(bits) => {
                    let (lowest, highest) = self.played.range(*channel);
                    Some(Scale::new(channel.kind(), bits, ChannelRange { lowest, highest, centre: 0.0 }))
                }
                Encoding::Float => None,
            };
            Column { channel: *channel, scale }
        };
        let columns: Vec<Column> = channels.iter().map(column).collect();
        match format {
            FileFormat::Csv(_) => {
                self.through(&Csv::new(&columns, Heading { title: &self.name, seed: 0, rate }), columns.len())
            }
            _ => self.through(&Wav::new(&columns, rate), columns.len()),
        }
    }

    fn through(&self, encoder: &dyn Encoder, lanes: usize) -> Vec<u8> {
        let section = Section { first: 0, frames: self.played.len() as u64 };
        let mut bytes = Vec::new();
        encoder.head(section, &mut bytes);
        let mut tallies = vec![Tally::default(); lanes];
        let mut encoded = Buffer::default();
        for first in (0..self.played.len()).step_by(BLOCK) {
            let last = self.played.len().min(first + BLOCK);
            let frames: Vec<Frame> = (first..last).map(|index| self.played.frame(index)).collect();
            encoded.clear();
            encoder.encode(first as u64, &Block::of_frames(&frames), &mut encoded, &mut tallies);
            bytes.extend_from_slice(&encoded);
        }
        encoder.tail(section, &mut bytes);
        bytes
    }
}

/// Whether a letter may stand in the name of a file.
pub(crate) fn is_fit(c: char) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, '-' | '_')
}

/// A file below the folder of the plan.
pub(crate) fn inside(folder: &Path, name: &str) -> Result<PathBuf, String> {
    let parts = name.split('/');
    if name.contains(['\\', '\0', ':']) || parts.clone().any(|part| matches!(part, "" | "." | "..")) {
        return Err(format!("'{name}' is no file below the folder of the plan"));
    }
    Ok(folder.join(name))
}
