//! Records of a plan that have the signal of an earlier one: a detector gets them twice, and the figures count them twice.
//!
//! A seed changes only random values: a steady rhythm without noise is the same for every seed.

use crate::error::SuiteError;
use crate::plan::SuitePlan;
use crate::record::SuiteRecord;
use pulsewright_cohort::pool;
use serde::Serialize;
use std::collections::HashMap;

/// A record with the signal of an earlier one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Repeat {
    /// Its name.
    pub record: String,
    /// The first record with this signal.
    pub of: String,
}

/// The records whose signal, in the plan's channels, is that of an earlier one, in order. Every record is played for it.
///
/// # Errors
/// When a record can't be rendered.
pub fn repeats(plan: &SuitePlan, records: &[&SuiteRecord], jobs: usize) -> Result<Vec<Repeat>, SuiteError> {
    let digests = pool::map(jobs, records, || (), |(), record| record.signal_digest(plan))?;
    let mut first = HashMap::new();
    let mut repeats = Vec::new();
    for (record, digest) in records.iter().zip(digests) {
        let of: &str = first.entry((record.frame_rate.as_hz(), digest)).or_insert(record.name.as_str());
        if of != record.name {
            repeats.push(Repeat { record: record.name.clone(), of: of.to_owned() });
        }
    }
    Ok(repeats)
}
