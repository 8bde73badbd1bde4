//! The answer of a detector to a record.

use crate::folder::Folder;
use crate::plan::Plan;
use crate::record::Record;
use pulsewright_score::Annotations;
use pulsewright_score::read::{ReadError, ReadOptions, read_annotations};
use pulsewright_score::record::Events;

/// Reads a record's answer. Times in frames need no frame rate: it is the record's.
pub(crate) fn read_answer(
    plan: &Plan,
    record: &Record,
    folder: &Folder,
    reading: &ReadOptions,
) -> Result<Annotations, ReadError> {
    let reading = ReadOptions {
        rate_hz: Some(f64::from(record.frame_rate.as_hz())),
        times_only: plan.options.events != Events::Beats,
        ..reading.clone()
    };
    read_annotations(&folder.answer(record), &reading)
}
