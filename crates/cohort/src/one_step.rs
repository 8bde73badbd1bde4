//! The script of a patient: one step.

use pulsewright_core::body::Body;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_script::{Document, OneStep};

/// The script of one step with these settings, by their paths.
///
/// # Errors
/// Why it can't be, on one line.
pub fn one_step(
    seed: u64,
    rhythm: &Rhythm,
    body: &Body,
    settings: &[(&str, f32)],
    duration_s: f64,
) -> Result<Document, String> {
    let step =
        OneStep { seed, rhythm: Some(rhythm.id), body: Some(body.id), duration_s: Some(duration_s), values: settings };
    step.document("plan").map_err(|problems| {
        let mut what: Vec<&str> = problems.list().iter().map(|problem| problem.what.as_str()).collect();
        what.dedup();
        what.join("; ")
    })
}
