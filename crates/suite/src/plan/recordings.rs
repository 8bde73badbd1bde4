//! A block of recordings.

use super::axes::MOST_RECORDS;
use super::file::{PlanBlock, RecordingFile};
use crate::record::SuiteRecord;
use crate::recorded::AnnotatedRecording;
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::Channel;
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_score::record::Events;
use pulsewright_script::Document;
use std::path::Path;
use std::sync::Arc;

/// The records of a block with recordings; the plan plays `channels` and scores `events`.
pub(super) fn records(
    block: &PlanBlock,
    folder: Option<&Path>,
    events: Events,
    channels: &[Channel],
) -> Result<Vec<SuiteRecord>, String> {
    let usual_frames = block.frame_rate_hz[..] == [500];
    let no_people = block.people.is_none() && block.patients.is_none();
    if !(block.is_bare() && usual_frames && no_people) {
        return Err("recordings: a recording is played as it is; beside recordings a block has nothing else".to_owned());
    }
    if events != Events::Beats {
        return Err("recordings: their annotations are beats; score.events must be \"beats\"".to_owned());
    }
    let folder = folder.ok_or("recordings: this plan is not read from a file, so no recording lies beside it")?;
    if block.recordings.len() > MOST_RECORDS {
        return Err(format!("recordings: more than {MOST_RECORDS}"));
    }
    let one = |(index, file): (usize, &RecordingFile)| {
        record(file, folder, channels).map_err(|what| format!("recordings[{index}]: {what}"))
    };
    block.recordings.iter().enumerate().map(one).collect()
}

fn record(file: &RecordingFile, folder: &Path, channels: &[Channel]) -> Result<SuiteRecord, String> {
    let recorded =
        AnnotatedRecording::read(folder, &file.record, file.annotations.as_deref(), &file.channels, channels)?;
    Ok(SuiteRecord {
        name: String::new(),
        rhythm: &SINUS,
        body: &ADULT,
        rate_bpm: None,
        values: Arc::new([]),
        frame_rate: recorded.played.rate(),
        seed: 0,
        patient: None,
        document: Arc::new(Document::default()),
        recording: Some(Arc::new(recorded)),
        script: None,
        noise: None,
    })
}
