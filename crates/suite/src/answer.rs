//! The answer of a detector to a record.

use crate::folder::AnswerFolder;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use pulsewright_score::Annotations;
use pulsewright_score::read::{ReadOptions, ScoreReadError, read_annotations};
use pulsewright_score::record::Events;

/// Reads a record's answer. Times in frames need no frame rate: it is the record's.
pub(crate) fn read_answer(
    plan: &SuitePlan,
    record: &SuiteRecord,
    folder: &AnswerFolder,
    reading: &ReadOptions,
) -> Result<Annotations, ScoreReadError> {
    let reading = ReadOptions {
        rate_hz: Some(f64::from(record.frame_rate.as_hz())),
        times_only: plan.options.events != Events::Beats,
        ..reading.clone()
    };
    read_annotations(&folder.answer(record), &reading)
}
