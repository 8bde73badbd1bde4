//! Scoring detections against a reference, as `pulsewright score` does.

use crate::script::wrong;
use numpy::PyReadonlyArray1;
use pulsewright_score::limits::FigureLimits;
use pulsewright_score::record::ScoreOptions;
use pulsewright_score::{AnnotatedBeat, Annotations, RecordInstant, Report, score_record};
use pyo3::prelude::*;

/// Beats of times in seconds and, where given, a code for each.
pub fn annotations(times_s: &[f64], codes: Option<&str>) -> PyResult<Annotations> {
    if let Some(codes) = codes
        && codes.chars().count() != times_s.len()
    {
        return Err(wrong(format!("{} codes for {} times", codes.chars().count(), times_s.len())));
    }
    let mut codes = codes.map(str::chars);
    let mut beats = Vec::with_capacity(times_s.len());
    for time_s in times_s {
        let code = codes.as_mut().and_then(Iterator::next).unwrap_or('N');
        let at = RecordInstant::from_s(*time_s).ok_or_else(|| wrong(format!("{time_s} is no time in seconds")))?;
        beats.push(AnnotatedBeat { at, code });
    }
    beats.sort_by_key(|beat| beat.at);
    let mut annotations = Annotations::from_beats(beats);
    annotations.labelled = codes.is_some();
    Ok(annotations)
}

/// Scores detections against reference beats and returns the report as JSON.
#[pyfunction]
#[pyo3(signature = (reference_s, reference_codes, test_s, test_codes, window_s, learning_s, end_s, limits))]
#[allow(clippy::too_many_arguments)] // The Python side names each of them.
pub fn score(
    py: Python<'_>,
    reference_s: PyReadonlyArray1<'_, f64>,
    reference_codes: Option<&str>,
    test_s: PyReadonlyArray1<'_, f64>,
    test_codes: Option<&str>,
    window_s: f64,
    learning_s: f64,
    end_s: Option<f64>,
    limits: Option<&str>,
) -> PyResult<String> {
    let reference = annotations(reference_s.as_slice().map_err(wrong)?, reference_codes)?;
    let test = annotations(test_s.as_slice().map_err(wrong)?, test_codes)?;
    let options = ScoreOptions { window_s, learning_s, end_s, ..ScoreOptions::default() };
    let limits = self::limits(limits)?;
    Ok(py.detach(|| {
        let report = score_record("record", &reference, &test, &options);
        pulsewright_score::report::json(&Report::new(&options, vec![report], &limits))
    }))
}

/// Limits from their JSON, as the file of `--limits`.
pub fn limits(text: Option<&str>) -> PyResult<FigureLimits> {
    let mut limits = FigureLimits::default();
    if let Some(text) = text {
        limits.add_json(text).map_err(wrong)?;
    }
    Ok(limits)
}
