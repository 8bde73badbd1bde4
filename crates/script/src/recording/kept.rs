//! Samples of recordings, for as long as the program runs: steps refer to them without owning them.

use pulsewright_core::frame::INDEPENDENT_LEADS;
use pulsewright_core::recording::Recording;
use std::sync::{Mutex, PoisonError};

/// Most samples of different recordings that one run of a program keeps: 1 GiB.
pub(crate) const MOST_SAMPLES: usize = 1 << 28;

static KEPT: Mutex<(usize, Vec<Recording<'static>>)> = Mutex::new((0, Vec::new()));

/// A recording of these leads, the same one each time; `Ok(None)` once there are too many samples.
///
/// # Errors
/// Leads or a rate that the core does not take.
pub(crate) fn recording(
    leads_mv: &[Vec<f32>; INDEPENDENT_LEADS],
    rate_hz: f64,
) -> Result<Option<Recording<'static>>, ()> {
    let borrowed = leads_mv.each_ref().map(Vec::as_slice);
    let found = Recording::new(borrowed, rate_hz).ok_or(())?;
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    let same = |one: &&Recording<'static>| one.bounds() == found.bounds() && one.leads_mv() == borrowed;
    if let Some(known) = kept.1.iter().find(same) {
        return Ok(Some(*known));
    }
    let samples = kept.0 + leads_mv.iter().map(Vec::len).sum::<usize>();
    if samples > MOST_SAMPLES {
        return Ok(None);
    }
    let leaked = borrowed.map(|lead| -> &'static [f32] { Box::leak(lead.into()) });
    let recording = Recording::new(leaked, rate_hz).ok_or(())?;
    kept.0 = samples;
    kept.1.push(recording);
    Ok(Some(recording))
}
