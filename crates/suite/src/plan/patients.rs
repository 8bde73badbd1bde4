//! A block of drawn patients.

use super::axes::{MOST_RECORDS, frame_rates};
use super::file::PlanBlock;
use crate::record::{DrawnPatient, SuiteRecord};
use pulsewright_cohort::people::{People, PeopleFile};
use std::sync::Arc;

/// The records of a block with people: each patient at each frame rate.
pub(super) fn records(block: &PlanBlock, people: &PeopleFile, duration_s: f64) -> Result<Vec<SuiteRecord>, String> {
    if !block.is_bare() {
        return Err("people: rhythms, bodies, rates, seeds and settings of people are drawn; \
                    beside people a block has patients and frame_rate_hz alone"
            .to_owned());
    }
    let Some(patients) = &block.patients else {
        return Err("people: which of them? Add \"patients\": {\"from\": 0, \"count\": 100}".to_owned());
    };
    let frame_rates = frame_rates(&block.frame_rate_hz)?;
    let records = patients.count.saturating_mul(frame_rates.len() as u64);
    if records == 0 || records > MOST_RECORDS as u64 {
        return Err(format!("patients: {records} records; allowed 1 to {MOST_RECORDS}"));
    }
    let people = People::new(people).map_err(|what| format!("people.{what}"))?;
    let mut records = Vec::new();
    for index in 0..patients.count {
        let number = patients.from.wrapping_add(index);
        let patient = people.patient(number, duration_s).map_err(|what| format!("patient {number}: {what}"))?;
        let values: Arc<[_]> = patient.settings(&people).collect();
        let document = Arc::new(patient.document);
        for frame_rate in &frame_rates {
            records.push(SuiteRecord {
                name: String::new(),
                rhythm: patient.rhythm,
                body: patient.body,
                rate_bpm: None,
                values: Arc::clone(&values),
                frame_rate: *frame_rate,
                seed: patient.seed,
                patient: Some(DrawnPatient { number, group: patient.group.clone() }),
                document: Arc::clone(&document),
                recording: None,
                script: None,
                noise: None,
            });
        }
    }
    Ok(records)
}
