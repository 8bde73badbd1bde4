//! A suite's plan, record by record, with a function as the detector.

use crate::score::{annotations, limits};
use crate::script::{NO_FILE, frames, wrong};
use crate::signals::{SignalSource, Signals, play, recorded};
use numpy::PyReadonlyArray1;
use pulsewright_core::script::Script;
use pulsewright_score::{RecordReport, Report, score_record};
use pyo3::prelude::*;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// A suite's plan: records to render, and their scores.
#[pyclass(frozen, module = "pulsewright._native")]
pub struct Plan {
    plan: pulsewright_suite::SuitePlan,
    scored: Mutex<BTreeMap<usize, RecordReport>>,
}

impl Plan {
    fn record(&self, index: usize) -> PyResult<&pulsewright_suite::record::SuiteRecord> {
        let none =
            || pyo3::exceptions::PyIndexError::new_err(format!("the plan has {} records", self.plan.records.len()));
        self.plan.records.get(index).ok_or_else(none)
    }
}

#[pymethods]
impl Plan {
    /// Reads a plan from its JSON; `name` is its path, or [`NO_FILE`]. Files that it names are read from its folder.
    #[new]
    fn new(text: &str, name: &str) -> PyResult<Plan> {
        let folder = Path::new(name).parent().filter(|_| name != NO_FILE);
        let plan = pulsewright_suite::SuitePlan::parse_beside(text, name, folder).map_err(wrong)?;
        Ok(Plan { plan, scored: Mutex::default() })
    }

    fn __len__(&self) -> usize {
        self.plan.records.len()
    }

    /// Combinations of the plan that exclude each other, each with the reason.
    #[getter]
    fn left_out(&self) -> Vec<String> {
        self.plan.left_out.clone()
    }

    /// Name of a record.
    fn name(&self, index: usize) -> PyResult<String> {
        Ok(self.record(index)?.name.clone())
    }

    /// Values of a record in each dimension of the plan.
    fn dimensions(&self, index: usize) -> PyResult<BTreeMap<&'static str, String>> {
        Ok(self.record(index)?.dimensions().into_iter().collect())
    }

    /// Renders a record.
    fn render(&self, py: Python<'_>, index: usize) -> PyResult<Signals> {
        let record = self.record(index)?;
        let channels = &self.plan.channels;
        if let Some(recording) = &record.recording {
            let samples = py.detach(|| recorded(recording, channels));
            let source = SignalSource::Recording(recording.clone());
            let frames = recording.played.len() as u64;
            return Signals::new(py, source, record.frame_rate, frames, channels.clone(), samples);
        }
        let made = py.detach(|| {
            let items = record.document.items();
            let script = Script::new(record.seed, &items).map_err(wrong)?;
            let frames = frames(&script, record.frame_rate, channels, None)?;
            Ok::<_, PyErr>((frames, play(&script, record.frame_rate, channels, frames)?))
        });
        let (frames, samples) = made?;
        let document = (*record.document).clone().with_seed(record.seed);
        let source = SignalSource::Script(Arc::new(document));
        Signals::new(py, source, record.frame_rate, frames, channels.clone(), samples)
    }

    /// Scores a detector's times and, where given, codes for a record, and keeps the result.
    #[pyo3(signature = (index, times_s, codes=None))]
    fn score(
        &self,
        py: Python<'_>,
        index: usize,
        times_s: PyReadonlyArray1<'_, f64>,
        codes: Option<&str>,
    ) -> PyResult<()> {
        let record = self.record(index)?;
        let test = annotations(times_s.as_slice().map_err(wrong)?, codes)?;
        let report = py.detach(|| {
            let reference = record.reference(&self.plan).map_err(wrong)?;
            Ok::<_, PyErr>(score_record(&record.name, &reference, &test, &self.plan.options))
        })?;
        self.scored.lock().unwrap_or_else(PoisonError::into_inner).insert(index, report);
        Ok(())
    }

    /// The report over the records that were scored, as JSON; `indices` takes some of them.
    #[pyo3(signature = (limits_json=None, indices=None))]
    fn report(&self, limits_json: Option<&str>, indices: Option<Vec<usize>>) -> PyResult<String> {
        let limits = limits(limits_json)?;
        let scored = self.scored.lock().unwrap_or_else(PoisonError::into_inner);
        let wanted = |index: &usize| indices.as_ref().is_none_or(|indices| indices.contains(index));
        let records = scored.iter().filter(|(index, _)| wanted(index)).map(|(_, report)| report.clone()).collect();
        Ok(pulsewright_score::report::json(&Report::new(&self.plan.options, records, &limits)))
    }
}
